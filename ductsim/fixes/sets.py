"""Sets of fixes done together on one machine, solved as columns: one call of the solver for each layout."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from ..answers.limits import MOST_STRAIN, Breach, breaches_by_group, breaches_said
from ..answers.variants import Variants, solve_variants
from ..crop.replacement import replace
from ..description.changing import Setting
from ..description.data import MachineData
from ..description.possible import across
from ..errors import InputError
from ..network.point import Point
from ..quantity import Times
from ..questions.vocabulary import Question, asked_of, question
from .checks import column, together
from .fix import Task
from .starts import Starts

Array = NDArray[np.float64]
NOTICED = 0.005
"""Changes below this share of the answer, the vacuum or the duct air count as none [-]: less than a
manometer shows; our assumption."""
CHUNK = 20_000
"""Scenarios in one call of the solver: the arrays of a state of 60 paths then stay below 100 MB."""

SMALL = 2, 3
"""Sets of so many fixes are solved first where there are many more."""
FEWEST, WORTH, MOST_LEARNED = 2000, 4, 600
"""Where that pays: scenarios from which on, sets for each small one, small ones at most."""

UNSTRAINED = -MOST_STRAIN
"""The logarithm of what there is over what is allowed where nothing is."""
FINE = ""
CONTRADICTION, IMPOSSIBLE, NO_ANSWER, NOT_ALLOWED = "contradiction", "impossible", "no answer", "not allowed"


@dataclass(frozen=True)
class Reason:
    """Why a set of fixes is not to be done.

    Attributes
    ----------
    verdict : str
        "contradiction", "impossible", "no answer" or "not allowed".
    said : str
        As a sentence begins, without a full stop; empty where breaches say it.
    breaches : tuple of Breach
        The limits that are passed, where it is not allowed.
    """

    verdict: str
    said: str = ""
    breaches: tuple[Breach, ...] = ()

    @property
    def words(self) -> str:
        """As a sentence begins, without a full stop."""
        return self.said or breaches_said(self.breaches, "The")  # of thousands of sets few are asked


def verdict_of(reason: Reason | None) -> str:
    """What stands against a set; empty where it may be done."""
    return FINE if reason is None else reason.verdict


def sentence_of(reason: Reason | None) -> str:
    """Why it is not to be done, as a sentence; empty where it may be done."""
    return "" if reason is None else f"{reason.words}."


@dataclass
class Answers:
    """What K sets of fixes come to on M possible machines (M = 1 for a single one).

    Attributes
    ----------
    answer : array (K, M)
        The answer to the question, in SI; NaN where there is none.
    vacuum, opening_air, duct_air : arrays (K, U, M)
        Of every unit [Pa, kg/s, kg/s].
    power : array (K, M)
        Shaft power of all fans [W].
    also : array (K, A, M)
        The answers to the further questions, in SI.
    strains : dict
        (name, kind) of a limit -> (K, M), the logarithm of what there is over what is allowed; `UNSTRAINED`
        where the limit is not stated or there is no answer.
    reasons : list of Reason or None
        Of K: why the set is not to be done, None where it may be.
    """

    answer: Array
    vacuum: Array
    opening_air: Array
    duct_air: Array
    power: Array
    also: Array
    strains: dict[tuple[str, str], Array]
    reasons: list[Reason | None]

    @classmethod
    def blank(cls, sets: int, units: int, machines: int, also: int = 0) -> Self:
        """All NaN."""
        every, of_unit = np.full((sets, machines), np.nan), np.full((sets, units, machines), np.nan)
        more = np.full((sets, also, machines), np.nan)
        return cls(every, of_unit, of_unit.copy(), of_unit.copy(), every.copy(), more, {}, [None] * sets)

    @classmethod
    def joined(cls, parts: Iterable[Answers]) -> Self:
        """Several, one after the other."""
        rows = list(parts)
        return cls(
            np.concatenate([row.answer for row in rows]),
            np.concatenate([row.vacuum for row in rows]),
            np.concatenate([row.opening_air for row in rows]),
            np.concatenate([row.duct_air for row in rows]),
            np.concatenate([row.power for row in rows]),
            np.concatenate([row.also for row in rows]),
            {
                limit: np.concatenate([row.strain(limit) for row in rows])
                for limit in dict.fromkeys(limit for row in rows for limit in row.strains)
            },
            [reason for row in rows for reason in row.reasons],
        )

    def on(self, some: NDArray[np.intp]) -> Answers:
        """The same sets on some of the machines; why a set is not to be done stays what all of them say."""
        return Answers(
            self.answer[:, some],
            self.vacuum[..., some],
            self.opening_air[..., some],
            self.duct_air[..., some],
            self.power[:, some],
            self.also[..., some],
            {limit: strain[:, some] for limit, strain in self.strains.items()},
            list(self.reasons),
        )

    def verdict(self, row: int) -> str:
        """What stands against a set; empty where it may be done."""
        return verdict_of(self.reasons[row])

    def why(self, row: int) -> str:
        """The reason as a sentence; empty where a set may be done."""
        return sentence_of(self.reasons[row])

    def strain(self, limit: tuple[str, str]) -> Array:
        """The logarithm of what there is over what a limit allows, (K, M)."""
        if limit not in self.strains:
            self.strains[limit] = np.full(self.answer.shape, UNSTRAINED)
        return self.strains[limit]


@dataclass(frozen=True)
class Conflict:
    """Two fixes that contradict each other: their places in the list, and why, without a full stop."""

    first: int
    second: int
    words: str


@dataclass(eq=False)
class Combining:
    """Solves sets of fixes on a machine; made by `combining`.

    Attributes
    ----------
    machine : MachineData
        Single, or with M columns: possible machines.
    tasks : list of Task
        N fixes spelled out for that machine.
    of : str
        The question.
    also : list of str
        Further questions that are answered beside it.
    conflicts : list of Conflict
        Pairs of fixes that contradict each other.
    calls : int
        How often the solver was called.
    """

    machine: MachineData
    tasks: list[Task]
    of: str
    also: list[str]
    conflicts: list[Conflict]
    calls: int = 0

    @property
    def question(self) -> Question:
        """What is asked, with its label and measure."""
        return question(self.machine.layout, self.of)

    @property
    def machines(self) -> int:
        """How many possible machines there are."""
        return self.machine.columns or 1

    @property
    def units(self) -> list[str]:
        """The names of the units."""
        return [unit.name for unit in self.machine.layout.units]

    @cached_property
    def _roots(self) -> dict[tuple[int, ...], MachineData | Reason]:
        """Machines with the parts of some fixes in place, as they are needed."""
        return {(): self.machine}

    @cached_property
    def _starts(self) -> dict[tuple[int, Any], Starts]:
        """What small sets on such a machine came to, for each choice of possible machines."""
        return {}

    def __getstate__(self) -> dict[str, Any]:
        """Without the machines that can be put together again, and what was learned of them."""
        return {name: value for name, value in self.__dict__.items() if name not in ("_roots", "_starts")}

    def solve(self, sets: NDArray[np.bool_], which: Any = None) -> Answers:
        """What each of K sets comes to; `sets` is (K, N), `which` picks some of the possible machines."""
        machines = self.machines if which is None else len(which)
        out = Answers.blank(len(sets), len(self.units), machines, len(self.also))
        self._refuse_contradictions(sets, out)
        step = max(1, CHUNK // machines)
        for root, rows in self._by_layout(sets, out):
            for stage, learn in self._stages(root, sets[rows], which, machines):
                for first in range(0, len(stage), step):
                    self._solve_some(root, sets, rows[stage[first : first + step]], which, learn, out)
        return out

    def built(self, sets: NDArray[np.bool_]) -> Iterable[tuple[MachineData, NDArray[np.intp]]]:
        """The machines that some sets make of a single one, each with columns for the sets in the rows given.

        Sets that cannot be put together are left out.
        """
        out = Answers.blank(len(sets), 0, 1)
        self._refuse_contradictions(sets, out)
        for root, rows in self._by_layout(sets, out):
            values = self._values(root, sets[rows], None)
            bad = self._impossible(root, values, sets[rows], None)
            good = np.array([k for k in range(len(rows)) if k not in bad], dtype=np.intp)
            if good.size:
                address, value = next(iter(root.numbers.items()))
                some = {a: column[good] for a, column in values.items()}
                some.setdefault(address, np.full((len(good), 1), float(value)))
                yield across(root, some, len(good), None), rows[good]

    def _refuse_contradictions(self, sets: NDArray[np.bool_], out: Answers) -> None:
        """Give the sets that hold two fixes of a conflict the sentence of the first such pair."""
        if not self.conflicts:
            return
        pairs = np.array([(c.first, c.second) for c in self.conflicts], dtype=np.intp)
        against = np.zeros((len(self.tasks), len(self.tasks)), dtype=np.float32)
        against[pairs[:, 0], pairs[:, 1]] = 1.0
        bad = ((sets.astype(np.float32) @ against > 0.0) & sets).any(axis=1)
        for k in np.flatnonzero(bad):
            first = int((sets[k, pairs[:, 0]] & sets[k, pairs[:, 1]]).argmax())
            out.reasons[k] = Reason(CONTRADICTION, self.conflicts[first].words)

    def _by_layout(
        self, sets: NDArray[np.bool_], out: Answers
    ) -> Iterable[tuple[MachineData, NDArray[np.intp]]]:
        """For each set of replaced parts, the machine that has them and the rows of such sets."""
        replacing = [i for i, task in enumerate(self.tasks) if task.parts]
        open_rows = np.flatnonzero([reason is None for reason in out.reasons])
        for pattern, at in _patterns(sets[open_rows][:, np.array(replacing, dtype=int)]):
            rows = open_rows[at]
            key = tuple(i for i, has in zip(replacing, pattern, strict=True) if has)
            root = self._root(key)
            if isinstance(root, Reason):
                for k in rows:
                    out.reasons[k] = root
            else:
                yield root, rows

    def _stages(
        self, root: MachineData, sets: NDArray[np.bool_], which: Any, machines: int
    ) -> list[tuple[NDArray[np.intp], bool]]:
        """The rows of sets of one layout in the order in which they are solved; whether to learn from them.

        Where there are many, the small ones go first: the others start where these point to.
        """
        known, size = self._known(root, which), sets.sum(axis=1)
        order = np.argsort(size, kind="stable")
        least = int(size.min() if known is None else known.sets[0].sum())
        if root.carries or size.max() <= least + 1:
            return [(order, not root.carries)]
        ends = [int((size <= least + count).sum()) for count in SMALL]
        if len(sets) * machines < FEWEST or len(sets) < WORTH * ends[0]:
            return [(order, False)]
        if ends[1] > MOST_LEARNED or len(sets) - ends[1] < WORTH * (ends[1] - ends[0]):
            ends[1] = ends[0]
        pairs, more, rest = np.split(order, ends)
        return [(pairs, True), (more, True), (rest, False)]

    def _root(self, key: tuple[int, ...]) -> MachineData | Reason:
        """The machine with the parts of some fixes in place, or why there is none."""
        if key not in self._roots:
            parts = {name: part for i in key for name, part in self.tasks[i].parts.items()}
            try:
                self._roots[key] = replace(self.machine, parts)
            except InputError as err:
                self._roots[key] = Reason(IMPOSSIBLE, err.words)
        return self._roots[key]

    def _solve_some(
        self,
        root: MachineData,
        sets: NDArray[np.bool_],
        rows: NDArray[np.intp],
        which: Any,
        learn: bool,
        out: Answers,
    ) -> None:
        values = self._values(root, sets[rows], which)
        bad = self._impossible(root, values, sets[rows], which)
        for k, why in bad.items():
            out.reasons[rows[k]] = Reason(IMPOSSIBLE, why)
        good = np.array([k for k in range(len(rows)) if k not in bad], dtype=np.intp)
        if not good.size:
            return
        values = {address: value[good] for address, value in values.items()}
        own, known = sets[rows[good]], self._known(root, which)
        self.calls += 1
        near = None if known is None else known.point(own, self._like(root, known))
        found = solve_variants(root, values, len(good), which, near)
        if learn:
            self._learn(root, own, which, found.state.arrays.point)
        self._take(found, rows[good], out)

    def _known(self, root: MachineData, which: Any) -> Starts | None:
        """What small sets on such a machine came to; None where nothing was learned.

        What was learned on all possible machines holds for some of them too.
        """
        key = id(root), None if which is None else which.tobytes()
        if key not in self._starts and (id(root), None) in self._starts:
            self._starts[key] = self._starts[id(root), None].on(which)
        return self._starts.get(key)

    def _like(self, root: MachineData, known: Starts | None = None) -> Starts | None:
        """What is known of most sets on other of the possible machines; None where nothing is."""
        others = [own for (name, _), own in self._starts.items() if name == id(root) and own is not known]
        return max(others, key=lambda own: len(own.sets), default=None)

    def _learn(self, root: MachineData, sets: NDArray[np.bool_], which: Any, point: Point) -> None:
        """Learn from solved sets, the first of them the smallest, where that may help larger ones."""
        known = self._known(root, which)
        if known is not None:
            known.learn(sets, point)
            return
        machines = point.flow.shape[1] // len(sets)
        if (sets >= sets[0]).all() and np.isfinite(point.flow[:, :machines]).all():
            like = self._like(root)
            key = id(root), None if which is None else which.tobytes()
            self._starts[key] = Starts(sets, point, like)

    def _values(self, root: MachineData, sets: NDArray[np.bool_], which: Any) -> dict[str, Array]:
        """Address -> (K, M): every number that some fix changes, in every set."""
        size = self.machines if which is None else len(which)
        out: dict[str, Array] = {}
        for i, task in enumerate(self.tasks):
            has = sets[:, i]
            if not has.any():
                continue
            for address, effect in task.effects.items():
                if address not in out:
                    base = column(root.numbers[address], which)
                    out[address] = np.array(np.broadcast_to(base, (len(sets), size)))
                if isinstance(effect, Setting):
                    out[address][has] = column(effect.value, which)
                else:
                    assert isinstance(effect, Times)
                    out[address][has] *= column(effect.factor, which)
        return out

    def _impossible(
        self, root: MachineData, values: dict[str, Array], sets: NDArray[np.bool_], which: Any
    ) -> dict[int, str]:
        """Row -> why these numbers cannot be together, without a full stop."""
        out: dict[int, str] = {}
        for address, value in values.items():
            declared = root.layout.declared[address]
            wrong = ~((value >= declared.low) & (value <= declared.high))
            for k in np.flatnonzero(wrong.any(axis=1)):
                try:
                    declared.check(float(value[k][wrong[k]][0]), address)
                except InputError as err:
                    out.setdefault(int(k), err.words)
        good = [k for k in range(len(sets)) if k not in out]
        one = {a: value if np.ndim(value) == 0 else float(value[0]) for a, value in root.numbers.items()}
        for owner in {address.split(".")[0] for address in values}:
            checked = {owner, *(part.name for part in root.layout.parts if part.drive == owner)}
            own = [i for i, task in enumerate(self.tasks) if _touches(task, checked)]
            alike = [[good[k] for k in at] for _, at in _patterns(sets[good][:, np.array(own, dtype=int)])]
            if not alike or not together(root, one, values, [ks[0] for ks in alike], owner, checked, which):
                continue
            for ks in alike:
                why = together(root, one, values, ks[:1], owner, checked, which)
                if why:
                    out |= dict.fromkeys(ks, why)
            good = [k for k in good if k not in out]
        return out

    def _take(self, found: Variants, rows: NDArray[np.intp], out: Answers) -> None:
        """Write what solved variants say into the rows of the answers."""
        out.answer[rows] = found.ask(self.of)
        out.power[rows] = found.power
        for a, words in enumerate(self.also):
            out.also[rows, a] = found.ask(words)
        for u, unit in enumerate(found.units):
            out.vacuum[rows, u] = found.vacuum[unit]
            out.opening_air[rows, u] = found.opening_air[unit]
            out.duct_air[rows, u] = found.duct_air[unit]
        solved = np.asarray(found.solved.any(axis=1))
        outcomes = found.state.outcome
        for k in np.flatnonzero(~solved | np.isnan(out.answer[rows]).all(axis=1)).tolist():
            words = "The answer is not known" if solved[k] else outcomes[k * found.machines].sentence
            out.reasons[rows[k]] = Reason(NO_ANSWER, words)
        for limit in found.limits:
            strain = found.matrix(limit.strain)
            out.strain((limit.name, limit.kind))[rows] = np.where(np.isnan(strain), UNSTRAINED, strain)
        for k, breaches in breaches_by_group(found.limits, found.machines).items():
            if out.reasons[rows[k]] is None:
                out.reasons[rows[k]] = Reason(NOT_ALLOWED, breaches=tuple(breaches))


def combining(machine: MachineData, tasks: Sequence[Task], of: str | Sequence[str]) -> Combining:
    """What solves sets of these fixes on a machine; of several questions the first is the one they are for.

    Raises
    ------
    InputError
        For an unknown question, and fixes with more or fewer values than there are possible machines.
    """
    first, *also = dict.fromkeys(asked_of(machine.layout, of, "compare"))
    conflicts = [
        Conflict(i, j, why)
        for i, one in enumerate(tasks)
        for j, other in enumerate(tasks[:i])
        if (why := one.against(other))
    ]
    return Combining(_with_columns_of(machine, tasks), list(tasks), first, also, conflicts)


def _patterns(sets: NDArray[np.bool_]) -> list[tuple[tuple[bool, ...], NDArray[np.intp]]]:
    """Each pattern that comes up in the rows, with the rows in which it does, in the order of their first."""
    if not sets.size:
        return [((), np.arange(len(sets)))] if len(sets) else []
    packed = np.ascontiguousarray(np.packbits(sets, axis=1))
    _, first, of = np.unique(
        packed.view(f"V{packed.shape[1]}").ravel(), return_index=True, return_inverse=True
    )
    rows = np.split(np.argsort(of, kind="stable"), np.bincount(of).cumsum()[:-1])
    return [(tuple(sets[first[k]].tolist()), rows[k]) for k in np.argsort(first)]


def _touches(task: Task, owners: set[str]) -> bool:
    return any(address.split(".")[0] in owners for address in task.effects)


def _with_columns_of(machine: MachineData, tasks: Sequence[Task]) -> MachineData:
    """The machine with as many columns as the fixes' own values have."""
    for task in tasks:
        size = task.columns
        if size is None:
            continue
        if machine.columns is None:
            address, value = next(iter(machine.numbers.items()))
            numbers = dict(machine.numbers) | {address: np.full(size, float(value))}
            machine = machine.rebuilt(numbers)
        elif machine.columns != size:
            raise InputError(
                f"a column of {size:,} values for {machine.columns:,} possible machines",
                place=task.fix.place,
                allowed="as many values as there are possible machines",
            )
    return machine
