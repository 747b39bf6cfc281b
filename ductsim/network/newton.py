"""Newton's method on flows and pressures together, all scenarios in step.

The flows are eliminated path by path (pairs 2 x 2), so that each step solves one nodal system. Node
balances are linear and hold exactly after a full step; the work is in the paths' pressure equations.
The temperatures follow the flows by a sweep down the stream after each step.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .heat import settled
from .linear import FEW_SCENARIOS
from .point import Point, Solved
from .slope_floor import DIFFERENCE_ROUNDING, least_slopes, pair_rounding
from .step import LAST_STEP, Step, is_small, newton_step
from .system import Stream
from .values import Values, some_columns

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PRESSURE_SHARE = 1e-10  # of the largest pressure
DROP_SHARE = 1e-8  # of each path's own drop
LEAST_DROP = 1e-6  # Pa, where a path's own drop is nothing
MISSED_FLOW = 1e-8  # of the largest flow: what a path's residual may stand for, by its own slope
ROUNDING = 1e-14  # of the largest pressure: no residual can be asked to be smaller
FLOW_ROUNDING = 1e-11  # of each path's own flow, where a curve is ever so steep
SLOPE_ROUNDINGS = 4.0  # of what slopes are differences of: so much may be rounding alone
AT_WORST = 4.0  # of what may be asked: more than that within a drop leaves no digit of it
EASED = 1e-11  # of the largest pressure: what the least resistance may add to a path's drop
FLOW_SHARE = 1e-9  # of the total flow
LEAST_PRESSURE = 1e-3  # Pa, with nothing flowing
LEAST_FLOW = 1e-6  # kg/s, with nothing flowing
LEAST_RISE = 1e-6  # K, after a step of LAST_STEP
SINGLE_STEP = 2e-7  # of each flow: the last one of a single scenario
LAST_LAG = 2e-7  # K by which temperatures lag behind such a step; a flow's share of that is a thousandth
LEAST_SLOPE = 1e-9  # Pa s/kg at a cold start: a jet with its nozzle shut and no losses has none
NEARLY = 0.1  # of the largest flow: after such a damped step a single scenario ends like one from nearby
FAR_OFF = 4.0  # times what drives a path: a drop that Newton's steps would only approach by halves
HALVINGS = 7  # of a damped step
MANY_HALVINGS = 16  # at a cliff of a fan's curve
PATIENCE = 3  # steps in a row that are halved to the last: given up, other methods are quicker then
WITH_COMPANY = 2 * FEW_SCENARIOS
RELAXING_STEPS = (15, 40)  # damped steps after which temperatures follow the flows half as fast


def cold_start(eq: Equations, anchors: Array | None) -> Point:
    """One linearised solve: each path a resistance by its drop at about 10 m/s."""
    system, scenarios = eq.system, eq.scenarios
    flow = np.broadcast_to(eq.guess, (system.paths, scenarios)).copy()
    flow[flow == 0.0] = 1e-3
    if eq.shut is not None:
        flow = np.where(eq.shut, 0.0, flow)
    pressure = np.zeros((len(system.nodes), scenarios))
    pressure[system.free :] = eq.held
    temperature_rise = np.zeros_like(pressure) if eq.heated else None
    count = system.singles
    fast = eq.evaluate(flow, pressure, temperature_rise, slopes=False)
    still = flow.copy()
    still[:count] = 0.0
    values = eq.evaluate(still, pressure, temperature_rise)
    with np.errstate(divide="ignore", invalid="ignore"):
        secant = (fast.drop[:count] - values.drop[:count]) / flow[:count]
        least = 0.01 * np.abs(fast.drop[:count]) / np.abs(flow[:count])
        gain = 1.0 / np.maximum(np.maximum(secant, least), LEAST_SLOPE)
    if system.pairs:
        flat = np.abs(values.slope) < LEAST_SLOPE
        if flat[count:].any():
            values = eq.with_inertia(values, np.where(flat, LEAST_SLOPE, 0.0))
    values.gain = np.where(values.gain == 0.0, 0.0, np.nan_to_num(gain, nan=0.0, posinf=0.0))
    step = newton_step(eq, values, Point(still, pressure, temperature_rise), anchors)
    return Point(still + step.flow, pressure + step.pressure, temperature_rise)


def _converged(
    eq: Equations, values: Values, point: Point, moved: Array, warmer: Any, ending: float
) -> tuple[Mask, Array]:
    """Which scenarios have arrived, and their imbalance [kg/s]."""
    total = np.maximum(np.abs(point.flow).max(axis=0, initial=0.0), LEAST_FLOW)
    good = (moved <= ending * total) & (warmer <= LEAST_RISE * (ending / LAST_STEP))
    if not good.any():
        return good, moved
    size = np.abs(values.residual)
    height = np.abs(point.pressure)
    system = eq.system
    # no drop can be told closer than the rounding of the flow and of the pressures that it comes from
    slope, inner = _told_slopes(eq, values, point)
    blur = FLOW_ROUNDING * np.abs(point.flow * slope)
    blur += DIFFERENCE_ROUNDING * (height[system.start] + height[system.finish])
    # nor than that of velocity pressures that it is a small difference of, as long as it can be told at all
    asked, most, level = _asked(values, point)
    good &= (inner <= AT_WORST * most).all(axis=0)
    inner = np.minimum(inner, most)
    blur += inner
    good &= (size <= PRESSURE_SHARE * level + 1e-9 + blur).all(axis=0)
    good &= (size <= asked + blur).all(axis=0)
    # a path of hardly any resistance turns a small pressure into a flow: judged by the flow it stands for
    by_flow = np.maximum(MISSED_FLOW * total * slope, ROUNDING * level)
    good &= (size <= by_flow + inner).all(axis=0)
    imbalance = _imbalance(eq, point.flow)
    good &= imbalance <= FLOW_SHARE * total
    return good, imbalance


def _asked(values: Values, point: Point) -> tuple[Array, Array, Array]:
    """What may be missing at a path by its own drop, and by the network's pressures too; their level [Pa]."""
    level = np.maximum(np.abs(point.pressure).max(axis=0), LEAST_PRESSURE)
    asked = np.maximum(DROP_SHARE * np.abs(values.drop), LEAST_DROP)
    return asked, asked + PRESSURE_SHARE * level, level


