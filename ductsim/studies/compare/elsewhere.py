"""How sets of fixes fare on machines on which only the small ones are solved."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import reduce
from typing import Self

import numpy as np
from numpy.typing import NDArray

from ...answers.limits import ROUNDING, SELDOM
from ...fixes.sets import NOT_ALLOWED, UNSTRAINED, Answers, Reason
from ...fixes.starts import within
from ...wording import listed

Array = NDArray[np.float64]
Sets = NDArray[np.bool_]
Limit = tuple[str, str]
BLOCK = 1024
"""So many sets at a time: their arrays stay in cache."""
LOWEST = {"weakest vacuum": "vacuum", "weakest opening air": "opening_air"}
"""Questions whose answer is the lowest of all units -> what of them."""


@dataclass(eq=False)
class Elsewhere:
    """What M machines have beyond one on which all sets are solved, by the small sets solved on all of them.

    What a set comes to on another machine is taken to be what it comes to on the one, and what every small
    set within it adds there beyond that, taken apart by inclusion and exclusion: the fixes act on each other
    as on the one machine but for what pairs of them show.

    Attributes
    ----------
    sets : array (T, N)
        The small sets, the smaller ones first; the first holds no fix.
    lowest : str
        The answer is the lowest of this array of `Answers` over the units; empty where it is none of them.
    effects : list of arrays (T, M)
        What each adds to that in every unit, or else to the answer, beyond those within it and beyond the one
        machine. Which unit is the weakest differs from machine to machine; what it has does so smoothly.
    strained : dict
        The same of the logarithm of what there is over what a limit allows, for each limit (name, kind).
    """

    sets: Sets
    lowest: str
    effects: list[Array]
    strained: dict[Limit, Array]

    @classmethod
    def of(cls, of: str, sets: Sets, known: Answers, one: int) -> Self:
        """By the answers to a question for some sets on all machines, of which one is the one.

        The sets are ordered by their size, and begin with the one without a fix.
        """
        lowest = LOWEST.get(of, "")

        def beyond(values: Array) -> Array:
            return _apart(sets, values - values[:, [one]])

        return cls(
            sets,
            lowest,
            [beyond(values) for values in _taken(known, lowest)],
            {limit: beyond(strain) for limit, strain in known.strains.items()},
        )

    def joined(self, some: Self, which: NDArray[np.intp]) -> Elsewhere:
        """With the larger ones of sets solved on some of the machines; the others as these on average."""
        first, machines = len(self.sets), self.machines

        def all_of(own: Array, more: Array) -> Array:
            rest = np.repeat(more[first:].mean(axis=1, keepdims=True), machines, axis=1)
            rest[:, which] = more[first:]
            return np.concatenate([own, rest])

        return Elsewhere(
            some.sets,
            self.lowest,
            [all_of(own, more) for own, more in zip(self.effects, some.effects, strict=True)],
            {
                limit: all_of(self.strained.get(limit, np.zeros((first, machines))), strain)
                for limit, strain in some.strained.items()
            },
        )

    @property
    def machines(self) -> int:
        """M."""
        return int(self.effects[0].shape[1])

    def answers(self, sets: Sets, own: Answers, first: int = 0) -> Array:
        """The answers of sets (K, N) on all machines, (K, M), by those on the one from a first row on."""
        told = [value[first:] for value in _taken(own, self.lowest)]
        known = np.flatnonzero(~np.isnan(told).any(axis=(0, 2)))
        out = np.full((len(sets), self.machines), np.nan)
        for some in np.split(known, range(BLOCK, len(known), BLOCK)):
            parts = within(self.sets, sets[some]).astype(float)
            each = (v[some] + parts @ effects for v, effects in zip(told, self.effects, strict=True))
            out[some] = reduce(np.minimum, each)
        return out

    def passed(self, sets: Sets, strains: Mapping[Limit, Array]) -> dict[Limit, Array]:
        """The share of the machines on which sets pass each limit, (K,), by their strains on the one."""
        out, parts = {}, within(self.sets, sets).astype(float)
        most = np.log1p(ROUNDING)
        for limit in dict.fromkeys([*self.strained, *strains]):
            own = strains.get(limit, np.full((len(sets), 1), UNSTRAINED))
            effects = self.strained.get(limit, np.zeros((len(self.sets), 1)))
            surely = own[:, 0] + parts @ effects.min(axis=1) > most
            rows = np.flatnonzero(~surely & (own[:, 0] + parts @ effects.max(axis=1) > most))
            out[limit] = surely.astype(float)
            out[limit][rows] = (own[rows] + parts[rows] @ effects > most).mean(axis=1)
        return out

    def reason(self, sets: Sets, strains: Mapping[Limit, Array]) -> Reason:
        """Why a set (1, N) that passes limits is not allowed."""
        shares = {limit: float(share[0]) for limit, share in self.passed(sets, strains).items()}
        named = {limit: share for limit, share in shares.items() if share > SELDOM}
        what = [f"the {'highest speed' if kind == 'speed' else 'power'} of {name}" for name, kind in named]
        words = f"On about {max(named.values()):.0%} of the possible machines it passes {listed(what)}"
        return Reason(NOT_ALLOWED, words)


def _taken(known: Answers, lowest: str) -> list[Array]:
    """What the answer is the lowest of, each (K, M)."""
    return [known.answer] if not lowest else [*np.moveaxis(getattr(known, lowest), 1, 0)]


def middle_of(known: Answers) -> int:
    """The machine whose answers are nearest to the middle of all: the place of its column."""
    with np.errstate(all="ignore"):
        answer = known.answer[~np.isnan(known.answer).any(axis=1)]
        if not len(answer):
            return 0
        off = answer - np.median(answer, axis=1, keepdims=True)
        spread = np.sqrt(np.mean(off**2, axis=1, keepdims=True))
        off = np.where(spread > 0.0, off / spread, 0.0)
    return int((off**2).sum(axis=0).argmin())


def _apart(sets: Sets, values: Array) -> Array:
    """What each set adds to those within it, (T, M); nothing where that is not known."""
    out, size = np.zeros_like(values), sets.sum(axis=1)
    for count in np.unique(size):
        rows = size == count
        out[rows] = np.nan_to_num(values[rows] - _added(sets, sets[rows], out))
    return out


def _added(parts: Sets, sets: Sets, effects: Array) -> Array:
    """What the parts within each set add up to, (K, M)."""
    return np.asarray(within(parts, sets).astype(float) @ effects)
