"""Flows and temperatures found alternately, for warm air that drives itself round and round.

With the temperatures held, Newton's method finds the flows; the flows give new temperatures. Where that
would go round in circles, Anderson's method of mixing the last few turns finds the point that stays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .chords import by_chords
from .equations import Equations
from .heat import settled
from .newton import LEAST_RISE, iterate
from .point import Point, Solved

Array = NDArray[np.float64]

TURNS = 200
INNER_STEPS, INNER_CHORDS = 20, 60
MEMORY = 8  # turns that are mixed
CAUTION = 0.5  # share of a turn that is taken besides the mixing


def alternate(eq: Equations, point: Point, anchors: Array | None) -> Solved | None:
    """One scenario from a point nearby; None when this, too, finds nothing."""
    if point.temperature_rise is None or not np.isfinite(point.flow).all():
        return None
    temperature_rise = point.temperature_rise.copy()
    rises: list[Array] = []
    misses: list[Array] = []
    for _ in range(TURNS):
        start = Point(point.flow, np.nan_to_num(point.pressure), temperature_rise)
        found = iterate(eq, start, anchors, INNER_STEPS, damped=True, frozen=True)
        if not found.good[0]:
            start, _ = by_chords(eq, start, anchors, INNER_CHORDS, frozen=True)
            found = iterate(eq, start, anchors, INNER_STEPS, damped=True, frozen=True)
        if not found.good[0]:
            return None
        point = found.point
        with np.errstate(all="ignore"):
            miss = settled(eq, point.flow, found.density, None) - temperature_rise
        if np.abs(miss).max() <= 0.1 * LEAST_RISE:
            return found  # once more with both in step could lead away: such a point may repel full steps
        rises.append(temperature_rise[:, 0].copy())
        misses.append(miss[:, 0].copy())
        rises, misses = rises[-MEMORY:], misses[-MEMORY:]
        temperature_rise = _mixed(rises, misses)[:, None]
    return None


def _mixed(rises: list[Array], misses: list[Array]) -> Array:
    """The next temperatures: the mixture of turns that would miss least, and a share of its miss."""
    x, f = rises[-1], misses[-1]
    if len(misses) == 1:
        return x + CAUTION * f
    by_x = np.diff(np.array(rises), axis=0).T
    by_f = np.diff(np.array(misses), axis=0).T
    weight, *_ = np.linalg.lstsq(by_f, f, rcond=1e-10)
    out: Array = x + CAUTION * f - (by_x + CAUTION * by_f) @ weight
    return out
