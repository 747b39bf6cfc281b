"""What can be done: sets of fixes with their time, and what each gains on every possible machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..fixes.file import read_fixes
from ..fixes.fix import Fix, Task, all_cautions, spelled_out
from ..fixes.sets import NOTICED, combining
from ..inference.worth import best_now
from ..machine.machine import Machine
from ..questions.vocabulary import question
from ..readings.unknowns import Unknown
from ..size_limits import at_most
from .belief import Belief, sought

Array = NDArray[np.float64]

MOST_FIXES = 40
SEALING, CLEANING = 25.0, 15.0
"""Minutes for sealing a leak, and for cleaning a screen or a wheel, where nobody says it: our assumption."""
MOST_SETS = 60
"""So many sets of fixes are weighed; where there are more, of the best fixes those that fill the time."""
FEW = 0.05
"""A set of fixes without an answer on more of the possible machines than this is not weighed."""


@dataclass
class Choices:
    """K things that can be done, nothing the first of them, on N possible machines.

    Attributes
    ----------
    of, measure : str
        The question that they are to better, and its SI measure.
    label : str
        The question in words.
    fixes : list of tuple of str
        The fixes of each, in the order in which they gain most early on.
    minutes : array (K,)
        Their working time.
    gains : array (K, N)
        How much better the answer is for each, in SI.
    answer : array (N,)
        The answer with nothing done.
    cautions : list of str
        Of all fixes.
    left_out : dict
        Fix -> why it is not weighed.
    singles : dict
        Fix -> its gain alone, (N,).
    """

    of: str
    measure: str
    label: str
    fixes: list[tuple[str, ...]]
    minutes: Array
    gains: Array
    answer: Array
    cautions: list[str]
    left_out: dict[str, str]
    singles: dict[str, Array]

    def within(self, minutes: float | None) -> NDArray[np.intp]:
        """The places of what can be done in the time there is."""
        limit = np.inf if minutes is None else max(minutes, 0.0) * (1.0 + 1e-12)
        return np.flatnonzero(self.minutes <= limit)

    def best(self, weights: Array, minutes: float | None = None) -> int:
        """The place of what gains most on average in the time there is."""
        places = self.within(minutes)
        return int(places[best_now(self.gains[places], weights)])


def usual_fixes(machine: Machine, wanted: Sequence[Unknown]) -> list[Fix]:
    """A fix for each unknown that work can mend: a leak sealed, a screen or a wheel cleaned."""
    out = []
    for unknown in sought(machine, wanted):
        name = unknown.address.rpartition(".")[0]
        leak = machine.layout.part[name].kind.is_leak
        minutes = SEALING if leak else CLEANING
        out.append(Fix(f"{'seal' if leak else 'clean'} {name}", {unknown.address: 0.0}, minutes=minutes))
    return out


@dataclass
class Offer:
    """The fixes that can be done on a machine, for an answer; `left_out` says of others why they cannot."""

    tasks: list[Task]
    left_out: dict[str, str]
    of: str

    @classmethod
    def on(cls, machine: Machine, wanted: Sequence[Unknown], fixes: Any, of: str) -> Offer:
        """Fixes as `read_fixes` takes them, or the usual ones for None, spelled out.

        Raises
        ------
        InputError
            For no fixes that can be done on this machine, more than 40, and an unknown question.
        """
        question(machine.layout, of)
        given = usual_fixes(machine, wanted) if fixes is None else read_fixes(fixes)
        at_most(len(given), MOST_FIXES, "fixes to decide among", "fixes")
        tasks, left_out = spelled_out(given, machine)
        if not tasks:
            why = next(iter(left_out.values()), "there is no fix")
            raise InputError(why, place="fixes", allowed="fixes that can be done on this machine")
        return cls(tasks, left_out, of)


def choices(belief: Belief, offer: Offer, minutes: float | None = None) -> tuple[Choices, Belief]:
    """What can be done with some fixes, and the possible machines on which all of it has an answer.

    Without a time, one fix is to be chosen, the next one. With a time, sets of fixes that fit into it.

    Raises
    ------
    InputError
        Where no possible machine has an answer.
    """
    tasks, left_out = offer.tasks, dict(offer.left_out)
    engine = combining(belief.machine, [Task.of(task.fix, belief.machine) for task in tasks], offer.of)
    n, time = len(tasks), np.array([float(task.fix.minutes) for task in tasks])
    sign = 1.0 if engine.question.more_is_better else -1.0
    found = engine.solve(np.concatenate([np.zeros((1, n), dtype=bool), np.eye(n, dtype=bool)]))
    alone = sign * (found.answer[1:] - found.answer[0])
    mean = np.nan_to_num(alone) @ belief.weights
    members = [frozenset[int](), *(frozenset([i]) for i in range(n))]
    reasons, rows = list(found.reasons), found.answer
    if minutes is not None:
        usable = [i for i in range(n) if reasons[i + 1] is None and time[i] <= minutes]
        sets = _sets(usable, time, mean, minutes)
        if sets:
            more = engine.solve(np.array([[i in own for i in range(n)] for own in sets]))
            members, reasons = [*members, *sets], [*reasons, *more.reasons]
            rows = np.concatenate([rows, more.answer])
    gains = sign * (rows - rows[0])
    lost = ~np.isfinite(gains) @ belief.weights
    fine = [k for k in range(len(members)) if k == 0 or (reasons[k] is None and lost[k] <= FEW)]
    for k in range(1, n + 1):
        if k not in fine:
            reason = reasons[k]
            left_out[tasks[k - 1].fix.name] = reason.words if reason else "No answer on many machines"
    kept = np.isfinite(gains[fine]).all(axis=0)
    if not kept.any():
        raise InputError("no possible machine has an answer", place="what to do next")
    out = Choices(
        of=engine.of,
        measure=engine.question.measure,
        label=engine.question.label,
        fixes=[_named(tasks, members[k], mean) for k in fine],
        minutes=np.array([sum(time[i] for i in members[k]) for k in fine]),
        gains=gains[fine][:, kept],
        answer=rows[0][kept],
        cautions=all_cautions(task for task in tasks if task.fix.name not in left_out),
        left_out=left_out,
        singles={task.fix.name: alone[i][kept] for i, task in enumerate(tasks)},
    )
    return out, belief.only(kept)


def noticed(found: Choices, weights: Array) -> float:
    """A gain that can be told from none, in the answer's own measure."""
    return NOTICED * abs(float(found.answer @ weights))


