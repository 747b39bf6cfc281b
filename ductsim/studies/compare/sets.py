"""The sets of fixes that have been solved, and what each of them gains."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...fixes.sets import CONTRADICTION, IMPOSSIBLE, NO_ANSWER, NOTICED, Answers, Combining
from ...quantity import measure_key
from ...questions.vocabulary import question
from ...statistics import quantile

Array = NDArray[np.float64]
TIE = 1e-7
"""Gains closer than this share of the answer are equal: the solver knows no better [-]."""


@dataclass(eq=False)
class SolvedSets:
    """Solved sets of fixes, each a whole number whose bits are its fixes; `need` solves more of them.

    Attributes
    ----------
    combining : Combining
    which : index array, optional
        Some of the possible machines; all if not given.
    masks : list of int
        The K sets, in the order in which they were asked for.
    parts : list of Answers
        Their answers, in pieces as they were solved.
    """

    combining: Combining
    which: NDArray[np.intp] | None = None
    masks: list[int] = field(default_factory=list)
    parts: list[Answers] = field(default_factory=list)

    def need(self, masks: Iterable[int]) -> None:
        """Solve those sets that are not there yet, in one go."""
        new = [mask for mask in dict.fromkeys(masks) if mask not in self._row]
        if not new:
            return
        self.parts.append(self.combining.solve(self._members(new), self.which))
        rows = self._row | {mask: len(self.masks) + k for k, mask in enumerate(new)}
        self.masks += new
        self.__dict__ = {**self.__getstate__(), "_row": rows}  # the rest is worked out anew

    def __getstate__(self) -> dict[str, Any]:
        """Without what can be worked out again."""
        return {own.name: self.__dict__[own.name] for own in fields(self)}

    def _members(self, masks: Sequence[int]) -> NDArray[np.bool_]:
        own = [[mask >> i & 1 for i in range(self.n)] for mask in masks]
        return np.array(own, dtype=bool).reshape(len(masks), self.n)

    @cached_property
    def _row(self) -> dict[int, int]:
        return {mask: row for row, mask in enumerate(self.masks)}

    @property
    def n(self) -> int:
        """How many fixes there are."""
        return len(self.combining.tasks)

    @property
    def machines(self) -> int:
        """On how many possible machines the sets are solved."""
        return self.combining.machines if self.which is None else len(self.which)

    @property
    def answers(self) -> Answers:
        """The answers of all sets."""
        if len(self.parts) > 1:
            self.parts = [Answers.joined(self.parts)]
        return self.parts[0]

    @cached_property
    def members(self) -> NDArray[np.bool_]:
        """Which fixes are in each set, (K, N)."""
        return self._members(self.masks)

    @cached_property
    def time(self) -> Array:
        """Working time of each fix [min], (N,)."""
        return np.array([task.fix.minutes for task in self.combining.tasks], dtype=float)

    @cached_property
    def minutes(self) -> Array:
        """Working time of each set [min], (K,)."""
        return np.asarray(self.members @ self.time)

    @cached_property
    def cost(self) -> Array:
        """Cost of each set, (K,)."""
        price = np.array([task.fix.cost for task in self.combining.tasks], dtype=float)
        return np.asarray(self.members @ price)

    @cached_property
    def gains(self) -> Array:
        """Gain of each set on each possible machine against doing nothing, (K, M); more is better."""
        sign = 1.0 if self.combining.question.more_is_better else -1.0
        answer = self.answers.answer
        return np.asarray(sign * (answer - answer[self.row(0)]))

    @cached_property
    def gain(self) -> Array:
        """The median of each set's gain over the possible machines, (K,); NaN where there is none."""
        return medians(self.gains)

    @cached_property
    def power(self) -> Array:
        """Median change of the shaft power of all fans [W], (K,)."""
        power = self.answers.power
        return medians(power - power[self.row(0)])

    @cached_property
    def allowed(self) -> NDArray[np.bool_]:
        """Sets that may be advised, (K,)."""
        return np.array([reason is None for reason in self.answers.reasons], dtype=bool)

    @cached_property
    def base(self) -> float:
        """The answer with nothing done, the median over the possible machines, in SI."""
        return quantile(self.answers.answer[self.row(0)], 0.5)

    @property
    def tie(self) -> float:
        """Gains that differ by less are equal."""
        return TIE * max(abs(self.base), 1e-12)

    @property
    def noticed(self) -> float:
        """A gain that can be told from none."""
        return NOTICED * abs(self.base)

    def also(self, row: int) -> dict[str, float]:
        """The median change of the further answers by a set, as cells of a row: as it is, more or less."""
        answers, out = self.answers.also, {}
        for a, words in enumerate(self.combining.also):
            measure = question(self.combining.machine.layout, words).measure
            change = quantile(answers[row, a] - answers[self.row(0), a], 0.5)
            out[measure_key(f"{words} change", measure)] = change
        return out

    def row(self, mask: int) -> int:
        """The row of a set."""
        return self._row[mask]

    def has(self, mask: int) -> bool:
        """Whether a set has been solved."""
        return mask in self._row

    def by_mask(self) -> dict[int, float]:
        """Set -> gain, NaN where it cannot be done."""
        return dict(zip(self.masks, self.gain.tolist(), strict=True))

    def could_be_done(self, mask: int) -> bool:
        """Whether a set can be done at all, allowed or not."""
        return self.answers.verdict(self.row(mask)) not in (CONTRADICTION, IMPOSSIBLE, NO_ANSWER)

    def ranked(self, within: float | None = None) -> NDArray[np.intp]:
        """Rows of the allowed sets, the best first.

        The largest gain comes first; among equal gains the set with less time, then less cost, then fewer
        fixes. `within` leaves out sets that take more minutes.
        """
        rows = np.flatnonzero(self.allowed)
        if within is not None:
            rows = rows[self.minutes[rows] <= within * (1.0 + 1e-12)]
        gain = np.round(self.gain[rows] / self.tie)
        keys = (self.members[rows].sum(axis=1), self.cost[rows], self.minutes[rows], -gain)
        return rows[np.lexsort(keys)]

    # ---- what a set does to the units

    def changes(self, row: int) -> tuple[Array, Array, Array]:
        """Median change of vacuum, opening air and duct air of every unit, (U,) each."""
        answers, base = self.answers, self.row(0)
        return (
            medians(answers.vacuum[row] - answers.vacuum[base]),
            medians(answers.opening_air[row] - answers.opening_air[base]),
            medians(answers.duct_air[row] - answers.duct_air[base]),
        )

    def most_moved(self, row: int) -> int | None:
        """The place of the unit whose vacuum a set moves most; None without units and answers."""
        vacuum = self.changes(row)[0]
        return None if np.isnan(vacuum).all() else int(np.nanargmax(np.abs(vacuum)))

    def weakest(self, row: int) -> str:
        """The unit with the lowest vacuum, with possible machines the one that is it most often."""
        vacuum = self.answers.vacuum[row]
        if np.isnan(vacuum).all():
            return ""
        known = vacuum[:, ~np.isnan(vacuum).all(axis=0)]
        lowest = np.where(np.isnan(known), np.inf, known).argmin(axis=0)
        return self.combining.units[int(np.bincount(lowest).argmax())]

    def at_weakest(self, row: int) -> dict[str, Any]:
        """Vacuum, opening air and duct air of the unit that is weakest then, as cells of a row."""
        name = self.weakest(row)
        if not name:
            return {}
        u, answers = self.combining.units.index(name), self.answers
        return {
            "weakest_unit": name,
            "vacuum_Pa": quantile(answers.vacuum[row, u], 0.5),
            "opening_air_kg_s": quantile(answers.opening_air[row, u], 0.5),
            "duct_air_kg_s": quantile(answers.duct_air[row, u], 0.5),
        }

    def opposite(self, row: int) -> int | None:
        """The place of the unit at which a set moves vacuum and duct air opposite ways, if there is one.

        Only at the unit whose vacuum it moves most: sealing one unit takes a little from all others.
        """
        u = self.most_moved(row)
        if u is None:
            return None
        vacuum, _, duct = self.changes(row)
        base, answers = self.row(0), self.answers
        own_vacuum, own_duct = (
            abs(quantile(values[base, u], 0.5)) for values in (answers.vacuum, answers.duct_air)
        )
        seen = abs(vacuum[u]) > NOTICED * own_vacuum and abs(duct[u]) > NOTICED * own_duct
        return u if seen and vacuum[u] * duct[u] < 0.0 else None


def medians(values: Array) -> Array:
    """The median of each row, NaN left out; NaN where a row has nothing else."""
    if values.shape[1] == 1:
        return values[:, 0]
    out = np.full(len(values), np.nan)
    some = ~np.isnan(values).all(axis=1)
    out[some] = np.nanmedian(values[some], axis=1)
    return out


def range_of(gains: Array, name: str, measure: str) -> dict[str, float]:
    """The 5 and 95 % quantiles of some gains, under the keys of a row."""
    return {
        measure_key(f"{name}_low", measure): quantile(gains, 0.05),
        measure_key(f"{name}_high", measure): quantile(gains, 0.95),
    }
