"""How fast a machine can drive before the crop stays behind: the ground speed at which a margin is one."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..answers.slipping import slipping
from ..answers.state import solve
from ..crop.driven import Driven
from ..crop.margins import margins, places
from ..description.data import MachineData
from .roots import ACCURACY, SLOWEST, falling_root, roots_and_slopes

Array = NDArray[np.float64]
Index = NDArray[np.intp]

ROUGH = 1e-3  # of the speed, where many draws together make a band
LEAST_MARGIN = 1e-9  # a blocked duct has a margin of 0 or less


class _Margins:
    """Carrying margins of a loaded machine at many speeds.

    Parameters
    ----------
    machine : MachineData
    column : array (n,)
        Which of its columns each of the searches drives; 0 without any.
    """

    def __init__(self, machine: MachineData, column: Index) -> None:
        self._machine, self._column = machine, column
        # a belt that slips more the more it carries is settled anew at every speed
        self._driven = None if slipping(machine) else Driven(machine, column)

    def at(self, speed: Array, which: Index) -> Array:
        """Margins (places, n) of the searches `which` at some speeds [m/s]."""
        if self._driven is not None:
            return self._driven.at(speed, which)
        own, column = self._machine.numbers, self._column[which]
        numbers = {a: v[column] if isinstance(v, np.ndarray) else v for a, v in own.items()}
        some = self._machine.rebuilt({**numbers, "crop.ground_speed": speed})
        state = solve(some, raise_error=False)
        return np.where(np.asarray(state.solved), margins(some, state), np.nan)

    def of_each(self, speed: Array, which: Index) -> Array:
        """The same for searches of which several drive one column.

        While they widen they ask for the same speeds: each is solved once.
        """
        asked = np.array([self._column[which], speed])
        _, first, back = np.unique(asked, axis=1, return_index=True, return_inverse=True)
        back = back.reshape(-1)
        own = self.at(speed[first], which[first])
        if self._driven is not None and len(first) < len(which):
            self._driven.alike(which, which[first][back])
        return own[:, back]


def margins_at(machine: MachineData, speed: Any) -> Array:
    """Carrying margins of a machine with crop at some speeds [m/s], shape (places, S).

    Its columns, if it has any, must be as many as the speeds.
    """
    column = np.atleast_1d(np.asarray(speed, dtype=float))
    every = np.arange(len(column))
    return _Margins(machine, every).at(column, every)


def _logarithm(margin: Array) -> Array:
    """Nearly straight in the speed's logarithm; a blocked or unsolved duct counts as far below one."""
    return np.log(np.maximum(np.nan_to_num(margin, nan=0.0, posinf=1e9), LEAST_MARGIN))


def speed_limit(machine: MachineData, guess: Any = None, accuracy: float = ACCURACY) -> Any:
    """The ground speed at which the smallest carrying margin is one [m/s].

    Parameters
    ----------
    machine : MachineData
        One that carries crop; its `crop.ground_speed` is only the first guess.
    guess : float or array, optional
        A better one.
    accuracy : float
        Of the speed [-].

    Returns
    -------
    float or (S,)
        0 where the air does not suffice even without crop, infinity where nothing limits.
    """
    found, _ = limits_and_slopes(machine, guess, accuracy)
    return found if machine.columns is not None else float(found[0])


def limits_and_slopes(
    machine: MachineData, guess: Any = None, accuracy: float = ACCURACY, slope: Array | float = np.nan
) -> tuple[Array, Array]:
    """The same, (S,), and by how much the smallest margin falls there, both in logarithms, or NaN.

    `slope` is what is known of that before, for each scenario or for all; it saves solving.
    """
    size = machine.columns or 1
    first = machine.numbers["crop.ground_speed"] if guess is None else guess
    known = _Margins(machine, np.arange(size))
    start = np.broadcast_to(np.maximum(np.asarray(first, dtype=float), SLOWEST), size)

    def function(speed: Array, which: Index) -> Array:
        return _logarithm(known.at(speed, which).min(axis=0))

    return roots_and_slopes(function, np.array(start), accuracy=accuracy, slope=slope)


def place_limits(machine: MachineData, guess: float, fastest: float) -> Array:
    """The ground speed at which the margin of each place is one [m/s], as if no other place limited.

    Parameters
    ----------
    machine : MachineData
        One that carries crop, without columns.
    guess : float
        First guess [m/s].
    fastest : float
        Where to stop looking [m/s].

    Returns
    -------
    array, one for each of `places(machine.layout)`
        Infinity where a place does not limit up to `fastest`, 0 where it does without any crop.
    """
    count = len(places(machine.layout))
    known = _Margins(machine, np.zeros(count, dtype=np.intp))

    def function(speed: Array, which: Index) -> Array:
        own = known.of_each(speed, which)
        return _logarithm(own[which, np.arange(len(which))])

    return falling_root(function, np.full(count, max(guess, SLOWEST)), fastest)


def unit_limits(machine: MachineData, guess: float | None = None, accuracy: float = ACCURACY) -> Array:
    """The ground speed at which the smallest margin of each unit is one [m/s], as if no other unit limited.

    Parameters
    ----------
    machine : MachineData
        One that carries crop, with S columns or without (S = 1).
    guess : float, optional
        First guess [m/s]; the machine's own ground speed if not given.
    accuracy : float
        Of the speeds [-].

    Returns
    -------
    array (U, S)
        Infinity where a unit does not limit, 0 where its air does not suffice even without crop.
    """
    names = [unit.name for unit in machine.layout.units]
    count = machine.columns or 1
    mine = np.array([[name in place.units for name in names] for place in places(machine.layout)], dtype=bool)
    known = _Margins(machine, np.repeat(np.arange(count), len(names)))
    first = float(np.median(machine.numbers["crop.ground_speed"])) if guess is None else guess

    def function(speed: Array, which: Index) -> Array:
        own = known.of_each(speed, which)
        return _logarithm(np.where(mine[:, which % len(names)], own, np.inf).min(axis=0))

    found = falling_root(function, np.full(count * len(names), max(first, SLOWEST)), accuracy=accuracy)
    return found.reshape(count, len(names)).T
