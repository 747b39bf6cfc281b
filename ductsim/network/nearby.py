"""Newton's method from nearby points; of many scenarios the first steps are in single precision.

These take half the time. Points, what drives each path and the nodes' balances stay in double precision, so
that only corrections are rounded: they lead as near as the laws can be told, and one full step in double
precision ends there.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .newton import WITH_COMPANY, common_stream, first_values, iterate, left_of, with_company
from .point import Point, Solved
from .step import is_small, newton_step
from .values import Values, single_precision

Array = NDArray[np.float64]

PLAIN_STEPS = 14
MANY = 100  # scenarios of a solve: with fewer the laws cost as much in either precision
MOST = 5  # such steps: what is not near by then resists
NEAR = 1e-3  # of each flow: after such a step what is left is its square


def solve_from(
    eq: Equations,
    start: Point,
    anchors: Array | None,
    into: Solved | None = None,
    steps: int = PLAIN_STEPS,
    many: bool = False,
) -> Solved:
    """Newton from a given point; shut paths carry nothing, held nodes have their own pressures.

    Of many scenarios the first steps are in single precision, however few of them are here.
    """
    point = start.wide(eq.scenarios)
    point.pressure[eq.system.free :] = eq.held
    point.pressure[~np.isfinite(point.pressure)] = 0.0
    if eq.shut is not None:
        point.flow = np.where(eq.shut, 0.0, point.flow)
    if not eq.heated:
        point.temperature_rise = None
    elif point.temperature_rise is None:
        point.temperature_rise = np.zeros_like(point.pressure)
    begun: Any = 0
    many = many and not eq.system.slope_notes
    if many:
        point, begun = first_steps(eq, point, anchors)
    out = iterate(eq, point, anchors, steps, damped=False, into=into, agreed=many)
    out.steps += begun
    return out


def first_steps(eq: Equations, point: Point, anchors: Array | None) -> tuple[Point, NDArray[np.intp]]:
    """Where the first steps lead, and how many they were in each scenario.

    Each scenario goes until its own step is small, whatever its neighbours do. Where something is not finite
    it stays where it began.
    """
    rough, pins = eq.rough(), None if anchors is None else single_precision(anchors)
    at, out = _rounded(point, eq.system.free), point.precise()
    place, going = np.arange(eq.scenarios), np.ones(eq.scenarios, dtype=bool)
    taken = np.full(eq.scenarios, MOST, dtype=np.intp)
    with np.errstate(all="ignore"):
        values = first_values(rough, at, _evaluated)
        for k in range(1, MOST + 1):
            step = newton_step(rough, values, at, pins, common_stream(rough, at))
            before = at
            flow, pressure = at.flow + step.flow, at.pressure + step.pressure
            warm = at.temperature_rise if step.temperature_rise is None else step.temperature_rise
            at = Point(flow, pressure, warm)
            there = going & (is_small(before.flow, step.flow, NEAR) if k < MOST else True)
            some = there & np.isfinite(flow).all(axis=0) & np.isfinite(pressure).all(axis=0)
            if len(place) == eq.scenarios:
                out.put_where(some, at)
            else:
                out.put(place[some], at, some)
            taken[place[there]] = k
            going &= ~there
            if not going.any():
                break
            if 2 * going.sum() <= len(going) > WITH_COMPANY:
                kept = with_company(going)
                place, at, rough, pins = left_of(kept, place, at, rough, pins)
                going = going[kept]
            values = _evaluated(rough, at)
    return out, taken


def _rounded(point: Point, free: int) -> Point:
    """The same without the last digits, which may depend on how many scenarios were predicted together.

    Pressures of held nodes keep theirs.
    """
    warm = point.temperature_rise
    warm = None if warm is None else single_precision(warm)
    out = Point(single_precision(point.flow), single_precision(point.pressure), warm).precise()
    out.pressure[free:] = point.pressure[free:]
    return out


def _evaluated(rough: Equations, at: Point) -> Values:
    """All laws in single precision; what they leave of the pressures that drive the paths, in double."""
    system = rough.system
    warm = None if at.temperature_rise is None else single_precision(at.temperature_rise)
    values = rough.evaluate(single_precision(at.flow), single_precision(at.pressure), warm, warming=True)
    left = at.pressure[system.start] - at.pressure[system.finish]
    left -= values.drop
    if rough.shut is not None:
        left[np.broadcast_to(rough.shut, left.shape)] = 0.0
    values.residual = single_precision(left)
    return values
