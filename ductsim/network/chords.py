"""Every path's law replaced by a line no flatter than what the path has shown: slow, but hard to mislead.

Newton's method takes the slope at a point for the law. Where a curve has cliffs, rises or hardly resists, the
step is far too large somewhere, and to shorten it everywhere would stop all other paths too. Here each path
keeps its own memory of the steepest chord between its last points, and uses that line. The energy that the
paths' drops store then falls with each step, so the air comes to rest where a small disturbance dies out.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .heat import settled
from .newton import LEAST_FLOW, LEAST_RISE, left_of
from .point import Point
from .slope_floor import least_slopes
from .step import newton_step
from .values import Values

Array = NDArray[np.float64]

FORGETTING = 0.4  # of a chord's steepness is kept from step to step
STEEPER = 1.5  # times a chord that was steeper than the line that was used
FALLING = 0.2  # of the slope of a falling stretch, as resistance
RELAX = 0.5  # of the way that temperatures are taken to those that belong to the flows
AT_REST = 1e-7  # of the largest flow: such a step is none


def by_chords(
    eq: Equations, point: Point, anchors: Array | None, limit: int, frozen: bool = False, apart: bool = False
) -> tuple[Point, NDArray[np.intp]]:
    """So many steps from a point, or fewer when hardly anything moves any more; and how many each took.

    Frozen keeps the temperatures. Apart lets the one of two paths that act on each other move freely that
    resists far less: see `_least`. A scenario that has ended is not moved further by its neighbours.
    """
    with np.errstate(all="ignore"):
        return _by_chords(eq, point, anchors, limit, 0.0 if frozen else RELAX, apart)


def _by_chords(
    eq: Equations, point: Point, anchors: Array | None, limit: int, relax: float, apart: bool
) -> tuple[Point, NDArray[np.intp]]:
    memory = np.zeros_like(point.flow)
    place = np.arange(eq.scenarios)
    last, taken = point.take(place), np.full(eq.scenarios, limit)
    going = np.ones(eq.scenarios, dtype=bool)
    values = eq.evaluate(point.flow, point.pressure, point.temperature_rise)
    for steps in range(limit):
        line = np.maximum(_least(eq, values, apart), memory)
        values = eq.with_inertia(values, line - np.minimum(values.slope, line))
        step = newton_step(eq, values, point, anchors)
        flow, pressure = point.flow + step.flow, point.pressure + step.pressure
        old = temperature_rise = point.temperature_rise
        if temperature_rise is not None and relax:
            temperature_rise = temperature_rise + relax * (
                settled(eq, flow, values.density, None) - temperature_rise
            )
        sound = np.isfinite(flow).all(axis=0) & np.isfinite(pressure).all(axis=0)
        lost = going & ~sound
        last.put(place[lost], point, lost)
        taken[place[lost]] = steps
        going &= sound
        if not going.any():
            return last, taken
        new = eq.evaluate(flow, pressure, temperature_rise)
        chord = (new.drop - values.drop) / step.flow
        chord = np.where(np.isfinite(chord), chord, 0.0)
        memory = np.where(chord > line, STEEPER * chord, FORGETTING * line)
        point, values = Point(flow, pressure, temperature_rise), new
        total = np.maximum(np.abs(flow).max(axis=0, initial=0.0), LEAST_FLOW)
        calm = np.abs(step.flow).max(axis=0, initial=0.0) <= AT_REST * total
        if temperature_rise is not None and old is not None:
            calm &= np.abs(temperature_rise - old).max(axis=0) <= LEAST_RISE
        calm &= going
        last.put(place[calm], point, calm)
        taken[place[calm]] = steps + 1
        going &= ~calm
        if not going.any():
            return last, taken
        if 2 * going.sum() <= len(going):
            place, point, eq, memory, anchors, values = left_of(
                going, place, point, eq, memory, anchors, values
            )
            going = np.ones(len(place), dtype=bool)
    last.put(place[going], point, going)
    return last, taken


def _least(eq: Equations, values: Values, apart: bool) -> Array:
    """The flattest line allowed on each path [Pa s/kg], (paths, S).

    Both of two paths that act on each other resist at least as much as they do that. It is enough that their
    lines together outweigh it (apart): a tiny nozzle resists so much that its suction may move freely.
    """
    out = np.maximum(values.slope, FALLING * np.abs(values.slope))
    for lg, (_, s12, s21, _) in zip(eq.system.pairs, values.pair_slope, strict=True):
        across = 0.5 * np.abs(s12 + s21)
        one, two = out[lg.rows].copy(), out[lg.partners].copy()
        for rows, other in ((lg.rows, two), (lg.partners, one)):
            share = np.fmin(across / other, 1.0) if apart else 1.0
            out[rows] = np.maximum(out[rows], across * share)
    more = least_slopes(eq, out)
    return out if more is None else out + more
