"""What to do next: the best fix as far as is known, and the readings that would better that choice."""

from __future__ import annotations

import os
from dataclasses import dataclass

from ...deciding.sheet import write_sheet
from ...deciding.weighing import Option, Work
from ...machine.machine import Machine
from ...result import Result


@dataclass(repr=False, eq=False)
class NextStep(Result):
    """What to do next, and the readings worth taking before; made by `where_to_measure`.

    Attributes
    ----------
    given : Machine
        The machine as described.
    of, measure, label : str
        The answer that fixes are to better, its SI measure, and its name in words.
    answer : float
        The answer with nothing done, the mean over the possible machines.
    minutes : float or None
        The time there is for readings and fixes [min].
    work : list of Work
        What can be done in that time, what gains most first: that is what to do without another reading.
    options : list of Option
        Readings and rounds of readings, the best first.
    noticed : float
        A gain that can be told from none, in the answer's measure.
    worth_of_knowing : float
        What knowing the machine exactly would add to the gain: no reading adds more.
    machines : int
        How many possible machines were weighed.
    work_cautions : list of str
        What to beware of with these fixes.
    left_out : dict
        Fix -> why it is not weighed.
    """

    given: Machine
    of: str
    measure: str
    label: str
    answer: float
    minutes: float | None
    work: list[Work]
    options: list[Option]
    noticed: float
    worth_of_knowing: float
    machines: int
    work_cautions: list[str]
    left_out: dict[str, str]

    @property
    def paying(self) -> list[Option]:
        """The readings that pay.

        They are worth more than what counts as none, and than chance makes of the draws; or they save more
        minutes of work in vain than they take.
        """
        return [o for o in self.options if o.pays]

    @property
    def enough(self) -> bool:
        """Whether no reading pays: do what is best now."""
        return not self.paying

    @property
    def best(self) -> Option | None:
        """The reading, or round of readings, that is worth most; None where none pays."""
        return next(iter(self.paying), None)

    @property
    def quickest(self) -> Option | None:
        """Of those that pay, the one that is worth most for its time."""
        return max(self.paying, key=lambda o: o.worth_per_minute, default=None)

    def write_sheet(self, path: str | os.PathLike[str]) -> None:
        """Write the best readings as a file of readings, CSV, whose values are to be filled in.

        Raises
        ------
        InputError
            Where no reading pays, and for a place that cannot be written.
        """
        best = self.best
        write_sheet(path, [] if best is None else list(best.readings))
