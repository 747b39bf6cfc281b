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


NEAR, STRETCH = 0.03, 2.0  # of a speed, and of the way between the last two: so far a point is foretold


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
        calm = self._calm
        self._near: Point | None = None if calm is None else calm.wide(len(column))
        self._ran = np.zeros(len(column))  # the speed at which each such point was running
        self._before: Point | None = None if calm is None else calm.wide(len(column))
        self._ran_before = np.zeros(len(column))  # the same of the point before that

    def at(self, speed: Array, which: Index) -> Array:
        """Margins (places, n) of the searches `which` at some speeds [m/s]; NaN where there is no answer."""
        column = self._column[which]
        values = scaled(self._system, self._values.some(column), speed)
        near = None if self._near is None else self._near.take(which)
        foretold = self._foretold(near, speed, which)
        ducts, share = self._ducts.some(column), self._ran[which] / speed
        solved, outcomes, _, _ = run(self._system, values, ducts, self._calm, near, share, foretold)
        needs, point = self._needs.some(column, speed), solved.point
        own = needs.margins(Passing.at(self._rows, point, needs.air.temperature))
        answered = outcomes == 0
        own = np.where(answered, own, np.nan)
        if self._near is not None and self._before is not None:
            # what crawls is no better to go on from than the air alone
            moving = np.flatnonzero(answered & (own > 0.0).all(axis=0) & (speed > 0.5 * self._ran[which]))
            some = which[moving]
            self._before.put(some, self._near, some)
            self._near.put(some, point, moving)
            self._ran_before[some], self._ran[some] = self._ran[some], speed[moving]
        return own

    def _foretold(self, near: Point | None, speed: Array, which: Index) -> Point | None:
        """About where the searches `which` will run: in line with their last two points if these are near."""
        last, before = self._ran[which], self._ran_before[which]
        if near is None or self._before is None or not before.any():
            return None
        with np.errstate(all="ignore"):
            way = (speed - last) / (last - before)
        some = np.flatnonzero(
            (before > 0.0) & (np.abs(speed - last) <= NEAR * last) & (np.abs(way) <= STRETCH)
        )
        out, old = near.wide(len(which)), self._before.take(which[some])
        out.flow[:, some] += way[some] * (out.flow[:, some] - old.flow)
        out.pressure[:, some] += way[some] * (out.pressure[:, some] - old.pressure)
        if out.temperature_rise is not None and old.temperature_rise is not None:
            warm = out.temperature_rise
            warm[:, some] += way[some] * (warm[:, some] - old.temperature_rise)
        return out

    def alike(self, which: Index, as_of: Index) -> None:
        """Go on in the searches `which` from where others have come to, one for each."""
        if self._near is not None and self._before is not None:
            self._near.put(which, self._near, as_of)
            self._before.put(which, self._before, as_of)
            self._ran[which], self._ran_before[which] = self._ran[as_of], self._ran_before[as_of]
