"""Comparing fixes: every one alone, every set of them, and what is best in the time there is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import listed, one_of, texts, whole
from ...description.changing import together
from ...errors import InputError, shown
from ...fixes.combining import Combining
from ...fixes.file import read_fixes
from ...fixes.fix import Fix, Task, all_cautions
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...quantity import si
from ...result import Result
from . import rows as telling_rows
from . import told as telling
from .choice import AXES, front, order_of_work, search
from .table import Table
from .worth import Together, best_within, interactions, sampled_worths, shapley

Array = NDArray[np.float64]
MOST_EXACT = 14
"""Up to so many fixes every set of them is solved."""
MOST_SCENARIOS = 50_000
"""With possible machines: how many scenarios the table of all sets may take."""
LEAST_MACHINES = 4
ORDERS = 100
"""How many orders are sampled for the worths where there are too many fixes for the exact ones."""
MOST_STEPS = 4000
"""Fixes times orders: with more than 40 fixes fewer orders are sampled."""
MOST_FIXES = 100
"""Their 4,950 pairs and some 40,000 sets more take half a minute; both grow with the square of the number."""
MOST_SETS = 40_000
"""With too many fixes for all sets: so many sets are solved in the search for the best, at most."""
MOST_SURE = 2_000_000
"""Possible machines times fixes, each of them solved alone: some minutes and a gigabyte."""


def compare(
    machine_or_fit: Any,
    fixes: Any,
    of: str = "weakest vacuum",
    budget: float | str | None = None,
) -> Comparison:
    """What each fix is worth, alone and with others, and the best of them for the time there is.

    Parameters
    ----------
    machine_or_fit : Machine or fit
        A machine with columns, and what a fit holds possible, are possible machines: gains then have
        intervals, and sets of fixes a chance to be the best buy.
    fixes : list of Fix, path, mapping or DataFrame
        What `read_fixes` takes. A fix that makes no sense on this machine is named with one
        sentence in `errors`; the others are compared all the same.
    of : str
        The question, by default the vacuum of the weakest unit.
    budget : float or str, optional
        The working time there is: a number of minutes [min], or a text with its measure ("1.5 h").

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        For no fixes, more than 100 of them, too many possible machines, fixes of the same name, a budget that
        is none, and an unknown question.
    NoOperatingPoint
        When the machine as it is has no answer.
    """
    return Comparison(machine_or_fit, read_fixes(fixes), of, budget)


class Comparison(Result):
    """Fixes compared; made by `compare`.

    Up to 14 fixes all sets of them are solved; beyond that the best sets are looked for by adding, taking
    away and swapping fixes, and a note says so.

    Attributes
    ----------
    machine : Machine
        Single, or with columns of possible machines.
    fixes : list of Fix
        As given.
    tasks : list of Task
        The N fixes that could be spelled out for this machine.
    errors : dict
        Name of a fix that could not -> why, one sentence.
    of, question : str, Question
    budget : float or None
        Minutes.
    exact : bool
        Whether all sets have been solved.
    orders : int
        In how many orders of the fixes the worths are sampled where they are not exact.
    solved : Table
        The sets that have been solved; its masks have bit i for `tasks[i]`.
    worths : array (N,)
        Mean marginal gain of each task over all orders (Shapley value), in the question's measure; they add
        up to the gain of all together. Positive is better, also where less of the answer is better. NaN for
        a fix that no allowed set holds: the others are weighed without it.
    usable : list of int
        The tasks that are weighed.
    worth_errors : array (N,)
        Standard errors of the worths, 0 where they are exact.
    together : list of Together
        Fixes that help only together, cancel, overlap or reinforce each other, the strongest first.
    """

    def __init__(self, machine_or_fit: Any, fixes: Any, of: str, budget: Any) -> None:
        self.machine: Machine = possible_machines(machine_or_fit)
        self.fixes: list[Fix] = _checked(fixes)
        self.of = of
        self.budget = _budget(budget)
        self.tasks: list[Task] = []
        self.errors: dict[str, str] = {}
        for fix in self.fixes:
            try:
                self.tasks.append(Task.of(fix, self.machine))
            except InputError as err:
                self.errors[fix.name] = str(err)
        self.combining = Combining(self.machine, self.tasks, of)
        self.question = self.combining.question
        self.n = len(self.tasks)
        _bound(self.combining.machines, self.n)
        self.exact = self.n <= MOST_EXACT
        self.orders = min(ORDERS, MOST_STEPS // max(self.n, 1))
        self._solve()

    def _solve(self) -> None:
        machines, n = self.combining.machines, self.n
        sets = 2**n if self.exact else 4000
        few = max(LEAST_MACHINES, MOST_SCENARIOS // sets)
        which = np.linspace(0, machines - 1, few).astype(int) if few < machines else None
        self.solved = Table(self.combining, which)
        self.solved.need([0])
        if not self.solved.could_be_done(0):
            self.machine.solve()  # raises what is the matter
        if self.exact:
            self.solved.need(range(2**n))
        else:
            self._search()
        self._weigh()
        self.sure = self.solved
        if which is not None:
            self.sure = Table(self.combining)
            self.sure.need([0, *(1 << i for i in range(n))])

    def _search(self) -> None:
        """Solve what is worth solving of too many sets."""
        n = self.n
        pairs = [1 << i | 1 << j for i in range(n) for j in range(i)]
        self.solved.need([*(1 << i for i in range(n)), *pairs, 2**n - 1])
        total = float(self.solved.time.sum())
        budgets = [self.budget, *telling_rows.BUDGETS, *(total * np.arange(1, 8) / 8.0), None]
        for k, within in enumerate(budgets):
            known = len(self.solved.masks)
            search(self.solved, within, known + max(0, MOST_SETS - known) // (len(budgets) - k))

    def _weigh(self) -> None:
        """Worths, and how the fixes act on each other; without the fixes that are never allowed."""
        table = self.solved
        self.usable = [i for i in range(self.n) if table.sets[table.allowed, i].any()] or [*range(self.n)]
        self.worths: Array = np.full(self.n, np.nan)
        self.worth_errors: Array = np.zeros(self.n)
        if self.exact:
            rows = [table.row(sum(1 << i for i in part)) for part in _every_part(self.usable)]
            self.worths[self.usable] = shapley(best_within(table.gain[rows]))
        else:
            self.worths[self.usable], self.worth_errors[self.usable] = self._sampled()
        noticed = telling_rows.NOTICED * abs(table.base)
        gain = table.by_mask()
        self.together: list[Together] = interactions(
            lambda mask: gain.get(mask, np.nan), self.usable, noticed, 3 if self.exact else 1
        )

    def _sampled(self) -> tuple[Array, Array]:
        """Worths from some orders in which the fixes are done, with their standard errors."""
        rng = np.random.default_rng(0)
        orders = np.array([rng.permutation(len(self.usable)) for _ in range(self.orders)])
        steps = [[0] for _ in orders]
        for masks, order in zip(steps, orders, strict=True):
            for j in order:
                masks.append(masks[-1] | 1 << self.usable[j])
        self.solved.need(mask for masks in steps for mask in masks)
        gain = self.solved.by_mask()
        gains = np.array([[gain[mask] for mask in masks] for masks in steps])
        for row in gains:  # a fix that contradicts one before it cannot be done: it adds nothing
            for k in range(1, len(row)):
                row[k] = row[k - 1] if np.isnan(row[k]) else row[k]
        return sampled_worths(gains, orders)

    def _candidates(self, within: float | None) -> list[int]:
        """The sets that may be the best buy within some minutes, of those in the table."""
        table = self.solved
        ranked = table.ranked(within)
        rows = set(ranked[:30].tolist())
        if ranked.size:
            best = np.where(np.isnan(table.gains), -np.inf, table.gains)[ranked].argmax(axis=0)
            rows |= set(ranked[best].tolist())
        return [table.masks[row] for row in sorted(rows)]

    def ranked(self, within: float | None = None) -> list[int]:
        """The allowed sets that take at most some minutes, the best first, as masks.

        Where the sets were solved on some of the possible machines only, the best of them are solved on all
        and ranked again; the others are left out.
        """
        if self.sure is not self.solved:
            self.sure.need(self._candidates(within))
        return [self.sure.masks[row] for row in self.sure.ranked(within)]

    # ---- answers

    def gain(self, *fixes: str) -> float:
        """The gain of some fixes together, in the question's measure; NaN where they cannot be done.

        Positive is better, also where less of the answer is better.
        """
        mask = self.mask(fixes)
        self.solved.need([mask])
        return float(self.solved.gain[self.solved.row(mask)])

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
        mask = whole(mask, "names", "set", 0, (1 << len(self.tasks)) - 1)
        return [task.fix.name for i, task in enumerate(self.tasks) if mask >> i & 1]

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
        within = self.budget if budget is None else _budget(budget)
        return [self.names(mask) for mask in self.ranked(within)[:count]]

    @cached_property
    def recommended(self) -> int:
        """The best set within the budget, or of all that are allowed."""
        return next(iter(self.ranked(self.budget)), 0)

    @cached_property
    def order(self) -> list[str]:
        """The fixes of the recommended set in the order that gains most early on."""
        return self.order_of(self.names(self.recommended))

    def order_of(self, fixes: Iterable[str]) -> list[str]:
        """Some fixes in the order that gains most early on: broken off anywhere, it has gained most."""
        mask = self.mask(fixes)
        return [self.tasks[i].fix.name for i in order_of_work(self.solved, mask)]

    def front(self, axes: Sequence[str] = AXES) -> list[list[str]]:
        """The sets that no other beats in gain and in what `axes` names: "minutes", "cost", "power"."""
        axes = texts(axes, "front", f"some of {', '.join(AXES)}")
        for axis in axes:
            one_of(axis, AXES, "front", "axis")
        return [self.names(self.solved.masks[row]) for row in front(self.solved, axes)]

    @cached_property
    def chances(self) -> dict[int, float]:
        """Set -> the chance that it is the best buy: the share of the possible machines on which it is.

        Only for possible machines; empty for a single one.
        """
        if self.combining.machines == 1:
            return {}
        table = self.sure
        self.ranked(self.budget)
        rows = table.ranked(self.budget)
        gains = np.where(np.isnan(table.gains), -np.inf, table.gains)[rows]
        # equal gains count for the set that the ranking puts first
        best = (gains > gains.max(axis=0) - table.tie).argmax(axis=0) if rows.size else np.zeros(0, int)
        share = np.bincount(best, minlength=len(rows)) / max(1, len(best))
        return {table.masks[row]: float(chance) for row, chance in zip(rows, share, strict=True) if chance}

    def done(self, fixes: Iterable[str] | None = None) -> Machine:
        """The machine with some fixes done, by default the recommended ones."""
        chosen = self.order if fixes is None else fixes
        machine = self.machine
        parts: dict[str, Any] = {}
        mask = self.mask(chosen)
        tasks = [task for i, task in enumerate(self.tasks) if mask >> i & 1]
        for task in tasks:
            parts.update(task.parts)
        if parts:
            machine = machine.replace(parts)
        return machine.changed(together(task.effects for task in tasks))

    # ---- what is shown

    def rows(self) -> list[dict[str, Any]]:
        """A row for each fix, the one with the largest worth in company first; see `rows.fix_rows`."""
        return telling_rows.fix_rows(self)

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """fixes, best_sets, units (before and after), front, together, refused: name -> rows."""
        return telling_rows.tables(self)

    def combinations(self, count: int | None = None) -> list[dict[str, Any]]:
        """A row for every set that was solved, the best first, those that are not allowed at the end."""
        return telling_rows.combination_rows(self, count)

    def units(self, fixes: Iterable[str] | None = None) -> list[dict[str, Any]]:
        """A row for each unit: vacuum, opening air and duct air before and after some fixes.

        By default after the recommended ones.
        """
        return telling_rows.unit_rows(self, self.recommended if fixes is None else self.mask(fixes))

    def sentences(self, measures: str = "metric") -> list[str]:
        """The answer in plain sentences, first what to do; `measures` is "metric" or "inch"."""
        return telling.sentences(self, measures)

    @cached_property
    def notes(self) -> list[str]:
        """Sentences about how the answer was found and what deserves a look."""
        return telling.notes(self)

    @cached_property
    def cautions(self) -> list[str]:
        """What to beware of when the recommended fixes are done; of every fix where none is recommended."""
        chosen = [task for i, task in enumerate(self.tasks) if self.recommended >> i & 1] or self.tasks
        return all_cautions(chosen)

    @property
    def contradictions(self) -> list[str]:
        """A sentence for each pair of fixes that contradict each other."""
        return [why for _, _, why in self.combining.conflicts]

    def verdict(self, *fixes: str) -> tuple[str, str]:
        """Whether some fixes may be done together: ("", "") or what stands against it, and why."""
        mask = self.mask(fixes)
        self.solved.need([mask])
        row = self.solved.row(mask)
        return str(self.solved.answers.verdict[row]), str(self.solved.answers.reason[row])

    def __reduce__(self) -> tuple[Any, ...]:
        return Comparison, (self.machine, self.fixes, self.of, self.budget)


def _checked(fixes: Any) -> list[Fix]:
    known = [fixes] if isinstance(fixes, Fix) else fixes
    try:
        out = listed(known, "", "")
    except InputError:
        raise InputError(
            f"{shown(fixes)} is no list of fixes", allowed="ds.read_fixes(file), or a list of ds.Fix"
        ) from None
    for fix in out:
        if not isinstance(fix, Fix):
            raise InputError(f"{shown(fix)} is no fix", place="fixes", allowed="ds.Fix(name, change={...})")
    if not out:
        raise InputError("there is no fix to compare", place="fixes")
    if len(out) > MOST_FIXES:
        raise InputError(
            f"there are {len(out):,} fixes", place="fixes", allowed=f"{MOST_FIXES} in one comparison"
        )
    names = [fix.name for fix in out]
    for name in names:
        if names.count(name) > 1:
            raise InputError(f"the name {name!r} is used twice", place="fixes", allowed="each name once")
    return out


def _bound(machines: int, fixes: int) -> None:
    """Refuse what would take too long before anything is solved."""
    if machines * (fixes + 1) > MOST_SURE:
        raise InputError(
            f"{fixes} fixes on {machines:,} possible machines",
            place="compare",
            allowed=f"{MOST_SURE // (fixes + 1):,} possible machines with so many fixes",
        )


def _every_part(fixes: Sequence[int]) -> Iterable[list[int]]:
    """All sets of some fixes, in the order of the bits of their places."""
    return ([i for j, i in enumerate(fixes) if part >> j & 1] for part in range(2 ** len(fixes)))


def _budget(value: Any) -> float | None:
    if value is None:
        return None
    try:
        seconds = si(value, "min")
    except InputError as err:
        raise err.at(place="budget") from None
    if not isinstance(seconds, float) or seconds < 0.0:
        raise InputError(
            f"{shown(value)} is no working time", place="budget", allowed="0 minutes or more, as in '90 min'"
        )
    return seconds / 60.0
