"""Following the air from standstill: every path has inertia, time steps are linearly implicit.

It is the guard when Newton's method fails, and the definition of the answer when fans have rising
stretches: the operating point is the one reached by running up from standstill.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations, Values
from .heat import advected
from .newton import LEAST_FLOW, Point, newton_step

Array = NDArray[np.float64]

COLUMN_LENGTH = 1.0  # m of air column that gives each path its inertia
FIRST_TIME_STEP = 1e-3  # s
LARGEST_CHANGE = 0.1  # of the largest flow, in one time step of a run-up
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
    tilt = 1.0 + PERTURBATION * np.linspace(0.0, 1.0, eq.system.paths)[:, None]
    return COLUMN_LENGTH / np.maximum(area, 1e-6) * tilt


def standstill(eq: Equations) -> Point:
    """No flow anywhere, held pressures only."""
    pressure = np.zeros((len(eq.system.nodes), eq.scenarios))
    pressure[eq.system.free :] = eq.held
    temperature_rise = np.zeros_like(pressure) if eq.heated else None
    return Point(np.zeros((eq.system.paths, eq.scenarios)), pressure, temperature_rise)


def run_up(
    eq: Equations,
    point: Point,
    anchors: Array | None,
    limit: int,
    careful: bool,
    known: Array | None = None,
) -> tuple[Point, NDArray[np.bool_], NDArray[np.intp]]:
    """Let the air run from `point` until it hardly changes; careful keeps the time steps physical.

    `known` (paths, S) are flows of points that are known to be stable, NaN where none is: air that stays
    beside its own and draws nearer to it will come to rest there, and is followed no further.

    Returns the last point, which scenarios have settled, and the number of time steps of each. A scenario
    that has settled is not moved further by its neighbours.
    """
    with np.errstate(all="ignore"):
        return _run_up(eq, point, anchors, limit, careful, known)


def beside(flow: Array, known: Array) -> NDArray[np.bool_]:
    """Scenarios whose flows are near known ones, small flows near by their own measure."""
    own = np.abs(known)
    most = own.max(axis=0, initial=0.0)
    return np.asarray((np.abs(flow - known) <= np.minimum(NEAR * most, OWN * own + STRAY * most)).all(axis=0))


def _run_up(
    eq: Equations, point: Point, anchors: Array | None, limit: int, careful: bool, known: Array | None
) -> tuple[Point, NDArray[np.bool_], NDArray[np.intp]]:
    place = np.arange(eq.scenarios)
    last, settled = point.take(place), np.zeros(eq.scenarios, dtype=bool)
    taken, going = np.zeros(eq.scenarios, dtype=np.intp), np.ones(eq.scenarios, dtype=bool)
    mass = inertance(eq)
    time = np.full(eq.scenarios, FIRST_TIME_STEP)
    calm: Any = np.zeros(eq.scenarios, dtype=np.intp)
    close, away = calm, np.full(eq.scenarios, np.inf)
    old_size = np.full(eq.scenarios, np.inf)
    elapsed = np.zeros(eq.scenarios)
    for steps in range(1, limit + 1):
        inertia = np.broadcast_to(mass / time, point.flow.shape)
        values = eq.evaluate(point.flow, point.pressure, point.temperature_rise, inertia=inertia)
        step = newton_step(eq, values, point, anchors)
        moved = np.abs(step.flow).max(axis=0, initial=0.0)
        total = np.maximum(np.abs(point.flow + step.flow).max(axis=0, initial=0.0), LEAST_FLOW)
        sound: Any = np.isfinite(moved) & _stable(values, inertia, eq)
        if careful:
            sound &= (moved <= 3.0 * LARGEST_CHANGE * total) | (time <= FIRST_TIME_STEP)
        flow = np.where(sound, point.flow + step.flow, point.flow)
        pressure = np.where(sound, point.pressure + step.pressure, point.pressure)
        temperature_rise = point.temperature_rise
        if temperature_rise is not None:
            temperature_rise = advected(eq, flow, temperature_rise, values.density)
        point = Point(flow, pressure, temperature_rise)
        size = np.sqrt((values.residual**2).mean(axis=0))
        calm = np.where(sound & (moved <= SETTLED_RATE * total * time), calm + 1, 0)
        time = _next_time_step(time, sound, size, old_size, moved / total, careful)
        old_size = np.where(sound, size, old_size)
        elapsed += np.where(sound, time, 0.0)
        rest = calm >= LINGER
        if known is not None:
            apart = np.abs(flow - known).max(axis=0)
            close = np.where(sound & beside(flow, known) & (apart <= away), close + 1, 0)
            rest |= close >= LINGER
            away = apart
        ended = going & (rest | (elapsed < BLINK) if steps == PATIENCE else rest)
        if not ended.any():
            continue
        last.put(place[ended], point, ended)
        settled[place[ended]], taken[place[ended]] = rest[ended], steps
        going &= ~ended
        if not going.any():
            return last, settled, taken
        if 2 * going.sum() <= len(going):
            place, point, eq = place[going], point.take(going), eq.take(going)
            anchors = None if anchors is None else anchors[:, going]
            known = None if known is None else known[:, going]
            mass = mass if mass.shape[1] == 1 else mass[:, going]
            time, calm, close, away = time[going], calm[going], close[going], away[going]
            old_size, elapsed, going = old_size[going], elapsed[going], np.ones(len(place), dtype=bool)
    last.put(place[going], point, going)
    taken[place[going]] = limit
    return last, settled, taken


def _stable(values: Values, inertia: Array, eq: Equations) -> NDArray[np.bool_]:
    """Scenarios in which inertia outweighs every falling slope (a fan on its rising stretch)."""
    slope = values.slope if eq.shut is None else np.where(eq.shut, 0.0, values.slope)
    return np.asarray((slope + 0.5 * inertia > 0.0).all(axis=0))


def _next_time_step(
    time: Array, sound: NDArray[np.bool_], size: Array, old_size: Array, change: Array, careful: bool
) -> Array:
    """Longer while the air settles, shorter after a step that went wrong."""
    if careful:
        grown = time * np.clip(LARGEST_CHANGE / np.maximum(change, 1e-9), 0.3, 1.6)
    else:
        better = np.where(np.isfinite(old_size), old_size / np.maximum(size, 1e-12), 2.0)
        grown = time * np.clip(better, 0.5, 4.0)
    return np.clip(np.where(sound, grown, 0.25 * time), 1e-7, 1e6)
