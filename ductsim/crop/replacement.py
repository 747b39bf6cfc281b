"""Other parts at the same ends: a machine with a new layout."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from ..arguments import mapping, one_of
from ..description.checks import check_layout
from ..description.data import M
from ..description.layout import PartEntry
from ..errors import InputError, shown
from ..parts.declare import Part
from .crop import with_crop, without_crop


def replace(machine: M, parts: Mapping[str, Part]) -> M:
    """The machine with some of its parts replaced, each keeping its name, its nodes and its drive.

    Raises
    ------
    InputError
        For an unknown name, something that is no part, and connections that differ.
    """
    mapping(parts, "replace", "name of a part -> the part that takes its place")
    if machine.carries:
        return with_crop(replace(without_crop(machine), parts))
    layout = machine.layout
    entries = {part.name: part for part in layout.parts}
    numbers: dict[str, Any] = {}
    for name, new in parts.items():
        one_of(name, entries, "replace", "part")
        entry = entries[name]
        if isinstance(new, Part) and layout.free_ends:
            new = new.placed(entry.ends, layout.open_nodes)
        entries[name] = _entry(entry, new)
        numbers.update({f"{name}.{number_key}": value for number_key, value in new.numbers().items()})
    made = dataclasses.replace(layout, parts=tuple(entries.values()))
    check_layout(made)
    kept = {a: v for a, v in machine.numbers.items() if a in made.declared}
    given = {a for a in machine.given if a in made.declared} | (numbers.keys() & made.declared.keys())
    return machine.rebuilt({**kept, **numbers}, layout=made, given=frozenset(given))


def _entry(old: PartEntry, new: Any) -> PartEntry:
    place = f"replace, {old.name!r}"
    if not isinstance(new, Part):
        raise InputError(f"{shown(new)} is not a part", place=place, allowed="a part, like ds.Hose(...)")
    kind: Any = old.schema.part
    if new.ends != kind.ends:
        raise InputError(
            f"the kind {new.kind!r} has the ends {', '.join(new.ends)}, not {', '.join(kind.ends)}",
            place=place,
            allowed="a part with the same ends",
        )
    drive = old.drive if new.is_fan else ""
    return PartEntry(old.name, new.schema, old.ends, drive, old.note)
