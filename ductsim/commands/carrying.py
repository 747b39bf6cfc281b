"""Carry crop: `ground-speed`, `fill`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from ..errors import InputError
from .command import Answer, Command
from .deciding import weakest
from .inputs import Inputs
from .parsing import Parser, companion_options, machine_options


def _options(parser: Parser) -> None:
    machine_options(parser)
    companion_options(parser, "crop")


def crop_of(inputs: Inputs) -> Any:
    """The crop of a file, or that of the machine file."""
    from .. import Crop, read_crop

    if inputs.find("crop") is not None:
        return inputs.companion("crop", read_crop)
    table = inputs.machine.layout.free.get("crop")
    if not table:
        return inputs.companion("crop", read_crop)  # says that there is none, and where it was looked for
    try:
        return Crop(**table)
    except InputError as err:
        raise err.at(file=inputs.machine.file) from None


def _ground_speed(args: Namespace) -> Answer:
    from .. import ground_speed

    inputs = Inputs(args)
    return Answer(ground_speed(inputs.machine, crop_of(inputs)), inputs, weakest=weakest(inputs))


def _fill(args: Namespace) -> Answer:
    from .. import fill

    inputs = Inputs(args)
    return Answer(fill(inputs.machine, crop_of(inputs)), inputs, weakest=weakest(inputs))


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "ground-speed",
            "how fast the machine can drive before a duct blocks, and which one",
            "ductsim ground-speed demo:picker",
            _options,
            _ground_speed,
        ),
        Command(
            "fill",
            "how evenly the ducts fill the box behind them",
            "ductsim fill demo:picker",
            _options,
            _fill,
        ),
    )
}
