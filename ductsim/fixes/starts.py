"""Where the air of a machine with many fixes done probably is: from what small sets of them have come to.

What fixes do to the point of a machine is taken apart into what each does alone, what two do beyond that
together, and so on; a larger set is foretold by the sum over all sets within it (inclusion and exclusion). It
is a start for the solver and decides nothing.
"""

from __future__ import annotations

from copy import copy

import numpy as np
from numpy.typing import NDArray

from ..network.point import Point

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Sets = NDArray[np.bool_]

STEADY = 0.2  # of what the smallest set has: what keeps this is told by its logarithm
MOST = 3.0  # of that logarithm's change


class Starts:
    """What sets of fixes do to the points of M machines of one layout, set by set.

    Attributes
    ----------
    sets : array (T, N)
        The sets that are known. The first is within all others.
    effects : array (T, V, M)
        What each adds to those within it, of flows, pressures and temperature rises: of steady ones in
        logarithms. Single precision, which is enough for a start.
    """

    def __init__(self, sets: Sets, point: Point, like: Starts | None = None) -> None:
        """Begin with the points (..., K x M) of some sets (K, N), of which the first is within all others.

        `like` is what is known of other machines with the same fixes.
        """
        self._ends = len(point.flow), len(point.flow) + len(point.pressure)
        values = _values(point).reshape(-1, len(sets), point.flow.shape[1] // len(sets))
        self._own: Array = values[:, 0].copy()
        with np.errstate(all="ignore"):
            kept = (values / self._own[:, None] > STEADY) | np.isnan(values)
        steady = kept.all(axis=(1, 2)) & (self._own != 0.0).all(axis=1)
        self._steady: NDArray[np.bool_] = steady if like is None else like._steady
        self.sets: Sets = sets[:0]
        self.effects: Single = np.zeros((0, *self._own.shape), dtype=np.float32)
        self.learn(sets, point)

    def on(self, some: NDArray[np.intp]) -> Starts:
        """The same on some of the machines."""
        out = copy(self)
        out._own, out.effects = self._own[:, some], self.effects[:, :, some]
        return out

    def learn(self, sets: Sets, point: Point) -> None:
        """Take in more sets, the smaller ones first; those without a point are left out."""
        values = _values(point).reshape(-1, len(sets), self._own.shape[1])
        good = np.isfinite(values).all(axis=(0, 2))
        with np.errstate(all="ignore"):
            change = np.log(values[self._steady] / self._own[self._steady][:, None])
        values[self._steady] = np.where(np.isfinite(change), change, 0.0)
        size = sets.sum(axis=1)
        for count in np.unique(size):
            rows = np.flatnonzero(good & (size == count))
            more = values[:, rows].transpose(1, 0, 2) - self._sums(sets[rows])
            self.sets = np.concatenate([self.sets, sets[rows]])
            self.effects = np.concatenate([self.effects, more.astype(np.float32)])

    def point(self, sets: Sets, like: Starts | None = None) -> Point | None:
        """Where some sets (K, N) probably end: K x M scenarios, set by set; None where nothing can tell.

        For sets that are not known here stands the mean of what is known of other machines with the same
        fixes.
        """
        if len(self.sets) == 1 and like is None:
            return None
        values = (self._sums(sets) + self._usual(sets, like)).transpose(1, 0, 2).astype(float)
        steady = self._steady
        values[steady] = np.exp(np.clip(values[steady], -MOST, MOST)) * self._own[steady][:, None]
        flow, pressure, rise = np.split(values.reshape(len(values), -1), self._ends)
        return Point(flow, pressure, rise if len(rise) else None)

    def _sums(self, sets: Sets) -> Single:
        """What the known sets within each of some sets add up to, (K, V, M)."""
        parts, values, machines = self.effects.shape
        out = within(self.sets, sets) @ self.effects.reshape(parts, values * machines)
        return out.reshape(len(sets), values, machines)

    def _usual(self, sets: Sets, like: Starts | None) -> Single:
        """What sets within them add that are known of other machines only, (K, V, 1)."""
        if like is None:
            return np.zeros((1, 1, 1), dtype=np.float32)
        own = {row.tobytes() for row in self.sets}
        rest = [row.tobytes() not in own for row in like.sets]
        more = within(like.sets[rest], sets) @ like.effects[rest].mean(axis=2)
        return np.asarray(more[:, :, None])


def _values(point: Point) -> Array:
    """Flows, pressures and temperature rises in one array."""
    rise = () if point.temperature_rise is None else (point.temperature_rise,)
    return np.concatenate([point.flow, point.pressure, *rise])


def within(parts: Sets, sets: Sets) -> Single:
    """1 where a set (K, N) holds all of a part (T, N), else 0: (K, T)."""
    common = sets.astype(np.float32) @ parts.T.astype(np.float32)
    return np.asarray(common == parts.sum(axis=1), dtype=np.float32)
