"""Air and crop solved together: the answer is the running state, reached by letting crop into moving air.

A duct that stands full of crop can stay blocked under a load that it would carry when running, so equations
with crop have several answers. The one wanted is that which the running machine comes to: the crop flow is
raised from nothing, in steps where a duct blocks or comes near it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..conveying import LOAD
from ..description.crop_way import sections, speeds_crop
from ..description.data import MachineData
from ..description.layout import Layout
from ..network.beyond import beyond
from ..network.groups import stacked_column
from ..network.nearby import solve_from
from ..network.network import make_state, stacked, warn_outside
from ..network.numbers import Numbers
from ..network.point import Point, Solved
from ..network.solve import CHUNK, solve
from ..network.state import State, judge
from ..network.system import System
from ..network.values import take_columns

Array = NDArray[np.float64]

STEPS, STRIDES = 16, 4  # in the square of the crop flow: short ones, and long ones to try first
MOST_KEPT = 8  # points without crop, of one layout
STEADY = 0.1  # of its flow: a fan that changes more in a stride may have come to another point


def solve_running(
    machine: MachineData, start: Point | None = None, near: Point | None = None, share: Array | None = None
) -> State:
    """The running state of a machine that carries crop; a choked scenario comes out with its duct blocked.

    Parameters
    ----------
    machine : MachineData
        With columns or without.
    start : Point, optional
        The air without crop (`calm_point`), found here if not given.
    near : Point, optional
        A point for each scenario that may be near its answer, of at most `CHUNK` scenarios.
    share : array (S,), optional
        Each such point is the running state at this share of the crop flow, 0 for air without crop.
    """
    system, numbers = machine.system, machine.part_numbers()
    values, columns = stacked(system, numbers, machine.air())
    ducts = Ducts.of(machine, numbers)
    start = _calm(machine.layout, system, values) if start is None else start
    solved, outcomes, floating, node = run(system, values, ducts, start, near, share)
    state = make_state(system, values, solved, outcomes, floating, columns, node)
    if columns is None and not outcomes.any():
        warn_outside(state)
    return state


def run(
    system: System,
    values: Numbers,
    ducts: Ducts,
    start: Point | None,
    near: Point | None = None,
    share: Array | None = None,
    foretold: Point | None = None,
) -> tuple[Solved, Any, Any, str]:
    """The same of numbers that are stacked: where it ended, and what `judge` says of that.

    Newton's method begins at the point `foretold` if there is one; crop is let in from near all the same.
    """
    if near is None or share is None:
        near, share = start, np.zeros(values.scenarios)
    close = (share > 0.0) & (np.abs(1.0 - share**2) <= 1.0 / STEPS)
    tried, open_ = np.zeros(values.scenarios, dtype=bool), np.ones(values.scenarios, dtype=bool)

    def follow(solved: Solved, doubted: Any = False) -> NDArray[np.bool_]:
        """Let crop in where that decides; which scenarios have been followed to where they run, or block."""
        air = ducts.air(solved)
        there = close & solved.good & _running(*air)
        slow = np.flatnonzero((_slow(*air) | ~solved.good | doubted) & ~there & ~tried)
        tried[slow] = True
        for first in range(0, len(slow), CHUNK):
            if near is None:
                break
            some = slow[first : first + CHUNK]
            there[_let_in(system, values, ducts, some, near, share, start, solved)] = True
        open_[:] = (doubted | ~solved.good) & ~there
        return there

    solved, structures = solve(system, values, near if foretold is None else foretold, follow)
    if open_.any():  # what was run up after all, and a single scenario without a doubt
        follow(solved)
    return solved, *judge(solved, structures, system, beyond(system, values, solved, structures))


def calm_point(machine: MachineData) -> Point | None:
    """The machine's air without crop, at the middle of its scenarios; a start for many solves."""
    values, _ = stacked(machine.system, machine.part_numbers(), machine.air())
    return _calm(machine.layout, machine.system, values)


def _calm(layout: Layout, system: System, values: Numbers) -> Point | None:
    """The same, kept with the layout for a few machines: one after the other, searches begin there."""
    middle = values if values.scenarios == 1 else values.middle()
    told = [
        v
        for group, own in zip(system.groups, middle.parts, strict=True)
        for name, v in zip(group.schema.number_keys, own, strict=True)
        if name not in LOAD  # of which nothing is left without crop
    ]
    air = middle.air
    told += [air.density, air.viscosity, air.pressure, air.temperature, air.heat_capacity]
    key = b"".join(v.tobytes() for v in (*told, middle.held, middle.supply))
    known: dict[bytes, Point | None] = layout.__dict__.setdefault("_calm", {})
    if key not in known:
        if len(known) >= MOST_KEPT:
            known.clear()
        nominal, _ = solve(system, scaled(system, middle, 0.0))
        known[key] = nominal.point if nominal.good[0] else None
    return known[key]


