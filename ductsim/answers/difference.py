"""What differs between two machines: numbers at an address, and parts, tappings, units that came or went."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..description.data import MachineData
from ..description.layout import Layout
from ..quantity import suited
from ..result import Result, Row
from ..statistics import middle
from ..wording import listed, said

MOST_SAID = 3
"""How many numbers and how many things the sentences name; the tables have all."""


@dataclass(frozen=True)
class Changed:
    """A number that differs.

    Attributes
    ----------
    address, measure : str
    first, second : float, array or None
        In SI; None where that machine has no such number.
    """

    address: str
    measure: str
    first: Any
    second: Any


@dataclass(frozen=True)
class Named:
    """A named thing that only one of the machines has, or that is another one in each.

    Attributes
    ----------
    what, name : str
        "part" and its name, "unit", "tapping", "drive", "held node", "supply", "table" (the crop's).
    how : str
        "added", "gone", or in what it differs.
    """

    what: str
    name: str
    how: str


@dataclass(repr=False, eq=False)
class Difference(Result):
    """What it takes to get from a first machine to a second; made by `Machine.diff`.

    Attributes
    ----------
    numbers : tuple of Changed
        In the order of the addresses. The numbers of things that came or went are not among them.
    elements : tuple of Named
    measures : str
        "metric" or "inch", as of the second machine.
    """

    numbers: tuple[Changed, ...]
    elements: tuple[Named, ...]
    measures: str = "metric"

    def __bool__(self) -> bool:
        return bool(self.numbers or self.elements)


def tables(found: Difference) -> dict[str, list[Row]]:
    """The numbers that differ, in SI, a column as its median; and the things."""
    rows = [
        {
            "address": one.address,
            "first": _single(one.first),
            "second": _single(one.second),
            "measure": one.measure,
            "ratio": _ratio(one),
        }
        for one in found.numbers
    ]
    return {
        "numbers": rows,
        "things": [{"what": one.what, "name": one.name, "how": one.how} for one in found.elements],
    }


def about(found: Difference) -> str:
    """How much differs."""
    return f"{len(found.numbers)} numbers, {len(found.elements)} named things" if found else "none"


def sentences(found: Difference, measures: str) -> list[str]:
    """How many numbers differ, the first of them, and the things that came or went."""
    if not found:
        return ["The two machines have the same parts and the same numbers."]
    out = []
    if found.numbers:
        some = "; ".join(_told(one, measures) for one in found.numbers[:MOST_SAID])
        rest = len(found.numbers) - MOST_SAID
        more = f"; and {rest} more" if rest > 0 else ""
        verb = "numbers differ" if len(found.numbers) > 1 else "number differs"
        out.append(f"{len(found.numbers)} {verb}: {some}{more}.")
    for how in dict.fromkeys(one.how for one in found.elements):
        names = [f"{one.what} {one.name!r}" for one in found.elements if one.how == how]
        others = [f"{len(names) - MOST_SAID} more"] if len(names) > MOST_SAID else []
        out.append(f"{how.capitalize()}: {listed(names[:MOST_SAID] + others)}.")
    return out


def difference(first: MachineData, second: MachineData) -> Difference:
    """What differs between two machines, by the names of their parts and the addresses of their numbers."""
    elements = tuple(_elements(first.layout, second.layout))
    own = {name for _, name in _named(first.layout)}
    both = (own & {name for _, name in _named(second.layout)}) | {"air"}
    numbers = []
    for address in dict.fromkeys([*first.numbers, *second.numbers]):
        one, other = first.numbers.get(address), second.numbers.get(address)
        if address.split(".")[0] in both and not _same(one, other):
            layout = first.layout if address in first.layout.declared else second.layout
            numbers.append(Changed(address, layout.declared[address].measure, one, other))
    return Difference(tuple(numbers), elements, second.measures)


def _same(one: Any, other: Any) -> bool:
    return (one is None) == (other is None) and np.array_equal(one, other)


def _named(layout: Layout) -> dict[tuple[str, str], Any]:
    """(what, name) of everything in a layout, and what it is besides its numbers."""
    out: dict[tuple[str, str], Any] = {("drive", d.name): {"kind": d.schema.part.kind} for d in layout.drives}
    for p in layout.parts:
        out["part", p.name] = {"kind": p.schema.part.kind, "ends": p.ends, "drive": p.drive}
    for t in layout.tappings:
        out["tapping", t.name] = {"place": (t.path, t.end), "access": t.access}
    for u in layout.units:
        out["unit", u.name] = {"tapping": u.vacuum_at, "duct": u.duct, "openings": u.openings}
    out |= {("held node", node): {} for node, _ in layout.held}
    out |= {("supply", node): {} for node, _ in layout.supplied}
    if layout.crop is not None:
        out["table", "crop"] = {}
    return out


def _elements(first: Layout, second: Layout) -> Iterator[Named]:
    one, other = _named(first), _named(second)
    for key in dict.fromkeys([*one, *other]):
        if key not in other:
            yield Named(*key, "gone")
        elif key not in one:
            yield Named(*key, "added")
        else:
            words = [word for word in one[key] if one[key][word] != other[key][word]]
            if words:
                yield Named(*key, f"with another {' and '.join(words)}")


def _single(value: Any) -> Any:
    return middle(value) if isinstance(value, np.ndarray) else value


def _ratio(one: Changed) -> float | None:
    first, second = _single(one.first), _single(one.second)
    return second / first if first and second is not None else None


def _told(one: Changed, measures: str) -> str:
    known = [abs(_single(value)) for value in (one.first, one.second) if value is not None]
    measure = suited(one.measure, max(known))
    first, second = (
        "none" if value is None else said(_single(value), measure, measures)
        for value in (one.first, one.second)
    )
    return f"{one.address} {first} -> {second}"