def _told_slopes(eq: Equations, values: Values, point: Point) -> tuple[Array, Array]:
    """The size of each slope as far as rounding leaves any, and what rounding does to each drop [Pa].

    Of paths that act on each other: their drops are differences of velocity pressures, as large as what
    each does to the other.
    """
    slope, rounding = np.abs(values.slope), pair_rounding(eq, values)
    inner = np.zeros_like(slope)
    if rounding is None:
        return slope, inner
    for lg, (_, s12, s21, _) in zip(eq.system.pairs, values.pair_slope, strict=True):
        made_of = np.abs(s12 * point.flow[lg.partners]) + np.abs(s21 * point.flow[lg.rows])
        inner[lg.rows] = inner[lg.partners] = DIFFERENCE_ROUNDING * made_of
    return np.maximum(slope - SLOPE_ROUNDINGS * rounding, 0.0), inner


def _imbalance(eq: Equations, flow: Array) -> Array:
    """Largest imbalance of a free node of each scenario [kg/s]."""
    if not eq.system.free:
        return np.zeros(flow.shape[1])
    out: Array = np.abs(eq.system.outflow @ flow - eq.supply).max(axis=0)
    return out


def iterate(
    eq: Equations,
    point: Point,
    anchors: Array | None,
    limit: int,
    damped: bool,
    into: Solved | None = None,
    frozen: bool = False,
    halvings: int = HALVINGS,
    ending: float = LAST_STEP,
    agreed: bool = False,
) -> Solved:
    """Newton steps until every scenario has arrived or the limit is reached; frozen keeps the temperatures.

    Damped steps are halved up to so many times; a scenario that needs all of them again and again is given
    up. A full step of at most `ending` of each flow is the last, unless slopes of laws from outside are
    known to be wrong; a single scenario, where a step costs little, gets more digits. Of many starts the
    first step can be that only where flows and temperatures are known to belong together (`agreed`). A
    scenario's answer is written down when it arrives, so it does not depend on its neighbours; the arrays
    shrink when half of them have gone.
    """
    out = Solved.empty(eq.system, eq.scenarios, eq.heated) if into is None else into
    with np.errstate(all="ignore"):
        quick = (not damped or eq.scenarios == 1) and not eq.system.slope_notes
        _iterate(
            eq, point, anchors, limit, damped, out, frozen, halvings if damped else 0, quick, ending, agreed
        )
    return out


