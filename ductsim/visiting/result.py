"""A visit as it is planned."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from ..deciding.sheet import sheet_text
from ..deciding.weighing import Work
from ..description.layout import Layout
from ..errors import InputError
from ..machine.machine import Machine
from ..readings.table import Reading
from ..result import Note, Result
from ..writing import write_text
from .page import page, text
from .steps import PROVE, READ, Step


@dataclass(repr=False, eq=False)
class VisitPlan(Result):
    """A visit planned; made by `visit`.

    Attributes
    ----------
    given : Machine
        The machine as described.
    of, measure, label : str
        The answer that the visit is to better, its SI measure, and its name in words.
    answer : float
        The answer with nothing done, the mean over the possible machines.
    minutes, spent : float
        The time of the whole visit, and what of it the readings so far have taken [min].
    taken : list of Reading
        The readings so far.
    steps : list of Step
        What to do, in order. Of the readings only the first round is sure: plan anew when it is read.
    work : list of Work
        What can be done in that time: first what would be done without another reading.
    decisions : list of (fixes, share)
        What will be decided after the planned readings, and how probably, the most probable first.
    worth : float
        What the planned readings add to the gain, in the answer's measure.
    noticed : float
        A gain that can be told from none.
    right : float
        Chance that what would be done now is right: that nothing else gains noticeably more.
    proved : float
        Chance that the fix, if it works as expected, shows in the readings before and after it.
    machines : int
        How many possible machines were weighed.
    usual : bool
        Whether the fixes are the usual ones, because none were given.
    work_cautions : list of str
        What to beware of with these fixes.
    left_out : dict
        Fix -> why it is not weighed.
    seen : list of Note
        What the readings so far had to say.
    """

    given: Machine
    of: str
    measure: str
    label: str
    answer: float
    minutes: float
    spent: float
    taken: list[Reading]
    steps: list[Step]
    work: list[Work]
    decisions: list[tuple[tuple[str, ...], float]]
    worth: float
    noticed: float
    right: float
    proved: float
    machines: int
    usual: bool
    work_cautions: list[str]
    left_out: dict[str, str]
    seen: list[Note]

    @property
    def next(self) -> Step | None:
        """The next step; None where the time is over."""
        return next(iter(self.steps), None)

    @property
    def enough(self) -> bool:
        """Whether no further reading pays before the work."""
        return not any(step.kind == READ for step in self.steps)

    @property
    def fixes(self) -> tuple[str, ...]:
        """What would be done as far as is known now, in order."""
        return self.work[0].fixes

    @property
    def end(self) -> float:
        """When the last step ends [min]."""
        return max((step.start + step.minutes for step in self.steps), default=self.spent)

    def readings(self, after: bool = False) -> list[Reading]:
        """What is to be read before the work, or after it."""
        return [r for step in self.steps if (step.kind == PROVE) == after for r in step.readings]

    def write_sheet(
        self, path: str | os.PathLike[str], after: bool = False, measures: str | None = None
    ) -> None:
        """Write the sheet for this visit, to write into.

        Parameters
        ----------
        path : path
            "sheet.csv" becomes a file of readings whose values are blank, with the readings so far, which
            `fit`, `visit` and their commands take once values are filled in. "sheet.html" and "sheet.txt"
            become the whole visit on a page to print.
        after : bool
            In a CSV file the readings after the work instead of those before it.
        measures : str, optional
            "metric" or "inch" on a page to print; by default the machine's own.

        Raises
        ------
        InputError
            For another ending, and a place that cannot be written.
        """
        ending = Path(path).suffix.lower()
        if ending == ".csv":
            write_text(path, sheet_text(self.readings(after), () if after else self.taken))
        elif ending in (".html", ".htm"):
            write_text(path, page(*self._sheet(measures)))
        elif ending == ".txt":
            write_text(path, text(*self._sheet(measures)))
        else:
            raise InputError(
                f"{Path(path).name!r} is no sheet", place="sheet", allowed="a .csv, .html or .txt file"
            )

    def _sheet(self, measures: str | None) -> tuple[str, Layout, list[str], list[Step], list[str], str]:
        layout, own = self.given.layout, measures or self.given.measures
        return layout.title or "machine", layout, self.sentences(own), self.steps, self.cautions, own
