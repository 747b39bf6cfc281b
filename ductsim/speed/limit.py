"""How fast a machine can drive before the crop stays behind: the ground speed at which a margin is one."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..answers.slipping import slipping
from ..answers.state import solve
from ..crop.driven import Driven
from ..crop.margins import margins, places
from ..description.data import MachineData

Array = NDArray[np.float64]
Index = NDArray[np.intp]

SLOWEST = 1e-3  # m/s: a limit below counts as 0, the air alone does not suffice
FASTEST = 40.0  # m/s: no limit up to here counts as none
ACCURACY = 1e-8  # of the speed
ROUGH = 1e-3  # of the speed, where many draws together make a band
JUMP, JUMP_ACCURACY = 0.05, 1e-6  # where a duct chokes the margin jumps: one halving after the other
FIRST_STEP, MOST_STEP = 0.4, 2.0  # in a speed's logarithm, on the way to a limit
BEYOND = 1.3  # times the way by the slope: so the limit is passed
LEAST_SLOPE = 0.05  # of a margin's logarithm in the speed's
SMOOTH = 0.5  # of a margin's logarithm: between ends that differ by less nothing jumps
SURE = 0.25  # of the accuracy, by the flatter of two slopes
MOST_HIGHER = 2.0  # times a speed: what is far beyond a limit chokes, which takes longest to solve
FAR_BELOW, ROUNDS = -1.0, 3  # of a margin's logarithm, steps down: a limit this far off may be none
LEAST_MARGIN = 1e-9  # a blocked duct has a margin of 0 or less
_MOST = 80


def falling_root(
    function: Callable[[Array, Index], Array],
    guess: Array,
    fastest: float = FASTEST,
    accuracy: float = ACCURACY,
) -> Array:
    """Where functions that fall through zero do so, all in step: bracketed, then Chandrupatla's method.

    Parameters
    ----------
    function : callable
        `function(x, which) -> values` of the functions `which` at `x`, both of the same length.
    guess : array (n,)
        Starting points, above zero.
    fastest : float
        Where to stop looking.
    accuracy : float
        Of `x` [-]; no better than `JUMP_ACCURACY` where the function jumps.

    Returns
    -------
    array (n,)
        0 where the function is below zero from `SLOWEST` on, infinity where it is above up to `fastest`,
        NaN where it is not a number.

    Source: Chandrupatla (1997), Advances in Engineering Software 28, from memory.
    """
    n = len(guess)
    x = np.clip(np.asarray(guess, dtype=float), SLOWEST, fastest)
    low, high = x.copy(), x.copy()
    f_low = function(x, np.arange(n))
    f_high = f_low.copy()
    _widen(function, low, high, f_low, f_high, fastest, accuracy)
    out = np.where(f_low <= 0.0, np.where(f_low == 0.0, low, 0.0), np.where(f_high == 0.0, high, np.inf))
    open_ = (f_low > 0.0) & (f_high < 0.0)
    out[np.isnan(f_low) | np.isnan(f_high)] = np.nan
    some = np.flatnonzero(open_)
    if len(some):
        out[some] = _chandrupatla(function, some, low[some], high[some], f_low[some], f_high[some], accuracy)
    return out


def _widen(
    function: Callable[[Array, Index], Array],
    low: Array,
    high: Array,
    f_low: Array,
    f_high: Array,
    fastest: float,
    accuracy: float,
) -> None:
    """Widen each bracket until its function is above zero at the low end, below at the high end; in place.

    A little further each time than where the function would be zero by the slope that it has shown.
    """
    n = len(low)
    slope = np.ones(n)  # by which it falls in the logarithm of x: a margin falls about as x rises
    most, least, asked, rounds = FIRST_STEP, 2.0 * accuracy, np.zeros(n, dtype=bool), 0
    while True:
        up = (f_high > 0.0) & (high < fastest)
        down = (f_low < 0.0) & (low > SLOWEST)
        some = np.flatnonzero(up | down)
        if not len(some):
            break
        ask = down & ~asked & ((rounds >= ROUNDS) | (f_low < FAR_BELOW))
        if ask.any():  # where it is below zero all the way, the way down tells nothing
            asked[ask], some = True, np.flatnonzero(ask)
            value = function(np.full(len(some), SLOWEST), some)
            dead = some[value < 0.0]
            low[dead], f_low[dead] = SLOWEST, value[value < 0.0]
            continue
        rising = up[some]
        end, f_end = np.where(rising, high[some], low[some]), np.where(rising, f_high[some], f_low[some])
        step = np.clip(BEYOND * np.abs(f_end) / slope[some], least, most)
        new = np.where(
            rising,
            np.minimum(end * np.exp(np.minimum(step, np.log(MOST_HIGHER))), fastest),
            np.maximum(end * np.exp(-step), SLOWEST),
        )
        value = function(new, some)
        with np.errstate(all="ignore"):
            slope[some] = np.maximum((value - f_end) / np.log(end / new), LEAST_SLOPE)
        for near, far, f_near, f_far, moved in (
            (low, high, f_low, f_high, rising),
            (high, low, f_high, f_low, ~rising),
        ):
            which = some[moved]
            near[which], f_near[which] = far[which], f_far[which]
            far[which], f_far[which] = new[moved], value[moved]
        most, least, rounds = min(1.5 * most, MOST_STEP), 8.0 * least, rounds + 1


def _chandrupatla(
    function: Callable[[Array, Index], Array],
    which: Index,
    a: Array,
    b: Array,
    fa: Array,
    fb: Array,
    accuracy: float,
) -> Array:
    """Inverse quadratic interpolation where it is safe, else halving; all functions in step."""
    c, fc = a.copy(), fa.copy()
    t = fa / (fa - fb)
    out = np.full(len(a), np.nan)
    left = np.arange(len(a))
    for _ in range(_MOST):
        x = a + t * (b - a)
        fx = function(x, which[left])
        same = np.sign(fx) == np.sign(fa)
        c, fc = np.where(same, a, b), np.where(same, fa, fb)
        b, fb = np.where(same, b, a), np.where(same, fb, fa)
        a, fa = x, fx
        best = np.where(np.abs(fa) < np.abs(fb), a, b)
        width = np.abs(b - a)
        jump = np.minimum(np.abs(fa), np.abs(fb)) > JUMP
        near = np.where(jump, max(JUMP_ACCURACY, accuracy), accuracy) * np.abs(best)
        done = (width <= near) | (fa == 0.0) | np.isnan(fa) | _there(a, b, c, fa, fb, fc, accuracy)
        out[left[done]] = np.where(np.isnan(fa), np.nan, best)[done]
        keep = ~done
        if not keep.any():
            break
        left, a, b, c, fa, fb, fc = (v[keep] for v in (left, a, b, c, fa, fb, fc))
        t = _next(a, b, c, fa, fb, fc, accuracy)
    out[left] = np.where(np.isnan(out[left]), 0.5 * (a + b) if len(a) == len(left) else np.nan, out[left])
    return out


def _there(
    a: Array, b: Array, c: Array, fa: Array, fb: Array, fc: Array, accuracy: float
) -> NDArray[np.bool_]:
    """Where the better end is the zero as closely as wanted, by the flatter of the slopes to its neighbours.

    Not beside a jump, whose slope is none.
    """
    with np.errstate(all="ignore"):
        slopes = np.abs(
            np.array([(fa - fb) / np.log(a / b), (fa - fc) / np.log(a / c), (fb - fc) / np.log(b / c)])
        )
        slope = np.nanmin(np.where(np.isfinite(slopes), slopes, np.inf), axis=0)
        off = np.minimum(np.abs(fa), np.abs(fb)) / slope
    smooth = np.maximum(np.abs(fa), np.maximum(np.abs(fb), np.abs(fc))) < SMOOTH
    return np.asarray(smooth & (off <= SURE * accuracy))


def _next(a: Array, b: Array, c: Array, fa: Array, fb: Array, fc: Array, accuracy: float) -> Array:
    """Where between a and b to look next."""
    with np.errstate(all="ignore"):
        xi, phi = (a - b) / (c - b), (fa - fb) / (fc - fb)
        safe = (phi**2 < xi) & ((1.0 - phi) ** 2 < 1.0 - xi)
        t = fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    t = np.where(safe & np.isfinite(t), t, 0.5)
    edge = 0.5 * accuracy * np.abs(a) / np.abs(b - a)
    return np.clip(t, edge, 1.0 - edge)


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
    size = machine.columns or 1
    first = machine.numbers["crop.ground_speed"] if guess is None else guess
    known = _Margins(machine, np.arange(size))
    start = np.broadcast_to(np.maximum(np.asarray(first, dtype=float), SLOWEST), size)

    def function(speed: Array, which: Index) -> Array:
        return _logarithm(known.at(speed, which).min(axis=0))

    found = falling_root(function, np.array(start), accuracy=accuracy)
    return found if machine.columns is not None else float(found[0])


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
