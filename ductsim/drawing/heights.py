"""How high everything stands in a drawing: smallest steps in all lines, nothing in the way of anything.

A linear programme in the heights. The order within the columns is given.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from .spots import ROW, Key, Spot, port

GAP_BETWEEN_UNITS = 0.7
EDGE = 0.22  # how far a box reaches beyond its outermost line


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

        entries = np.array(self.entries, dtype=float).reshape(-1, 3)
        place = entries[:, :2].astype(int)
        shape = (max(len(self.limits), 1), len(self.cost))
        matrix: Any = coo_matrix((entries[:, 2], (place[:, 0], place[:, 1])), shape=shape).tocsr()
        limits = np.array(self.limits or [0.0])
        found: Any = linprog(self.cost, A_ub=matrix, b_ub=limits, bounds=(0.0, None), method="highs-ds")
        return {name: float(found.x[i]) for name, i in self.index.items()} if found.success else None


def set_heights(spots: dict[Key, Spot], columns: list[list[Key]], order: Mapping[Key, float] | None) -> None:
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
        out.level(step, a, b, port(spots[a], b) - port(spots[b], a))
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
                    shift = port(spots[a], upper.key) - port(spots[b], lower.key)
                    programme.at_least(a, b, shift + 2.0 * EDGE)


def _share_columns(a: list[Spot], b: list[Spot]) -> bool:
    return max(min(s.layer for s in x) for x in (a, b)) <= min(max(s.layer for s in x) for x in (a, b))


def set_extents(spots: dict[Key, Spot], columns: list[list[Key]]) -> None:
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
    return [spots[k].y + port(spots[k], spot.key) for k in (*spot.before, *spot.after)]