def _iterate(
    eq: Equations,
    point: Point,
    anchors: Array | None,
    limit: int,
    damped: bool,
    out: Solved,
    frozen: bool,
    halvings: int,
    quick: bool,
    ending: float,
    agreed: bool,
) -> None:
    agreed = agreed or eq.scenarios == 1
    place = np.arange(eq.scenarios)
    going = np.ones(eq.scenarios, dtype=bool)
    near = quick and not damped
    least = min(ending, SINGLE_STEP) if eq.scenarios == 1 else ending
    if damped:
        values = _evaluated(eq, point, damped)
    else:
        values = first_values(eq, point, lambda eq, point: _evaluated(eq, point, False, near))
    moved = np.full(eq.scenarios, np.inf)
    warmer: Any = 0.0 if point.temperature_rise is None else np.full(eq.scenarios, np.inf)
    stream = common_stream(eq, point)
    stuck = np.zeros(eq.scenarios, dtype=np.intp)
    for steps in range(limit + 1):
        good, imbalance = _converged(eq, values, point, moved, warmer, ending)
        ended = (good | (stuck >= PATIENCE)) & going
        if steps == limit:
            ended = going
        if (ended & ~good).any():
            imbalance = _imbalance(eq, point.flow)
        if ended.any():
            where = place[ended]
            everything = len(where) == len(out.steps)
            columns, which = (slice(None), slice(None)) if everything else (where, ended)
            out.record(eq, columns, which, point, values, imbalance, steps)
            out.good[where] = good[ended]
            going &= ~ended
            left = int(going.sum())
            if not left:
                return
            if 2 * left <= len(going):
                rest = left_of(going, place, point, eq, anchors, values, stuck)
                (place, point, eq, anchors, values, stuck), going = rest, going[going]
        step = newton_step(eq, values, point, anchors, stream, least)
        if near and (steps or agreed):
            last = going & _is_last(eq, point, step, values, least)
            if last.any():
                _end(eq, point, step, values, stream, last, place, out, steps + 1)
                going &= ~last
                left = int(going.sum())
                if not left:
                    return
                if 2 * left <= len(going) > WITH_COMPANY:
                    kept = with_company(going)
                    step, *rest = left_of(kept, step, place, point, eq, anchors, values, stuck)
                    (place, point, eq, anchors, values, stuck), going = rest, going[kept]
        if quick and damped:
            near = not frozen and bool(np.abs(step.flow).max() <= NEARLY * np.abs(point.flow).max())
        # a warm column drives flows that mix its heat: small steps where full ones go round in circles
        relax = 0.0 if frozen else 0.5 ** sum(steps >= s for s in RELAXING_STEPS) if damped else 1.0
        point, values, moved, warmer, share = _advance(eq, point, step, values, halvings, stream, relax, near)
        if damped:
            stuck, near = np.where(share <= 0.5**halvings, stuck + 1, 0), near and share[0] == 1.0


