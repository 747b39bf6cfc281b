"""Which numbers of a machine are uncertain, and what is believed of each before anything is read."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..description.data import M, MachineData
from ..description.layout import Layout
from ..description.spreads import spread_of
from ..errors import InputError, shown
from ..inference.scales import Scale, Scales
from ..quantity import single

# A leak may be shut, or several times what is expected of it. Our assumption.
HIGHEST = 4.0
LIKELY_SHARE, HIGHEST_SHARE = 0.05, 0.40


@dataclass(frozen=True)
class Unknown:
    """A number to be found, and what is believed of it beforehand.

    Attributes
    ----------
    address : str
    low, likely, high : float
        2.5 % lie below `low`, half below `likely`, 2.5 % above `high`, in SI.
    """

    address: str
    low: float
    likely: float
    high: float

    def scale(self, layout: Layout) -> Scale:
        """The number as a function of a standard normal coordinate."""
        declared = layout.declaration(self.address)
        scale = Scale.three_points(self.low, self.likely, self.high, max(declared.low, 0.0))
        return Scale(scale.kind, scale.centre, scale.width, scale.power, scale.low, declared.high)


def leak_sizes(layout: Layout) -> list[str]:
    """The address that says how large each leak is."""
    return [f"{part.name}.{part.size}" for part in layout.parts if part.kind.is_leak and part.size]


def fan_faults(layout: Layout) -> list[str]:
    """What makes a fan weak and cleaning mends: the blinded share of a screen, soiled or worn blades."""
    parts = sorted(layout.parts, key=lambda part: part.kind.is_fan)
    return [
        f"{part.name}.{number_key}"
        for part in parts
        for number_key in part.kind.faults
        if part.kind.work_on.get(number_key, part.kind.work) == "clean"
        and f"{part.name}.{number_key}" in layout.declared
    ]


def _is_fault(layout: Layout, address: str) -> bool:
    """Whether a number is a share that dirt, wear or damage raise."""
    name, _, number_key = address.partition(".")
    return name in layout.part and number_key in layout.part[name].kind.faults


def assumed(machine: MachineData, address: str) -> Unknown:
    """What is believed of a number of which nothing was said: zero to several times what the machine has."""
    value = float(np.median(machine.numbers[address]))
    declared = machine.layout.declaration(address)
    if _is_fault(machine.layout, address):
        likely = value if value > 0.0 else LIKELY_SHARE
        return Unknown(address, 0.0, likely, max(HIGHEST_SHARE, 2.0 * likely))
    if value <= 0.0:
        raise InputError(
            f"{address} is {value:g}: how large may it be?",
            place="unknown",
            allowed="give low, likely and high",
        )
    if address in leak_sizes(machine.layout):
        return Unknown(address, 0.0, value, HIGHEST * value)
    spread = max(spread_of(machine, address), 0.05)
    high = min(value * math.exp(2.0 * spread), declared.high if declared.high > value else math.inf)
    return Unknown(address, value * value / high, value, high)


def unknowns_of(machine: MachineData, asked: Any = None) -> list[Unknown]:
    """The unknowns of a call, else of the file's `[[unknown]]` tables, else every leak.

    Parameters
    ----------
    machine : MachineData
        Whose numbers they are.
    asked : None, list of addresses or patterns, or mapping
        A mapping gives (low, likely, high) or None for each address or pattern.

    Raises
    ------
    InputError
        For unknown addresses (UnknownName), and values that do not rise or are no quantities.
    """
    layout = machine.layout
    scales = [address for address in layout.declared if address.endswith(".pressure_scale")]
    if asked is None:
        stated = layout.free.get("unknown")
        if stated:
            named = {address for entry in stated for address in layout.expand(entry["number"])}
            asked = [*stated, *({"number": scale} for scale in scales if scale not in named)]
        else:
            asked = [*leak_sizes(layout), *scales]
        if not asked:
            raise InputError(
                "nothing is unknown", place="unknowns", allowed="name the numbers, as in 'hatch leak *.area'"
            )
    entries = _entries([asked] if isinstance(asked, str) else asked)
    out: dict[str, Unknown] = {}
    for pattern, values in entries:
        try:
            addresses = layout.expand(pattern)
        except InputError as err:
            raise err.at(place="unknown") from None
        for address in addresses:
            if address in out:
                raise InputError(f"{address} is named twice", place="unknown", allowed="each number once")
            out[address] = _one(machine, address, values)
    return list(out.values())


def _entries(asked: Any) -> list[tuple[str, Mapping[str, Any]]]:
    """(pattern, values) from a list of names, of file tables, or from a mapping."""
    if isinstance(asked, Mapping):
        pairs: Iterable[tuple[Any, Any]] = asked.items()
    elif isinstance(asked, Iterable):
        pairs = [(item.get("number"), item) if isinstance(item, Mapping) else (item, None) for item in asked]
    else:
        raise InputError(f"{shown(asked)} names no numbers", place="unknowns", allowed="a list of addresses")
    out: list[tuple[str, Mapping[str, Any]]] = []
    for pattern, values in pairs:
        if values is not None and not isinstance(values, Mapping):
            if isinstance(values, str) or not isinstance(values, Iterable) or len(list(values)) != 3:
                raise InputError(
                    f"{shown(values)} is no range", place=f"unknown {pattern}", allowed="(low, likely, high)"
                )
            values = dict(zip(("low", "likely", "high"), values, strict=True))
        out.append((str(pattern), dict(values or {})))
    return out


def _one(machine: MachineData, address: str, values: Mapping[str, Any]) -> Unknown:
    place = f"unknown {address}"
    measure = machine.layout.declaration(address).measure
    numbers = {}
    for key in ("low", "likely", "high"):
        if key in values:
            try:
                numbers[key] = single(values[key], measure)
            except InputError as err:
                raise err.at(place=f"{place}, {key}") from None
    if not numbers:
        return assumed(machine, address)
    likely = numbers.get("likely", float(np.median(machine.numbers[address])))
    low, high = numbers.get("low", 0.0), numbers.get("high", HIGHEST * likely)
    if not 0.0 <= low < likely < high:
        raise InputError(
            f"low {low:g}, likely {likely:g} and high {high:g} do not rise from zero",
            place=place,
            allowed="0 <= low < likely < high",
        )
    return Unknown(address, low, likely, high)


def default_scale(machine: MachineData, name: str) -> Scale:
    """What is believed of a number that is no unknown: its value within its usual spread.

    For a curve ("left fan.total_pressure") it is the factor on all of its points, which keep their shape.
    """
    address = next(a for a in members(machine.layout, name))
    declared = machine.layout.declaration(address)
    spread = spread_of(machine, address)
    if address != name:
        return Scale.about(1.0, spread, 0.0, math.inf)
    return Scale.about(float(np.median(machine.numbers[address])), spread, declared.low, declared.high)


def members(layout: Layout, name: str) -> list[str]:
    """The addresses that a coordinate moves: the one of its name, or all points of a curve."""
    if name in layout.declared:
        return [name]
    return [address for address in layout.declared if address.startswith(f"{name}[")]


def speed_addresses(layout: Layout) -> list[str]:
    """What an engine speed sets: every drive, or the fans that no drive turns where there is none."""
    drives = [f"{drive.name}.engine_speed" for drive in layout.drives]
    if drives:
        return drives
    return [f"{name}.speed" for name in layout.fans]


def usual_speed(machine: MachineData) -> float | None:
    """The machine's own value of what readings call engine speed [rad/s]; None without fans."""
    addresses = speed_addresses(machine.layout)
    return float(np.median(machine.numbers[addresses[0]])) if addresses else None


def nuisances(machine: MachineData, unknowns: Iterable[str]) -> list[str]:
    """Every other uncertain number, points of a curve as one.

    Engine speeds belong to the readings, and what they are taken without, the crop, is told by none of them.
    """
    skip = {*unknowns, *speed_addresses(machine.layout)}
    out = [
        address.partition("[")[0]
        for address, value in machine.numbers.items()
        if address not in skip
        and not address.startswith("crop.")
        and spread_of(machine, address) > 0.0
        and np.median(value) != 0.0
    ]
    return list(dict.fromkeys(out))


def possible(machine: M, count: int, rng: np.random.Generator) -> M:
    """`count` machines as columns, every uncertain number off by its usual spread."""
    names = nuisances(machine, [])
    scales = Scales([default_scale(machine, name) for name in names])
    values = scales.values(rng.standard_normal((len(names), count)))
    numbers: dict[str, Any] = dict(machine.numbers)
    for name, value in zip(names, values, strict=True):
        for address in members(machine.layout, name):
            numbers[address] = value if address == name else machine.numbers[address] * value
    return machine.rebuilt(numbers)
