"""Where everything of a machine stands in its drawing, worked out from which part leads air where.

Nodes and parts stand in columns, air going from left to right as the parts are declared; the open air is
no box of its own but an open end of every part that begins or ends there. The columns come from an integer
programme (shortest lines), the order within a column from the tree of the air's ways and, where they join
again, from sweeps that lessen crossings, the heights from a linear programme (smallest steps).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from ..machine.machine import Machine

Key = tuple[str, ...]  # ("node", name), ("part", name), ("line", start, finish, layer)

ROW = 1.0  # height of a part's row; the unit of all heights
SWEEPS = 24
GAP_BETWEEN_UNITS = 0.7
EDGE = 0.22  # how far a box reaches beyond its outermost line


@dataclass
class Spot:
    """One box, part or passing line of the drawing.

    Attributes
    ----------
    key : tuple
        What it is and its name.
    layer : int
        Column, from the left; boxes have even, parts odd numbers.
    y : float
        Height of its middle, downwards, in rows.
    before, after : list of keys
        Its neighbours to the left and to the right.
    from_outside, to_outside : int
        How many of its ends are in the open air.
    unit : str
        The only unit that it serves, or an empty text.
    top, bottom : float
        Extent of a box that spans its neighbours.
    """

    key: Key
    layer: int = 0
    y: float = 0.0
    before: list[Key] = field(default_factory=list)
    after: list[Key] = field(default_factory=list)
    from_outside: int = 0
    to_outside: int = 0
    unit: str = ""
    top: float = 0.0
    bottom: float = 0.0

    @property
    def name(self) -> str:
        """The name of the node or part."""
        return self.key[1]

    @property
    def kind(self) -> str:
        """The word "node", "part" or "line"."""
        return self.key[0]

    @property
    def height(self) -> float:
        """Room that it takes in its column, in rows."""
        if self.kind == "line":
            return 0.4
        crossing = max(len(self.before) + self.from_outside, len(self.after) + self.to_outside)
        return ROW if self.kind == "node" or crossing < 2 else 1.7 * ROW


@dataclass
class Plan:
    """The finished layout.

    Attributes
    ----------
    spots : mapping
        Key -> spot.
    columns : list of lists
        Keys in each column from top to bottom.
    """

    spots: dict[Key, Spot]
    columns: list[list[Key]]

    @property
    def rows(self) -> float:
        """Height of everything, in rows."""
        return max((s.y + 0.5 * s.height for s in self.spots.values()), default=1.0)

    @property
    def crossings(self) -> int:
        """How often two lines cross."""
        return _crossings(self.spots, self.columns)


def plan(machine: Machine) -> Plan:
    """The layout of a machine's air path."""
    spots = _spots(machine)
    _turn_rings(spots)
    _set_layers(spots)
    _break_long_lines(spots)
    units = _units(machine, spots)
    for key, unit in units.items():
        spots[key].unit = unit
    order = _tree_order(spots, machine)
    columns, as_tree = _ordered(spots, order)
    _set_heights(spots, columns, order if as_tree else None)
    _set_extents(spots, columns)
    return Plan(spots, columns)


# ---- the graph


def _spots(machine: Machine) -> dict[Key, Spot]:
    """A spot for every part and every node but the open air, joined as the paths run."""
    system = machine.system
    spots: dict[Key, Spot] = {}
    for part in machine.layout.parts:
        own = spots[("part", part.name)] = Spot(("part", part.name))
        rows = [system.rows[key] for key in machine.layout.path_keys(part.name)]
        starts = dict.fromkeys(system.nodes[system.start[row]] for row in rows)
        ends = dict.fromkeys(system.nodes[system.finish[row]] for row in rows)
        for node in starts:
            if node == "outside":
                own.from_outside += 1
            else:
                _join(spots, ("node", node), own.key)
        for node in ends:
            if node == "outside":
                own.to_outside += 1
            elif node not in starts:
                _join(spots, own.key, ("node", node))
    return spots


def _join(spots: dict[Key, Spot], start: Key, finish: Key) -> None:
    for key in (start, finish):
        spots.setdefault(key, Spot(key))
    spots[start].after.append(finish)
    spots[finish].before.append(start)