def with_company(going: Mask) -> Mask:
    """Those still going, and others where they are few: so few alone would be solved in other ways."""
    out = going.copy()
    out[np.flatnonzero(~going)[: max(WITH_COMPANY - int(going.sum()), 0)]] = True
    return out


def left_of(going: Mask, *things: Any) -> list[Any]:
    """What belongs to the scenarios that are still going."""
    at = np.flatnonzero(going)
    return [
        None if x is None else some_columns(x, at) if isinstance(x, np.ndarray) else x.take(at)
        for x in things
    ]


def _is_last(eq: Equations, point: Point, step: Step, values: Values, ending: float) -> Mask:
    """Scenarios in which the next step would be of rounding size, in flows, densities and temperatures."""
    if step.far_apart:  # a small step may still leave much where conductances are so different
        return np.zeros(point.flow.shape[1], dtype=bool)
    out = is_small(point.flow, step.flow, ending)
    moved = np.abs(step.pressure).max(axis=0)
    out &= np.isfinite(moved) if eq.constant else moved * eq.per_pressure <= ending * eq.outside
    if point.temperature_rise is not None:
        lag: Any = np.inf if step.lag is None else step.lag
        out &= lag <= LAST_LAG * (ending / LAST_STEP)
    if eq.system.pairs and out.any():
        _, inner = _told_slopes(eq, values, point)
        out &= (inner <= AT_WORST * _asked(values, point)[1]).all(axis=0)
    return out


def _end(
    eq: Equations,
    point: Point,
    step: Step,
    values: Values,
    stream: Stream | None,
    last: Mask,
    place: NDArray[np.intp],
    out: Solved,
    steps: int,
) -> None:
    """Write down the scenarios that arrive with this step; their laws need no further evaluation.

    Few get the densities of where they end; of many those of the step before tell, which differ by less than
    anybody could use.
    """
    flow, pressure = point.flow + step.flow, point.pressure + step.pressure
    drop = pressure[eq.system.start] - pressure[eq.system.finish]
    if eq.shut is not None:
        drop = np.where(eq.shut, values.drop, drop)
    density = values.density
    if eq.scenarios <= FEW_SCENARIOS:
        density = eq.densities(flow, pressure, step.temperature_rise)
    everything = len(place) == len(out.steps) and bool(last.all())
    columns, which = (slice(None), slice(None)) if everything else (place[last], last)
    end = Point(flow, pressure, step.temperature_rise)
    out.record(
        eq, columns, which, end, replace(values, drop=drop, density=density), _imbalance(eq, flow), steps
    )
    out.good[columns] = True


def _evaluated(eq: Equations, point: Point, careful: bool, warming: bool = False) -> Values:
    """All laws at a point; careful adds the least resistance where a path is easier than can be carried."""
    values = eq.evaluate(point.flow, point.pressure, point.temperature_rise, warming=warming)
    more = least_slopes(eq, values.slope, values) if careful else None
    if more is not None:
        values = eq.with_inertia(values, more)
        # as a drop of its own only as far as nobody can tell: air that runs in a ring within keeps its law
        most = EASED * np.maximum(np.abs(point.pressure).max(axis=0), LEAST_PRESSURE)
        values.residual -= np.clip(more * point.flow, -most, most)
    return values


def first_values(eq: Equations, point: Point, evaluated: Callable[[Equations, Point], Values]) -> Values:
    """All laws where full steps begin, after flows far from what drives them were put right there."""
    values = evaluated(eq, point)
    some = np.flatnonzero(_flows_from_pressures(eq, point, values))
    if 2 * len(some) > eq.scenarios:
        return evaluated(eq, point)
    return values.put(some, evaluated(eq.take(some), point.take(some))) if len(some) else values


