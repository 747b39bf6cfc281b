"""Why a scenario has no answer: where it would need what no duct could have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .continuation import CHOKED, CHOKING, HIGHEST, too_hot
from .equations import Equations
from .lossier import SMALLEST
from .numbers import Numbers
from .point import Solved
from .solve import solve
from .stability import supersonic
from .structure import Structure, floating_nodes
from .system import System

Array = NDArray[np.float64]
Index = NDArray[np.intp]


def beyond(
    system: System, numbers: Numbers, solved: Solved, structures: list[Structure]
) -> tuple[Index, ...]:
    """For each scenario the node whose vacuum, pressure, heat and speed no duct could have; or -1.

    No vacuum is deeper than the air outside has pressure, and the laws end at `HIGHEST`; some solve even
    there. Where nothing was found, air that keeps its density tells. Thinner air would need more vacuum than
    that, and it chokes when half of its pressure is spent. Denser air needs less pressure: p^2 / 2 p_outside
    at the outside's density become p at its own, which grows with p. Where none of these tells, air that is
    faster than sound even with a little more loss does (`lossier`); the last are nodes where the air is the
    fastest of all that has an answer only with more loss.
    """
    outside = np.broadcast_to(numbers.air.pressure, numbers.scenarios)
    over = solved.overloaded
    deep, high = _extremes(
        solved, structures, system.free, np.where(over, CHOKING, 1.0) * outside, np.full(len(over), HIGHEST)
    )
    bad = np.flatnonzero(
        ~solved.good & ~over & ~np.concatenate([s.fed for s in structures]) & np.isfinite(outside)
    )
    if len(bad):
        hard = numbers.some(bad)
        dense = replace(hard, air=replace(hard.air, pressure=np.full(1, np.inf)))
        lowest, highest = CHOKED * outside[bad], 0.5 * HIGHEST * HIGHEST / outside[bad]
        deep[bad], high[bad] = _extremes(*solve(system, dense), system.free, lowest, highest)
    temperature_rise = solved.point.temperature_rise
    hot = np.full(len(over), -1)
    if temperature_rise is not None:
        hot = np.where(over & too_hot(temperature_rise), np.nan_to_num(temperature_rise).argmax(axis=0), -1)
    fast, easy = np.full(len(over), -1), np.full(len(over), -1)
    left = np.flatnonzero(over & (deep < 0) & (high < 0) & (hot < 0))
    if len(left):
        eq, there = numbers.some(left).equations(system), solved.take(left)
        node, beyond_sound = _fastest(eq, there), supersonic(eq, there)
        fast[left], easy[left] = np.where(beyond_sound, node, -1), np.where(beyond_sound, -1, node)
    return deep, high, hot, fast, easy


def nowhere_beyond(scenarios: int) -> tuple[Index, ...]:
    """What `beyond` says where nobody has looked."""
    return (np.full(scenarios, -1),) * 5


def _fastest(eq: Equations, solved: Solved) -> Index:
    """A node of the path whose air is the fastest."""
    start, finish = eq.system.start, eq.system.finish
    speed = np.abs(solved.point.flow) / (solved.density * np.maximum(eq.area, SMALLEST))
    path = np.nan_to_num(speed).argmax(axis=0)
    out: Index = np.minimum(start[path], finish[path])
    return out


def _extremes(
    solved: Solved, structures: list[Structure], free: int, lowest: Array, highest: Array
) -> tuple[Index, Index]:
    """For each solved scenario the node of the lowest pressure if that is as low as -lowest, else -1.

    And the node of the pressure furthest from outside's, above or below, if that is over `highest`.
    """
    level, found = solved.point.pressure, solved.good | solved.overloaded
    floating = floating_nodes(structures, free)
    if floating is not None:
        level = level.copy()
        level[:free][floating] = 0.0
    deep = np.where(found & (level.min(axis=0) <= -lowest), level.argmin(axis=0), -1)
    level = np.abs(level)
    high = np.where(found & (level.max(axis=0) > highest), level.argmax(axis=0), -1)
    return deep, high
