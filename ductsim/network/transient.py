"""Following the air from standstill: every path has inertia, time steps are linearly implicit.

It is the guard when Newton's method fails, and the definition of the answer when fans have rising
stretches: the operating point is the one reached by running up from standstill.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .heat import advected
from .newton import LEAST_FLOW
from .point import Point
from .step import newton_step
from .values import Values, places_of, some_columns, take_columns

Array = NDArray[np.float64]

COLUMN_LENGTH = 1.0  # m of air column that gives each path its inertia
FIRST_TIME_STEP = 1e-3  # s
SHORTEST, LONGEST = 1e-7, 1e6  # s
LARGEST_CHANGE = 0.1  # of the largest flow or of the fans' usual one, in one time step of a run-up
GROWTH = 2.0  # of a time step of a run-up to the next
GROWING = 3.0  # times the time in which air on a rising stretch runs away, at most, in a time step
STEADIED = 0.25  # of the inertia is left at least where a rising stretch speeds the air up
SETTLED_RATE = 1e-6  # of the largest flow per second: small flows have settled too
PATIENCE, BLINK = 150, 1e-3  # time steps, s: air that has been followed no further by then never will be
LINGER = 3  # time steps in a row
NEAR, OWN, STRAY = 0.01, 0.1, 1e-5
"""How near air beside a known point is: of the largest flow; of each flow, with so much of the largest."""
PERTURBATION = 1e-3  # of each path's inertia: equal fans never start exactly alike


def inertance(eq: Equations) -> Array:
    """Inertance of each path [Pa s2/kg]: a column of air `COLUMN_LENGTH` long in its section.

    Our assumption: parts state no length of their own for this. Paths differ by up to a thousandth so
    that a symmetric start cannot stay on an unstable symmetric point.
    """
    area = np.where(eq.area > 0.0, eq.area, 1e-3)
    tilt = 1.0 + PERTURBATION * np.linspace(0.0, 1.0, eq.system.paths, dtype=area.dtype)[:, None]
    return COLUMN_LENGTH / np.maximum(area, 1e-6) * tilt


def standstill(eq: Equations) -> Point:
    """No flow anywhere, held pressures only."""
    pressure = np.zeros((len(eq.system.nodes), eq.scenarios), dtype=eq.held.dtype)
    pressure[eq.system.free :] = eq.held
    temperature_rise = np.zeros_like(pressure) if eq.heated else None
    return Point(np.zeros((eq.system.paths, eq.scenarios), dtype=pressure.dtype), pressure, temperature_rise)


@dataclass
class Run:
    """Air on its way from a point, all scenarios in step, each with a time step of its own [s].

    Careful runs keep the time steps so short that the motion is physical; others only seek the end. `drift`
    is what the fans' flows changed by in the last step, over what they usually deliver.
    """

    eq: Equations
    anchors: Array | None
    point: Point
    careful: bool
    time: Array
    size: Array
    elapsed: Array
    moved: Array
    total: Array
    drift: Array
    sound: NDArray[np.bool_]

    @classmethod
    def of(cls, eq: Equations, point: Point, anchors: Array | None, careful: bool) -> Run:
        """Air that is at `point`."""
        count, kind = eq.scenarios, point.flow.dtype
        endless, still = np.full(count, np.inf, dtype=kind), np.zeros(count, dtype=kind)
        begin = np.full(count, FIRST_TIME_STEP, dtype=kind)
        return cls(eq, anchors, point, careful, begin, endless, still, endless, endless, endless, still > 0.0)

    def take(self, columns: Any) -> Run:
        """Some of the scenarios."""
        columns = places_of(columns)
        anchors = None if self.anchors is None else some_columns(self.anchors, columns)
        rows = (self.time, self.size, self.elapsed, self.moved, self.total, self.drift, self.sound)
        eq, point = self.eq.take(columns), self.point.take(columns)
        return Run(eq, anchors, point, self.careful, *(r[columns] for r in rows))

    def precise(self, eq: Equations) -> Run:
        """The same in double precision, going on by these equations."""
        return Run.joined([self], eq, self.anchors)

    @classmethod
    def joined(cls, runs: list[Run], eq: Equations, anchors: Array | None) -> Run:
        """Careful runs side by side, going on by these equations."""
        kind = eq.held.dtype

        def beside(parts: list[Any]) -> Any:
            return np.concatenate(parts, axis=-1).astype(kind)

        warm = [r.point.temperature_rise for r in runs]
        flow, pressure = beside([r.point.flow for r in runs]), beside([r.point.pressure for r in runs])
        pressure[eq.system.free :] = eq.held  # these may have lost digits on the way
        point = Point(flow, pressure, None if any(w is None for w in warm) else beside(warm))
        names = ("time", "size", "elapsed", "moved", "total", "drift")
        rows = {name: beside([getattr(r, name) for r in runs]) for name in names}
        sound = np.concatenate([r.sound for r in runs])
        return cls(eq, anchors, point, careful=True, sound=sound, **rows)

    @property
    def calm(self) -> NDArray[np.bool_]:
        """Scenarios in which hardly anything changed in the last step."""
        return np.asarray(self.sound & (self.moved <= SETTLED_RATE * self.total))

    def step(self, mass: Array) -> None:
        """One time step of paths of this inertance; a step that went wrong is not taken."""
        with np.errstate(all="ignore"):
            self._step(mass)

    def _step(self, mass: Array) -> None:
        eq, point, time = self.eq, self.point, self.time
        values = eq.evaluate(point.flow, point.pressure, point.temperature_rise)
        inertia = np.broadcast_to(mass / time, point.flow.shape)
        sound: Any = True
        if self.careful:
            inertia = inertia + _fitted(eq, values, inertia)
        else:
            sound = _stable(values, inertia, eq)
        values = eq.with_inertia(values, inertia)
        step = newton_step(eq, values, point, self.anchors)
        moved = np.abs(step.flow).max(axis=0, initial=0.0)
        total = np.maximum(np.abs(point.flow + step.flow).max(axis=0, initial=0.0), LEAST_FLOW)
        change = moved / np.maximum(total, _usual(eq))
        sound = sound & np.isfinite(moved)
        if self.careful:
            sound &= (change <= 2.0 * LARGEST_CHANGE) | (time <= SHORTEST)
        flow = np.where(sound, point.flow + step.flow, point.flow)
        pressure = np.where(sound, point.pressure + step.pressure, point.pressure)
        temperature_rise = (
            None
            if point.temperature_rise is None
            else advected(eq, flow, point.temperature_rise, values.density)
        )
        self.point = Point(flow, pressure, temperature_rise)
        size = np.sqrt((values.residual**2).mean(axis=0))
        self.elapsed = self.elapsed + np.where(sound, time, 0.0)
        self.moved, self.total, self.sound = moved / time, total, sound
        rows = eq.system.fans
        fans = np.abs(step.flow[rows]).max(axis=0) / _usual(eq) if len(rows) else change
        self.drift = np.where(sound, fans, np.inf)
        self.time = _next_time_step(time, sound, size, self.size, change, self.careful)
        if self.careful:
            fastest = (-values.slope / mass).max(axis=0, initial=0.0)
            self.time = np.minimum(self.time, GROWING / np.maximum(fastest, GROWING / LONGEST))
        self.size = np.where(sound, size, self.size)


def run_up(
    eq: Equations, point: Point, anchors: Array | None, limit: int, careful: bool
) -> tuple[Point, NDArray[np.bool_], NDArray[np.intp]]:
    """Let the air run from `point` until it hardly changes; careful keeps the time steps physical.

    Returns the last point, which scenarios have settled, and the number of time steps of each. A scenario
    that has settled is not moved further by its neighbours.
    """
    place, going = np.arange(eq.scenarios), np.ones(eq.scenarios, dtype=bool)
    last, settled = point.take(place), np.zeros(eq.scenarios, dtype=bool)
    taken, calm = np.full(eq.scenarios, limit), np.zeros(eq.scenarios, dtype=np.intp)
    run, mass = Run.of(eq, point, anchors, careful), inertance(eq)
    for steps in range(1, limit + 1):
        run.step(mass)
        calm = np.where(run.calm, calm + 1, 0)
        rest = calm >= LINGER
        ended = going & (rest | (run.elapsed < BLINK) if steps == PATIENCE else rest)
        if not ended.any():
            continue
        last.put(place[ended], run.point, ended)
        settled[place[ended]], taken[place[ended]] = rest[ended], steps
        going &= ~ended
        if not going.any():
            return last, settled, taken
        if 2 * going.sum() <= len(going):
            place, run, calm = place[going], run.take(going), calm[going]
            mass = take_columns(mass, going)
            going = np.ones(len(place), dtype=bool)
    last.put(place[going], run.point, going)
    return last, settled, taken


def beside(flow: Array, known: Array) -> NDArray[np.bool_]:
    """Scenarios whose flows are near known ones, small flows near by their own measure."""
    own = np.abs(known)
    most = own.max(axis=0, initial=0.0)
    return np.asarray((np.abs(flow - known) <= np.minimum(NEAR * most, OWN * own + STRAY * most)).all(axis=0))


def _usual(eq: Equations) -> Any:
    """The largest of the flows that the fans usually deliver [kg/s]: what a run-up leads to, (S,) or zero."""
    rows = eq.system.fans
    if not len(rows):
        return 0.0
    return np.abs(eq.guess[rows]).max(axis=0)


def _fitted(eq: Equations, values: Values, inertia: Array) -> Array:
    """What a time step adds to each path's inertia for its slope to act as in a motion by that slope alone.

    A linearly implicit step takes a slope wholly: right for what has settled within the step. By half is
    right for slow changes, and less where a rising stretch speeds the air up. The share is that of the
    exponential, 1 / (1 - exp(-z)) - 1 / z with z the slope over the inertia, as a quotient that is as good.
    Paths of a pair keep theirs, falling ones as far as the inertia outweighs them.
    """
    slope = values.slope if eq.shut is None else np.where(eq.shut, 0.0, values.slope)
    count = eq.system.singles
    out = np.maximum(-STEADIED * inertia - slope, 0.0)
    own, steady = slope[:count], inertia[:count]
    z = own / steady
    taken = 0.5 * own * (1.0 + z / (6.0 + np.abs(z)))
    out[:count] = np.maximum(taken, (STEADIED - 1.0) * steady) - own
    return out


def _stable(values: Values, inertia: Array, eq: Equations) -> NDArray[np.bool_]:
    """Scenarios in which inertia outweighs every falling slope (a fan on its rising stretch)."""
    slope = values.slope if eq.shut is None else np.where(eq.shut, 0.0, values.slope)
    return np.asarray((slope + 0.5 * inertia > 0.0).all(axis=0))


def _next_time_step(
    time: Array, sound: NDArray[np.bool_], size: Array, old_size: Array, change: Array, careful: bool
) -> Array:
    """Longer while the air settles, shorter after a step that went wrong."""
    if careful:
        grown = time * np.clip(LARGEST_CHANGE / np.maximum(change, 1e-9), 0.3, GROWTH)
    else:
        better = np.where(np.isfinite(old_size), old_size / np.maximum(size, 1e-12), 2.0)
        grown = time * np.clip(better, 0.5, 4.0)
    return np.clip(np.where(sound, grown, 0.25 * time), SHORTEST, LONGEST)
