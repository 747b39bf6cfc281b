"""Newton's method on flows and pressures together, all scenarios in step.

The flows are eliminated path by path (pairs 2 x 2), so that each step solves one nodal system. Node
balances are linear and hold exactly after a full step; the work is in the paths' pressure equations.
Scenarios that resist are solved again with damping from a cold start, then by following the air from
standstill with inertia (pseudo-transient continuation).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .equations import Equations, Values

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PRESSURE_SHARE = 1e-10  # of the largest pressure
DROP_SHARE = 1e-8  # of each path's own drop
LEAST_DROP = 1e-6  # Pa, where a path's own drop is nothing
FLOW_SHARE = 1e-9  # of the total flow
STEP_SHARE = 1e-5  # of the largest flow: after such a step the next one is of rounding size
LEAST_PRESSURE = 1e-3  # Pa, with nothing flowing
LEAST_FLOW = 1e-6  # kg/s, with nothing flowing
LEAST_WARMTH = 1e-7  # K
PLAIN_STEPS = 14
DAMPED_STEPS = 60
TRANSIENT_STEPS = 400
COLUMN_LENGTH = 1.0  # m of air column that gives each path its inertia in a run-up


@dataclass
class Point:
    """Flows (paths, S), total pressures of all nodes (nodes, S), node temperatures over outside's or None."""

    flow: Array
    pressure: Array
    warmth: Array | None

    def take(self, columns: object) -> Point:
        """Some of the scenarios."""
        warmth = None if self.warmth is None else self.warmth[:, columns]  # type: ignore[index]
        return Point(self.flow[:, columns], self.pressure[:, columns], warmth)  # type: ignore[index]

    def put(self, columns: object, other: Point) -> None:
        """Overwrite some of the scenarios."""
        self.flow[:, columns] = other.flow  # type: ignore[index]
        self.pressure[:, columns] = other.pressure  # type: ignore[index]
        if self.warmth is not None and other.warmth is not None:
            self.warmth[:, columns] = other.warmth  # type: ignore[index]

    def wide(self, scenarios: int) -> Point:
        """The same point for so many scenarios."""
        warmth = None if self.warmth is None else np.repeat(self.warmth, scenarios, axis=1)
        return Point(
            np.repeat(self.flow, scenarios, axis=1), np.repeat(self.pressure, scenarios, axis=1), warmth
        )


@dataclass
class Solved:
    """Where the iteration ended: the point, what the laws say there, the steps taken, which are solved.

    `power` has a row for each of the system's `fan_rows` [W].
    """

    point: Point
    density: Array
    drop: Array
    slope: Array
    imbalance: Array
    power: Array
    steps: NDArray[np.intp]
    good: Mask


@dataclass
class Step:
    """A Newton step, and the warmth that goes with the point it started from."""

    flow: Array
    pressure: Array


def newton_step(
    eq: Equations, values: Values, point: Point, anchors: Array | None, with_flow: bool = True
) -> Step:
    """The full step from `point`; `anchors` (free, S) pin nodes of no known level."""
    system = eq.system
    count = system.singles
    own = np.empty_like(values.residual)
    np.multiply(values.gain, values.residual[:count], out=own[:count])
    if values.first is None or values.second is None:
        first, second = values.gain, -values.gain
    else:
        first, second = values.first * values.gain, values.second * values.gain
    answers: list[Array] = []
    pairs = [c.group for c in eq.coefficients if c.group.partners is not None]
    for lg, gain, raw in zip(pairs, values.pair_gain, values.pair_answers, strict=True):
        (g11, g12), (g21, g22) = gain
        one, two = values.residual[lg.rows], values.residual[lg.partners]
        own[lg.rows] = g11 * one + g12 * two
        own[lg.partners] = g21 * one + g22 * two
        answers.append(np.stack([g11 * raw[0] + g12 * raw[1], g21 * raw[0] + g22 * raw[1]]))
    flat = [first, second, *(a.reshape(-1, a.shape[-1]) for a in answers)]
    slots = system.fill @ np.concatenate(flat)
    if anchors is not None:
        slots[system.diagonal] += anchors
    right = eq.supply - system.outflow @ (point.flow + own)
    pressure = np.zeros_like(point.pressure)
    pressure[: system.free] = system.pattern.solve(slots, right)
    own[:count] += first * pressure[system.start[:count]]
    own[:count] += second * pressure[system.finish[:count]]
    for lg, answer in zip(pairs, answers, strict=True):
        for end in range(3):
            at = pressure[lg.ends[end]]  # type: ignore[index]
            own[lg.rows] += answer[0, end] * at
            own[lg.partners] += answer[1, end] * at
    return Step(own, pressure)


def cold_start(eq: Equations, anchors: Array | None) -> Point:
    """One linearised solve: each path a resistance by its drop at about 10 m/s."""
    system, scenarios = eq.system, eq.scenarios
    flow = np.repeat(eq.guess, scenarios, axis=1) if eq.guess.shape[1] == 1 else eq.guess.copy()
    flow[flow == 0.0] = 1e-3
    if eq.shut is not None:
        flow = np.where(eq.shut, 0.0, flow)
    pressure = np.zeros((len(system.nodes), scenarios))
    pressure[system.free :] = eq.held
    warmth = np.zeros_like(pressure) if eq.heated else None
    count = system.singles
    fast = eq.evaluate(flow, pressure, warmth, slopes=False)
    still = flow.copy()
    still[:count] = 0.0
    values = eq.evaluate(still, pressure, warmth)
    with np.errstate(divide="ignore", invalid="ignore"):
        secant = (fast.drop[:count] - values.drop[:count]) / flow[:count]
        least = 0.01 * np.abs(fast.drop[:count]) / np.abs(flow[:count])
        gain = 1.0 / np.maximum(np.maximum(secant, least), 1e-9)
    values.gain = np.where(values.gain == 0.0, 0.0, np.nan_to_num(gain, nan=0.0, posinf=0.0))
    point = Point(still, pressure, warmth)
    step = newton_step(eq, values, point, anchors)
    return Point(still + step.flow, pressure + step.pressure, warmth)


