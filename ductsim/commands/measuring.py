"""Use readings: `fit`, `where-to-measure`, `proof`."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from ..errors import UnknownName
from .command import Answer, Command
from .deciding import weakest
from .inputs import Inputs
from .parsing import Parser, companion_options, machine_options

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
    machine_options(parser, of="weakest vacuum")
    companion_options(parser, "readings")


def _where(args: Namespace) -> Answer:
    from .. import fit, read_readings, where_to_measure

    inputs = Inputs(args)
    fitted = fit(inputs.machine, inputs.companion("readings", read_readings))
    found = where_to_measure(fitted, of=args.of)
    return Answer(found, inputs, weakest=weakest(inputs))


# ---- proof


def _proof_options(parser: Parser) -> None:
    machine_options(parser)
    parser.take("before", metavar="BEFORE", help="file of the readings taken before the fix")
    parser.take("after", metavar="AFTER", help="file of the readings taken after it")
    parser.take("--fix", required=True, metavar="NAME", help="the fix that was done, by its name")
    companion_options(parser, "fixes")


def _proof(args: Namespace) -> Answer:
    from .. import proof, read_fixes, read_readings

    inputs = Inputs(args)
    fixes = inputs.companion("fixes", read_fixes)
    done = next((fix for fix in fixes if fix.name == args.fix), None)
    if done is None:
        raise UnknownName.of("fix", args.fix, [fix.name for fix in fixes], place="--fix")
    before = inputs.take("before", Path(args.before), read_readings)
    after = inputs.take("after", Path(args.after), read_readings)
    found = proof(inputs.machine, before, after, done)
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
            "has a fix really worked: readings before and after",
            'ductsim proof demo:picker before.csv after.csv --fix "seal hatch 4"',
            _proof_options,
            _proof,
        ),
    )
}
