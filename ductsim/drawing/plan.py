"""Where everything of a machine stands in its drawing, worked out from which part leads air where.

Nodes and parts stand in columns, air going from left to right as the parts are declared; the open air is
no box of its own but an open end of every part that begins or ends there. The columns come from an integer
programme (shortest lines), the order within a column from the tree of the air's ways and, where they join
again, from sweeps that lessen crossings, the heights from a linear programme (smallest steps).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Set
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from .heights import set_extents, set_heights
from .spots import Key, Spot

if TYPE_CHECKING:
    from ..description.data import MachineData

SWEEPS = 24


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


def plan(machine: MachineData) -> Plan:
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
    set_heights(spots, columns, order if as_tree else None)
    set_extents(spots, columns)
    return Plan(spots, columns)


# ---- the graph


def _spots(machine: MachineData) -> dict[Key, Spot]:
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
    matrix: Any = limits.tocsr()
    found: Any = linprog(cost, A_ub=matrix, b_ub=least, bounds=(0.0, None), method="highs-ds")
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
                key: Key = ("line", start[1], finish[1], str(layer))
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


def _units(machine: MachineData, spots: Mapping[Key, Spot]) -> dict[Key, str]:
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


def _tree_order(spots: Mapping[Key, Spot], machine: MachineData) -> dict[Key, float]:
    """A place for every spot by a walk through the tree of the air's ways, half the branches on each side."""
    order: dict[Key, float] = {}
    leaks = {("part", p.name) for p in machine.layout.parts if p.kind.is_leak}
    rank: dict[Key, int] = {("part", p.name): i for i, p in enumerate(machine.layout.parts)}
    while len(order) < len(spots):
        rest = [key for key in spots if key not in order]
        root = max(
            rest,
            key=lambda k: (max(len(_reach(spots, k, True)), len(_reach(spots, k, False))), -rest.index(k)),
        )
        children = _tree(spots, root, rank, leaks)
        for place, key in enumerate(_in_order(root, children), len(order)):
            order[key] = place
    return order


def _tree(
    spots: Mapping[Key, Spot], root: Key, rank: Mapping[Key, int], leaks: Set[Key]
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
        own.sort(key=lambda k: (k not in leaks, rank.get(k, 0)))
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
    best, fewest, as_tree = [list(c) for c in columns], crossings(spots, columns), True
    for sweep in range(SWEEPS):
        if not fewest:
            break
        forward = sweep % 2 == 0
        for column in columns if forward else reversed(columns):
            place = {k: i for c in columns for i, k in enumerate(c)}
            column.sort(key=lambda k: _barycentre(spots[k], place, forward))
        count = crossings(spots, columns)
        if count < fewest:
            best, fewest, as_tree = [list(c) for c in columns], count, False
    return best, as_tree


def _barycentre(spot: Spot, place: Mapping[Key, int], forward: bool) -> float:
    near = (spot.before if forward else spot.after) or [spot.key]
    return sum(place[k] for k in near) / len(near)


def crossings(spots: Mapping[Key, Spot], columns: list[list[Key]]) -> int:
    """How often two lines cross."""
    count = 0
    place = {k: i for c in columns for i, k in enumerate(c)}
    for column in columns:
        ends = [place[b] for a in column for b in sorted(spots[a].after, key=lambda k: place[k])]
        starts = [place[a] for a in column for _ in spots[a].after]
        for i in range(len(ends)):
            for j in range(i + 1, len(ends)):
                count += ends[i] > ends[j] and starts[i] < starts[j]
    return count