def _imbalance(eq: Equations, flow: Array) -> tuple[Array, Array]:
    """Largest imbalance of a free node and the total flow, of each scenario [kg/s]."""
    total = np.maximum(np.abs(flow).max(axis=0, initial=0.0), LEAST_FLOW)
    if not eq.system.free:
        return np.zeros(flow.shape[1]), total
    return np.abs(eq.system.outflow @ flow - eq.supply).max(axis=0), total


def _converged(eq: Equations, values: Values, point: Point, moved: Array, warmer: Array) -> tuple[Mask, Array]:
    """Which scenarios have arrived, and their imbalance [kg/s]."""
    size = np.abs(values.residual)
    level = np.maximum(np.abs(point.pressure).max(axis=0), LEAST_PRESSURE)
    allowed = np.maximum(DROP_SHARE * np.abs(values.drop), LEAST_DROP)
    imbalance, total = _imbalance(eq, point.flow)
    good = (size <= allowed).all(axis=0)
    good &= size.max(axis=0, initial=0.0) <= PRESSURE_SHARE * level + 1e-9
    good &= imbalance <= FLOW_SHARE * total
    good &= (moved <= STEP_SHARE * total) & (warmer <= LEAST_WARMTH)
    return good, imbalance


class _Record:
    """Finished scenarios are copied here and take no further steps."""

    def __init__(self, eq: Equations, point: Point) -> None:
        shape = (eq.system.paths, eq.scenarios)
        warmth = None if point.warmth is None else np.full(point.pressure.shape, np.nan)
        self.point = Point(np.full(shape, np.nan), np.full(point.pressure.shape, np.nan), warmth)
        self.density, self.drop, self.slope = (np.full(shape, np.nan) for _ in range(3))
        self.imbalance = np.full(eq.scenarios, np.nan)
        self.power = np.full((len(eq.system.fan_rows), eq.scenarios), np.nan)
        self.steps = np.zeros(eq.scenarios, dtype=np.intp)
        self.good = np.zeros(eq.scenarios, dtype=bool)

    def put(
        self, eq: Equations, where: NDArray[np.intp], point: Point, values: Values, imbalance: Array, steps: int
    ) -> None:
        self.point.put(where, point)
        self.power[:, where] = eq.power(point.flow, values.density)
        self.density[:, where] = values.density
        self.drop[:, where], self.slope[:, where] = values.drop, values.slope
        self.imbalance[where] = imbalance
        self.steps[where] = steps

    def solved(self) -> Solved:
        return Solved(
            self.point, self.density, self.drop, self.slope, self.imbalance, self.power, self.steps, self.good
        )


def iterate(eq: Equations, point: Point, anchors: Array | None, limit: int, damped: bool) -> Solved:
    """Newton steps until every scenario has arrived or the limit is reached."""
    with np.errstate(all="ignore"):
        return _iterate(eq, point, anchors, limit, damped)


def _iterate(eq: Equations, point: Point, anchors: Array | None, limit: int, damped: bool) -> Solved:
    record = _Record(eq, point)
    left = np.arange(eq.scenarios)
    values = eq.evaluate(point.flow, point.pressure, point.warmth)
    moved = np.full(eq.scenarios, np.inf)
    warmer = np.zeros(eq.scenarios) if point.warmth is None else np.full(eq.scenarios, np.inf)
    for steps in range(limit + 1):
        good, imbalance = _converged(eq, values, point, moved, warmer)
        if good.any() or steps == limit:
            gone = np.ones_like(good) if steps == limit else good
            ended = eq if gone.all() else eq.take(gone)
            record.put(ended, left[gone], point.take(gone), values.take(gone), imbalance[gone], steps)
            record.good[left[gone]] = good[gone]
            if gone.all():
                break
            keep = ~gone
            left, point, eq = left[keep], point.take(keep), eq.take(keep)
            anchors = None if anchors is None else anchors[:, keep]
            values = values.take(keep)
        step = newton_step(eq, values, point, anchors)
        point, values, moved, warmer = _advance(eq, point, step, values, damped)
    return record.solved()


def _advance(
    eq: Equations, point: Point, step: Step, values: Values, damped: bool
) -> tuple[Point, Values, Array, Array]:
    """Take the step; when damped, halve it in the scenarios where the pressure equations get worse.

    The warmth follows by one pass along the new flows.
    """
    share = np.ones(eq.scenarios)
    old = np.sqrt((values.residual**2).mean(axis=0))
    density, warmth = values.density, point.warmth
    for _ in range(6 if damped else 1):
        flow = point.flow + (share * step.flow if damped else step.flow)
        pressure = point.pressure + (share * step.pressure if damped else step.pressure)
        if point.warmth is not None:
            warmth = eq.warm(flow, point.warmth, density)
        values = eq.evaluate(flow, pressure, warmth)
        if not damped:
            break
        new = np.sqrt((values.residual**2).mean(axis=0))
        worse = ~(new <= old * (1.0 - 1e-4 * share)) & (old > LEAST_DROP)
        if not worse.any():
            break
        share = np.where(worse, 0.5 * share, share)
    moved = np.abs(step.flow).max(axis=0, initial=0.0)
    warmer = np.zeros(eq.scenarios)
    if warmth is not None and point.warmth is not None:
        warmer = np.abs(warmth - point.warmth).max(axis=0)
    return Point(flow, pressure, warmth), values, moved, warmer