def _named(tasks: Sequence[Task], members: frozenset[int], mean: Array) -> tuple[str, ...]:
    """The fixes of a set, the one that gains most alone for its time first."""
    return tuple(tasks[i].fix.name for i in sorted(members, key=lambda i: -mean[i]))


def _sets(usable: Sequence[int], time: Array, gain: Array, minutes: float) -> list[frozenset[int]]:
    """Sets of two fixes and more that fit into the time: all of them where they are few.

    Else, of the fixes that gain most, those sets into which no further one fits.
    """
    order = sorted(usable, key=lambda i: -gain[i])
    for few in range(len(order), 1, -1):
        own = order[:few]
        found = _fitting(own, time, minutes)
        if len(found) > MOST_SETS:
            found = [s for s in found if not any(s < t for t in found)]
        if len(found) <= MOST_SETS:
            return found
    return []


def _fitting(own: Sequence[int], time: Array, minutes: float) -> list[frozenset[int]]:
    """All sets of two fixes and more that fit; cut off where there are far too many."""
    limit = minutes * (1.0 + 1e-12)
    layer = [frozenset([i]) for i in own if time[i] <= limit]
    out: list[frozenset[int]] = []
    while layer and len(out) <= 20 * MOST_SETS:
        grown = {s | {i} for s in layer for i in own if i not in s and sum(time[list(s | {i})]) <= limit}
        layer = sorted(grown, key=sorted)
        out += layer
    return out
