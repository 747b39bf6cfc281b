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
        self._last: tuple[Point, Point] | None = None
        """Where each search was running last, and before that."""
        if self._calm is not None:
            self._last = self._calm.wide(len(column)), self._calm.wide(len(column))
        self._ran, self._ran_before = np.zeros(len(column)), np.zeros(len(column))  # the speeds there, or 0

    def at(self, speed: Array, which: Index) -> Array:
        """Margins (places, n) of the searches `which` at some speeds [m/s]; NaN where there is no answer."""
        column = self._column[which]
        values = scaled(self._system, self._values.some(column), speed)
        near, foretold = self._near(speed, which)
        ducts, share = self._ducts.some(column), self._ran[which] / speed
        solved, outcomes, _, _ = run(self._system, values, ducts, self._calm, near, share, foretold)
        needs, point = self._needs.some(column, speed), solved.point
        own = needs.margins(Passing.at(self._rows, point, needs.air.temperature))
        answered = outcomes == 0
        own = np.where(answered, own, np.nan)
        # what crawls is no better to go on from than the air alone
        self._remember(
            point, speed, which, answered & (own > 0.0).all(axis=0) & (speed > 0.5 * self._ran[which])
        )
        return own

    def _every(self, which: Index) -> bool:
        """Whether these are all searches in their order, whose points need not be copied."""
        return len(which) == len(self._ran) and bool((which == np.arange(len(which))).all())

    def _near(self, speed: Array, which: Index) -> tuple[Point | None, Point | None]:
        """Where the searches `which` were running, and about where they will run.

        That is foretold in line with the last two points where these are near; else it is where they were.
        """
        if self._last is None:
            return None, None
        last, before = self._last if self._every(which) else (point.take(which) for point in self._last)
        ran, ran_before = self._ran[which], self._ran_before[which]
        with np.errstate(all="ignore"):
            way = (speed - ran) / (ran - ran_before)
        some = (ran_before > 0.0) & (np.abs(speed - ran) <= NEAR * ran) & (np.abs(way) <= STRETCH)
        if not some.any():
            return last, None
        way = np.where(some, way, 0.0)
        warm, warm_before = last.temperature_rise, before.temperature_rise
        return last, Point(
            last.flow + way * (last.flow - before.flow),
            last.pressure + way * (last.pressure - before.pressure),
            None if warm is None or warm_before is None else warm + way * (warm - warm_before),
        )

    def _remember(self, point: Point, speed: Array, which: Index, moving: NDArray[np.bool_]) -> None:
        """Note where searches run now."""
        if self._last is None:
            return
        last, before = self._last
        some = which[moving]
        if len(some) == len(self._ran) and self._every(which):
            self._last = point, last
        else:
            before.put(some, last, some)
            last.put(some, point, moving)
        self._ran_before[some], self._ran[some] = self._ran[some], speed[moving]

    def alike(self, which: Index, as_of: Index) -> None:
        """Go on in the searches `which` from where others have come to, one for each."""
        for point in self._last or ():
            point.put(which, point, as_of)
        self._ran[which], self._ran_before[which] = self._ran[as_of], self._ran_before[as_of]