class Ducts(NamedTuple):
    """The parts that speed crop up: what tells whether it is blocked in them, each (parts, 1 or S).

    Attributes
    ----------
    rows : array
        The rows of their paths, part by part.
    first, last : arrays (parts,)
        Where each part's begin in `rows`, and the row of its last one, by which crop leaves.
    area, slip : arrays
        Section [m2] and the crop's slip [m/s].
    flowing : array
        Whether any crop flows.
    """

    rows: NDArray[np.intp]
    first: NDArray[np.intp]
    last: NDArray[np.intp]
    area: Array
    slip: Array
    flowing: NDArray[np.bool_]

    @classmethod
    def of(cls, machine: MachineData, numbers: Mapping[str, Any]) -> Ducts:
        """Those of a machine, by its `part_numbers`."""
        layout, system = machine.layout, machine.system
        parts = [c.part for c in layout.carried if speeds_crop(layout.part[c.part])]
        rows = [[system.rows[key] for key in layout.path_keys(part)] for part in parts]
        crop = stacked_column([numbers[f"{part}.crop_flow"] for part in parts]) if parts else np.empty((0, 1))
        slip = stacked_column([numbers[f"{part}.slip"] for part in parts]) if parts else np.empty((0, 1))
        return cls(
            np.array([row for own in rows for row in own], dtype=np.intp),
            np.cumsum([0, *map(len, rows)])[:-1],
            np.array([own[-1] for own in rows], dtype=np.intp),
            sections(layout, numbers, parts),
            slip,
            crop > 0.0,
        )

    def some(self, columns: NDArray[np.intp]) -> Ducts:
        """The same for some of the scenarios."""
        area, slip = take_columns(self.area, columns), take_columns(self.slip, columns)
        return self._replace(area=area, slip=slip, flowing=take_columns(self.flowing, columns))

    def air(self, solved: Solved) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Of every part (parts, S): air velocity over slip, its slope, if crop flows."""
        flow = solved.point.flow[self.rows]
        if len(self.rows) > len(self.last):
            flow = np.add.reduceat(flow, self.first, axis=0)
        with np.errstate(all="ignore"):
            ratio = flow / (solved.density[self.last] * self.area) / np.maximum(self.slip, 1e-6)
        return ratio, solved.slope[self.last], np.broadcast_to(self.flowing, ratio.shape)


def _slow(ratio: Array, slope: Array, flows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Scenarios in which a duct blocks, or loses less with more air, as near its choke.

    On the branch of solutions between running and blocked, which no machine ever comes to, some duct
    loses less with more air.
    """
    return np.asarray(((~(ratio > 1.0) | (slope <= 0.0)) & flows).any(axis=0))


def _running(ratio: Array, _: Array, flows: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Scenarios in which the air is faster than the crop's slip wherever crop flows."""
    return np.asarray(((ratio > 1.0) | ~flows).all(axis=0))


def _let_in(
    system: System,
    values: Numbers,
    ducts: Ducts,
    some: NDArray[np.intp],
    near: Point,
    share: Array,
    calm: Point | None,
    solved: Solved,
) -> NDArray[np.intp]:
    """Raise the crop flow of some scenarios from near them; what is lost on the way down, from calm air.

    Where no running state is left on the way, the duct is choked, and the answer is a blocked one. Returns
    the scenarios whose answer is known by that.
    """
    alive = np.zeros(len(some), dtype=bool)
    for strides, begin, first in ((True, near, share), (False, near, share), (False, calm, 0.0 * share)):
        left = np.flatnonzero(~alive & (share[some] > 1.0) if begin is calm and near is not calm else ~alive)
        if len(left) and begin is not None:
            here = begin.take(some[left]) if begin.flow.shape[1] > 1 else begin
            alive[left] = _raise_crop(
                system, values, ducts, some[left], here, first[some[left]], solved, strides
            )
    choked = some[~alive]
    if not len(choked):
        return some
    # choked, but solved for the state between running and blocked
    between = choked[_running(*ducts.some(choked).air(solved.take(choked)))]
    if len(between):
        blocked, _ = solve(system, values.some(between))
        solved.put(between, blocked)
    return np.concatenate([some[alive], between])


def _raise_crop(
    system: System,
    values: Numbers,
    ducts: Ducts,
    some: NDArray[np.intp],
    start: Point,
    first: Array,
    solved: Solved,
    strides: bool,
) -> NDArray[np.bool_]:
    """Raise the crop flow in steps in some scenarios, each from the step before; those that run to the end.

    The start is the running state at a first share of it; so what runs with less crop need not begin at
    nothing, and what needs few steps takes few. What runs to the end is the answer. With long strides nothing
    may be near its choke there, and no fan far from where it was before.
    """
    part = values.some(some)
    point, alive = start.wide(len(some)), np.zeros(len(some), dtype=bool)
    way = 1.0 - first**2
    most, fans = STRIDES if strides else STEPS, list(system.fan_rows)
    steps = np.clip(np.ceil(most * np.abs(way)), 1, most)
    left = np.arange(len(some))
    for k in range(most + 1):
        now = left[(first[left] == 0.0) | (k > 0)]  # crop that is still to be let in begins at nothing
        if not len(now):
            continue
        share = np.sqrt(first**2 + way * (k / steps))[now]
        eq = scaled(system, part.some(now), share).equations(system)
        with np.errstate(all="ignore"):
            step = solve_from(eq, point.take(now), eq.structure.anchors)
        air = ducts.some(some[now]).air(step)
        runs = step.good & _running(*air)
        if strides and k:
            before, flow = point.flow[fans][:, now], step.point.flow[fans]
            runs &= (np.abs(flow - before) <= STEADY * np.abs(flow)).all(axis=0)
            runs &= (k < steps[now]) | ~_slow(*air)
        point.put(now[runs], step.point, np.flatnonzero(runs))
        arrived = runs & (k == steps[now])
        solved.put(some[now[arrived]], step.take(arrived))
        alive[now[arrived]] = True
        gone = np.zeros(len(some), dtype=bool)
        gone[now[~runs | arrived]] = True
        left = left[~gone[left]]
    return alive


def scaled(system: System, values: Numbers, factor: float | Array) -> Numbers:
    """The numbers with every crop flow scaled, by one factor or by one for each scenario."""
    parts = []
    for group, own in zip(system.groups, values.parts, strict=True):
        names = group.schema.number_keys
        if "crop_flow" in names:
            own = [v * factor if n == "crop_flow" else v for n, v in zip(names, own, strict=True)]
        parts.append(own)
    return Numbers(parts, values.air, values.held, values.supply, max(values.scenarios, np.size(factor)))
