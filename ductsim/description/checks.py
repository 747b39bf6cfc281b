"""Checks of a whole layout: closed-off or misspelt nodes, units that lead nowhere, names used twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from ..documents.document import unique
from ..errors import InputError, UnknownName, nearest_name
from ..network.system import OUTSIDE
from ..parts.declare import Part
from .layout import Layout, PartEntry


def check_layout(layout: Layout) -> None:
    """Everything that can be wrong with a layout as a whole.

    Raises
    ------
    InputError
        For the first thing found, with its place.
    """
    if not layout.parts:
        raise InputError(
            "there is no part", place="part", allowed="write a [[part]] for each part of the air path"
        )
    names = [d.name for d in layout.drives] + [p.name for p in layout.parts]
    unique(names + [t.name for t in layout.tappings], "part, drive or tapping")
    unique([u.name for u in layout.units], "unit")
    _check_given_nodes(layout)
    _check_closed_off(layout)
    _check_tappings(layout)
    for unit in layout.units:
        _check_unit(layout, unit.name)


def _check_given_nodes(layout: Layout) -> None:
    """A held or supplied node, and a box, must exist, and not be the open air."""
    nodes = {end for part in layout.parts for end in part.ends}
    unique(layout.boxes, "boxes")
    for node in layout.boxes:
        if node not in nodes - {OUTSIDE}:
            raise UnknownName.of("node", node, nodes - {OUTSIDE}, place="boxes")
    for what, given in (("hold", layout.held), ("supply", layout.supplied)):
        for node, _ in given:
            if node not in nodes:
                raise UnknownName.of("node", node, nodes - {OUTSIDE}, place=what)
    both = {node for node, _ in layout.held} & {node for node, _ in layout.supplied}
    for node in both:
        raise InputError(
            f"the node {node!r} has a pressure and a supply", place="supply", allowed="one of the two"
        )


def _check_closed_off(layout: Layout) -> None:
    """A node that only one part's end touches is closed off: nearly always a misspelt name."""
    count = Counter(end for part in layout.parts for end in part.ends)
    given = {OUTSIDE, *(n for n, _ in layout.held), *(n for n, _ in layout.supplied)}
    for part in layout.parts:
        for word, node in zip(part_ends(part), part.ends, strict=True):
            if count[node] == 1 and node not in given:
                others = [n for n in count if n != node and n not in part.ends]
                raise UnknownName(
                    f"no other part is at the node {node!r}, so it is closed off",
                    place=f"part {part.name!r}, {word}",
                    nearest=nearest_name(node, others),
                )
    reached = _reached(layout.parts, {OUTSIDE, *(n for n, _ in layout.held)})
    for part in layout.parts:
        for word, node in zip(part_ends(part), part.ends, strict=True):
            if node not in reached:
                raise InputError(
                    f"the node {node!r} has no path to outside",
                    place=f"part {part.name!r}, {word}",
                    allowed="every node needs a way to outside, or to a node whose pressure is given",
                )


def part_ends(part: PartEntry) -> tuple[str, ...]:
    """The words of a part's ends."""
    kind = part.schema.part
    return kind.ends if issubclass(kind, Part) else ()


def _reached(parts: Iterable[PartEntry], start: set[str]) -> set[str]:
    """All nodes that parts connect with the nodes in `start`, through any part in any direction."""
    beside: dict[str, set[str]] = {}
    for part in parts:
        for end in part.ends:
            beside.setdefault(end, set()).update(part.ends)
    reached, front = set(start), list(start)
    while front:
        for node in beside.get(front.pop(), ()):
            if node not in reached:
                reached.add(node)
                # the open air ends a path: what lies beyond it is another path
                if node != OUTSIDE:
                    front.append(node)
    return reached


def _check_tappings(layout: Layout) -> None:
    for tapping in layout.tappings:
        place = f"tapping {tapping.name!r}"
        if tapping.path not in layout.part:
            raise UnknownName.of("part", tapping.path, layout.part, place=f"{place}, path")
        words = part_ends(layout.part[tapping.path])
        if tapping.end not in words:
            raise UnknownName.of("end", tapping.end, words, place=f"{place}, end of {tapping.path!r}")
        if layout.end_node(tapping.path, tapping.end) == OUTSIDE:
            raise InputError(
                "sits in the open air, where a manometer reads nothing",
                place=place,
                allowed="an end inside the machine",
            )


def _check_unit(layout: Layout, name: str) -> None:
    """A unit's tapping, duct and openings exist, and its crop has a way: openings, duct, outside."""
    unit = layout.unit[name]
    place = f"unit {name!r}"
    if unit.vacuum_at not in layout.tapping:
        raise UnknownName.of("tapping", unit.vacuum_at, layout.tapping, place=f"{place}, vacuum_at")
    for key, parts in (("duct", (unit.duct,)), ("openings", unit.openings)):
        for part in parts:
            if part not in layout.part:
                raise UnknownName.of("part", part, layout.part, place=f"{place}, {key}")
            if len(layout.path_keys(part)) > 1:
                raise InputError(
                    f"{part!r} has several paths", place=f"{place}, {key}", allowed="a part with one path"
                )
    if not unit.openings:
        raise InputError(
            "has no openings", place=place, allowed="openings = [names of the parts the crop enters by]"
        )
    crop_ways = {part for other in layout.units for part in (other.duct, *other.openings)}
    beyond = [part for part in layout.parts if part.name not in crop_ways]
    others = [part for part in layout.parts if part.name != unit.duct]
    first, last = layout.part[unit.duct].ends
    if not {OUTSIDE, *(node for node, _ in layout.held)} & _reached(beyond, {last}):
        raise InputError(
            f"has no path to outside: none leads there from {last!r}, where its duct {unit.duct!r} ends",
            place=place,
        )
    before = _reached(others, {first})
    for opening in unit.openings:
        inner = [end for end in layout.part[opening].ends if end != OUTSIDE]
        if not any(end in before for end in inner):
            raise InputError(f"its opening {opening!r} does not lead to its duct {unit.duct!r}", place=place)
