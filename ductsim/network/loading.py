"""Supplies and held pressures raised from nothing, for scenarios in which the whole of them is too much at once.

Either all of the load is reached, or some of it already needs a pressure that no duct could have. More load
would need more of it (our assumption, certain where all paths are resistances), so that the search ends there.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .newton import Solved, cold_start, iterate

Array = NDArray[np.float64]

HIGHEST = 3e6  # Pa off outside's: thirty atmospheres, where no duct, fan or leak was ever measured
FIRST, FACTOR, LEAST_FACTOR = 1e-9, 10.0, 1.05  # share of the load, and how much more each time
STEPS = 60


def raised(eq: Equations, anchors: Array | None) -> Solved | None:
    """One scenario under as much of its load as it bears; None where the search is lost on the way.

    Of a load that is too much the result is the state under the share of it that goes beyond the limits.
    """
    with np.errstate(all="ignore"):
        point = cold_start(_under(eq, 0.0), anchors)
    found = iterate(_under(eq, 0.0), point, anchors, STEPS, damped=True)
    share, factor, steps = FIRST, FACTOR, int(found.steps[0])
    while found.good[0] and factor > LEAST_FACTOR:
        if too_much(eq, found.point.pressure)[0]:
            break
        part = _under(eq, share)
        start = found.point.take([0])
        start.pressure[eq.system.free :] = part.held
        more = iterate(part, start, anchors, STEPS, damped=True)
        steps += int(more.steps[0])
        if not more.good[0]:
            share, factor = share / factor, np.sqrt(factor)
        elif share >= 1.0:
            more.steps[:] = steps
            return more
        else:
            found = more
        share = min(share * factor, 1.0)
    found.steps[:] = steps
    return found if found.good[0] and too_much(eq, found.point.pressure)[0] else None


def too_much(eq: Equations, pressure: Array) -> NDArray[np.bool_]:
    """Scenarios with a vacuum or a pressure that no duct could have."""
    outside = eq.outside / eq.per_pressure if not eq.constant else np.inf
    out: NDArray[np.bool_] = (pressure.min(axis=0) <= -outside) | (np.abs(pressure).max(axis=0) > HIGHEST)
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
