"""The sets of fixes that have been solved, and what each of them gains."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...fixes.combining import FINE, NOT_ALLOWED, Answers, Combining

Array = NDArray[np.float64]
TIE = 1e-7
"""Gains closer than this share of the answer are equal: the solver knows no better [-]."""


class Table:
    """Solved sets of fixes, each a whole number whose bits are its fixes.

    Parameters
    ----------
    combining : Combining
    which : index array, optional
        Some of the possible machines; all if not given.

    Attributes
    ----------
    masks : array (K,) of int objects
        The sets, in the order in which they were asked for.
    answers : Answers
        Of these K sets.
    """

    def __init__(self, combining: Combining, which: Any = None) -> None:
        self.combining = combining
        self.which = which
        self.n = len(combining.tasks)
        self.machines = combining.machines if which is None else len(which)
        self.time = np.array([task.fix.minutes for task in combining.tasks], dtype=float)
        self.price = np.array([task.fix.cost for task in combining.tasks], dtype=float)
        self._masks: list[int] = []
        self._row: dict[int, int] = {}
        self._parts: list[Answers] = []
        self._kept: dict[str, Any] = {}

    def need(self, masks: Iterable[int]) -> None:
        """Solve those sets that are not there yet, in one go."""
        new = [mask for mask in dict.fromkeys(masks) if mask not in self._row]
        if not new:
            return
        self._parts.append(self.combining.solve(self.members(new), self.which))
        for mask in new:
            self._row[mask] = len(self._masks)
            self._masks.append(mask)
        self._kept = {}

    def members(self, masks: Sequence[int]) -> NDArray[np.bool_]:
        """Which fixes are in each set, (K, N)."""
        return np.array([[mask >> i & 1 for i in range(self.n)] for mask in masks], dtype=bool).reshape(
            len(masks), self.n
        )

    def _keep(self, name: str, make: Any) -> Any:
        if name not in self._kept:
            self._kept[name] = make()
        return self._kept[name]

    @property
    def masks(self) -> list[int]:
        """The sets, in the order of the rows."""
        return self._masks

    @property
    def answers(self) -> Answers:
        """The answers of all sets."""
        if len(self._parts) > 1:
            self._parts = [Answers.joined(self._parts)]
        return self._parts[0]

    @property
    def sets(self) -> NDArray[np.bool_]:
        """Which fixes are in each set, (K, N)."""
        out: NDArray[np.bool_] = self._keep("sets", lambda: self.members(self._masks))
        return out

    @property
    def minutes(self) -> Array:
        """Working time of each set [min], (K,)."""
        out: Array = self._keep("minutes", lambda: self.sets @ self.time)
        return out

    @property
    def cost(self) -> Array:
        """Cost of each set, (K,)."""
        out: Array = self._keep("cost", lambda: self.sets @ self.price)
        return out

    @property
    def gains(self) -> Array:
        """Gain of each set on each possible machine against doing nothing, (K, M); more is better."""

        def make() -> Array:
            sign = 1.0 if self.combining.question.more_is_better else -1.0
            answer = self.answers.answer
            out: Array = sign * (answer - answer[self.row(0)])
            return out

        out: Array = self._keep("gains", make)
        return out

    @property
    def gain(self) -> Array:
        """The median of each set's gain over the possible machines, (K,); NaN where there is none."""
        out: Array = self._keep("gain", lambda: medians(self.gains))
        return out

    @property
    def power(self) -> Array:
        """Median change of the shaft power of all fans [W], (K,)."""
        power = self.answers.power
        out: Array = self._keep("power", lambda: medians(power - power[self.row(0)]))
        return out

    @property
    def base(self) -> float:
        """The answer with nothing done, the median over the possible machines, in SI."""
        return float(medians(self.answers.answer[[self.row(0)]])[0])

    @property
    def tie(self) -> float:
        """Gains that differ by less are equal."""
        return TIE * max(abs(self.base), 1e-12)

    @property
    def allowed(self) -> NDArray[np.bool_]:
        """Sets that may be advised, (K,)."""
        out: NDArray[np.bool_] = self.answers.verdict == FINE
        return out

    def row(self, mask: int) -> int:
        """The row of a set."""
        return self._row[mask]

    def has(self, mask: int) -> bool:
        """Whether a set has been solved."""
        return mask in self._row

    def by_mask(self) -> dict[int, float]:
        """Set -> gain, NaN where it cannot be done."""
        return dict(zip(self._masks, self.gain.tolist(), strict=True))

    def could_be_done(self, mask: int) -> bool:
        """Whether a set can be done at all, allowed or not."""
        return self.answers.verdict[self.row(mask)] in (FINE, NOT_ALLOWED)

    def ranked(self, within: float | None = None) -> NDArray[np.intp]:
        """Rows of the allowed sets, the best first.

        The largest gain comes first; among equal gains the set with less time, then less cost, then fewer
        fixes. `within` leaves out sets that take more minutes.
        """
        rows = np.flatnonzero(self.allowed)
        if within is not None:
            rows = rows[self.minutes[rows] <= within * (1.0 + 1e-12)]
        gain = np.round(self.gain[rows] / self.tie)
        keys = (self.sets[rows].sum(axis=1), self.cost[rows], self.minutes[rows], -gain)
        return rows[np.lexsort(keys)]


def medians(values: Array) -> Array:
    """The median of each row, NaN left out; NaN where a row has nothing else."""
    if values.shape[1] == 1:
        return values[:, 0]
    out = np.full(len(values), np.nan)
    some = ~np.isnan(values).all(axis=1)
    out[some] = np.nanmedian(values[some], axis=1)
    return out
