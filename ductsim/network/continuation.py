"""Supplies, held pressures and the fans' heat raised from nothing, where all of it at once is too much.

Either all of the load is reached, or some of it already needs a pressure that no duct could have. More load
would need more of it (our assumption, certain where all paths are resistances), so the search ends there.
Likewise the heat: all of it is reached, or some of it already makes air hotter than anything around stands.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .alternating import alternate
from .chords import by_chords
from .equations import Equations
from .heat import HOTTEST
from .newton import cold_start, iterate
from .point import Point, Solved
from .structure import connected

Array = NDArray[np.float64]

HIGHEST = 3e6  # Pa off outside's: thirty atmospheres, where no duct, fan or leak was ever measured
CHOKED = 0.5  # of the outside pressure; the critical ratio of air, (2 / 2.4)^3.5, is 0.528
CHOKING = 0.45  # of it, where a search is lost just short of that
FIRST, FACTOR, LEAST_FACTOR = 1e-9, 10.0, 1.3  # share of the load, and how much more each time
FIRST_SHARE = 1e-4  # of the density's answer to pressure
NEARER, NEAREST, THIN = 1.05, 1.003, 0.3  # the least factor on it; and where so much of the pressure is spent
STEPS = 40
HOT = 100.0  # K over outside's, where water boils: no crop, hose or seal stands it (our assumption)
FIRST_HEAT, LEAST_HEAT_FACTOR = 1e-3, 1.4  # share of the fans' heat, and the least factor from share to share


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
    # just before air chokes the vacuum grows without limit with that share: it ends close to there
    while factor > (NEAREST if _spent(eq, point.pressure, THIN) else NEARER):
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
    grown = np.abs(eq.told(point.pressure)).max() > max(HIGHEST, np.abs(eq.told(dense.pressure)).max())
    choking = _spent(eq, point.pressure, CHOKING)
    if not grown and not choking and not needs_too_much(eq, point.pressure, reached)[0]:
        return None
    found.good[:], found.overloaded[:] = False, True
    return found


def _spent(eq: Equations, pressure: Array, share: float) -> bool:
    """Whether a vacuum takes that share of the outside pressure."""
    return bool(eq.told(pressure).min() <= -share * float((eq.outside / eq.per_pressure)[0]))


def warmed(eq: Equations, cold: Point, anchors: Array | None) -> Solved | None:
    """One scenario from its point without the fans' heat, which is raised from nothing.

    Marked as overloaded where no more of the heat could be reached and that share of it already makes some
    air hotter than anything around it stands: the flow is too small to carry the rest away. None where the
    search is lost sooner.
    """
    share, factor, point, steps = FIRST_HEAT, FACTOR, cold.take([0]), 0
    point.temperature_rise = np.zeros_like(point.pressure)
    found: Solved | None = None
    while factor > LEAST_HEAT_FACTOR:
        more = _heated(eq.warmed(share), point, anchors)
        steps += int(more.steps[0])
        more.steps[:] = steps
        if not more.good[0]:
            share, factor = share / factor, np.sqrt(factor)
        elif share >= 1.0:
            return more
        else:
            found, point = more, more.point
            if too_hot(point.temperature_rise, HOTTEST)[0]:
                break
        share = min(share * factor, 1.0)
    if found is None or not too_hot(point.temperature_rise)[0]:
        return None
    found.good[:], found.overloaded[:] = False, True
    return found


def _heated(eq: Equations, point: Point, anchors: Array | None) -> Solved:
    """One scenario with a share of its heat from the point with less: the ways that are quick first."""
    found = iterate(eq, point.take([0]), anchors, STEPS, damped=True)
    if not found.good[0]:
        start, _ = by_chords(eq, point.take([0]), anchors, STEPS)
        found = iterate(eq, start, anchors, STEPS, damped=True)
    if not found.good[0]:
        turned = alternate(eq, point.take([0]), anchors)
        return found if turned is None else turned
    return found


def too_hot(temperature_rise: Array | None, limit: float = HOT) -> NDArray[np.bool_]:
    """Scenarios with air that much warmer than outside's anywhere."""
    if temperature_rise is None:
        return np.zeros(1, dtype=bool)
    out: NDArray[np.bool_] = np.nan_to_num(temperature_rise).max(axis=0) >= limit
    return out


def pent_up(eq: Equations, anchors: Array | None) -> Solved | None:
    """One scenario with a supply that has only ways out too narrow for it; None where there is no such.

    A way is too narrow that would need more pressure than any duct bears, in air of the outside's density,
    for the least supply shared among all paths. What is put into a piece with no other ways has to leave by
    them, whatever the fans within do. Marked as overloaded, at that pressure all through the piece.
    """
    system, supply = eq.system, np.broadcast_to(eq.supply, (eq.system.free, 1))[:, 0]
    given = np.abs(supply[supply != 0.0])
    if not len(given):
        return None
    least, dense = given.min() / system.paths, eq.dense()
    nothing = np.zeros((len(system.nodes), 1))
    with np.errstate(all="ignore"):
        onward, back = (
            dense.evaluate(np.full((system.paths, 1), flow), nothing, None, slopes=False).drop[:, 0]
            for flow in (least, -least)
        )
    limit = HIGHEST + (0.0 if eq.constant else 0.5 * HIGHEST**2 * float((eq.per_pressure / eq.outside)[0]))
    narrow = (onward > limit) & (back < -limit)
    narrow[system.singles :] = False
    is_open = ~narrow if eq.shut is None else ~narrow & ~np.broadcast_to(eq.shut, (system.paths, 1))[:, 0]
    piece = connected(system, is_open[:, None])[:, 0]
    net = np.bincount(piece[: system.free], weights=supply, minlength=len(system.nodes))
    net[piece[-1]] = 0.0
    ways = np.bincount(piece[system.start[narrow]], minlength=len(net))
    ways += np.bincount(piece[system.finish[narrow]], minlength=len(net))
    worst = int(np.argmax(np.abs(net)))
    if abs(net[worst]) < least * ways[worst] or not net[worst]:
        return None
    point = Point(np.zeros((system.paths, 1)), nothing, nothing.copy() if eq.heated else None)
    point.pressure[piece == worst] = np.sign(net[worst]) * 2.0 * limit
    found = iterate(eq, point, anchors, 0, damped=False)
    found.good[:], found.overloaded[:] = False, True
    return found


def too_much(eq: Equations, pressure: Array, share: float = 1.0) -> NDArray[np.bool_]:
    """Scenarios with a vacuum of that share of the outside pressure, or more pressure than any duct bears."""
    outside, pressure = np.inf if eq.constant else eq.outside / eq.per_pressure, eq.told(pressure)
    deep, high = pressure.min(axis=0) <= -share * outside, np.abs(pressure).max(axis=0) > HIGHEST
    out: NDArray[np.bool_] = deep | high
    return out


def needs_too_much(eq: Equations, pressure: Array, share: float = 0.0) -> NDArray[np.bool_]:
    """Scenarios in which pressures found for air that is too dense or too thin tell of too much for real air.

    `share` of real air's answer to pressure. Thinner air needs more vacuum and chokes when half of its
    pressure is spent. Denser air needs less pressure: p + share p^2 / 2 p_outside stays for the same flow.
    """
    pressure = eq.told(pressure)
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