def _turn_rings(spots: dict[Key, Spot]) -> None:
    """Turn the lines that close a ring, so that everything runs to the right."""
    colour: dict[Key, int] = {}
    turn: list[tuple[Key, Key]] = []
    for root in sorted(spots, key=lambda k: bool(spots[k].before)):
        if root in colour:
            continue
        colour[root] = 1
        stack = [(root, iter(list(spots[root].after)))]
        while stack:
            key, rest = stack[-1]
            step = next(rest, None)
            if step is None:
                colour[key] = 2
                stack.pop()
            elif step not in colour:
                colour[step] = 1
                stack.append((step, iter(list(spots[step].after))))
            elif colour[step] == 1:
                turn.append((key, step))
    for start, finish in turn:
        spots[start].after.remove(finish)
        spots[finish].before.remove(start)
        _join(spots, finish, start)


def _set_layers(spots: dict[Key, Spot]) -> None:
    """Columns with the shortest lines: nodes at even, parts at odd ones.

    With k(node) = layer / 2 and j(part) = (layer - 1) / 2 every condition is a difference of two integers,
    so the linear programme has an integer answer.
    """
    from scipy.optimize import linprog
    from scipy.sparse import lil_matrix

    keys = list(spots)
    index = {key: i for i, key in enumerate(keys)}
    lines = [(a, b) for a in keys for b in spots[a].after]
    cost = np.zeros(len(keys))
    limits = lil_matrix((max(len(lines), 1), len(keys)))
    least = np.zeros(max(len(lines), 1))
    for row, (a, b) in enumerate(lines):
        cost[index[a]] -= 1.0
        cost[index[b]] += 1.0
        limits[row, index[a]], limits[row, index[b]] = 1.0, -1.0
        least[row] = 0.0 if a[0] == "node" else -1.0
    cost += 1e-4  # everything as far to the left as that leaves free
    found = linprog(cost, A_ub=limits.tocsr(), b_ub=least, bounds=(0.0, None), method="highs-ds")
    for key, value in zip(keys, np.rint(found.x).astype(int), strict=True):
        spots[key].layer = 2 * int(value) + (key[0] == "part")
    used = sorted({s.layer for s in spots.values()})
    first = used[0] - used[0] % 2
    for spot in spots.values():
        spot.layer -= first


def _break_long_lines(spots: dict[Key, Spot]) -> None:
    """A passing spot in every column that a line only crosses."""
    for start in list(spots):
        for finish in list(spots[start].after):
            low, high = spots[start].layer, spots[finish].layer
            if high - low == 1:
                continue
            spots[start].after.remove(finish)
            spots[finish].before.remove(start)
            last = start
            for layer in range(low + 1, high):
                key = ("line", start[1], finish[1], str(layer))
                while key in spots:  # two lines between the same two spots
                    key = (*key, "2")
                spots[key] = Spot(key, layer=layer)
                _join(spots, last, key)
                last = key
            _join(spots, last, finish)


# ---- which unit something serves


def _reach(spots: Mapping[Key, Spot], start: Key, forward: bool) -> set[Key]:
    seen, todo = {start}, [start]
    while todo:
        spot = spots[todo.pop()]
        for key in spot.after if forward else spot.before:
            if key not in seen:
                seen.add(key)
                todo.append(key)
    return seen


def _units(machine: Machine, spots: Mapping[Key, Spot]) -> dict[Key, str]:
    """What serves one unit only: all its air goes to that unit's duct or comes from its openings."""
    units = machine.layout.units
    if len(units) < 2:
        return {}
    serves: dict[Key, set[str]] = {}
    for unit in units:
        for name in dict.fromkeys((unit.duct, *unit.openings)):
            seed = ("part", name)
            for key in _reach(spots, seed, True) | _reach(spots, seed, False):
                serves.setdefault(key, set()).add(unit.name)
    own = {key: next(iter(names)) for key, names in serves.items() if len(names) == 1}
    shared = {key for key, names in serves.items() if len(names) > 1}
    for key, spot in spots.items():  # a leak out of a unit's box belongs to the unit
        beside = {own.get(other, "") for other in (*spot.before, *spot.after)}
        if key not in own and key not in shared and len(beside) == 1 and "" not in beside:
            own[key] = beside.pop()
    return own


# ---- order in the columns