def _flows_from_pressures(eq: Equations, point: Point, values: Values) -> Mask:
    """Give paths whose drop is far from what drives them the flow that their pressures drive, in place.

    A leak that is sealed from one scenario to the next would otherwise lose only half its flow a step. Drops
    are taken as powers of the flow, with the exponent that the slope tells: exact for leaks and losses.
    Returns the scenarios in which some path had to change.
    """
    count = eq.system.singles
    flow, drop = point.flow[:count], values.drop[:count]
    # not from the residual, in which a huge drop leaves no digit of what drives the path
    ratio = (point.pressure[eq.system.start[:count]] - point.pressure[eq.system.finish[:count]]) / drop
    power = values.slope[:count] * flow / drop
    # the other way too, where hardly anything flows: a start's rounding tells no way
    far = ((ratio > FAR_OFF) | (np.abs(ratio) * FAR_OFF < 1.0)) & (power >= 0.9) & (power <= 2.5)
    flow[far] *= np.sign(ratio[far]) * np.abs(ratio[far]) ** (1.0 / power[far])
    return np.asarray(far.any(axis=0))


def common_stream(eq: Equations, point: Point) -> Stream | None:
    """The stream of most of many scenarios; None where it would not pay."""
    if point.temperature_rise is None or eq.scenarios <= FEW_SCENARIOS:
        return None
    return eq.system.stream((point.flow >= 0.0).mean(axis=1) >= 0.5)


def _advance(
    eq: Equations,
    point: Point,
    step: Step,
    values: Values,
    halvings: int,
    stream: Any,
    relax: float,
    warming: bool,
) -> tuple[Point, Values, Array, Any, Array]:
    """Take the step; halve it in the scenarios where the pressure equations get worse, at most so often."""
    density = values.density
    share = np.ones(eq.scenarios)
    old, least = share, share
    if halvings:  # where pressures are huge, their rounding alone is a miss that no step makes smaller
        old = _size(values)
        least = np.maximum(LEAST_DROP, DIFFERENCE_ROUNDING * np.abs(point.pressure).max(axis=0))
    new = _taken(eq, point, step, values.density, share, stream, relax if halvings else None)
    values = _evaluated(eq, new, halvings > 0, warming)
    worse = np.arange(eq.scenarios if halvings else 0)
    now = values
    for _ in range(halvings):
        still = ~(_size(now) <= old[worse] * (1.0 - 1e-4 * share[worse])) & (old[worse] > least[worse])
        if not still.any():
            break
        worse = worse[still]
        share[worse] *= 0.5
        part, before, move = eq, point, step
        if len(worse) < eq.scenarios:
            part, before = eq.take(worse), point.take(worse)
            move = Step(step.flow[:, worse], step.pressure[:, worse])
        at = _taken(part, before, move, density[:, worse], share[worse], stream, relax)
        now = _evaluated(part, at, True)
        values = now if len(worse) == eq.scenarios else values.put(worse, now)
        new.put(worse, at)
    moved = np.abs(step.flow).max(axis=0, initial=0.0)
    warmer: Any = 0.0
    if new.temperature_rise is not None and point.temperature_rise is not None:
        warmer = np.abs(new.temperature_rise - point.temperature_rise).max(axis=0)
    return new, values, moved, warmer, share


def _taken(
    eq: Equations, point: Point, step: Step, density: Array, share: Array, stream: Any, relax: float | None
) -> Point:
    """The point after these shares of a step; a full step where `relax` is None."""
    if relax is None:
        flow, pressure = point.flow + step.flow, point.pressure + step.pressure
    else:
        flow, pressure = point.flow + share * step.flow, point.pressure + share * step.pressure
    if point.temperature_rise is None:
        return Point(flow, pressure, None)
    temperature_rise = (
        settled(eq, flow, density, stream) if step.temperature_rise is None else step.temperature_rise
    )
    if relax is not None:
        temperature_rise = point.temperature_rise + relax * share * (
            temperature_rise - point.temperature_rise
        )
    return Point(flow, pressure, temperature_rise)


def _size(values: Values) -> Array:
    """What a damped step must make smaller [Pa], (S,)."""
    out: Array = np.sqrt((values.residual**2).mean(axis=0))
    return out
