"""Fans whose curve rises somewhere: where such a fan may work at one flow only.

Two points of one network differ in flows and pressures that balance, so what the paths' drops differ by,
times what their flows differ by, adds up to nothing over all paths (Tellegen's theorem). Where each path's
drop lies on the same side of that at a point as its flow, every term is positive: there is no other point. A
resistance is so everywhere; a fan where its curve passes the height of the point once. Where it comes back,
the resistances around it may still outweigh that: each path's least ratio of the two differences stands for
it, and the sum is positive for all flows that balance when the loops' matrix of these is positive definite.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..laws.card import card_of
from ..parts.declare import LocalAir
from .equations import Equations
from .point import Point
from .system import System
from .values import some_columns

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

CURVE_SHARES = np.linspace(0.0, 1.7, 14)  # of the cold start's guess, 0.6 of a fan's full flow
WIDE_SHARES = np.linspace(-0.6, 1.8, 37)  # of it, backwards too
TOGETHER = 100  # scenarios whose fans are looked at at all flows in one call
COARSELY = 6  # every so many of these, to begin with
AROUND = np.delete(np.linspace(-1.0, 1.0, 25), 12)  # at the point itself its slope tells
RESISTING_SHARES = (1.0 - 2.0**0.5, 0.0, 2.5)  # of a flow; a square law's least ratio is at the first
ALIKE = 0.1  # of the largest pressure; up to 0.3 the run-ups of thousands ended alike
HARDLY = 0.01  # of a slope
RESISTING = 0.3  # of what a fan lifts over its flow: about the most that counts against its rise
STRICTER = 1.1  # times a falling ratio, so that a point tells for those close by
MOST_PATHS = 400


def curves(eq: Equations) -> tuple[Mask, Array]:
    """Scenarios in which some fan's curve rises; what all drop up to full flow, (flows, fans, S)."""
    out = np.zeros(eq.scenarios, dtype=bool)
    air = LocalAir(eq.outside, eq.viscosity, eq.outside)
    drops = []
    for c, rows, fans in _fans(eq):
        if eq.scenarios == 1:
            rises, drop = _single_curves(eq, c, rows, fans)
            out |= rises
            drops.append(drop)
            continue
        guess = _wide(eq)[rows][fans]
        drop, slope = _at_all(eq, c, fans, air, CURVE_SHARES[:, None, None] * guess)
        out |= (slope < 0.0).any(axis=(0, 1))
        drops.append(drop)
    return out, np.concatenate(drops, axis=1) if drops else np.zeros((1, 1, eq.scenarios))


def _single_curves(eq: Equations, c: Any, rows: slice, fans: Any) -> tuple[bool, Array]:
    """The same of the fans in one group, of one scenario at all flows together; known while they stay."""
    outside = float(eq.outside[0])
    if c.curves is None or c.curves[0] != outside:
        air = LocalAir(eq.outside, eq.viscosity, eq.outside)
        drop, slope, _ = _of(c, fans)(CURVE_SHARES * eq.guess[rows][fans], air)
        rises = bool((slope < 0.0).any())
        c.curves = (outside, rises, np.broadcast_to(drop, slope.shape).T[:, :, None])
    _, rises, drops = c.curves
    return bool(rises), drops


def look_alikes(drops: Array, middle: Array) -> Mask:
    """Scenarios whose fans' curves have the shape of the middle's, but for one factor for all of them.

    The same race of the fans from standstill then has the same end.
    """
    with np.errstate(all="ignore"):
        factor = (drops * middle).sum(axis=(0, 1)) / (drops * drops).sum(axis=(0, 1))
        off = np.abs(factor * drops - middle).max(axis=(0, 1))
    return np.asarray(off <= ALIKE * np.abs(middle).max(axis=(0, 1)))


def only(eq: Equations, point: Point, density: Array | None = None) -> Mask:
    """Scenarios in which no other flows could balance, however often their fans' curves rise and fall."""
    out = np.zeros(eq.scenarios, dtype=bool)
    if eq.scenarios == 1:
        return _only(eq, point, density)
    guess = _wide(eq)
    few = _chords(eq, point.flow, density, WIDE_SHARES[::COARSELY], guess)
    worth = np.flatnonzero(_could_be_outweighed(eq, point, few))
    if len(worth) == eq.scenarios:
        return _only(eq, point, density)
    if len(worth):
        density = None if density is None else density[:, worth]
        out[worth] = _only(eq.take(worth), point.take(worth), density)
    return out


def _only(eq: Equations, point: Point, density: Array | None) -> Mask:
    chords = _chords(eq, point.flow, density, WIDE_SHARES, _wide(eq))
    out = np.asarray((chords > 0.0).all(axis=0))
    some = np.flatnonzero(~out & _could_be_outweighed(eq, point, chords))
    if len(some) and eq.system.paths <= MOST_PATHS and not several(eq):
        out[some] = _outweighed(eq.take(some), point.take(some), some_columns(chords, some))
    return out


def _could_be_outweighed(eq: Equations, point: Point, chords: Array) -> Mask:
    """Scenarios worth a closer look, by what a fan lifts over its flow."""
    system, rows = eq.system, eq.system.fans
    with np.errstate(all="ignore"):
        lift = np.abs(point.pressure[system.start[rows]] - point.pressure[system.finish[rows]])
        return np.asarray((STRICTER * chords + RESISTING * lift / np.abs(point.flow[rows]) > 0.0).all(axis=0))


