"""From standard normal coordinates to numbers: what is believed of a number before anything is read.

Every number is a monotone function of a coordinate that is standard normal beforehand. So priors, draws and
intervals are the same for all numbers, and a leak can reach zero exactly.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..arguments import locked
from ..statistics import normal_at, normal_below

Array = NDArray[np.float64]

EDGE = 1.959963984540054  # the coordinate of the 97.5 % quantile
LEAST_POWER = 1e-6
FARTHEST = 40.0


@dataclass(frozen=True)
class Scale:
    """One number as a function of its coordinate z, which is standard normal beforehand.

    - "power": centre (1 + width z)^(1/power), and 0 where the bracket is negative;
    - "log": centre exp(width z);
    - "below": centre exp(-width |z|) in distribution: a number that is at its upper bound at best;
    - "offset": centre + width z.

    Attributes
    ----------
    kind : str
    centre, width, power : float
    low, high : float
        The number never leaves this range.
    """

    kind: str
    centre: float
    width: float
    power: float = 1.0
    low: float = -math.inf
    high: float = math.inf

    @classmethod
    def three_points(cls, low: float, likely: float, high: float, least: float = 0.0) -> Scale:
        """The power scale on which 2.5 % lie below `low`, half below `likely` and 2.5 % above `high`.

        With `low` = 0 the number is exactly 0 with 2.5 % or so. Where `likely` is above the middle the
        scale is linear and `low` only nearly met.
        """
        if not 0.0 <= low < likely < high:
            raise ValueError("0 <= low < likely < high")
        power = _power(low / likely, high / likely)
        if power < LEAST_POWER:
            return cls("log", likely, math.log(high / likely) / EDGE, low=least)
        return cls("power", likely, ((high / likely) ** power - 1.0) / EDGE, power, low=least)

    @classmethod
    def about(cls, value: float, spread: float, low: float, high: float) -> Scale:
        """A number known to a relative standard deviation, within its range."""
        if value > 0.0 and value >= high * (1.0 - 1e-9):
            return cls("below", value, spread, low=low, high=high)
        if value > 0.0:
            return cls("log", value, spread, low=low, high=high)
        return cls("offset", value, spread * abs(value), low=low, high=high)


def _power(low: float, high: float) -> float:
    """The power p with high^p - 1 = 1 - low^p, between 0 (logarithm) and 1."""

    def excess(p: float) -> float:
        return float(high**p + (low**p if low > 0.0 else 0.0) - 2.0)

    if excess(LEAST_POWER) >= 0.0:
        return 0.0
    if excess(1.0) <= 0.0:
        return 1.0
    left, right = LEAST_POWER, 1.0
    for _ in range(60):
        middle = 0.5 * (left + right)
        left, right = (middle, right) if excess(middle) < 0.0 else (left, middle)
    return 0.5 * (left + right)


class Scales:
    """Several numbers, evaluated together: coordinates (A, N) to values (A, N) and slopes."""

    def __init__(self, scales: Sequence[Scale]) -> None:
        self.scales = tuple(scales)
        self.centre, self.width, self.power, self.low, self.high = (
            np.array([getattr(s, name) for s in scales], dtype=float)[:, None]
            for name in ("centre", "width", "power", "low", "high")
        )
        self._last: tuple[Array, tuple[Array, Array]] | None = None
        kinds = [s.kind for s in scales]
        self._rows = {
            kind: np.array([i for i, k in enumerate(kinds) if k == kind], dtype=np.intp)
            for kind in ("power", "log", "below", "offset")
        }

    def __len__(self) -> int:
        return len(self.scales)

    def values(self, z: Array) -> Array:
        """The numbers at coordinates z of shape (A, N)."""
        return self._both(z)[0]

    def slopes(self, z: Array) -> Array:
        """Derivatives of the numbers at z of shape (A, N); 0 where a number stays at its bound."""
        return self._both(z)[1]

    def felt(self, z: Array) -> Array:
        """The coordinates (A, N), none lower than where its number is 0: farther on nothing changes."""
        edge = np.full((len(self.scales), 1), -np.inf)
        rows = self._rows["power"]
        edge[rows] = -1.0 / self.width[rows]
        out: Array = np.maximum(z, edge)
        return out

    def _both(self, z: Array) -> tuple[Array, Array]:
        """Values and slopes; kept, for who asks for the ones soon asks for the others."""
        if self._last is None or not np.array_equal(self._last[0], z):
            self._last = z.copy(), self._evaluated(z)
        return self._last[1]

    def _evaluated(self, z: Array) -> tuple[Array, Array]:
        z = np.clip(z, -FARTHEST, FARTHEST)  # a search may stray; nothing is believed out there
        value, slope = np.empty_like(z), np.empty_like(z)
        for kind, rows in self._rows.items():
            if len(rows):
                value[rows], slope[rows] = _EVALUATE[kind](
                    z[rows], self.centre[rows], self.width[rows], self.power[rows]
                )
        inside = (value >= self.low) & (value <= self.high)
        return locked(np.clip(value, self.low, self.high)), locked(np.where(inside, slope, 0.0))


def _by_power(z: Array, centre: Array, width: Array, power: Array) -> tuple[Array, Array]:
    base = np.maximum(1.0 + width * z, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = np.where(base > 0.0, centre * width / power * base ** (1.0 / power - 1.0), 0.0)
    return centre * base ** (1.0 / power), slope


def _by_log(z: Array, centre: Array, width: Array, power: Array) -> tuple[Array, Array]:
    value = centre * np.exp(width * z)
    return value, width * value


def _from_below(z: Array, centre: Array, width: Array, power: Array) -> tuple[Array, Array]:
    """|standard normal| as a monotone function of z, falling: small for large z."""
    z = np.clip(z, -8.0, 8.0)
    distance = -normal_at(0.5 * normal_below(-z))
    value = centre * np.exp(-width * distance)
    # d distance / d z = phi(z) / (2 phi(distance))
    rise = 0.5 * np.exp(0.5 * (distance * distance - z * z))
    return value, -width * value * rise


def _by_offset(z: Array, centre: Array, width: Array, power: Array) -> tuple[Array, Array]:
    return centre + width * z, np.broadcast_to(width, z.shape).copy()


_EVALUATE = {"power": _by_power, "log": _by_log, "below": _from_below, "offset": _by_offset}
