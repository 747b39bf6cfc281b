"""The command `sweep`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

import numpy as np

from ...errors import InputError
from ...quantity import si
from ...terminal.inputs import Inputs
from ...terminal.parsing import Parser, count
from ...terminal.signature import Takes, study_command
from .study import sweep


def _ends(parser: Parser) -> None:
    """Evenly spaced values instead of listed ones."""
    parser.take("--from", dest="start", metavar="VALUE", help="instead of values: the first")
    parser.take("--to", dest="end", metavar="VALUE", help="and the last")
    steps = count(2, 10_000)
    text = "and how many in all (default 9)"
    parser.take("--steps", type=int, default=9, metavar="N", read=steps, help=text)


def _spaced(args: Namespace, inputs: Inputs, values: dict[str, Any]) -> None:
    """The values listed, or evenly spaced from the first to the last."""
    if args.values and (args.start or args.end):
        raise InputError(
            "values are both listed and given by --from and --to",
            place="sweep",
            allowed="one way of the two",
        )
    if args.values:
        return
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
    values["values"] = np.linspace(ends[0], ends[1], args.steps)


COMMAND = study_command(
    sweep,
    "Decide what to change",
    'ductsim sweep demo:picker belt.engine_speed "1900 rpm" "2100 rpm" "2300 rpm"',
    summary="what the answer does while one number runs through its values",
    tables=("sweep",),
    takes={
        "address": Takes('the number to vary, like belt.engine_speed or "hose 3.length"', place=True),
        "values": Takes(
            'its values, like "1800 rpm" "2000 rpm", or x0.9 to scale it', "VALUE", place=True, many=True
        ),
        "specific_consumption": Takes('fuel per work at the shafts, like "230 g/kWh"', "RATE"),
    },
    more_options=_ends,
    prepare=_spaced,
)
