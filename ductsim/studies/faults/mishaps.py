"""The usual mishaps of a machine: which of its numbers each would change, and where it would open holes.

Holes are leaks that stand ready, shut, at every node that a mishap can open, so that all mishaps are
numbers of one layout. Only a fan that loses its drive while others keep theirs needs a layout of its own.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from ...crop.crop import with_crop, without_crop
from ...description.data import M, MachineData
from ...description.layout import Layout, PartEntry
from ...network.groups import OUTSIDE
from ...parts.declare import Mishap
from ...parts.leak import Leak
from ...questions.gauges import stacked_path

DOOR = 1.0
"""What an open door leaves open, over the unit's crop openings together [-]; our assumption."""
LATCH = 0.2
"""The same of a door whose latch is open, but which hangs in place; our assumption."""
OPEN_END = 1.5
"""Loss on the velocity in an open end: half of it going in, all of it coming out (Borda-Carnot and a
sharp-edged entrance, textbook values)."""
SHARP = 0.61
"""Discharge coefficient of a hole with sharp edges, as of a leak by its area."""
OPEN_COEFFICIENT = OPEN_END**-0.5
"""The same of an open end."""


@dataclass(frozen=True)
class Case:
    """One mishap of a machine.

    Attributes
    ----------
    kind : str
        What happens to what kind of thing: "hose is plugged".
    words, sign : str
        What has happened, and what someone near sees or hears of it.
    parts : tuple of str
    numbers : mapping
        Address -> value, in SI.
    holes : mapping
        Node -> (area [m2], discharge coefficient) of a hole to the outside that it opens.
    free : str
        The fan that has lost its drive; empty where none has.
    """

    kind: str
    words: str
    sign: str
    parts: tuple[str, ...]
    numbers: dict[str, float] = field(default_factory=dict)
    holes: dict[str, tuple[float, float]] = field(default_factory=dict)
    free: str = ""


def cases(machine: MachineData) -> list[Case]:
    """Every mishap that can make a machine (with single numbers) worse, in the order of its parts."""
    plain = without_crop(machine)
    own = [_of_part(plain, entry, what) for entry in plain.layout.parts for what in entry.kind.mishaps]
    found = [case for case in own if case is not None]
    return [*found, *_doors(plain), *_exchanged(plain)]


def _of_part(machine: MachineData, entry: PartEntry, what: Mishap) -> Case | None:
    """A mishap of a part; None where it changes nothing, or the part is as bad already."""
    name, kind = entry.name, entry.kind
    about = f"{kind.kind} {what.words}", f"{name} {what.words}", what.sign, (name,)
    if kind.is_fan and entry.drive and "speed" in what.numbers:
        return Case(*about, {f"{name}.speed": what.numbers["speed"]}, free=name)
    numbers = {}
    for number_key, value in what.numbers.items():
        today = machine.numbers.get(f"{name}.{number_key}")
        if today is not None and (today < value if number_key in kind.faults else today != value):
            numbers[f"{name}.{number_key}"] = value
    holes = {}
    if what.opens or (what.comes_off and numbers):
        size = (_section(machine, name), OPEN_COEFFICIENT) if what.comes_off else (what.opens, SHARP)
        holes = {node: size for node in entry.ends if node != OUTSIDE}
    return Case(*about, numbers, holes) if numbers or holes else None


def _section(machine: MachineData, part: str) -> float:
    """The section of a part of one path [m2]; 0 where it is shut."""
    path = stacked_path(machine, part)
    return float(np.where(path.shut, 0.0, path.area).max())


def _doors(machine: MachineData) -> Iterator[Case]:
    """The door of each unit wide open, and with its latch open."""
    for unit in machine.layout.units:
        inner: dict[str, float] = {}
        for name in unit.openings:
            node = next((end for end in machine.layout.part[name].ends if end != OUTSIDE), "")
            if node:
                inner[node] = inner.get(node, 0.0) + _section(machine, name)
        for share, words, sign in (
            (DOOR, "stands open", "it stands open"),
            (LATCH, "has its latch open", "it rattles in its frame"),
        ):
            holes = {node: (share * area, SHARP) for node, area in inner.items() if area > 0.0}
            if holes:
                yield Case(
                    f"door {words}", f"the door of unit {unit.name} {words}", sign, unit.openings, {}, holes
                )


def _exchanged(machine: MachineData) -> Iterator[Case]:
    """Neighbours of one kind and form that are unlike, each where the other belongs."""
    look_alikes: dict[Any, list[str]] = {}
    for entry in machine.layout.parts:
        if entry.kind.mixed_up:
            look_alikes.setdefault(entry.schema, []).append(entry.name)
    for schema, names in look_alikes.items():
        for one, other in pairwise(names):
            numbers: dict[str, float] = {}
            for number_key in schema.number_keys:
                first, second = (machine.numbers[f"{name}.{number_key}"] for name in (one, other))
                if first != second:
                    numbers |= {f"{one}.{number_key}": second, f"{other}.{number_key}": first}
            if numbers:
                sign = "each sits where the other belongs"
                kind = f"{machine.layout.part[one].kind.kind} exchanged"
                yield Case(kind, f"{one} and {other} are exchanged", sign, (one, other), numbers)


# ---- layouts


def with_holes(machine: M, listed: list[Case]) -> tuple[M, dict[str, str]]:
    """The machine with a leak, shut, at each node that some case opens; and node -> that leak's name."""
    nodes = dict.fromkeys(node for case in listed for node in case.holes)
    taken = {name for name, _ in machine.layout.schemas()}
    shut = Leak(area=0.0)
    entries: list[PartEntry] = []
    numbers: dict[str, float] = {}
    names: dict[str, str] = {}
    for node in nodes:
        name = f"hole at {node}"[:180]
        while name in taken:
            name += "'"
        taken.add(name)
        names[node] = name
        entries.append(PartEntry(name, shut.schema, (OUTSIDE, node)))
        numbers |= {f"{name}.{number_key}": value for number_key, value in shut.numbers().items()}
    return _relaid(machine, entries, numbers), names


def without_drive(machine: M, case: Case) -> M:
    """The machine with a fan off its drive, at the speed that the case gives it."""
    entry = machine.layout.part[case.free]
    return _relaid(machine, [dataclasses.replace(entry, drive="")], case.numbers)


def _relaid(machine: M, entries: list[PartEntry], numbers: dict[str, float]) -> M:
    """The machine with some more parts, or others of the same name, and their numbers."""
    plain = without_crop(machine)
    layout: Layout = plain.layout
    parts = {part.name: part for part in (*layout.parts, *entries)}
    made = plain.rebuilt(
        {**plain.numbers, **numbers}, layout=dataclasses.replace(layout, parts=tuple(parts.values()))
    )
    return with_crop(made) if machine.carries else made
