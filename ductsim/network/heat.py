"""Temperatures of the nodes, from the flows: shaft power ends up in the air, which mixes where it meets.

A node's balance is linear in the temperatures: what flows in brings its own, a fan adds power over heat
capacity. Temperatures are kelvin over outside's, arrays (nodes, S).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from .values import some_columns, take_columns

if TYPE_CHECKING:
    from .equations import Equations
    from .system import Stream

Array = NDArray[np.float64]

HOTTEST = 600.0  # K over outside's; a fan that moves almost nothing would heat it without limit
COLDEST = -150.0  # K, likewise below
RING_LOSS = 1e-10  # kg/s; air that runs in a closed ring would otherwise have no definite temperature
STILL_AIR = 1e-4  # kg/s
"""Air that moves less takes on the temperature outside: its heat capacity, 0.1 W/K, is what a hand's breadth
of bare duct wall passes on (5 W/m2K: common practice, no published source)."""


def ambient_inflow(total: Array) -> Array:
    """Outside air mixed into what flows into a node [kg/s], so that its temperature is definite.

    All but vanishes where anything flows: a thousandth of it at six times as much.
    """
    square = (total / STILL_AIR) ** 2
    return STILL_AIR / (1.0 + square * square) + RING_LOSS


def heat(eq: Equations, flow: Array, density: Array) -> Array:
    """Shaft power over heat capacity of each path [K kg/s], fading where a fan's flow is about to turn."""
    out = np.zeros_like(flow)
    if len(eq.system.fans):
        out[eq.system.fans] = _fans_heat(eq, flow, density, eq.system.fans)
    return out


def _fans_heat(eq: Equations, flow: Array, density: Array, rows: Any) -> Array:
    out: Array = eq.power(flow, density) / eq.heat_capacity
    out *= np.minimum(np.abs(flow[rows]) / eq.turning[rows], 1.0)
    return out


def advected(eq: Equations, flow: Array, temperature_rise: Array, density: Array) -> Array:
    """Each free node's temperature from those of its neighbours: the air is passed along every path once."""
    system = eq.system
    both = np.empty((2 * system.paths, flow.shape[1]), dtype=flow.dtype)
    ahead, behind = both[: system.paths], both[system.paths :]
    np.maximum(flow, 0.0, out=ahead)
    np.subtract(ahead, flow, out=behind)
    total = system.into @ both
    total += np.maximum(eq.supply, 0.0)
    total += ambient_inflow(total)
    forward = np.broadcast_to(True, flow.shape)
    ahead *= eq.with_inlets(np.arange(system.paths), temperature_rise[system.start], forward)
    behind *= temperature_rise[system.finish]
    rows = system.fans
    if len(rows):
        warm, on = _fans_heat(eq, flow, density, rows), flow[rows] >= 0.0
        ahead[rows] += np.where(on, warm, 0.0)
        behind[rows] += np.where(on, 0.0, warm)
    out = np.zeros_like(temperature_rise)
    out[: system.free] = np.clip(system.into @ both / total, COLDEST, HOTTEST)
    return out


def _both_ways(values: Array, ahead: NDArray[np.bool_]) -> Array:
    """Values of paths that run forward, then of those that run backward, zero elsewhere."""
    return np.concatenate([np.where(ahead, values, 0.0), np.where(ahead, 0.0, values)])


def settled(eq: Equations, flow: Array, density: Array, stream: Stream | None) -> Array:
    """The temperatures that belong to these flows.

    Scenarios in which every path runs as in the `stream` are swept down it, the others are solved as one
    linear system. A scenario's own flows decide, so its answer does not depend on its neighbours.
    """
    sources = heat(eq, flow, density)
    if stream is None or stream.ring:
        return _solved(eq, flow, sources, slice(None))
    other = ((flow >= 0.0) != stream.forward[:, None]).any(axis=0)
    out = _swept(eq, np.abs(flow), sources, stream)
    if other.any():
        out[:, other] = _solved(eq, flow, sources, other)
    return out


def _swept(eq: Equations, amount: Array, sources: Array, stream: Stream) -> Array:
    """Down the stream level by level: only nodes that fans warm, only the paths into them."""
    out = np.zeros((len(eq.system.nodes), amount.shape[1]))
    for level in stream.warmed:
        paths, nodes = level.paths, level.nodes
        carried = eq.with_inlets(paths, out[stream.up[paths]], stream.forward[paths, None])
        flow = amount[paths]
        carried *= flow
        carried += sources[paths]
        total = level.into @ flow
        total += np.maximum(eq.supply[nodes], 0.0)
        total += ambient_inflow(total)
        out[nodes] = np.clip(level.into @ carried / total, COLDEST, HOTTEST)
    return out


def _solved(eq: Equations, flow: Array, sources: Array, columns: Any) -> Array:
    """All free nodes' balances at once, for some of the scenarios, whatever the directions."""
    system = eq.system
    flow, sources = some_columns(flow, columns), some_columns(sources, columns)
    amount, ahead = np.abs(flow), flow >= 0.0
    carrying = _both_ways(amount, ahead)
    total = system.into @ carrying
    fresh = np.maximum(eq.supply, 0.0)
    total += take_columns(fresh, columns)
    total += ambient_inflow(total)
    brought = sources.copy()
    for p in eq.powers:
        if p.inlet is not None:  # what a fan draws in has a temperature of its own, not its node's
            own = np.broadcast_to(p.inlet - eq.temperature, (len(p.rows), eq.scenarios))[:, columns]
            given = ahead[p.rows] & ~np.isnan(own)
            brought[p.rows] += np.where(given, own * amount[p.rows], 0.0)
            carrying[p.rows] = np.where(given, 0.0, carrying[p.rows])
    right = system.into @ _both_ways(brought, ahead)
    slots = system.carry @ carrying
    slots[system.diagonal] += total
    out = np.zeros((len(system.nodes), flow.shape[1]))
    found = system.mixing.solve(slots, right)
    out[: system.free] = np.clip(found, COLDEST, HOTTEST)
    return out
