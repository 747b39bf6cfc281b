"""Sets of fixes done together on one machine, solved as columns: one call of the solver for each layout."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, OutsideRange
from ..quantity import Times
from .asked import Question, question
from .changing import Setting
from .fixes import Task
from .limits import limits_of, passed_by_group
from .machine import Machine
from .possible import across
from .state import MachineState

Array = NDArray[np.float64]
CHUNK = 20_000
"""Scenarios in one call of the solver: the arrays of a state of 60 paths then stay below 100 MB."""

FINE = ""
CONTRADICTION, IMPOSSIBLE, NO_ANSWER, NOT_ALLOWED = "contradiction", "impossible", "no answer", "not allowed"


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
    verdict : array (K,) of str
        "" for a set that may be done; "contradiction", "impossible", "no answer", "not allowed".
    reason : array (K,) of str
        Why, a sentence; empty for "".
    """

    answer: Array
    vacuum: Array
    opening_air: Array
    duct_air: Array
    power: Array
    verdict: NDArray[Any]
    reason: NDArray[Any]

    @classmethod
    def blank(cls, sets: int, units: int, machines: int) -> Answers:
        """All NaN."""

        def nan(*shape: int) -> Array:
            return np.full(shape, np.nan)

        words = np.full(sets, "", dtype=object)
        units_shape = (sets, units, machines)
        return cls(
            nan(sets, machines),
            nan(*units_shape),
            nan(*units_shape),
            nan(*units_shape),
            nan(sets, machines),
            words,
            words.copy(),
        )

    @classmethod
    def joined(cls, parts: Iterable[Answers]) -> Answers:
        """Several, one after the other."""
        rows = list(parts)
        names = list(cls.__dataclass_fields__)
        return cls(*(np.concatenate([getattr(row, name) for row in rows]) for name in names))


