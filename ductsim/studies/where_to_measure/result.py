"""What is worth reading next."""

from __future__ import annotations

import os
from dataclasses import dataclass

from ...deciding.sheet import sheet_rows, write_sheet
from ...machine.machine import Machine
from ...quantity import RPM
from ...readings.table import Reading
from ...result import Result, Row

Interval = tuple[float, float]


@dataclass(frozen=True)
class Candidate:
    """A reading that could be taken next.

    Attributes
    ----------
    reading : Reading
        Where and how; its value is what the fit expects.
    minutes : float
        For reading, taping and another engine speed, when it is taken by itself [min].
    left : float
        The share of variance that it leaves, averaged over the questions.
    """

    reading: Reading
    minutes: float
    left: float

    @property
    def tapping(self) -> str:
        """The tapping, or the two of a difference, as a file of readings has it."""
        return self.reading.place

    @property
    def speed_rpm(self) -> float | None:
        """The engine speed [rpm]; None without fans."""
        return None if self.reading.engine_speed is None else self.reading.engine_speed * RPM

    @property
    def gain_per_minute(self) -> float:
        """The share of variance that it takes away in a minute [1/min]."""
        return (1.0 - self.left) / self.minutes


@dataclass(frozen=True)
class Expected:
    """How well a question is known, as 95 % intervals in SI.

    Attributes
    ----------
    question : str
    measure : str
        Its SI measure.
    now, after_one, together : (low, high)
        Now, after the best reading, after the best few.
    """

    question: str
    measure: str
    now: Interval
    after_one: Interval
    together: Interval


@dataclass(repr=False, eq=False)
class NextReadings(Result):
    """The readings worth taking next, the most telling first; made by `where_to_measure`.

    Attributes
    ----------
    given : Machine
        The machine that was fitted.
    of : list of str
        What is to become surer.
    asked : bool
        Whether that was named; else it is all unknowns of the fit, by that word.
    candidates : list of Candidate
        All that were weighed, the most telling first.
    together : list of Candidate
        The best few readings, in the order in which to take them.
    minutes_together : float
        Time for the best few, taping shared [min].
    left_together : float
        The share of variance that they leave, averaged over the questions.
    expected : list of Expected
        How well each question is known now and then.
    """

    given: Machine
    of: list[str]
    asked: bool
    candidates: list[Candidate]
    together: list[Candidate]
    minutes_together: float
    left_together: float
    expected: list[Expected]

    @property
    def best(self) -> Candidate:
        """The most telling reading."""
        return self.candidates[0]

    def questions(self) -> list[Row]:
        """A row for each question: its interval now, after the best reading, after the best few."""
        out = []
        for known in self.expected:
            row: Row = {"question": known.question, "measure": known.measure}
            for name, (low, high) in (
                ("now", known.now),
                ("after_one", known.after_one),
                ("together", known.together),
            ):
                row |= {f"{name}_low": low, f"{name}_high": high}
            out.append(row)
        return out

    def sheet(self) -> list[Row]:
        """The reading sheet of the best few readings: where, at which speed, what taped; `value` is blank."""
        return sheet_rows(self.given.layout, [c.reading for c in self.together])

    def write_sheet(self, path: str | os.PathLike[str]) -> None:
        """Write the sheet as a readings file whose values are to be filled in."""
        write_sheet(path, [c.reading for c in self.together])
