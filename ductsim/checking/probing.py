"""At which flows a part is probed, and how what comes out is compared."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..parts.declare import LocalAir, Pair, Path

RHO, OUTSIDE, VISCOSITY = 1.1, 1.13, 1.85e-5
AIR = LocalAir(RHO, VISCOSITY, OUTSIDE)
BETA = (1.1e-5, 1.08e-5, 1.05e-5)
PAIR_RHO = (1.12, 1.1, 1.09)
PAIR_AIR = LocalAir(PAIR_RHO, VISCOSITY, OUTSIDE, BETA)
SHARES = (1e-7, 1e-4, 3e-4, 1e-2, 0.1, 0.3, 1.0, 2.0, 10.0)
TYPICAL_VELOCITY = 10.0  # m/s, where a path states no flow of its own


class Wrong(Exception):
    """What a check found wrong, in words."""


def demand(holds: Any, words: str) -> None:
    """Raise `Wrong` unless it holds."""
    if not holds:
        raise Wrong(words)


def near(got: Any, wanted: Any, tolerance: float, scale: Any, words: str) -> None:
    """Raise `Wrong` unless two values agree to a share of `scale`."""
    gap = np.max(np.abs(np.asarray(got) - np.asarray(wanted)))
    demand(gap <= tolerance * scale, f"{words}: {_number(got)} against {_number(wanted)}")


def same(got: Any, wanted: Any, share: float, words: str) -> None:
    """Raise `Wrong` unless two values agree to a share of themselves."""
    if not np.allclose(got, wanted, rtol=share, atol=1e-300, equal_nan=True):
        raise Wrong(f"{words}: {_number(got)} against {_number(wanted)}")


def _number(value: Any) -> str:
    return f"{float(value):.6g}" if np.size(value) == 1 else str(np.asarray(value))


def drop(path: Path, flow: Any, density: Any = RHO) -> Any:
    """The drop of a single path."""
    return path.law(flow, LocalAir(density, VISCOSITY, OUTSIDE), **path.coefficients)[0]


def pair_drops(pair: Pair, x: float, y: float, density: Any = PAIR_RHO) -> Any:
    """The two drops of a pair."""
    return np.array(pair.law((x, y), LocalAir(density, VISCOSITY, OUTSIDE, BETA), **pair.coefficients)[0])


def flat(answer: Any) -> list[Any]:
    """A pair law's answer as a plain list."""
    d, s, q = answer
    return [*d, *s[0], *s[1], *q[0], *q[1]]


def usual(path: Path | Pair, side: int | None = None) -> float:
    """The flow that a path is made for [kg/s]."""
    start: Any = path.start
    area: Any = path.area
    if side is not None:
        area = area[side]
        start = None if start is None else start[side]
    typical = 1.2 * TYPICAL_VELOCITY * np.asarray(area)
    guess = typical if start is None else np.asarray(start)
    return float(np.where(guess > 0.0, guess, typical).max())


def flows(path: Path) -> list[float]:
    """Flows on both sides of zero, and on each side of every known switch of the law."""
    out = [0.0]
    for m in [*(s * usual(path) for s in SHARES), *switches(path)]:
        out += [m, -m]
    return out


def switches(path: Path) -> list[float]:
    """Flows a little below and above where a law of the package changes its form."""
    c = path.coefficients
    at: list[Any] = []
    if path.law.__name__ == "friction":
        per = c["area"] * VISCOSITY / c["hydraulic_diameter"]
        at = [2000.0 * per, 4000.0 * per]
    if path.law.__name__ == "fan":
        at = [c[n] * c["speed"] * RHO for n in c if n.startswith("flow_")]
    return [float(m) * s for m in at if m > 0.0 for s in (1.0 - 1e-4, 1.0 + 1e-4)]


def pair_states(pair: Pair) -> list[tuple[float, float]]:
    """Pairs of flows in every state: forward, blocked, reversed, nothing at all."""
    a, b = usual(pair, 0), usual(pair, 1)
    out = [(0.0, 0.0), (a, 0.0), (-a, 0.0), (0.0, b), (0.0, -b), (a, -a), (a, -1.2 * a), (1e-6 * a, 1e-6 * b)]
    for sx in (1.0, -1.0):
        for sy in (1.0, -1.0):
            out += [(sx * a * k, sy * b * n) for k, n in ((1, 1), (0.01, 1), (1, 0.01), (3, 0.3), (10, 10))]
    return out
