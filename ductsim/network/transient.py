"""Following the air from standstill: every path has inertia, time steps are linearly implicit.

It is the guard when Newton's method fails, and the definition of the answer when fans have rising
stretches: the operating point is the one reached by running up from standstill.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations, Values
from .newton import LEAST_FLOW, Point, newton_step
from .warmth import passed_on

Array = NDArray[np.float64]

COLUMN_LENGTH = 1.0  # m of air column that gives each path its inertia
FIRST_TIME_STEP = 1e-3  # s
LARGEST_CHANGE = 0.1  # of the largest flow, in one time step of a run-up
SETTLED_RATE = 1e-6  # of the largest flow per second: small flows have settled too
PATIENCE, BLINK = 150, 1e-3  # time steps, s: air that has been followed no further by then never will be
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
    warmth = np.zeros_like(pressure) if eq.heated else None
    return Point(np.zeros((eq.system.paths, eq.scenarios)), pressure, warmth)


def run_up(
    eq: Equations, point: Point, anchors: Array | None, limit: int, careful: bool
) -> tuple[Point, NDArray[np.bool_], int]:
    """Let the air run from `point` until it hardly changes; careful keeps the time steps physical.

    Returns the last point, which scenarios have settled, and the number of time steps.
    """
    with np.errstate(all="ignore"):
        return _run_up(eq, point, anchors, limit, careful)


def _run_up(
    eq: Equations, point: Point, anchors: Array | None, limit: int, careful: bool
) -> tuple[Point, NDArray[np.bool_], int]:
    mass = inertance(eq)
    time = np.full(eq.scenarios, FIRST_TIME_STEP)
    calm: Any = np.zeros(eq.scenarios, dtype=np.intp)
    old_size = np.full(eq.scenarios, np.inf)
    steps, settled, elapsed = 0, calm >= 3, np.zeros(eq.scenarios)
    while steps < limit and not settled.all():
        if steps == PATIENCE and (settled | (elapsed < BLINK)).all():
            break
        steps += 1
        inertia = np.broadcast_to(mass / time, point.flow.shape)
        values = eq.evaluate(point.flow, point.pressure, point.warmth, inertia=inertia)
        step = newton_step(eq, values, point, anchors)
        moved = np.abs(step.flow).max(axis=0, initial=0.0)
        total = np.maximum(np.abs(point.flow + step.flow).max(axis=0, initial=0.0), LEAST_FLOW)
        sound: Any = np.isfinite(moved) & _stable(values, inertia, eq)
        if careful:
            sound &= (moved <= 3.0 * LARGEST_CHANGE * total) | (time <= FIRST_TIME_STEP)
        flow = np.where(sound, point.flow + step.flow, point.flow)
        pressure = np.where(sound, point.pressure + step.pressure, point.pressure)
        warmth = point.warmth
        if warmth is not None:
            warmth = passed_on(eq, flow, warmth, values.density)
        point = Point(flow, pressure, warmth)
        size = np.sqrt((values.residual**2).mean(axis=0))
        calm = np.where(sound & (moved <= SETTLED_RATE * total * time), calm + 1, 0)
        time = _next_time_step(time, sound, size, old_size, moved / total, careful)
        old_size = np.where(sound, size, old_size)
        elapsed += np.where(sound, time, 0.0)
        settled = calm >= 3
    return point, settled, steps


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
