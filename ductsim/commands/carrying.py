"""Carry crop: `ground-speed`, `fill`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from .command import Answer, Command
from .deciding import weakest
from .inputs import Inputs
from .parsing import Parser, companion_options, fitted_option, machine_options


def crop_of(inputs: Inputs) -> Any:
    """The crop of a file; None where there is none, for that of the machine file."""
    from .. import read_crop

    return inputs.companion("crop", read_crop) if inputs.find("crop") else None


# ---- ground-speed


def _ground_speed_options(parser: Parser) -> None:
    machine_options(parser)
    companion_options(parser, "crop", "fixes")
    fitted_option(parser)
    parser.take(
        "--efficiency",
        type=float,
        default=1.0,
        metavar="SHARE",
        help="share of the time that the machine picks, like 0.7 (default 1)",
    )
    parser.take("--season", metavar="AREA", help='area of a season, like "400 ha"')
    parser.take(
        "--price", type=float, metavar="COST", help="what an hour of the machine costs, in any currency"
    )


def _ground_speed(args: Namespace) -> Answer:
    from .. import ground_speed, read_fixes

    inputs = Inputs(args)
    fixes = inputs.companion("fixes", read_fixes) if inputs.find("fixes") else ()
    found = ground_speed(
        inputs.fitted(),
        crop_of(inputs),
        fixes,
        efficiency=args.efficiency,
        season_area=args.season,
        price_per_hour=args.price,
    )
    return Answer(found, inputs, ("fixes", "units"), weakest(inputs))


# ---- fill


def _fill_options(parser: Parser) -> None:
    machine_options(parser)
    companion_options(parser, "crop")


def _fill(args: Namespace) -> Answer:
    from .. import fill

    inputs = Inputs(args)
    found = fill(inputs.machine, crop_of(inputs))
    return Answer(found, inputs, ("fill", "discharges", "moves"), weakest(inputs))


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "ground-speed",
            "how fast the machine can drive before a duct blocks, and which one",
            'ductsim ground-speed demo:picker --season "400 ha"',
            _ground_speed_options,
            _ground_speed,
        ),
        Command(
            "fill",
            "how evenly the ducts fill the box behind them",
            "ductsim fill demo:picker",
            _fill_options,
            _fill,
        ),
    )
}
