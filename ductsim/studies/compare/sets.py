"""The sets of fixes that have been solved, and what each of them gains."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...answers.limits import SELDOM
from ...fixes.sets import (
    CONTRADICTION,
    IMPOSSIBLE,
    NO_ANSWER,
    NOT_ALLOWED,
    NOTICED,
    Answers,
    Combining,
    Reason,
    sentence_of,
    verdict_of,
)
from ...quantity import measure_key
from ...questions.vocabulary import question
from ...statistics import quantile
from .elsewhere import Elsewhere

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
    elsewhere : Elsewhere, optional
        Where all is solved on one of the possible machines: how others differ from it, as small sets show.
        Answers, gains and limits are then estimates for all of them.
    """

    combining: Combining
    which: NDArray[np.intp] | None = None
    masks: list[int] = field(default_factory=list)
    parts: list[Answers] = field(default_factory=list)
    elsewhere: Elsewhere | None = None

    def need(self, masks: Iterable[int]) -> None:
        """Solve those sets that are not there yet, in one go."""
        new = [mask for mask in dict.fromkeys(masks) if mask not in self._row]
        if not new:
            return
        self.parts.append(self.combining.solve(self._members(new), self.which))
        kept: dict[str, Any] = {"_row": self._row | {mask: len(self.masks) + k for k, mask in enumerate(new)}}
        if self.elsewhere is not None and "_estimated" in self.__dict__:
            kept["_so_far"] = self._estimated
        self.masks += new
        self.__dict__ = {**self.__getstate__(), **kept}  # the rest is worked out anew

    def on(self, some: NDArray[np.intp]) -> SolvedSets:
        """The same sets on some of these machines, by their places here."""
        which = some if self.which is None else self.which[some]
        return SolvedSets(self.combining, which, list(self.masks), [self.answers.on(some)])

    def __getstate__(self) -> dict[str, Any]:
        """Without what can be worked out again."""
        return {own.name: self.__dict__[own.name] for own in fields(self)}

    def _members(self, masks: Sequence[int]) -> NDArray[np.bool_]:
        size = max(1, -(-self.n // 8))
        own = np.frombuffer(b"".join(mask.to_bytes(size, "little") for mask in masks), dtype=np.uint8)
        bits = np.unpackbits(own.reshape(len(masks), size), axis=1, count=self.n, bitorder="little")
        return bits.astype(bool)

    @cached_property
    def _row(self) -> dict[int, int]:
        return {mask: row for row, mask in enumerate(self.masks)}

    @property
    def n(self) -> int:
        """How many fixes there are."""
        return len(self.combining.tasks)

    @property
    def pairs(self) -> bool:
        """Whether pairs of fixes tell how other machines differ from the one on which all sets are solved."""
        return self.elsewhere is not None and bool((self.elsewhere.sets.sum(axis=1) > 1).any())

    @property
    def machines(self) -> int:
        """On how many possible machines the sets are known."""
        if self.elsewhere is not None:
            return self.elsewhere.machines
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
    def _estimated(self) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Of sets that are solved on one machine: answers on all, (K, M), median gains, if limits are passed.

        What was known before more sets were solved is kept.
        """
        assert self.elsewhere is not None
        before = self.__dict__.get("_so_far")
        first = 0 if before is None else len(before[0])
        own, sets = self.answers, self.members[first:]
        answer = self.elsewhere.answers(sets, own, first)
        nothing = (answer if before is None else before[0])[self.row(0)]
        passed = np.zeros(len(sets), dtype=bool)
        strains = {limit: strain[first:] for limit, strain in own.strains.items()}
        for share in self.elsewhere.passed(sets, strains).values():
            passed |= share > SELDOM
        more = answer, medians(self._better(answer - nothing)), passed
        if before is None:
            return more
        return tuple(np.concatenate(pair) for pair in zip(before, more, strict=True))  # type: ignore[return-value]

    @property
    def answer(self) -> Array:
        """The answer of each set on each possible machine, (K, M) in SI; NaN where there is none."""
        return self.answers.answer if self.elsewhere is None else self._estimated[0]

    def _better(self, change: Array) -> Array:
        """A change of the answer as a gain."""
        return change if self.combining.question.more_is_better else -change

    @property
    def gains(self) -> Array:
        """Gain of each set on each possible machine against doing nothing, (K, M); more is better."""
        return self.gains_of(slice(None))

    def gains_of(self, rows: Any) -> Array:
        """The gains of the sets in some rows."""
        return self._better(self.answer[rows] - self.answer[self.row(0)])

    @cached_property
    def gain(self) -> Array:
        """The median of each set's gain over the possible machines, (K,); NaN where there is none."""
        return medians(self.gains) if self.elsewhere is None else self._estimated[1]

    @cached_property
    def power(self) -> Array:
        """Median change of the shaft power of all fans [W], (K,)."""
        power = self.answers.power
        return medians(power - power[self.row(0)])

    @cached_property
    def allowed(self) -> NDArray[np.bool_]:
        """Sets that may be advised, (K,)."""
        reasons = self.answers.reasons
        if self.elsewhere is None:
            return np.array([reason is None for reason in reasons], dtype=bool)
        # whether limits are passed is told by all possible machines
        done = [reason is None or reason.verdict == NOT_ALLOWED for reason in reasons]
        return np.array(done, dtype=bool) & ~self._estimated[2]

    def reason(self, row: int) -> Reason | None:
        """Why a set is not to be done; None where it may be."""
        own = self.answers.reasons[row]
        if self.elsewhere is None or (own is not None and own.verdict != NOT_ALLOWED):
            return own
        if not self._estimated[2][row]:
            return None
        strains = {limit: strain[row : row + 1] for limit, strain in self.answers.strains.items()}
        return self.elsewhere.reason(self.members[row : row + 1], strains)

    def verdict(self, row: int) -> str:
        """What stands against a set; empty where it may be done."""
        return verdict_of(self.reason(row))

    def why(self, row: int) -> str:
        """The reason as a sentence; empty where a set may be done."""
        return sentence_of(self.reason(row))

    @cached_property
    def base(self) -> float:
        """The answer with nothing done, the median over the possible machines, in SI."""
        return quantile(self.answer[self.row(0)], 0.5)

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
        return self.verdict(self.row(mask)) not in (CONTRADICTION, IMPOSSIBLE, NO_ANSWER)

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
    out, missing = np.full(len(values), np.nan), np.isnan(values)
    some = ~missing.all(axis=1)
    whole = ~missing.any(axis=1)
    out[whole] = np.median(values[whole], axis=1)  # many times faster where nothing is missing
    out[some & ~whole] = np.nanmedian(values[some & ~whole], axis=1)
    return out


def range_of(gains: Array, name: str, measure: str) -> dict[str, float]:
    """The 5 and 95 % quantiles of some gains, under the keys of a row."""
    return {
        measure_key(f"{name}_low", measure): quantile(gains, 0.05),
        measure_key(f"{name}_high", measure): quantile(gains, 0.95),
    }
