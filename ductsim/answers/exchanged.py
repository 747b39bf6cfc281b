"""Parts of several units that are alike by their names, and those that seem exchanged."""

from __future__ import annotations

import re
from collections.abc import Iterable

from ..description.layout import Layout
from ..result import Note

SIDES = re.compile(r"\b(left|right|front|rear|upper|lower|inner|outer)\b")


def general(layout: Layout, owner: str) -> str:
    """The name with "*" for the unit in it, or "<" for the side."""
    for unit in layout.units:
        name, found = re.subn(rf"(?<!\w){re.escape(unit.name)}(?!\w)", "*", owner)
        if found:
            return name
    return SIDES.sub("<", owner)


def exchanged(layout: Layout) -> list[Note]:
    """Parts and units that are connected with the things of another unit than their name says.

    Only where every other unit's part of that name is connected with its own.
    """
    names = [unit.name for unit in layout.units]
    links: dict[tuple[str, str, int], list[tuple[str, str, str]]] = {}
    objects = [(part.name, part.ends) for part in layout.parts]
    objects += [(tap.name, (tap.path,)) for tap in layout.tappings]
    objects += [(f"unit {u.name}", (u.vacuum_at, u.duct, *u.openings)) for u in layout.units]
    for owner, ends in objects:
        own = _unit_in(owner, names)
        for place, end in enumerate(ends):
            other = _unit_in(end, names)
            if own and other:
                key = (general(layout, owner), general(layout, end), place)
                links.setdefault(key, []).append((owner, end, own if own == other else ""))
    out = []
    for group in links.values():
        wrong = [(owner, end) for owner, end, own in group if not own]
        if len(group) == len(names) > 2 and 0 < len(wrong) <= 2:
            out += [
                Note(f"{owner} is connected with {end}, those of the other units with their own.",
                     "exchanged", owner)
                for owner, end in wrong
            ]  # fmt: skip
    return out


def _unit_in(name: str, units: Iterable[str]) -> str:
    return next((u for u in units if re.search(rf"(?<!\w){re.escape(u)}(?!\w)", name)), "")
