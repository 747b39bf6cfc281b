"""What a sweep has found."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import locked
from ...machine.machine import Machine
from ...quantity import from_si, measure_key, suited
from ...questions.vocabulary import Question, question
from ...result import Note, Result
from ...wording import listed, said

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Change:
    """A value at which another unit becomes the weakest.

    Attributes
    ----------
    value : float
        In SI, or the factor where numbers are scaled.
    before, after : str
        The unit that is weakest below it, and above it.
    """

    value: float
    before: str
    after: str


@dataclass(repr=False, eq=False)
class Sweep(Result):
    """One number swept; made by `sweep`.

    Attributes
    ----------
    machine : Machine
        The machine as it was.
    addresses : tuple of str
        The numbers that are swept.
    scaled : bool
        Whether the values are factors on the machine's own numbers.
    values : array (V,)
        In SI, or factors; in the order given.
    of : list of str
        What was asked.
    answers : dict
        Question -> array (V, M), in SI; M possible machines, 1 for a single one.
    vacuum, opening_air, duct_air : dicts
        Unit -> array (V, M) [Pa, kg/s, kg/s].
    power : array (V, M)
        Shaft power of all fans [W].
    specific_consumption : float
        Fuel per work at the shafts [kg/J].
    consumption_assumed : bool
        Whether that is the usual value, because none was given.
    weakest : list of str
        The weakest unit at each value, with possible machines the one that is it most often.
    changes : list of Change
        Where another unit becomes the weakest, found to about a ten-thousandth of the step between values.
    passed : list of str
        What limit is passed at each value, empty where none is.
    unsolved : list of int
        The places of the values that have no answer.
    seen : list of Note
        What the solved machines had to say.
    """

    machine: Machine
    addresses: tuple[str, ...]
    scaled: bool
    values: Array
    of: list[str]
    answers: dict[str, Array]
    vacuum: dict[str, Array]
    opening_air: dict[str, Array]
    duct_air: dict[str, Array]
    power: Array
    specific_consumption: float
    consumption_assumed: bool
    weakest: list[str]
    changes: list[Change]
    passed: list[str]
    unsolved: list[int]
    seen: list[Note] = field(default_factory=list)

    @property
    def questions(self) -> list[Question]:
        """What was asked, with labels and measures."""
        return [question(self.machine.layout, words) for words in self.of]

    @property
    def measure(self) -> str:
        """The SI measure of the values; "" for factors."""
        return "" if self.scaled else self.machine.layout.declared[self.addresses[0]].measure

    @property
    def machines(self) -> int:
        """How many possible machines there are."""
        return self.machine.columns or 1

    @property
    def fuel(self) -> Array:
        """Fuel for the fans [kg/s], (V, M): power x specific consumption."""
        return locked(self.power * self.specific_consumption)

    @property
    def name(self) -> str:
        """What is swept, in words."""
        few = len(self.addresses) <= 3
        return listed(self.addresses) if few else f"{len(self.addresses)} numbers at once"

    # ---- the values as they are shown

    @property
    def shown_measure(self) -> str:
        """The metric measure that suits the values: mm for small lengths, cm2 for small areas."""
        return suited(self.measure, float(np.abs(self.values).max()))

    def shown_value(self, value: float, measures: str = "metric") -> str:
        """A value as a sentence says it."""
        return f"x{value:.4g}" if self.scaled else said(value, self.shown_measure, measures, 4)

    def cell(self, value: float) -> dict[str, Any]:
        """A value as the first cell of a row."""
        if self.scaled:
            return {"factor": value}
        number_key = self.addresses[0].rpartition(".")[2]
        return {measure_key(number_key, self.shown_measure): float(from_si(value, self.shown_measure))}