def _outweighed(eq: Equations, point: Point, chords: Array) -> Mask:
    """Scenarios in which resistances make up for these ratios of the fans.

    The loops' matrix is positive definite when the nodes' matrix of conductances has as many negative
    eigenvalues as there are negative ratios (Sylvester's law of inertia and Haynsworth's, from memory).
    """
    system = eq.system
    with np.errstate(all="ignore"):
        values = eq.evaluate(point.flow, point.pressure, point.temperature_rise)
        least = values.slope.copy()
        for share in RESISTING_SHARES:
            there = eq.evaluate(share * point.flow, point.pressure, point.temperature_rise, slopes=False)
            np.fmin(least, (there.drop - values.drop) / ((share - 1.0) * point.flow), out=least)
        for lg in system.pairs:  # whose drops depend on both flows: taken as hardly resisting
            for rows in (lg.rows, lg.partners):
                least[rows] = HARDLY * np.abs(values.slope[rows])
        least[system.fans] = np.where(chords < 0.0, STRICTER * chords, chords)
        conductance = np.reciprocal(least)
        if eq.shut is not None:
            conductance = np.where(eq.shut, 0.0, conductance)
        negative = system.pattern.elimination.negative_pivots(nodal(system, conductance))
    sure: Mask = negative == (conductance < 0.0).sum(axis=0)
    return sure & np.isfinite(conductance).all(axis=0)


def nodal(system: System, conductance: Array) -> Array:
    """The slots of the nodes' matrix of these conductances (paths, S)."""
    single = conductance[: system.singles]
    parts = [single, -single]
    for lg in system.pairs:
        both = np.array([conductance[lg.rows], conductance[lg.partners]])
        parts.append((lg.incidence * both[:, None]).reshape(-1, conductance.shape[1]))
    slots: Array = system.fill @ np.concatenate(parts)
    return slots


def several(eq: Equations) -> list[Any]:
    """The pairs whose drops may fall as their flow rises."""
    cards = [(lg, card_of(lg.law)) for lg in eq.system.pairs]
    return [lg for lg, card in cards if card is None or card.several]


def falls_around(eq: Equations, flow: Array, reach: Array, density: Array | None) -> Mask:
    """Scenarios in which no fan's curve comes back to its pressure at `flow` within a reach (paths, S)."""
    chords = _chords(eq, flow, density, AROUND, reach, flow)
    return np.asarray((chords > 0.0).all(axis=0))


def _chords(
    eq: Equations, flow: Array, density: Array | None, shares: Array, way: Array, origin: Array | None = None
) -> Array:
    """The least slope of a fan's drop at these flows, there and from there to others; (fans, S).

    The others are these shares of a way (paths, S), from an origin if not from nothing.
    """
    least = []
    for c, rows, fans in _fans(eq):
        own = eq.outside if density is None else density[rows][fans]
        air, at = LocalAir(own, eq.viscosity, eq.outside), flow[rows][fans]
        drop, slope, _ = _of(c, fans)(at, air)
        there = shares[:, None, None] * way[rows][fans]
        if origin is not None:
            there += origin[rows][fans]
        with np.errstate(all="ignore"):
            chords = (_at_all(eq, c, fans, air, there)[0] - drop) / (there - at)
            least.append(np.fmin(slope, np.fmin.reduce(chords, axis=0)))
    return np.concatenate(least) if least else np.ones((1, eq.scenarios))


def _at_all(eq: Equations, c: Any, fans: Any, air: LocalAir, flows: Array) -> tuple[Array, Array]:
    """Drops and their slopes of a group's fans at several flows (K, fans, S) each, alike in shape."""
    count, scenarios = len(flows), eq.scenarios
    if scenarios > TOGETHER:
        law = _of(c, fans)
        each = [law(flow, air)[:2] for flow in flows]
        return np.array([drop for drop, _ in each]), np.array([slope for _, slope in each])

    def again(values: Any) -> Any:
        many = scenarios > 1 and np.ndim(values) and values.shape[-1] == scenarios
        return np.concatenate([values] * count, axis=-1) if many else values

    wide = flows.swapaxes(0, 1).reshape(-1, count * scenarios)
    there = LocalAir(again(air.density), again(air.viscosity), again(air.outside))
    shape = (len(wide), count, scenarios)
    drop, slope = (
        np.broadcast_to(v, wide.shape).reshape(shape).swapaxes(0, 1)
        for v in _of(c, fans, again)(wide, there)[:2]
    )
    return drop, slope


def _wide(eq: Equations) -> Array:
    return np.broadcast_to(eq.guess, (eq.system.paths, eq.scenarios))


def _fans(eq: Equations) -> Iterator[tuple[Any, slice, Any]]:
    """Groups of one law with the places of the fans in them."""
    for place, rows, fans in eq.system.fan_groups:
        yield eq.coefficients[place], rows, fans


def _of(c: Any, fans: Any, made: Any = None) -> Any:
    """The law of these rows of a group, with their coefficients, or with what is `made` of each."""
    values, count = c.values, c.group.rows.stop - c.group.rows.start
    if not isinstance(fans, slice):
        values = {n: v[fans] if v.ndim > 1 and v.shape[0] == count else v for n, v in values.items()}

    if made is not None:
        values = {name: made(value) for name, value in values.items()}

    def law(flow: Array, air: LocalAir) -> Any:
        return c.group.law(flow, air, **values)

    return law
