"""Decide what to change: `compare`, `sweep`, `balance`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

import numpy as np

from ..errors import InputError
from ..quantity import si
from ..terminal.command import Answer, Command
from ..terminal.inputs import Inputs
from ..terminal.parsing import Parser, companion_options, count, fitted_option, machine_options

# ---- compare


def _compare_options(parser: Parser) -> None:
    machine_options(parser, of="weakest vacuum")
    companion_options(parser, "fixes")
    fitted_option(parser)
    budget_option(parser)


def _compare(args: Namespace) -> Answer:
    from .. import compare, read_fixes

    inputs = Inputs(args)
    fixes = inputs.companion("fixes", read_fixes)
    found = compare(inputs.fitted(), fixes, of=args.of, budget=args.budget)
    return Answer(found, inputs, ("fixes", "order", "units"), weakest(inputs))


def budget_option(parser: Parser) -> None:
    """The working time there is."""
    parser.take(
        "--budget", metavar="TIME", read=minutes, help='working time there is, like "45 min" or "1.5 h"'
    )


def minutes(text: str) -> float:
    """A working time in minutes; a bare number is minutes, as in a file of fixes."""
    try:
        value = float(text)
    except ValueError:
        value = si(text, "s") / 60.0
    if not 0.0 <= value <= 1e5:
        raise InputError(
            f"{text!r} is no working time", allowed="0 minutes or more, as in '45 min' or '1.5 h'"
        )
    return float(value)


def weakest(inputs: Inputs) -> str:
    """The weakest unit of the machine as it is, empty where there is none."""
    return str(inputs.machine.solve(raise_error=False).weakest)


# ---- sweep


def _sweep_options(parser: Parser) -> None:
    machine_options(parser, of="weakest vacuum")
    fitted_option(parser)
    parser.take(
        "address", metavar="ADDRESS", help='the number to vary, like belt.engine_speed or "hose 3.length"'
    )
    parser.take(
        "values",
        metavar="VALUE",
        nargs="*",
        help='its values, like "1800 rpm" "2000 rpm", or x0.9 to scale it',
    )
    parser.take("--from", dest="start", metavar="VALUE", help="instead of values: the first")
    parser.take("--to", dest="end", metavar="VALUE", help="and the last")
    parser.take(
        "--steps",
        type=int,
        default=9,
        metavar="N",
        read=count(2, 10_000),
        help="and how many in all (default 9)",
    )


def _sweep(args: Namespace) -> Answer:
    from .. import sweep

    inputs = Inputs(args)
    found = sweep(inputs.fitted(), args.address, _values(args, inputs), of=args.of)
    return Answer(found, inputs, ("sweep",), weakest(inputs))


def _values(args: Namespace, inputs: Inputs) -> Any:
    """The values of a sweep: those listed, or evenly spaced from the first to the last."""
    if args.values and (args.start or args.end):
        raise InputError(
            "values are both listed and given by --from and --to",
            place="sweep",
            allowed="one way of the two",
        )
    if args.values:
        return args.values
    if not (args.start and args.end):
        raise InputError(
            "the values are missing",
            place="sweep",
            allowed="list them after the address, or give --from and --to",
        )
    layout = inputs.machine.layout
    declared = layout.declaration(layout.expand(args.address)[0])
    ends = []
    for option, text in (("--from", args.start), ("--to", args.end)):
        try:
            ends.append(float(si(text, declared.measure)))
        except InputError as err:
            raise err.at(place=f"sweep, {option}") from None
    return np.linspace(ends[0], ends[1], args.steps)


# ---- balance


def _balance_options(parser: Parser) -> None:
    machine_options(parser, of="weakest vacuum")
    fitted_option(parser)


def _balance(args: Namespace) -> Answer:
    from .. import balance

    inputs = Inputs(args)
    found = balance(inputs.fitted(), of=args.of)
    return Answer(found, inputs, weakest=weakest(inputs))


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "compare",
            "what each fix is worth: alone, together, per minute of work",
            'ductsim compare demo:picker --budget "45 min"',
            _compare_options,
            _compare,
        ),
        Command(
            "sweep",
            "what the answer does while one number runs through its values",
            'ductsim sweep demo:picker belt.engine_speed "1900 rpm" "2100 rpm" "2300 rpm"',
            _sweep_options,
            _sweep,
        ),
        Command(
            "balance",
            "even the units out with jets and restrictors",
            "ductsim balance demo:picker",
            _balance_options,
            _balance,
        ),
    )
}
