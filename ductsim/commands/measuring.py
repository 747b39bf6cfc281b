"""Use readings: `fit`, `where-to-measure`, `proof`."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from ..errors import InputError, UnknownName
from ..terminal.command import Answer, Command
from ..terminal.inputs import Inputs
from ..terminal.parsing import Parser, companion_options, count, fitted_option, machine_options
from .deciding import weakest

# ---- fit


def _fit_options(parser: Parser) -> None:
    machine_options(parser)
    companion_options(parser, "readings")
    parser.take(
        "--relative", action="store_true", help="let only ratios between readings count: fan not known"
    )
    parser.take(
        "--suspects", action="store_true", help="take all leaks for sound and find the few that are not"
    )


def _fit(args: Namespace) -> Answer:
    from .. import fit, read_readings

    inputs = Inputs(args)
    readings = inputs.companion("readings", read_readings)
    suspects = "leaks" if args.suspects else None
    found = fit(inputs.machine, readings, suspects=suspects, relative=args.relative)
    return Answer(found, inputs, ("unknowns", "readings", "alike"), weakest(inputs))


# ---- where-to-measure


def _where_options(parser: Parser) -> None:
    machine_options(parser)
    parser.take("--of", metavar="WORDS", help="what is to become surer (default: all that was fitted)")
    companion_options(parser, "readings")
    parser.take(
        "--most",
        type=int,
        default=3,
        metavar="N",
        read=count(1, 12),
        help="how many readings together (default 3)",
    )


def _where(args: Namespace) -> Answer:
    from .. import fit, read_readings, where_to_measure

    inputs = Inputs(args)
    fitted = fit(inputs.machine, inputs.companion("readings", read_readings))
    found = where_to_measure(fitted, of=args.of, most=args.most)
    return Answer(found, inputs, weakest=weakest(inputs), most=20)


# ---- proof


def _proof_options(parser: Parser) -> None:
    machine_options(parser)
    parser.take(
        "files",
        metavar="BEFORE AFTER",
        nargs="*",
        help="the readings before the fix and those after it; without them, how many it would take",
    )
    parser.take("--fix", required=True, metavar="NAME", help="the fix that was done, by its name")
    companion_options(parser, "fixes")
    fitted_option(parser)


def _proof(args: Namespace) -> Answer:
    from .. import proof, read_fixes, read_readings

    inputs = Inputs(args)
    if len(args.files) not in (0, 2):
        raise InputError(
            f"{len(args.files)} file{'s' * (len(args.files) > 1)} of readings",
            place="proof",
            allowed="two of them, before and after, or none",
        )
    fixes = inputs.companion("fixes", read_fixes)
    done = next((fix for fix in fixes if fix.name == args.fix), None)
    if done is None:
        raise UnknownName.of("fix", args.fix, [fix.name for fix in fixes], place="--fix")
    before, after = (
        (inputs.take(role, Path(file), read_readings) for role, file in zip(("before", "after"), args.files))
        if args.files
        else (None, None)
    )
    found = proof(inputs.fitted(), before, after, done)
    return Answer(found, inputs, weakest=weakest(inputs))


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "fit",
            "which leaks and which fan condition explain the readings",
            "ductsim fit demo:picker",
            _fit_options,
            _fit,
        ),
        Command(
            "where-to-measure",
            "which reading would tell most next",
            "ductsim where-to-measure demo:picker",
            _where_options,
            _where,
        ),
        Command(
            "proof",
            "has a fix worked, by readings before and after; or how many it takes to tell",
            'ductsim proof demo:picker --fix "seal hatch 4"',
            _proof_options,
            _proof,
        ),
    )
}