class Combining:
    """Solves sets of fixes on a machine.

    Parameters
    ----------
    machine : Machine
        Single, or with M columns: possible machines.
    tasks : sequence of Task
        N fixes spelled out for that machine.
    of : str
        The question.

    Attributes
    ----------
    conflicts : list of (int, int, str)
        Pairs of fixes that contradict each other, with the sentence that says so.
    machines : int
        M.
    calls : int
        How often the solver was called.
    """

    def __init__(self, machine: Machine, tasks: Sequence[Task], of: str) -> None:
        self.tasks = list(tasks)
        self.of = of
        self.question: Question = question(machine.layout, of)
        self.machine = _with_columns_of(machine, self.tasks)
        self.machines = self.machine.columns or 1
        self.units = [unit.name for unit in machine.layout.units]
        self.conflicts = [
            (i, j, why)
            for i, one in enumerate(self.tasks)
            for j, other in enumerate(self.tasks[:i])
            if (why := one.against(other))
        ]
        self.calls = 0
        self._roots: dict[tuple[int, ...], Machine | str] = {(): self.machine}

    def solve(self, sets: NDArray[np.bool_], which: Any = None) -> Answers:
        """What each of K sets comes to; `sets` is (K, N), `which` picks some of the possible machines."""
        machines = self.machines if which is None else len(which)
        out = Answers.blank(len(sets), len(self.units), machines)
        self._refuse_contradictions(sets, out)
        for root, rows in self._by_layout(sets, out):
            step = max(1, CHUNK // machines)
            for start in range(0, len(rows), step):
                self._solve_some(root, sets, rows[start : start + step], which, out)
        return out

    def _refuse_contradictions(self, sets: NDArray[np.bool_], out: Answers) -> None:
        """Give the sets that hold two fixes of a conflict the sentence of the first such pair."""
        if not self.conflicts:
            return
        pairs = np.array([(i, j) for i, j, _ in self.conflicts], dtype=np.intp)
        against = np.zeros((len(self.tasks), len(self.tasks)), dtype=np.float32)
        against[pairs[:, 0], pairs[:, 1]] = 1.0
        bad = ((sets.astype(np.float32) @ against > 0.0) & sets).any(axis=1)
        for k in np.flatnonzero(bad):
            first = int((sets[k, pairs[:, 0]] & sets[k, pairs[:, 1]]).argmax())
            out.verdict[k], out.reason[k] = CONTRADICTION, self.conflicts[first][2]

    def _by_layout(self, sets: NDArray[np.bool_], out: Answers) -> Iterable[tuple[Machine, NDArray[np.intp]]]:
        """For each set of replaced parts, the machine that has them and the rows of such sets."""
        replacing = [i for i, task in enumerate(self.tasks) if task.parts]
        open_rows = np.flatnonzero(out.verdict == FINE)
        for pattern, at in _patterns(sets[open_rows][:, np.array(replacing, dtype=int)]):
            rows = open_rows[at]
            key = tuple(i for i, has in zip(replacing, pattern, strict=True) if has)
            root = self._root(key)
            if isinstance(root, str):
                out.verdict[rows], out.reason[rows] = IMPOSSIBLE, root
            else:
                yield root, rows

    def _root(self, key: tuple[int, ...]) -> Machine | str:
        """The machine with the parts of some fixes in place, or why there is none."""
        if key not in self._roots:
            parts = {name: part for i in key for name, part in self.tasks[i].parts.items()}
            try:
                self._roots[key] = self.machine.replace(parts)
            except InputError as err:
                self._roots[key] = str(err)
        return self._roots[key]

    def _solve_some(
        self, root: Machine, sets: NDArray[np.bool_], rows: NDArray[np.intp], which: Any, out: Answers
    ) -> None:
        values = self._values(root, sets[rows], which)
        bad = self._impossible(root, values, sets[rows], which)
        for k, why in bad.items():
            out.verdict[rows[k]], out.reason[rows[k]] = IMPOSSIBLE, why
        good = np.array([k for k in range(len(rows)) if k not in bad], dtype=np.intp)
        if not good.size:
            return
        machines = out.answer.shape[1]
        values = {address: value[good] for address, value in values.items()}
        state = _solved(across(root, _widened(root, values, len(good), machines), len(good), which))
        self.calls += 1
        self._take(state, rows[good], out)

    def _values(self, root: Machine, sets: NDArray[np.bool_], which: Any) -> dict[str, Array]:
        """Address -> (K, M): every number that some fix changes, in every set."""

        def column(value: Any) -> Any:
            return value if which is None or np.ndim(value) == 0 else value[which]

        size = self.machines if which is None else len(which)
        out: dict[str, Array] = {}
        for i, task in enumerate(self.tasks):
            has = sets[:, i]
            if not has.any():
                continue
            for address, effect in task.effects.items():
                if address not in out:
                    base = column(root.numbers[address])
                    out[address] = np.array(np.broadcast_to(base, (len(sets), size)))
                if isinstance(effect, Setting):
                    out[address][has] = column(effect.value)
                else:
                    assert isinstance(effect, Times)
                    out[address][has] *= column(effect.factor)
        return out

    def _impossible(
        self, root: Machine, values: dict[str, Array], sets: NDArray[np.bool_], which: Any
    ) -> dict[int, str]:
        """Row -> why these numbers cannot be together."""
        out: dict[int, str] = {}
        for address, value in values.items():
            declared = root.layout.declared[address]
            wrong = ~((value >= declared.low) & (value <= declared.high))
            for k in np.flatnonzero(wrong.any(axis=1)):
                try:
                    declared.check(float(value[k][wrong[k]][0]), address)
                except InputError as err:
                    out.setdefault(int(k), str(err))
        good = [k for k in range(len(sets)) if k not in out]
        for thing in {address.split(".")[0] for address in values}:
            if not good or not _together(root, values, good, thing, which):
                continue
            own = [i for i, task in enumerate(self.tasks) if _touches(task, thing)]
            for _, at in _patterns(sets[good][:, np.array(own, dtype=int)]):
                ks = [good[k] for k in at]
                why = _together(root, values, ks[:1], thing, which)
                if why:
                    out |= dict.fromkeys(ks, why)
            good = [k for k in good if k not in out]
        return out

    def _take(self, state: MachineState, rows: NDArray[np.intp], out: Answers) -> None:
        """Write what a state with columns says into the rows of the answers."""
        machines = out.answer.shape[1]

        def matrix(value: Any) -> Array:
            return np.broadcast_to(np.asarray(value, dtype=float), (len(rows) * machines,)).reshape(
                -1, machines
            )

        out.answer[rows] = matrix(state.ask(self.of))
        out.power[rows] = matrix(sum((state.power[name] for name in state.power), np.zeros(1)))
        for u, unit in enumerate(self.units):
            out.vacuum[rows, u] = matrix(state.vacuum[unit])
            out.opening_air[rows, u] = matrix(state.ask(f"opening air {unit}"))
            out.duct_air[rows, u] = matrix(state.ask(f"duct air {unit}"))
        solved = np.broadcast_to(state.solved, (len(rows) * machines,)).reshape(-1, machines)
        lost = np.flatnonzero(~solved.any(axis=1) | np.isnan(out.answer[rows]).all(axis=1))
        for k in lost:
            sentence = (
                state.outcome[k * machines].sentence if not solved[k].any() else "The answer is not known"
            )
            out.verdict[rows[k]], out.reason[rows[k]] = NO_ANSWER, f"{sentence.rstrip('.')}."
        for row, words in passed_by_group(limits_of(state), machines).items():
            if out.verdict[rows[row]] == FINE:
                out.verdict[rows[row]], out.reason[rows[row]] = NOT_ALLOWED, f"{_capital(words)}."


def _patterns(sets: NDArray[np.bool_]) -> list[tuple[tuple[bool, ...], NDArray[np.intp]]]:
    """Each pattern that comes up in the rows, with the rows in which it does."""
    rows: dict[tuple[bool, ...], list[int]] = {}
    for k, row in enumerate(sets.tolist()):
        rows.setdefault(tuple(row), []).append(k)
    return [(pattern, np.array(at, dtype=np.intp)) for pattern, at in rows.items()]


def _touches(task: Task, thing: str) -> bool:
    return any(address.split(".")[0] == thing for address in task.effects)


def _together(root: Machine, values: dict[str, Array], ks: list[int], thing: str, which: Any) -> str:
    """Why some rows do not pass the checks that need several numbers of a thing; empty when they do."""
    few = {address: value[ks] for address, value in values.items()}
    try:
        across(root, few, len(ks), which)._check_together({thing})
    except InputError as err:
        return str(err)
    return ""


def _capital(text: str) -> str:
    """With a capital first letter, unless it begins with a name: names keep their spelling."""
    return f"T{text[1:]}" if text.startswith("the ") else text


def _widened(root: Machine, values: dict[str, Array], count: int, machines: int) -> dict[str, Array]:
    """The values with at least one column in them, so that the answers have columns too."""
    if values or root.columns is not None:
        return values
    address, value = next((a, v) for a, v in root.numbers.items())
    return {address: np.full((count, machines), float(value))}


def _solved(machine: Machine) -> MachineState:
    """Solve without the warnings: a fix is tried, and what it leads to is said of those that are advised."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", OutsideRange)
        return machine.solve(raise_error=False)


def _with_columns_of(machine: Machine, tasks: Sequence[Task]) -> Machine:
    """The machine with as many columns as the fixes' own values have."""
    for task in tasks:
        size = task.columns
        if size is None:
            continue
        if machine.columns is None:
            address, value = next(iter(machine.numbers.items()))
            numbers = dict(machine.numbers) | {address: np.full(size, float(value))}
            machine = Machine(
                machine.layout, numbers, machine.given, file=machine.file, sha256=machine.sha256
            )
        elif machine.columns != size:
            raise InputError(
                f"a column of {size:,} values for {machine.columns:,} possible machines",
                place=task.fix.place,
                allowed="as many values as there are possible machines",
            )
    return machine
