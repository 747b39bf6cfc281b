"""Checks of a whole layout: closed-off or misspelt nodes, units that lead nowhere, names used twice."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from ..documents.document import unique
from ..errors import InputError, Problems, UnknownName, nearest_name
from ..network.groups import OUTSIDE
from ..parts.declare import Part
from .layout import Layout, PartEntry, Tapping

OPEN_AIR = frozenset(("outside", "atmosphere", "ambient", "open air", "outdoors", "outside air", "free air"))
"""What people call the open air."""
NEARLY_OUTSIDE = 0.85  # of its letters in their order, but for a slip: "oustide" has 0.857, "inside" 0.77


def check_layout(layout: Layout, whole: bool = True, tapped: bool = True) -> None:
    """Everything that can be wrong with a layout as a whole.

    Parameters
    ----------
    layout : Layout
        Of what could be read.
    whole, tapped : bool
        Whether all its parts, and all its tappings, could be: else what hangs on the others is not looked at.

    Raises
    ------
    InputError
        For all that is wrong with nodes, tappings and units; its key is "part", "tapping" or "unit", the
        name, and the key there. What of a unit follows from a node that is wrong is left out.
    """
    if not layout.parts:
        raise InputError(
            "there is no part", place="part", allowed="write a [[part]] for each part of the air path"
        )
    names = [d.name for d in layout.drives] + [p.name for p in layout.parts]
    found = Problems()
    with found.noting():
        unique([p.name for p in layout.parts], "part")
        unique(names, "part or drive")
        unique([t.name for t in layout.tappings], "tapping")
    for tapping in layout.tappings:
        with found.noting("tapping", tapping.name, "name"):
            if tapping.name in names:
                raise InputError(
                    f"a part or a drive has the name {tapping.name!r} too",
                    place=f"tapping {tapping.name!r}",
                    allowed=f"another name, as in {f'gauge {tapping.name}'!r}: numbers are called by it",
                )
    with found.noting():
        unique([u.name for u in layout.units], "unit")
    if not whole:
        found.refuse()
        return
    for check in (_check_given_nodes, _check_closed_off, _check_tappings):
        with found.noting():
            check(layout)
    sound = not found.found
    for unit in layout.units:
        before = len(found.found)
        with found.noting("unit", unit.name):
            _check_names(layout, unit.name, tapped)
        if sound and len(found.found) == before:
            with found.noting("unit", unit.name):
                _check_ways(layout, unit.name)
    found.refuse()


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


def _means_outside(node: str) -> bool:
    """Whether a node is probably the open air by another name or misspelt: no place within is called so."""
    name = node.casefold()
    if name in OPEN_AIR:
        return True
    if abs(len(name) - len(OUTSIDE)) > 1 or not name.isalpha():  # "outside 2" is a name of its own
        return False
    from difflib import SequenceMatcher

    return SequenceMatcher(None, name, OUTSIDE).ratio() >= NEARLY_OUTSIDE


def _check_closed_off(layout: Layout) -> None:
    """A node that only one part's end touches is closed off: nearly always a misspelt name."""
    count = Counter(end for part in layout.parts for end in part.ends)
    given = {OUTSIDE, *(n for n, _ in layout.held), *(n for n, _ in layout.supplied)}
    found = Problems()
    for part in layout.parts:
        for word, node in zip(part_ends(part), part.ends, strict=True):
            if node not in given and _means_outside(node):
                with found.noting("part", part.name, word):
                    place = f"part {part.name!r}, {word}"
                    raise UnknownName(f"the open air is not called {node!r}", place=place, nearest=OUTSIDE)
            elif count[node] == 1 and node not in given:
                others = [n for n in count if n != node and n not in part.ends]
                near = nearest_name(node, others)
                with found.noting("part", part.name, word):
                    raise UnknownName(
                        f"no other part is at the node {node!r}, so it is closed off",
                        place=f"part {part.name!r}, {word}",
                        allowed="" if near else "a node joins parts; the open air is called 'outside'",
                        nearest=near,
                    )
    found.refuse()
    reached = _reached(layout.parts, {OUTSIDE, *(n for n, _ in layout.held)})
    for part in layout.parts:
        for word, node in zip(part_ends(part), part.ends, strict=True):
            if node not in reached:
                raise InputError(
                    f"the node {node!r} has no path to outside",
                    place=f"part {part.name!r}, {word}",
                    key=("part", part.name, word),
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
    found = Problems()
    for tapping in layout.tappings:
        with found.noting("tapping", tapping.name):
            _check_tapping(layout, tapping)
    found.refuse()


def _check_tapping(layout: Layout, tapping: Tapping) -> None:
    place = f"tapping {tapping.name!r}"
    if tapping.path not in layout.part:
        raise UnknownName.of("part", tapping.path, layout.part, place=f"{place}, path").at(key=("path",))
    words = part_ends(layout.part[tapping.path])
    if tapping.end not in words:
        raise UnknownName.of("end", tapping.end, words, place=f"{place}, end of {tapping.path!r}").at(
            key=("end",)
        )
    if layout.end_node(tapping.path, tapping.end) == OUTSIDE:
        raise InputError(
            "sits in the open air, where a manometer reads nothing",
            place=place,
            allowed="an end inside the machine",
        )


def _check_names(layout: Layout, name: str, tapped: bool) -> None:
    """A unit's tapping, duct and openings exist."""
    unit = layout.unit[name]
    place = f"unit {name!r}"
    found = Problems()
    with found.noting("vacuum_at"):
        if tapped and not layout.tappings:
            raise UnknownName(
                f"unknown tapping {unit.vacuum_at!r}: there is none",
                place=f"{place}, vacuum_at",
                allowed="write a [[tapping]] for each gauge: its name, the part (path) and end it sits on",
            )
        if tapped and unit.vacuum_at not in layout.tapping:
            raise UnknownName.of("tapping", unit.vacuum_at, layout.tapping, place=f"{place}, vacuum_at")
    for key, parts in (("duct", (unit.duct,)), ("openings", unit.openings)):
        for part in parts:
            with found.noting(key):
                if part not in layout.part:
                    raise UnknownName.of("part", part, layout.part, place=f"{place}, {key}")
                if len(layout.part[part].kind.path_names) > 1:
                    raise InputError(
                        f"{part!r} has several paths", place=f"{place}, {key}", allowed="a part with one path"
                    )
    with found.noting():
        if not unit.openings:
            raise InputError(
                "has no openings", place=place, allowed="openings = [names of the parts the crop enters by]"
            )
    found.refuse()


def _check_ways(layout: Layout, name: str) -> None:
    """A unit's crop has a way: openings, duct, outside."""
    unit = layout.unit[name]
    place = f"unit {name!r}"
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
