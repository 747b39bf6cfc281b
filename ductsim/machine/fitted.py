"""What readings have made of a machine: the base of every fit, and what other studies ask of one."""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from ..arguments import whole
from ..inference.problem import Estimate
from ..inference.scales import Scale
from ..readings.model import ReadingErrors, ReadingModel
from ..readings.table import Readings
from ..readings.unknowns import Unknown
from ..result import Result
from ..size_limits import at_most
from .machine import Machine

Array = NDArray[np.float64]

MOST_COLUMNS = 100_000
"""Draws times conditions, at most: half a gigabyte when they are solved."""
MANY = "operating points (draws times conditions)"


@dataclass(repr=False, eq=False)
class Fitted(Result, ABC):
    """A machine that readings have told about.

    Attributes
    ----------
    given : Machine
        The machine that was fitted.
    taken : Readings
        The readings as they were read.
    wanted : list of Unknown
        What was to be found, and what was believed of it beforehand.
    scales : dict
        Coordinate -> `Scale`: the wanted numbers, then every other uncertain one.
    names : list of str
        What each coordinate is: those of `scales`, then the errors of gauge and tachometer.
    conditions : int
        Under how many conditions readings were taken.
    errors : ReadingErrors
        How far readings are off.
    relative : bool
        Only ratios between readings counted.
    seed : int
        Of the random numbers.
    estimate : Estimate
        The most probable coordinates, and how well they are known.
    solves, jacobians : int
        Operating points and derivatives worked out.
    seconds : float
        The time that it took [s].
    several : bool
        Whether several explanations are held possible, so that no one estimate describes them all.
    """

    given: Machine
    taken: Readings
    wanted: list[Unknown]
    scales: dict[str, Scale]
    names: list[str]
    conditions: int
    errors: ReadingErrors
    relative: bool
    seed: int
    estimate: Estimate
    solves: int
    jacobians: int
    seconds: float

    several: ClassVar[bool] = False

    @cached_property
    def model(self) -> ReadingModel:
        """Readings as functions of the coordinates; laid out anew when it is asked for."""
        return ReadingModel(self.given, self.taken, self.scales, self.errors, self.relative)

    @cached_property
    def machine(self) -> Machine:
        """The machine with every number at its estimate, at the engine speed and in the weather as given."""
        numbers = self.model.machine_numbers(self.estimate.x[:, None])
        return self._with({address: float(values[0]) for address, values in numbers.items()})

    def sample(self, count: int, seed: int | None = None) -> Machine:
        """Possible machines as columns, in equal shares of what is believed after the readings.

        Parameters
        ----------
        count : int
            How many.
        seed : int, optional
            Of the random choice; the fit's own if not given.

        Raises
        ------
        InputError
            For less than one, and for more than can be solved at once.
        """
        count = whole(count, "sample", "possible machines", 1)
        at_most(count * self.conditions, MOST_COLUMNS, MANY, "sample")
        rng = np.random.default_rng(self.seed + 1 if seed is None else seed)
        return self._with(self.model.machine_numbers(self._drawn(count, rng)))

    @abstractmethod
    def _drawn(self, count: int, rng: np.random.Generator) -> Array:
        """Coordinates of possible machines, (A, count)."""

    def _with(self, numbers: dict[str, float] | dict[str, Array]) -> Machine:
        merged = {**self.given.numbers, **numbers}
        return self.given.rebuilt(merged, given=self.given.given | numbers.keys())
