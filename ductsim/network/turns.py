"""Flows and temperatures found by turns, for warm air that drives itself round and round.

With the temperatures held, Newton's method finds the flows; the flows give new temperatures. Where that
would go round in circles, Anderson's method of mixing the last few turns finds the point that stays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .chords import by_chords
from .equations import Equations
from .newton import LEAST_WARMTH, Point, Solved, iterate
from .warmth import settled

Array = NDArray[np.float64]

TURNS = 200
INNER_STEPS, INNER_CHORDS = 20, 60
MEMORY = 8  # turns that are mixed
CAUTION = 0.5  # share of a turn that is taken besides the mixing


def by_turns(eq: Equations, point: Point, anchors: Array | None) -> Solved | None:
    """One scenario from a point nearby; None when this, too, finds nothing."""
    if point.warmth is None or not np.isfinite(point.flow).all():
        return None
    warmth = point.warmth.copy()
    warmths: list[Array] = []
    misses: list[Array] = []
    for _ in range(TURNS):
        start = Point(point.flow, np.nan_to_num(point.pressure), warmth)
        found = iterate(eq, start, anchors, INNER_STEPS, damped=True, frozen=True)
        if not found.good[0]:
            start, _ = by_chords(eq, start, anchors, INNER_CHORDS, frozen=True)
            found = iterate(eq, start, anchors, INNER_STEPS, damped=True, frozen=True)
        if not found.good[0]:
            return None
        point = found.point
        with np.errstate(all="ignore"):
            miss = settled(eq, point.flow, found.density, None) - warmth
        if np.abs(miss).max() <= 0.1 * LEAST_WARMTH:
            return found  # once more with both in step could lead away: such a point may repel full steps
        warmths.append(warmth[:, 0].copy())
        misses.append(miss[:, 0].copy())
        warmths, misses = warmths[-MEMORY:], misses[-MEMORY:]
        warmth = _mixed(warmths, misses)[:, None]
    return None


def _mixed(warmths: list[Array], misses: list[Array]) -> Array:
    """The next temperatures: the mixture of turns that would miss least, and a share of its miss."""
    x, f = warmths[-1], misses[-1]
    if len(misses) == 1:
        return x + CAUTION * f
    by_x = np.diff(np.array(warmths), axis=0).T
    by_f = np.diff(np.array(misses), axis=0).T
    weight, *_ = np.linalg.lstsq(by_f, f, rcond=1e-10)
    out: Array = x + CAUTION * f - (by_x + CAUTION * by_f) @ weight
    return out