def _tree_order(spots: Mapping[Key, Spot], machine: Machine) -> dict[Key, float]:
    """A place for every spot by a walk through the tree of the air's ways, half the branches on each side."""
    order: dict[Key, float] = {}
    kinds = {p.name: p.form.part.kind for p in machine.layout.parts}
    rank = {("part", p.name): i for i, p in enumerate(machine.layout.parts)}
    while len(order) < len(spots):
        rest = [key for key in spots if key not in order]
        root = max(
            rest,
            key=lambda k: (max(len(_reach(spots, k, True)), len(_reach(spots, k, False))), -rest.index(k)),
        )
        children = _tree(spots, root, rank, kinds)
        for place, key in enumerate(_in_order(root, children), len(order)):
            order[key] = place
    return order


def _tree(
    spots: Mapping[Key, Spot], root: Key, rank: Mapping[Key, int], kinds: Mapping[str, str]
) -> dict[Key, list[Key]]:
    """A spanning tree: key -> children, leaks first, the largest branch in the middle."""
    children: dict[Key, list[Key]] = {}
    found, todo = {root}, [root]
    walk = []
    while todo:
        key = todo.pop(0)
        walk.append(key)
        near = [k for k in (*spots[key].before, *spots[key].after) if k not in found]
        children[key] = list(dict.fromkeys(near))
        found.update(near)
        todo += children[key]
    size: dict[Key, int] = {}
    for key in reversed(walk):
        own = children[key]
        size[key] = 1 + sum(size[k] for k in own)
        own.sort(key=lambda k: (kinds.get(k[1]) != "leak" or k[0] != "part", rank.get(k, 0)))
        largest = sorted((size[k] for k in own), reverse=True)
        if len(own) > 2 and largest[0] > 1.5 * largest[1]:
            biggest = max(own, key=lambda k: size[k])
            own.remove(biggest)
            own.insert(len(own) // 2, biggest)
    return children


def _in_order(root: Key, children: Mapping[Key, list[Key]]) -> Iterable[Key]:
    stack: list[tuple[Key, bool]] = [(root, False)]
    while stack:
        key, done = stack.pop()
        if done:
            yield key
            continue
        own = children[key]
        half = len(own) // 2
        stack += [(k, False) for k in reversed(own[half:])]
        stack.append((key, True))
        stack += [(k, False) for k in reversed(own[:half])]


def _ordered(spots: Mapping[Key, Spot], order: Mapping[Key, float]) -> tuple[list[list[Key]], bool]:
    """The columns, each from top to bottom, and whether the tree's order stands.

    Sweeps lessen the crossings where the tree's order has any.
    """
    columns: list[list[Key]] = [[] for _ in range(1 + max(s.layer for s in spots.values()))]
    for key in sorted(spots, key=lambda k: order[k]):
        columns[spots[key].layer].append(key)
    best, fewest, as_tree = [list(c) for c in columns], _crossings(spots, columns), True
    for sweep in range(SWEEPS):
        if not fewest:
            break
        forward = sweep % 2 == 0
        for column in columns if forward else reversed(columns):
            place = {k: i for c in columns for i, k in enumerate(c)}
            column.sort(key=lambda k: _barycentre(spots[k], place, forward))
        count = _crossings(spots, columns)
        if count < fewest:
            best, fewest, as_tree = [list(c) for c in columns], count, False
    return best, as_tree


def _barycentre(spot: Spot, place: Mapping[Key, int], forward: bool) -> float:
    near = (spot.before if forward else spot.after) or [spot.key]
    return sum(place[k] for k in near) / len(near)


def _crossings(spots: Mapping[Key, Spot], columns: list[list[Key]]) -> int:
    count = 0
    place = {k: i for c in columns for i, k in enumerate(c)}
    for column in columns:
        ends = [place[b] for a in column for b in sorted(spots[a].after, key=lambda k: place[k])]
        starts = [place[a] for a in column for _ in spots[a].after]
        for i in range(len(ends)):
            for j in range(i + 1, len(ends)):
                count += ends[i] > ends[j] and starts[i] < starts[j]
    return count


# ---- heights


def _distance(upper: Spot, lower: Spot) -> float:
    gap = GAP_BETWEEN_UNITS if upper.unit != lower.unit else 0.0
    return 0.5 * (upper.height + lower.height) + gap


class _Programme:
    """A linear programme in the heights of the spots, the edges of the units and the steps of the lines."""

    def __init__(self, names: Iterable[Any]) -> None:
        self.index = {name: i for i, name in enumerate(names)}
        self.cost = np.zeros(len(self.index))
        self.entries: list[tuple[int, int, float]] = []
        self.limits: list[float] = []

    def at_least(self, upper: Any, lower: Any, distance: float) -> None:
        """`lower` stands at least `distance` below `upper`."""
        row = len(self.limits)
        self.entries += [(row, self.index[upper], 1.0), (row, self.index[lower], -1.0)]
        self.limits.append(-distance)

    def level(self, line: Any, a: Any, b: Any, shift: float) -> None:
        """`line` is at least the size of the step a - b + shift."""
        for sign in (1.0, -1.0):
            row = len(self.limits)
            own = [(self.index[a], sign), (self.index[b], -sign), (self.index[line], -1.0)]
            self.entries += [(row, i, value) for i, value in own]
            self.limits.append(-sign * shift)

    def solve(self) -> dict[Any, float] | None:
        """The heights of the cheapest answer; None when the distances contradict each other."""
        from scipy.optimize import linprog
        from scipy.sparse import coo_matrix

        row, column, value = zip(*self.entries, strict=True) if self.entries else ((), (), ())
        shape = (max(len(self.limits), 1), len(self.cost))
        matrix = coo_matrix((value, (row, column)), shape=shape).tocsr()
        limits = self.limits or [0.0]
        found = linprog(self.cost, A_ub=matrix, b_ub=limits, bounds=(0.0, None), method="highs-ds")
        return {name: float(found.x[i]) for name, i in self.index.items()} if found.success else None


def _set_heights(spots: dict[Key, Spot], columns: list[list[Key]], order: Mapping[Key, float] | None) -> None:
    """Heights with the smallest steps in all lines, the order kept, the units apart from what is not theirs.

    `order` is the order from above over all columns; None where there is none, then units may interlock.
    """
    place = {k: i for column in columns for i, k in enumerate(column)}
    for spot in spots.values():
        spot.before.sort(key=place.__getitem__)
        spot.after.sort(key=place.__getitem__)
    # In an odd layout the distances may contradict each other; then the less important ones give way.
    for strict in ((True, True), (True, False), (False, False)) if order is not None else ((False, False),):
        found = _programme(spots, columns, order or {}, *strict).solve()
        if found is not None:
            break
    else:
        raise RuntimeError("the order within columns contradicts itself")  # it is one order of each column
    for key, spot in spots.items():
        spot.y = found[key]
    top = min(s.y - 0.5 * s.height for s in spots.values())
    for spot in spots.values():
        spot.y -= top


def _programme(
    spots: Mapping[Key, Spot],
    columns: list[list[Key]],
    order: Mapping[Key, float],
    units_apart: bool,
    boxes_apart: bool,
) -> _Programme:
    lines = [(a, b) for a in spots for b in spots[a].after]
    units = sorted({s.unit for s in spots.values() if s.unit}) if units_apart else []
    edges = [(edge, unit) for unit in units for edge in ("top", "bottom")]
    out = _Programme([*spots, *(("step", *line) for line in lines), *edges])
    for key in spots:
        out.cost[out.index[key]] = 1e-3
    for a, b in lines:
        step = ("step", a, b)
        out.level(step, a, b, _port(spots[a], b) - _port(spots[b], a))
        single = max(len(spots[a].after), len(spots[b].before)) < 2
        wide = max(len(s.before) + len(s.after) for s in (spots[a], spots[b]))
        out.cost[out.index[step]] = (
            3.0 if single else 1.0 if wide < 6 else 0.2
        )  # a tall box is reached anyhow
    for column in columns:
        for upper, lower in itertools.pairwise(column):
            out.at_least(upper, lower, _distance(spots[upper], spots[lower]))
    if units_apart:
        _keep_units_apart(out, spots, order, units)
    if boxes_apart:
        _keep_boxes_apart(out, spots, columns, order)
    return out


def _keep_units_apart(
    programme: _Programme, spots: Mapping[Key, Spot], order: Mapping[Key, float], units: list[str]
) -> None:
    """Nothing else stands between the upper and the lower edge of a unit in the columns that it takes."""
    own = {unit: [s for s in spots.values() if s.unit == unit] for unit in units}
    for unit, members in own.items():
        for spot in members:
            programme.at_least(("top", unit), spot.key, 0.5 * spot.height)
            programme.at_least(spot.key, ("bottom", unit), 0.5 * spot.height)
        first, last = min(s.layer for s in members), max(s.layer for s in members)
        places = [order[s.key] for s in members]
        for spot in spots.values():
            if spot.unit or not first <= spot.layer <= last:
                continue
            if order[spot.key] < min(places):
                programme.at_least(spot.key, ("top", unit), 0.5 * spot.height + GAP_BETWEEN_UNITS)
            elif order[spot.key] > max(places):
                programme.at_least(("bottom", unit), spot.key, 0.5 * spot.height + GAP_BETWEEN_UNITS)
    for upper, lower in itertools.permutations(units, 2):
        a, b = own[upper], own[lower]
        if max(order[s.key] for s in a) < min(order[s.key] for s in b) and _share_columns(a, b):
            programme.at_least(("bottom", upper), ("top", lower), GAP_BETWEEN_UNITS)


def _keep_boxes_apart(
    programme: _Programme, spots: Mapping[Key, Spot], columns: list[list[Key]], order: Mapping[Key, float]
) -> None:
    """The lines of a box end above those of the box below it, so that both can reach all of theirs."""
    for column in columns:
        boxes = [spots[key] for key in column if key[0] == "node"]
        for upper, lower in itertools.pairwise(boxes):
            near = [{*spot.before, *spot.after} for spot in (upper, lower)]
            for a, b in itertools.product(*near):
                if a != b and (order[a] < order[b] or a in near[1] or b in near[0]):
                    shift = _port(spots[a], upper.key) - _port(spots[b], lower.key)
                    programme.at_least(a, b, shift + 2.0 * EDGE)


def _share_columns(a: list[Spot], b: list[Spot]) -> bool:
    return max(min(s.layer for s in x) for x in (a, b)) <= min(max(s.layer for s in x) for x in (a, b))


def _port(spot: Spot, other: Key) -> float:
    """How far from a part's middle the line to a neighbour begins, in rows; a box takes it anywhere."""
    if spot.kind != "part":
        return 0.0
    side = spot.before if other in spot.before else spot.after
    if len(side) < 2:
        return 0.0
    return 0.8 * (side.index(other) / (len(side) - 1) - 0.5) * ROW


def port(plan_: Plan, part: Key, other: Key) -> float:
    """Height at which a part's line to a neighbour begins, in rows."""
    spot = plan_.spots[part]
    return spot.y + _port(spot, other)


def _set_extents(spots: dict[Key, Spot], columns: list[list[Key]]) -> None:
    """Boxes as tall as their neighbours reach, without touching what stands above or below them."""
    for spot in spots.values():
        spot.top, spot.bottom = spot.y - 0.36 * ROW, spot.y + 0.36 * ROW
        if spot.kind == "line":
            spot.top = spot.bottom = spot.y
        if spot.kind == "node":
            spot.top = min([spot.top, *(y - EDGE for y in _levels(spots, spot))])
            spot.bottom = max([spot.bottom, *(y + EDGE for y in _levels(spots, spot))])
    for column in columns:
        for upper, lower in itertools.pairwise([spots[key] for key in column]):
            if upper.bottom <= lower.top - 0.12:
                continue
            reach = max([upper.y, *_levels(spots, upper)]), min([lower.y, *_levels(spots, lower)])
            free = 0.5 * sum(reach) if reach[0] < reach[1] else 0.5 * (upper.y + lower.y)
            upper.bottom = min(upper.bottom, max(free - 0.06, upper.y + 0.1))
            lower.top = max(lower.top, min(free + 0.06, lower.y - 0.1))


def _levels(spots: Mapping[Key, Spot], spot: Spot) -> list[float]:
    """The heights at which the lines of a box's neighbours begin."""
    if spot.kind != "node":
        return []
    return [spots[k].y + _port(spots[k], spot.key) for k in (*spot.before, *spot.after)]
