"""A machine that carries crop, driven at many speeds: all that does not change with them is made once."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..description.data import MachineData
from ..network.network import stacked
from ..network.point import Point
from .margins import Needs, Passing
from .solving import Ducts, calm_point, run, scaled

Array = NDArray[np.float64]
Index = NDArray[np.intp]


class Driven:
    """Carrying margins at many ground speeds, each solved from the last one of its search.

    Parameters
    ----------
    machine : MachineData
        One that carries crop, with columns or without; its own ground speed does not matter.
    column : array (n,)
        Which of its columns each of the searches drives; 0 without any.
    """

    def __init__(self, machine: MachineData, column: Index) -> None:
        # crop flows go with the speed, so those at 1 m/s tell all others
        one = machine.rebuilt({**machine.numbers, "crop.ground_speed": 1.0})
        numbers = one.part_numbers()
        self._system = machine.system
        self._values, columns = stacked(self._system, numbers, one.air())
        self._ducts, self._needs = Ducts.of(one, numbers), Needs.of(one, numbers)
        self._rows = Passing.rows(machine.layout, self._system)
        self._column = column if columns is not None else np.zeros_like(column)
        self._calm = calm_point(machine)
        self._near: Point | None = None if self._calm is None else self._calm.wide(len(column))
        self._ran = np.zeros(len(column))  # the speed at which each such point was running

    def at(self, speed: Array, which: Index) -> Array:
        """Margins (places, n) of the searches `which` at some speeds [m/s]; NaN where there is no answer."""
        column = self._column[which]
        values = scaled(self._system, self._values.some(column), speed)
        near = None if self._near is None else self._near.take(which)
        ducts, share = self._ducts.some(column), self._ran[which] / speed
        solved, outcomes, _, _ = run(self._system, values, ducts, self._calm, near, share)
        needs, point = self._needs.some(column, speed), solved.point
        own = needs.margins(Passing.at(self._rows, point, needs.air.temperature))
        answered = outcomes == 0
        own = np.where(answered, own, np.nan)
        if self._near is not None:
            # what crawls is no better to go on from than the air alone
            moving = np.flatnonzero(answered & (own > 0.0).all(axis=0) & (speed > 0.5 * self._ran[which]))
            self._near.put(which[moving], point, moving)
            self._ran[which[moving]] = speed[moving]
        return own

    def alike(self, which: Index, as_of: Index) -> None:
        """Go on in the searches `which` from where others have come to, one for each."""
        if self._near is not None:
            self._near.put(which, self._near, as_of)
            self._ran[which] = self._ran[as_of]
