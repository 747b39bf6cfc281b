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
from ..inference.sampling import Draws
from ..inference.scales import Scale, Scales
from ..readings.errors import ReadingErrors
from ..readings.model import ReadingModel
from ..readings.table import Readings
from ..readings.unknowns import Unknown
from ..result import Result
from ..size_limits import at_most
from .machine import Machine

Array = NDArray[np.float64]

MOST_COLUMNS = 100_000
"""Draws times conditions, at most: half a gigabyte when they are solved."""
MANY = "operating points (draws times conditions)"
DRAWS, EASY = 400, 10_000
"""How many draws are made unless asked otherwise, and under how many conditions all of them together."""
NOTHING = 0.01
"""Below this share of what was likely a leak is next to nothing, and its interval may begin at 0."""


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
    draws : Draws
        Weighted draws of the coordinates, behind all intervals.
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
    draws: Draws

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
        machines, which = self.distinct(count, seed)
        return self.at(machines[:, which])

    def distinct(self, count: int, seed: int | None = None) -> tuple[Array, NDArray[np.intp]]:
        """Coordinates (A, D) of the different machines of a `sample`, and which of them each is (count,)."""
        count = whole(count, "sample", "possible machines", 1)
        at_most(count * self.conditions, MOST_COLUMNS, MANY, "sample")
        rng = np.random.default_rng(self.seed + 1 if seed is None else seed)
        draws = self.drawn(count)
        places, which = np.unique(draws.resample(count, rng), return_inverse=True)
        return draws.x[:, places], which

    def at(self, z: Array) -> Machine:
        """The machines at coordinates (A, N), as columns."""
        return self._with(self.model.machine_numbers(z))

    @abstractmethod
    def drawn(self, count: int) -> Draws:
        """At least so many draws: those at hand, or new ones where these are fewer."""

    def interval(self, name: str, left: float = 1.0) -> tuple[float, float, bool]:
        """The 95 % interval of a coordinate's number, and whether it is from 0: the one behind every table.

        It holds the estimate.

        Parameters
        ----------
        name : str
            A wanted number, or any other key of `scales`.
        left : float
            What would be left of its standard deviation on its scale: further readings make it smaller.
        """
        scales = Scales([self.scales[name]])
        place = self.names.index(name)
        z = scales.felt(self.draws.x[[place]])
        best = float(scales.values(self.estimate.x[[place], None])[0, 0])
        likely = {u.address: u.likely for u in self.wanted}
        nothing = NOTHING * likely[name] if name in likely else -np.inf
        now = self.draws.interval(scales.values(z)[0], nothing)
        then = now
        if left != 1.0:
            middle = self.draws.mean(z)[:, None]
            values = scales.values(middle + left * (z - middle))[0]
            then = self.draws.interval(values, nothing)
            if then[1] - then[0] > now[1] - now[0]:  # no longer from 0, though hardly narrower: from 0 still
                then = 0.0, float(self.draws.interval(values, np.inf)[1]), True
        return min(then[0], best), max(then[1], best), then[2]

    def _with(self, numbers: dict[str, float] | dict[str, Array]) -> Machine:
        merged = {**self.given.numbers, **numbers}
        return self.given.rebuilt(merged, given=self.given.given | numbers.keys())


def draws_for(conditions: int, draws: int | None) -> int:
    """How many draws a fit makes: as many as were asked for, else fewer the more conditions it has.

    Raises
    ------
    InputError
        For no count, and for more than can be solved at once.
    """
    count = min(DRAWS, EASY // conditions) if draws is None else whole(draws, "draws", "draws", 0)
    at_most(count * conditions, MOST_COLUMNS, MANY, "draws")
    return count
