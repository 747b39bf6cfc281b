"""Checks of what the laws of a part do: slopes, signs, zero, no jumps, resisting far out, quiet."""

from __future__ import annotations

import warnings

import numpy as np

from ..parts.declare import LocalAir, Pair, Part, Path
from .probing import (
    AIR,
    PAIR_AIR,
    PAIR_RHO,
    RHO,
    VISCOSITY,
    Wrong,
    demand,
    drop,
    flows,
    near,
    pair_drops,
    pair_states,
    switches,
    usual,
)


def slopes(part: Part) -> None:
    """Slope in flow and slope in density against differences: at zero, both signs, each side of a switch."""
    for path in part.paths():
        if isinstance(path, Pair):
            _pair_slopes(path)
            continue
        for m in sorted(flows(path), key=abs, reverse=True):  # what is wrong shows best far from zero
            _, slope, in_density = path.law(m, AIR, **path.coefficients)
            demand(np.isfinite(slope), f"the slope at {m:g} kg/s is {slope}")
            # near zero as small as the rounding of the drop there allows
            h = max(1e-6 * abs(m), (1e-9 if drop(path, 0.0) else 1e-12) * usual(path))
            by_flow = (drop(path, m + h) - drop(path, m - h)) / (2.0 * h)
            size = abs(slope) + 1e-3 * abs(drop(path, m)) / usual(path)
            near(slope, by_flow, 2e-5, size, f"slope at {m:g} kg/s, against differences")
            k = 1e-5
            by_rho = (drop(path, m, RHO + k) - drop(path, m, RHO - k)) / (2.0 * k)
            size = abs(in_density) + 1e-3 * abs(drop(path, m)) + 1e-9
            near(in_density, by_rho, 1e-5, size, f"slope in density at {m:g} kg/s, against differences")


def _pair_slopes(pair: Pair) -> None:
    """The same for two paths that act on each other, and in all three densities."""
    for x, y in pair_states(pair):
        d, s, q = pair.law((x, y), PAIR_AIR, **pair.coefficients)
        h = max(2e-8 * max(abs(x), abs(y)), 1e-10 * usual(pair, 0))
        by_x = (pair_drops(pair, x + h, y) - pair_drops(pair, x - h, y)) / (2.0 * h)
        by_y = (pair_drops(pair, x, y + h) - pair_drops(pair, x, y - h)) / (2.0 * h)
        size = np.max(np.abs(s)) + 1e-3 * np.max(np.abs(d)) / usual(pair, 0)
        where = f"at {x:g} and {y:g} kg/s, against differences"
        near(np.array(s)[:, 0], by_x, 2e-5, size, f"slopes in the first flow {where}")
        near(np.array(s)[:, 1], by_y, 2e-5, size, f"slopes in the second flow {where}")
        for i in range(3):
            up, down = list(PAIR_RHO), list(PAIR_RHO)
            up[i], down[i] = PAIR_RHO[i] + 1e-5, PAIR_RHO[i] - 1e-5
            by_rho = (pair_drops(pair, x, y, tuple(up)) - pair_drops(pair, x, y, tuple(down))) / 2e-5
            size = np.max(np.abs(d)) + np.max(np.abs(q)) + 1e-9
            near([q[0][i], q[1][i]], by_rho, 1e-5, size, f"slopes in density {i + 1} {where}")


def meets_itself(part: Part) -> None:
    """No jump: along the flow the drop changes as its slope says, over each switch the slope hardly does."""
    for path in part.paths():
        if isinstance(path, Pair):
            continue
        for below, above in zip(switches(path)[::2], switches(path)[1::2], strict=True):
            _, low, _ = path.law(below, AIR, **path.coefficients)
            _, high, _ = path.law(above, AIR, **path.coefficients)
            size = abs(low) + abs(drop(path, above)) / above
            near(high, low, 0.02, size, f"the slope jumps at {below:g} kg/s")
            step = drop(path, above) - drop(path, below)
            size = abs(step) + 1e-6 * abs(drop(path, above))
            near(step, 0.5 * (low + high) * (above - below), 0.01, size, f"the drop jumps at {below:g} kg/s")
        _no_jump(path)


