"""Carry crop: `ground-speed`, `calibrate`, `field-pass`, `fill`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from ..terminal.command import Answer, Command
from ..terminal.inputs import Inputs
from ..terminal.parsing import Parser, companion_options, fitted_option, machine_options
from .deciding import weakest


def crop_of(inputs: Inputs) -> Any:
    """The crop of a file; None where there is none, for that of the machine file."""
    from .. import read_crop

    return inputs.companion("crop", read_crop) if inputs.find("crop") else None


def calibration_of(inputs: Inputs, number: str = "opening_ratio") -> Any:
    """The crop's least value as the file of what was seen tells."""
    from .. import calibrate

    crop = crop_of(inputs)
    return inputs.companion("seen", lambda place: calibrate(inputs.machine, place, number, crop=crop))


def known_crop(inputs: Inputs, seen: str | None) -> Any:
    """The crop, calibrated where `--seen` is given."""
    return crop_of(inputs) if seen is None else calibration_of(inputs)


def _seen_option(parser: Parser) -> None:
    parser.take("--seen", metavar="FILE", help="first calibrate the least air-to-crop ratio by what was seen")


# ---- ground-speed


def _ground_speed_options(parser: Parser) -> None:
    machine_options(parser)
    companion_options(parser, "crop", "fixes")
    fitted_option(parser)
    _seen_option(parser)
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
        known_crop(inputs, args.seen),
        fixes,
        efficiency=args.efficiency,
        season_area=args.season,
        price_per_hour=args.price,
    )
    return Answer(found, inputs, ("fixes", "units"), weakest(inputs))


# ---- calibrate


def _calibrate_options(parser: Parser) -> None:
    machine_options(parser)
    companion_options(parser, "seen", "crop")
    parser.take(
        "--number",
        default="opening_ratio",
        metavar="WORD",
        help="the least value in question: opening_ratio (default), capture_velocity, suction_velocity "
        "or conveying_velocity",
    )


def _calibrate(args: Namespace) -> Answer:
    inputs = Inputs(args)
    return Answer(calibration_of(inputs, args.number), inputs, weakest=weakest(inputs))


# ---- field-pass


def _pass_options(parser: Parser) -> None:
    machine_options(parser)
    companion_options(parser, "field", "crop")
    _seen_option(parser)
    parser.take("--speed", metavar="SPEED", help='the ground speed, like "5 km/h" (default: the crop\'s)')
    parser.take("--margin", type=float, metavar="MARGIN", help="hold this margin instead, like 1.15")


def _pass(args: Namespace) -> Answer:
    from .. import field_pass

    inputs = Inputs(args)
    crop = known_crop(inputs, args.seen)
    found = inputs.companion(
        "field",
        lambda place: field_pass(inputs.machine, place, crop=crop, speed=args.speed, margin=args.margin),
    )
    return Answer(found, inputs, weakest=weakest(inputs), most=30)


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
            "calibrate",
            "what the crop needs, by the speeds at which the machine ran or blocked",
            "ductsim calibrate demo:picker",
            _calibrate_options,
            _calibrate,
        ),
        Command(
            "field-pass",
            "where along a row the machine would block, and when the box is full",
            "ductsim field-pass demo:picker --margin 1.15",
            _pass_options,
            _pass,
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
