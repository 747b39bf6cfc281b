"""Readings by a machine's own names: which tapping, fan and blanked openings are meant."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from ..description.data import MachineData
from ..description.equipment import fan_speed
from ..description.layout import Layout
from ..documents.names import names_in
from ..errors import InputError, UnknownName
from .table import OF_FANS, Reading, Readings, read_readings
from .unknowns import speed_addresses

ALL = "all"
"""What stands for all openings of all units among those taped shut."""


def blank(layout: Layout, name: str) -> list[str]:
    """The numbers that are zero while an opening is taped shut.

    Raises
    ------
    UnknownName, InputError
        For a name that is no part, or a part that cannot be taped.
    """
    if name not in layout.part:
        openings = [part.name for part in layout.parts if part.size]
        raise UnknownName.of("opening", name, openings, place="blanked")
    size = layout.part[name].size
    if not size:
        raise InputError(f"{name!r} cannot be taped shut", place="blanked", allowed="an opening or a leak")
    return [f"{name}.{size}"]


def readings_of(machine: MachineData, source: Any) -> Readings:
    """Readings from whatever `read_readings` takes, by the machine's own names.

    Raises
    ------
    InputError
        For readings that cannot be read, and names that the machine does not have.
    """
    found = read_readings(source)
    try:
        items = [with_engine_speed(machine, reading) for reading in found]
    except InputError as err:
        raise err.at(file=found.file) from None
    return Readings(named(machine.layout, items), found.seen, found.file, found.sha256, machine.measures)


def with_engine_speed(machine: MachineData, reading: Reading) -> Reading:
    """A reading with the engine speed that its fan speed means, by the machine's pulleys and slip.

    Raises
    ------
    InputError
        Where several drives turn fans: which fan's speed it is nobody knows.
    """
    if reading.fan_speed is None or reading.engine_speed is not None:
        return reading
    turning = dict.fromkeys(part.drive for part in machine.layout.parts if part.drive)
    if len(turning) > 1 or (turning and len(speed_addresses(machine.layout)) > 1):
        raise InputError(
            "a fan_speed does not say which fan's it is",
            place=f"line {reading.line}" if reading.line else "reading",
            allowed="engine_speed, where several drives turn the fans",
        )
    ratio = 1.0
    for drive in turning:
        number_keys = ("driving_pulley", "driven_pulley", "slip")
        ratio = float(
            fan_speed(1.0, *(machine.numbers[f"{drive}.{number_key}"] for number_key in number_keys))
        )
    if not ratio > 0.0:
        raise InputError("the drive does not turn the fans", place="reading", allowed="engine_speed")
    return replace(reading, engine_speed=reading.fan_speed / ratio)


def named(layout: Layout, readings: Iterable[Reading]) -> tuple[Reading, ...]:
    """The readings with their names as the machine has them.

    A plus or a minus may be part of a name, or stand between two. The machine's own names win: what is one of
    them stays as it is; else a text is taken apart at its signs, each time into the longest name there is.

    Raises
    ------
    InputError
        For a tapping, fan or opening that the machine does not have, with the reading's line.
    """
    turning = [p.name for p in layout.parts if "speed" in p.schema.part.declared]
    several = not layout.drives and len(speed_addresses(layout)) > 1
    out = []
    for reading in readings:
        place = f"line {reading.line}" if reading.line else "reading"
        if several and reading.engine_speed is not None:
            raise InputError(
                "an engine speed says nothing of several fans without a drive",
                place=place,
                allowed="a drive for the fans, or no engine speed",
            )
        of_fan = reading.quantity in OF_FANS
        known = turning if of_fan else list(layout.tapping)
        whole = f"{reading.tapping} - {reading.minus}"
        if reading.minus and whole in known and not {reading.tapping, reading.minus} <= set(known):
            reading = replace(reading, tapping=whole, minus="")
        for name in filter(None, (reading.tapping, reading.minus)):
            if not known:
                raise InputError(
                    f"there is no {'fan' if of_fan else 'tapping'} for the reading {name!r}",
                    place=place,
                    allowed="a machine with a fan"
                    if of_fan
                    else "a machine with tappings; a network has none",
                )
            if name not in known:
                raise UnknownName.of("fan" if of_fan else "tapping", name, known, place=place)
        try:
            out.append(taped(layout, reading))
        except InputError as err:
            raise err.at(place=place) from None
    return tuple(out)


def taped(layout: Layout, reading: Reading) -> Reading:
    """The reading with its blanked openings by the machine's own names; see `named`."""
    blanked = names_in(_matched(layout, reading.blanked), layout.part)
    for name in blanked:
        blank(layout, name)
    return reading if blanked == reading.blanked else replace(reading, blanked=blanked)


def _matched(layout: Layout, texts: Sequence[str]) -> tuple[str, ...]:
    """Names for `all` (every unit's openings) and for patterns; a name of the machine stays itself.

    Raises
    ------
    UnknownName
        For a pattern that no opening or leak matches.
    """
    out: list[str] = []
    for text in texts:
        if text.casefold() == ALL and text not in layout.part:
            found = [name for unit in layout.units for name in unit.openings]
            known = [part.name for part in layout.parts if part.kind.sizes and not part.kind.is_leak]
            out += found or known
        elif "*" in text:
            known = [part.name for part in layout.parts if part.size]
            for one in re.split(r"\s+\+\s+", text):
                like = re.compile(re.escape(one).replace(r"\*", ".*"))
                found = [name for name in known if like.fullmatch(name)]
                if not found:
                    raise UnknownName.of("opening", one, known, place="blanked")
                out += found
        else:
            out.append(text)
    return tuple(dict.fromkeys(out))