def _no_jump(path: Path) -> None:
    """In fine steps from far backward to far forward; a kink is no jump."""
    side = usual(path) * np.geomspace(1e-4, 10.0, 300)
    ladder = np.concatenate([-side[::-1], [0.0], side])
    answer = path.law(ladder[None, :], AIR, **path.coefficients)
    drops, steep = (np.broadcast_to(v, (1, ladder.size))[0] for v in answer[:2])
    steepest = np.maximum(np.abs(steep[1:]), np.abs(steep[:-1])) * np.diff(ladder)
    sizes = np.abs(drops[1:]) + np.abs(drops[:-1])
    over = np.flatnonzero(np.abs(np.diff(drops)) > 1.5 * steepest + 1e-9 * sizes)
    for i in over[:1]:
        raise Wrong(
            f"the drop goes from {drops[i]:g} to {drops[i + 1]:g} Pa between {ladder[i]:g} and "
            f"{ladder[i + 1]:g} kg/s, more than its slopes there say: it jumps, or they are wrong"
        )


def finite_at_zero(part: Part) -> None:
    """A finite slope at zero flow; above zero for all but a fan, which may rise there."""
    for path in part.paths():
        if isinstance(path, Pair):
            s = np.array(path.law((0.0, 0.0), PAIR_AIR, **path.coefficients)[1], dtype=float)
            demand(np.isfinite(s).all(), "a slope at zero flow is not finite")
            demand(s[0, 0] > 0.0 and np.linalg.det(s) > 0.0, "the slopes at zero flow are not above zero")
        else:
            slope = path.law(0.0, AIR, **path.coefficients)[1]
            demand(np.isfinite(slope), f"the slope at zero flow is {slope}")
            demand(
                slope > 0.0 or path.power is not None, f"the slope at zero flow is {slope}, not above zero"
            )


def signed(part: Part) -> None:
    """The drop has the sign of the flow (but for a fan, and what a rise adds)."""
    for path in part.paths():
        if isinstance(path, Pair) or path.power is not None:
            continue
        rest = drop(path, 0.0)
        for m in flows(path):
            demand(m == 0.0 or (drop(path, m) - rest) * m > 0.0, f"the drop at {m:g} kg/s has the other sign")


def coercive(part: Part) -> None:
    """At 10 times and 100 times the usual flow, either way, the part takes power out of the air."""
    for path in part.paths():
        for far in (10.0, 100.0):
            if isinstance(path, Pair):
                a, b = usual(path, 0), usual(path, 1)
                air = LocalAir((RHO,) * 3, VISCOSITY, RHO, (0.0,) * 3)
                for t in np.linspace(0.0, 2.0 * np.pi, 73):
                    x, y = far * a * np.cos(t), far * b * np.sin(t)
                    d1, d2 = path.law((x, y), air, **path.coefficients)[0]
                    demand(x * d1 + y * d2 > 0.0, f"it drives the air at {x:g} and {y:g} kg/s")
            else:
                for m in (far * usual(path), -far * usual(path)):
                    demand(drop(path, m) * m > 0.0, f"it drives the air at {m:g} kg/s")


def quiet(part: Part) -> None:
    """No warning and no floating-point trouble anywhere on the range of flows."""
    with warnings.catch_warnings(), np.errstate(all="raise", under="ignore"):
        warnings.simplefilter("error")
        for path in part.paths():
            if isinstance(path, Pair):
                for x, y in pair_states(path):
                    pair_drops(path, x, y)
                continue
            for m in flows(path):
                drop(path, m)
                if path.power is not None:
                    power = path.power(m, RHO, **path.coefficients)
                    demand(np.isfinite(power) and power >= 0.0, f"its power at {m:g} kg/s is {power}")
