"""What stands beside the sliders: fixes to tick, and readings held against the machine as it stands."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..answers.state import solve
from ..display.tables import escaped
from ..fixes.file import read_fixes
from ..fixes.fix import Fix, Task, spelled_out
from ..fixes.several import Several
from ..machine.machine import Machine
from ..questions.vocabulary import question
from ..readings.errors import ReadingErrors
from ..readings.model import WORDS, Configuration, under
from ..readings.naming import readings_of
from ..wording import said

FAR = 2.0  # standard deviations beyond which a reading does not fit
MOST_SHOWN = 5


class Ticks:
    """Fixes that may be ticked.

    Attributes
    ----------
    fixes : dict
        Name -> fix, those that make sense on the machine.
    problems : list of str
        Why the others cannot be done.
    """

    def __init__(self, machine: Machine, source: Any) -> None:
        tasks, errors = spelled_out([] if source is None else read_fixes(source), machine)
        self.fixes: dict[str, Fix] = {task.fix.name: task.fix for task in tasks}
        self.problems = list(errors.values())

    def done(self, machine: Machine, names: tuple[str, ...]) -> Machine:
        """A machine with some of them done."""
        return Several("ticked", fixes=[self.fixes[name] for name in names]).on(machine) if names else machine

    def words(self, names: tuple[str, ...]) -> list[str]:
        """What the ticked ones take."""
        chosen = [self.fixes[name] for name in names]
        minutes, cost = (sum(float(getattr(fix, key)) for fix in chosen) for key in ("minutes", "cost"))
        price = f", cost {cost:,.10g}" if cost else ""
        return [f"Ticked: {minutes:,.4g} minutes of work{price}."] if chosen else []

    def cautions(self, machine: Machine, names: tuple[str, ...]) -> list[str]:
        """What to beware of with the ticked ones."""
        return [text for name in names for text in Task.of(self.fixes[name], machine).cautions]


class Against:
    """Readings, and how far a machine is from them.

    Attributes
    ----------
    taken : list of Reading
    sd : array (M,)
        Standard deviation of each reading, the errors common to a set counted in; an engine speed that was
        not read is taken for the machine's own.
    shown : array (M,)
        What gauges would show on the machine last asked about.
    """

    def __init__(self, machine: Machine, source: Any) -> None:
        self.taken = list(readings_of(machine, source))
        errors = ReadingErrors()
        self.sd = np.array([errors.whole(r, r.value) for r in self.taken])
        of_each = [replace(Configuration.of(r), set="") for r in self.taken]
        self._conditions = list(dict.fromkeys(of_each))
        self._condition = [self._conditions.index(own) for own in of_each]
        self._near: Any = None
        self._layout: Any = None
        self.shown = self.look(machine)

    def look(self, machine: Machine) -> NDArray[np.float64]:
        """What gauges would show on a machine, under the conditions of each reading."""
        each = [under(machine, conditions).numbers for conditions in self._conditions]
        numbers: dict[str, Any] = dict(machine.numbers)
        for address, first in each[0].items():
            own = np.array([numbers_of[address] for numbers_of in each])
            numbers[address] = first if (own == first).all() else own
        there = machine.rebuilt(numbers)  # every condition is a column, so that one solve does for all
        near = self._near if self._layout is machine.layout else None
        state = solve(there, raise_error=False, start=near)
        self._near, self._layout = state.arrays.point, machine.layout
        answers: dict[str, NDArray[np.float64]] = {}

        def asked(words: str, k: int) -> float:
            if words not in answers:
                found = question(machine.layout, words).evaluate(there, state)
                answers[words] = np.broadcast_to(np.asarray(found, dtype=float), len(each))
            return float(answers[words][k])

        self.shown = np.zeros(len(self.taken))
        for i, (r, k) in enumerate(zip(self.taken, self._condition, strict=True)):
            what = WORDS[r.quantity]
            self.shown[i] = asked(f"{what} {r.tapping}", k)
            if r.minus:
                self.shown[i] -= asked(f"{what} {r.minus}", k)
        return self.shown

    @property
    def misfit(self) -> NDArray[np.float64]:
        """Measured less shown, in standard deviations; NaN where the machine has no answer."""
        values = np.array([r.value for r in self.taken])
        return np.asarray((values - self.shown) / self.sd, dtype=np.float64)

    def sentence(self, measures: str) -> str:
        """How many readings fit, and which is farthest off."""
        misfit = np.abs(self.misfit)
        if not np.isfinite(misfit).any():
            return "Readings: the machine has no answer under their conditions."
        fine = int((misfit <= FAR).sum())
        words = f"Readings: {fine} of {len(misfit)} within {FAR:g} standard deviations"
        worst = int(np.nanargmax(misfit))
        if misfit[worst] <= FAR:
            return f"{words}."
        r = self.taken[worst]
        how = f" ({r.how})" if r.how else ""
        return (
            f"{words}; farthest off is {r.where}{how}: {said(r.value, r.measure, measures)} read, "
            f"{said(float(self.shown[worst]), r.measure, measures)} with this machine."
        )

    def table(self, measures: str) -> str:
        """The readings that are farthest off, as HTML."""
        order = np.argsort(-np.nan_to_num(np.abs(self.misfit), nan=np.inf), kind="stable")[:MOST_SHOWN]
        rows = []
        for i in order.tolist():
            r, misfit = self.taken[i], float(self.misfit[i])
            cells = (
                f"{r.where}, {r.how}" if r.how else r.where,
                said(r.value, r.measure, measures),
                said(float(self.shown[i]), r.measure, measures),
                f"{misfit:+.1f}",
            )
            rows.append("<tr>" + "".join(f"<td>{escaped(cell)}</td>" for cell in cells) + "</tr>")
        heads = ("reading", "read", "this machine", "standard deviations off")
        head = "".join(f'<th scope="col">{word}</th>' for word in heads)
        return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
