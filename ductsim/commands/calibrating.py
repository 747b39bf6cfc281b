"""Calibrate: what the crop needs, by the speeds at which the machine ran or blocked."""

from __future__ import annotations

from argparse import Namespace

from ..terminal.command import Answer, Command, weakest
from ..terminal.inputs import READERS, Inputs
from ..terminal.parsing import Parser, companion_options, machine_options
from ..terminal.signature import calibrated


def _options(parser: Parser) -> None:
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
    crop = inputs.companion("crop", READERS["crop"]) if inputs.find("crop") else None
    return Answer(calibrated(inputs, crop, args.number), inputs, weakest=weakest(inputs))


COMMANDS = {
    "calibrate": Command(
        "calibrate",
        "what the crop needs, by the speeds at which the machine ran or blocked",
        "ductsim calibrate demo:picker",
        _options,
        _calibrate,
        group="Carry crop",
    )
}
