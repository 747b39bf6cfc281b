"""Laws from outside the package: once per layout their slopes are held against differences.

A wrong slope does not change where the iteration ends, so nothing else would tell of it; every derivative
would be wrong.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import WrongSlope
from ..parts.declare import LocalAir
from .equations import Equations
from .numbers import Numbers
from .point import Solved
from .system import System
from .values import Coefficients

Array = NDArray[np.float64]

STEP = 1e-5  # of a flow or a density: the differences are then right to about eight digits
LEAST = 1e-3  # of a path's usual flow: the smallest flow that the step is taken from
TOLERANCE = 0.01  # a kink near the point may cost some of it; a slope that is wrong is off by far more


def check_slopes(system: System, numbers: Numbers, solved: Solved, scenario: int) -> None:
    """Look once at a solved scenario; what is wrong is warned of, and kept in `system.slope_notes`."""
    values = numbers if numbers.scenarios == 1 else numbers.some(slice(scenario, scenario + 1))
    eq = values.equations(system)
    one = slice(scenario, scenario + 1)
    flow, density = solved.point.flow[:, one], solved.density[:, one]
    usual = np.broadcast_to(np.abs(eq.guess), flow.shape)
    shut = np.zeros(flow.shape, bool) if eq.shut is None else np.broadcast_to(eq.shut, flow.shape)
    found: list[str] = []
    with np.errstate(all="ignore"):
        for c in eq.coefficients:
            for words, rows, stated, measured, size in _compared(c, eq, flow, density, usual):
                bad = ~(np.abs(stated - measured) <= TOLERANCE * size) & ~shut[rows]
                found += _sentences(system, c, words, rows, stated, measured, bad)
    system.slope_notes = found
    for sentence in found:
        warnings.warn(sentence, WrongSlope, stacklevel=4)


def _compared(c: Coefficients, eq: Equations, flow: Array, density: Array, usual: Array) -> Iterator[Any]:
    """(what, rows, stated, by differences, size that an error is a share of) of one law, (K, 1) each."""
    rows, partners = c.group.rows, c.group.partners
    if partners is None:
        yield from _single(c, eq, flow[rows], density[rows], usual[rows])
        return
    sides = (rows, partners)
    m = [flow[side] for side in sides]
    three = (density[rows], density[partners], density[partners])
    air = LocalAir(three, eq.viscosity, eq.outside, (0.0, 0.0, 0.0))
    drops, slopes, _ = c.group.law(tuple(m), air, **c.values)
    for j in (0, 1):
        h = STEP * np.maximum(np.abs(m[j]), LEAST * usual[sides[j]])
        up, down = ([v + sign * h if k == j else v for k, v in enumerate(m)] for sign in (1.0, -1.0))
        above, below = (c.group.law(tuple(at), air, **c.values)[0] for at in (up, down))
        for i in (0, 1):
            stated = np.broadcast_to(slopes[i][j], m[j].shape)
            size = sum(np.abs(slopes[i][k]) for k in (0, 1)) + np.abs(drops[i]) / usual[sides[i]]
            yield "flow", sides[i], stated, (above[i] - below[i]) / (2.0 * h), size


def _single(c: Coefficients, eq: Equations, m: Array, rho: Array, usual: Array) -> Iterator[Any]:
    def drop(flow: Array, density: Array) -> Any:
        return c.group.law(flow, LocalAir(density, eq.viscosity, eq.outside), **c.values)

    here, slope, in_density = (np.broadcast_to(v, m.shape) for v in drop(m, rho))
    h = STEP * np.maximum(np.abs(m), LEAST * usual)
    by_flow = (drop(m + h, rho)[0] - drop(m - h, rho)[0]) / (2.0 * h)
    yield "flow", c.group.rows, slope, by_flow, np.abs(by_flow) + LEAST * np.abs(here) / usual
    k = STEP * rho
    by_rho = (drop(m, rho + k)[0] - drop(m, rho - k)[0]) / (2.0 * k)
    yield "density", c.group.rows, in_density, by_rho, np.abs(by_rho) + np.abs(here) / rho


def _sentences(
    system: System, c: Coefficients, what: str, rows: slice, stated: Array, measured: Array, bad: Array
) -> Iterator[str]:
    """One sentence for each law and slope: how far off, at which part, and how many more."""
    places = np.flatnonzero(bad[:, 0])
    if not len(places):
        return
    gap = np.abs(stated - measured)[places, 0] / np.maximum(np.abs(measured)[places, 0], 1e-300)
    worst = int(places[int(np.argmax(gap))])
    path = system.path_name(range(*rows.indices(system.paths))[worst])
    name = path if isinstance(path, str) else " ".join(path)
    law = getattr(c.group.law, "__name__", repr(c.group.law))
    more = f" (and {len(places) - 1} more paths)" if len(places) > 1 else ""
    yield (
        f"{name}: the law {law} states a slope in {what} of {stated[worst, 0] + 0.0:.4g}, by differences of "
        f"its drop it is {measured[worst, 0]:.4g}{more}: derivatives of this network are wrong, "
        "ds.check_part tells more."
    )
