"""What the arithmetic can carry: how much easier a path may be than the ways that lead out from its ends.

The pressures of a piece of the network that is joined to the rest by narrow ways only, a dead end behind a
nearly shut gate, follow from those ways. A path inside the piece that gives way ever so much more easily
would drown them in rounding. Such a path gets the least resistance that can be told from none: its drop, on
top of what its law says, stays far below what is asked of the pressures. So does a path that acts on another
where rounding is all that is left of its slope: a jet without losses whose nozzle is shut.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from .equations import Equations
    from .values import Values

Array = NDArray[np.float64]

WIDEST_RATIO = 1e13
"""A path's conductance over that of the widest way out from its ends, at most."""
FINER = 1e9
"""Times as much, where that much stands in the way."""


DIFFERENCE_ROUNDING = 1e-15
"""Of what a difference is made of."""


def least_slopes(eq: Equations, slope: Array, values: Values | None = None) -> Array | None:
    """What the paths' slopes need on top [Pa s/kg], (paths, S); None where nothing does.

    With the `values` that the slopes are of, none is left smaller than rounding makes it.
    """
    resistance, carried = np.abs(slope), WIDEST_RATIO * eq.finer
    resistance[np.isnan(resistance)] = np.inf
    if eq.shut is not None:
        resistance = np.where(eq.shut, np.inf, resistance)
    narrow = np.where(np.isfinite(resistance), resistance, 0.0).max(axis=0, initial=0.0)
    if (narrow <= carried * resistance.min(axis=0, initial=np.inf)).all():
        return None
    way = ways_out(eq, resistance)
    least = np.maximum(way[eq.system.start], way[eq.system.finish]) / carried
    rounding = None if values is None else pair_rounding(eq, values)
    if rounding is not None:
        least = np.fmax(least, rounding)
    low = (resistance < least) & np.isfinite(least)
    return np.where(low, least - slope, 0.0) if low.any() else None


def pair_rounding(eq: Equations, values: Values) -> Array | None:
    """By how much rounding spoils the slopes of paths that act on each other [Pa s/kg], (paths, S)."""
    if not eq.system.pairs:
        return None
    out = np.zeros_like(values.slope)
    for lg, (_, s12, s21, _) in zip(eq.system.pairs, values.pair_slope, strict=True):
        out[lg.rows] = out[lg.partners] = DIFFERENCE_ROUNDING * (np.abs(s12) + np.abs(s21))
    return out


def ways_out(eq: Equations, resistance: Array) -> Array:
    """For each node the largest resistance on its easiest way to a known pressure, (nodes, S)."""
    system = eq.system
    way = np.full((len(system.nodes), resistance.shape[1]), np.inf)
    way[system.free :] = 0.0
    while True:
        new = way.copy()
        np.minimum.at(new, system.start, np.maximum(way[system.finish], resistance))
        np.minimum.at(new, system.finish, np.maximum(way[system.start], resistance))
        if np.array_equal(new, way):
            return way
        way = new
