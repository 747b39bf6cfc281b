"""Supplies and held pressures raised from nothing, where the whole of them is too much at once.

Either all of the load is reached, or some of it already needs a pressure that no duct could have. More load
would need more of it (our assumption, certain where all paths are resistances), so the search ends there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .chords import by_chords
from .equations import Equations
from .newton import Point, Solved, cold_start, iterate

Array = NDArray[np.float64]

HIGHEST = 3e6  # Pa off outside's: thirty atmospheres, where no duct, fan or leak was ever measured
CHOKED = 0.5  # of the outside pressure; the critical ratio of air, (2 / 2.4)^3.5, is 0.528
FIRST, FACTOR, LEAST_FACTOR = 1e-9, 10.0, 1.3  # share of the load, and how much more each time
FIRST_SHARE = 1e-4  # of the density's answer to pressure
STEPS = 40


def raised(eq: Equations, anchors: Array | None) -> Solved | None:
    """One scenario under as much of its load as it bears; None where the search is lost on the way.

    Of a load that is too much the result is marked as overloaded: the state under a share of it that goes
    beyond the limits, or one of choking air under which no more could be reached.
    """
    nothing = _under(eq, 0.0)
    with np.errstate(all="ignore"):
        point = cold_start(nothing, anchors)
    found = iterate(nothing, point, anchors, 2 * STEPS, damped=True)
    share, factor, steps = FIRST, FACTOR, int(found.steps[0])
    if not found.good[0]:
        return None
    while factor > LEAST_FACTOR and not too_much(eq, found.point.pressure)[0]:
        part = _under(eq, share)
        start = found.point.take([0])
        start.pressure[eq.system.free :] = part.held
        more = iterate(part, start, anchors, STEPS, damped=True)
        steps += int(more.steps[0])
        more.steps[:] = steps
        if not more.good[0]:
            share, factor = share / factor, np.sqrt(factor)
        elif share >= 1.0:
            return more
        else:
            found = more
        share = min(share * factor, 1.0)
    found.good[:], found.overloaded[:] = False, True
    return found if too_much(eq, found.point.pressure, CHOKED)[0] else None


def thinned(eq: Equations, dense: Point, anchors: Array | None) -> Solved | None:
    """One scenario from its point in air that keeps its density, made as springy as real air by and by.

    The air's heat is left out. Marked as overloaded where the search ends because the pressures that were
    reached tell that real air needs too much, or have grown beyond the highest as the air became springier
    (a fan that draws denser air presses more); None where it is lost on the way.
    """
    share, factor, point, steps = FIRST_SHARE, FACTOR, dense, 0
    reached, found = 0.0, Solved.empty(eq.system, 1, False)
    while factor > LEAST_FACTOR:
        part = eq.dense(share)
        more = iterate(part, point.take([0]), anchors, STEPS, damped=True)
        if not more.good[0]:
            start, _ = by_chords(part, point.take([0]), anchors, STEPS)
            more = iterate(part, start, anchors, STEPS, damped=True)
        steps += int(more.steps[0])
        more.steps[:] = steps
        if not more.good[0]:
            share, factor = share / factor, np.sqrt(factor)
        elif share >= 1.0:
            return more
        else:
            point, found, reached = more.point, more, share
        share = min(share * factor, 1.0)
    if not reached:
        return None
    grown = np.abs(point.pressure).max() > max(HIGHEST, np.abs(dense.pressure).max())
    if not grown and not needs_too_much(eq, point.pressure, reached)[0]:
        return None
    found.good[:], found.overloaded[:] = False, True
    return found


def too_much(eq: Equations, pressure: Array, share: float = 1.0) -> NDArray[np.bool_]:
    """Scenarios with a vacuum of that share of the outside pressure, or more pressure than any duct bears."""
    outside = np.inf if eq.constant else eq.outside / eq.per_pressure
    deep, high = pressure.min(axis=0) <= -share * outside, np.abs(pressure).max(axis=0) > HIGHEST
    out: NDArray[np.bool_] = deep | high
    return out


def needs_too_much(eq: Equations, pressure: Array, share: float = 0.0) -> NDArray[np.bool_]:
    """Scenarios in which pressures found for air that is too dense or too thin tell of too much for real air.

    `share` of real air's answer to pressure. Thinner air needs more vacuum and chokes when half of its
    pressure is spent. Denser air needs less pressure: p + share p^2 / 2 p_outside stays for the same flow.
    """
    outside, highest = eq.outside / eq.per_pressure, pressure.max(axis=0)
    deep = pressure.min(axis=0) <= -CHOKED * outside
    high = highest + 0.5 * share * highest**2 / outside > HIGHEST + 0.5 * HIGHEST**2 / outside
    out: NDArray[np.bool_] = deep | high
    return out


def loaded(eq: Equations) -> NDArray[np.bool_]:
    """Scenarios with supplies or held pressures."""
    any_load = (eq.supply != 0.0).any(axis=0) | (eq.held != 0.0).any(axis=0)
    return np.broadcast_to(any_load, eq.scenarios)


def _under(eq: Equations, share: float) -> Equations:
    """The equations under a share of their load."""
    out = eq.take(slice(None))
    out.supply, out.held = share * eq.supply, share * eq.held
    return out
