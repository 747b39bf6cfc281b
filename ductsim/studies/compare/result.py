"""What a comparison of fixes has found."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import listed, one_of, texts, whole
from ...description.changing import together
from ...errors import InputError, shown
from ...fixes.fix import Fix, Task
from ...fixes.sets import Combining
from ...machine.machine import Machine
from ...quantity import measure_key, si
from ...questions.vocabulary import Question
from ...result import Note, Result
from ...statistics import quantile
from .choice import AXES, front, order_of_work
from .sets import SolvedSets, range_of
from .worth import Together

MOST_ROUNDS = 8
"""How often sets are solved on all possible machines in place of some that turned out not to be allowed."""
CLOSEST = 10
"""So many sets that may be the best buy are solved on all possible machines."""
SELDOM_BEST = 0.02
"""And those that are the best on more than this share of them [-]."""
Array = NDArray[np.float64]
Row = dict[str, Any]


@dataclass(repr=False, eq=False)
class Comparison(Result):
    """Fixes compared; made by `compare`.

    Up to 14 fixes all sets of them are solved; beyond that the best sets are looked for by adding, taking
    away and swapping fixes, and a note says so. A set that is asked for by name (`gain`, `verdict`, `units`,
    `order_of`) and is not among the solved ones is solved then.

    Attributes
    ----------
    machine : Machine
        Single, or with columns of possible machines.
    fixes : list of Fix
        As given.
    errors : dict
        Name of a fix that could not be spelled out for this machine -> why, one sentence.
    of : str
        What was asked, of several questions the first: gains and worths are in its answer. How the fixes
        change the others' answers is told beside it.
    budget : float or None
        Minutes.
    exact : bool
        Whether all sets have been solved.
    orders : int
        In how many orders of the fixes the worths are sampled where they are not exact.
    solved : SolvedSets
        The sets that have been solved; its masks have bit i for `tasks[i]`.
    checked : SolvedSets or None
        Where those were solved on one of the possible machines only, and estimated for the others: single
        fixes, pairs and the best sets, solved on all of them.
    usable : list of int
        The tasks that are weighed: those that some allowed set holds.
    worths : array (N,)
        Mean marginal gain of each task over all orders (Shapley value), in the question's measure; they add
        up to the gain of all together. Positive is better, also where less of the answer is better. NaN for
        a fix that no allowed set holds: the others are weighed without it.
    worth_errors : array (N,)
        Standard errors of the worths, 0 where they are exact.
    together : list of Together
        Fixes that help only together, cancel, overlap or reinforce each other, the strongest first.
    recommended : int
        The best set within the budget, or of all that are allowed, without what adds next to nothing.
    left_out : list of str
        The fixes that it is without.
    order : list of str
        Its fixes in the order that gains most early on.
    chances : dict
        Set -> the chance that it is the best buy: the share of the possible machines on which it is. Empty
        for a single machine.
    seen : list of Note
        What the machine has to say with the recommended fixes done.
    """

    machine: Machine
    fixes: list[Fix]
    errors: dict[str, str]
    of: str
    budget: float | None
    exact: bool
    orders: int
    solved: SolvedSets
    checked: SolvedSets | None = None
    usable: list[int] = field(default_factory=list)
    worths: Array = field(default_factory=lambda: np.zeros(0))
    worth_errors: Array = field(default_factory=lambda: np.zeros(0))
    together: list[Together] = field(default_factory=list)
    recommended: int = 0
    left_out: list[str] = field(default_factory=list)
    order: list[str] = field(default_factory=list)
    chances: dict[int, float] = field(default_factory=dict)
    seen: list[Note] = field(default_factory=list)

    @property
    def combining(self) -> Combining:
        """What solves sets of fixes."""
        return self.solved.combining

    @property
    def tasks(self) -> list[Task]:
        """The N fixes that could be spelled out for this machine."""
        return self.combining.tasks

    @property
    def n(self) -> int:
        """How many those are."""
        return len(self.tasks)

    @property
    def question(self) -> Question:
        """What was asked, with its label and measure."""
        return self.combining.question

    @property
    def machines(self) -> int:
        """How many possible machines there are."""
        return self.combining.machines

    @property
    def sure(self) -> SolvedSets:
        """Sets that are solved on all possible machines."""
        return self.solved if self.checked is None else self.checked

    @property
    def contradictions(self) -> list[str]:
        """A sentence for each pair of fixes that contradict each other."""
        return [f"{conflict.words}." for conflict in self.combining.conflicts]

    # ---- sets by their names

    def mask(self, fixes: Iterable[str]) -> int:
        """The set of the fixes of these names.

        Raises
        ------
        UnknownName
            For a name that is none of the fixes that could be computed.
        """
        names = [task.fix.name for task in self.tasks]
        out = 0
        for name in [fixes] if isinstance(fixes, str) else listed(fixes, "fixes", "a list of names of fixes"):
            one_of(name, names, "fixes", "fix")
            out |= 1 << names.index(name)
        return out

    def names(self, mask: int) -> list[str]:
        """The names of the fixes in a set, in the order they were given."""
        mask = whole(mask, "names", "set", 0, (1 << self.n) - 1)
        return [task.fix.name for i, task in enumerate(self.tasks) if mask >> i & 1]

    def holding(self, mask: int) -> tuple[SolvedSets, int]:
        """Where a set is solved, on all possible machines if it is, and its row there."""
        solved = self.sure if self.sure.has(mask) else self.solved
        solved.need([mask])
        return solved, solved.row(mask)

    # ---- answers

    def gain(self, *fixes: str) -> float:
        """The gain of some fixes together, in the question's measure; NaN where they cannot be done.

        Positive is better, also where less of the answer is better.
        """
        mask = self.mask(fixes)
        self.solved.need([mask])
        return float(self.solved.gain[self.solved.row(mask)])

    def verdict(self, *fixes: str) -> tuple[str, str]:
        """Whether some fixes may be done together: ("", "") or what stands against it, and why."""
        mask = self.mask(fixes)
        self.solved.need([mask])
        row = self.solved.row(mask)
        return self.solved.verdict(row), self.solved.why(row)

    def ranked(self, within: float | None = None) -> list[int]:
        """The allowed sets that take at most some minutes, the best first, as masks.

        Where the sets were solved on one of the possible machines only, the best of them are solved on all
        and ranked again; the others are left out.
        """
        if self.checked is not None:
            for _ in range(MOST_ROUNDS):
                new = [mask for mask in self._candidates(within) if not self.checked.has(mask)]
                if not new:
                    break
                self.checked.need(new)
        return [self.sure.masks[row] for row in self.sure.ranked(within)]

    def look_closer(
        self, budgets: Iterable[float | None], axes: Sequence[str], also: Iterable[int] = ()
    ) -> None:
        """Solve on all possible machines, in one go, sets and what `ranked` and `on_front` will ask for."""
        if self.checked is not None:
            some = [mask for within in budgets for mask in self._candidates(within)]
            self.checked.need([*some, *(self.solved.masks[row] for row in front(self.solved, axes)), *also])

    def _candidates(self, within: float | None) -> list[int]:
        """The solved sets that may be the best buy within some minutes, on all machines or on a share."""
        solved = self.solved
        rows = [row for row in solved.ranked(within).tolist() if self._may_be_advised(solved.masks[row])]
        if not rows:
            return []
        gains = np.nan_to_num(solved.gains_of(rows), nan=-np.inf)
        often = np.bincount(gains.argmax(axis=0), minlength=len(rows))
        best = np.flatnonzero(often > SELDOM_BEST * gains.shape[1]).tolist()
        return [solved.masks[rows[k]] for k in dict.fromkeys([*range(min(CLOSEST, len(rows))), *best])]

    def _may_be_advised(self, mask: int) -> bool:
        """Whether nothing that was found on all possible machines stands against a set."""
        sure = self.sure
        return not sure.has(mask) or bool(sure.allowed[sure.row(mask)])

    def best(self, budget: float | str | None = None, count: int = 3) -> list[list[str]]:
        """The best sets of fixes within a budget, the best first: names, in the order they were given.

        Parameters
        ----------
        budget : float or str, optional
            Minutes, or a text with its measure; the comparison's own budget if not given.
        count : int
            How many sets.
        """
        count = whole(count, "best", "count")
        within = self.budget if budget is None else minutes_of(budget)
        return [self.names(mask) for mask in self.ranked(within)[:count]]

    def order_of(self, fixes: Iterable[str]) -> list[str]:
        """Some fixes in the order that gains most early on: broken off anywhere, it has gained most."""
        mask = self.mask(fixes)
        return [self.tasks[i].fix.name for i in order_of_work(self.solved, mask)]

    def front(self, axes: Sequence[str] = AXES) -> list[list[str]]:
        """The sets that no other beats in gain and in what `axes` names: "minutes", "cost", "power"."""
        axes = texts(axes, "front", f"some of {', '.join(AXES)}")
        for axis in axes:
            one_of(axis, AXES, "front", "axis")
        return [self.names(mask) for mask in self.on_front(axes)]

    def on_front(self, axes: Sequence[str]) -> list[int]:
        """Those sets as masks; where all were solved on one possible machine only, of those solved on all."""
        if self.checked is not None:
            self.checked.need(self.solved.masks[row] for row in front(self.solved, axes))
        return [self.sure.masks[row] for row in front(self.sure, axes)]

    def done(self, fixes: Iterable[str] | None = None) -> Machine:
        """The machine with some fixes done, by default the recommended ones."""
        mask = self.mask(self.order if fixes is None else fixes)
        tasks = [task for i, task in enumerate(self.tasks) if mask >> i & 1]
        parts = {name: part for task in tasks for name, part in task.parts.items()}
        machine = self.machine.replace(parts) if parts else self.machine
        return machine.changed(together(task.effects for task in tasks))

    # ---- rows of some sets

    def set_row(self, mask: int) -> Row:
        """What there is to say of a set of fixes."""
        solved, row = self.holding(mask)
        measure = self.question.measure
        out: Row = {
            "fixes": " + ".join(self.names(mask)) or "nothing",
            "time_min": float(solved.minutes[row]),
            "cost": float(solved.cost[row]),
            measure_key("gain", measure): float(solved.gain[row]),
        }
        if self.machines > 1:
            out |= range_of(solved.gains_of(row), "gain", measure)
            out["chance_best"] = self.chances.get(mask, 0.0)
        out |= solved.also(row)
        out |= solved.at_weakest(row)
        out["shaft_power_change_W"] = float(solved.power[row])
        return out | {"verdict": solved.verdict(row), "reason": solved.why(row)}

    def combinations(self, count: int | None = None) -> list[Row]:
        """A row for every set that was solved, the best first, those that are not allowed at the end."""
        if count is not None:
            count = whole(count, "combinations", "count")
        solved = self.solved
        rest = np.flatnonzero(~solved.allowed)
        rest = rest[np.lexsort((rest, -np.nan_to_num(solved.gain[rest], nan=-np.inf)))]
        return [self.set_row(solved.masks[row]) for row in [*solved.ranked(), *rest][:count]]

    def units(self, fixes: Iterable[str] | None = None) -> list[Row]:
        """A row for each unit: vacuum, opening air and duct air before and after some fixes.

        By default after the recommended ones.
        """
        solved, after = self.holding(self.recommended if fixes is None else self.mask(fixes))
        answers, before = solved.answers, solved.row(0)
        columns = {
            ("vacuum", "Pa"): answers.vacuum,
            ("opening_air", "kg/s"): answers.opening_air,
            ("duct_air", "kg/s"): answers.duct_air,
        }
        out = []
        for u, unit in enumerate(self.combining.units):
            row: Row = {"unit": unit}
            for (name, measure), values in columns.items():
                row[measure_key(f"{name}_before", measure)] = quantile(values[before, u], 0.5)
                row[measure_key(f"{name}_after", measure)] = quantile(values[after, u], 0.5)
            out.append(row)
        return out


def minutes_of(budget: Any) -> float | None:
    """A working time in minutes, from a number of them or a text with its measure; None stays None.

    Raises
    ------
    InputError
        For what is no working time.
    """
    if budget is None:
        return None
    try:
        seconds = si(budget, "min")
    except InputError as err:
        raise err.at(place="budget") from None
    if not isinstance(seconds, float) or seconds < 0.0:
        raise InputError(
            f"{shown(budget)} is no working time", place="budget", allowed="0 minutes or more, as in '90 min'"
        )
    return seconds / 60.0
