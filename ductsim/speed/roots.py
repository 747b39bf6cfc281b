"""Where functions that fall do so through zero: many in step, since few cost as much as many."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Function = Callable[[Array, Index], Array]

SLOWEST = 1e-3  # m/s: a limit below counts as 0, the air alone does not suffice
FASTEST = 40.0  # m/s: no limit up to here counts as none
ACCURACY = 1e-8  # of the speed
JUMP, JUMP_ACCURACY = 0.05, 1e-6  # where a duct chokes the margin jumps: one halving after the other
FIRST_STEP, MOST_STEP = 0.4, 2.0  # in a speed's logarithm, on the way to a limit
BEYOND = 1.3  # times the way by the slope: so the limit is passed
LEAST_SLOPE = 0.05  # of a margin's logarithm in the speed's
USUAL_SLOPES = (0.5, 3.0)  # of the same: others tell of a duct that is about to choke
SMOOTH = 0.5  # of a margin's logarithm: between ends that differ by less nothing jumps
SURE = 0.25  # of the accuracy, by the flatter of two slopes
MOST_HIGHER = 2.0  # times a speed: what is far beyond a limit chokes, which takes longest to solve
FAR_BELOW, ROUNDS = -1.0, 3  # of a margin's logarithm, steps down: a limit this far off may be none
_MOST = 80


def falling_root(
    function: Function, guess: Array, fastest: float = FASTEST, accuracy: float = ACCURACY
) -> Array:
    """The roots of `roots_and_slopes` alone."""
    return roots_and_slopes(function, guess, fastest, accuracy)[0]


def roots_and_slopes(
    function: Function,
    guess: Array,
    fastest: float = FASTEST,
    accuracy: float = ACCURACY,
    slope: Array | float = np.nan,
) -> tuple[Array, Array]:
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
    slope : array (n,) or float
        By how much each falls in the logarithm of `x` near its root, about; NaN where that is not known.
        Where it is, what is within the accuracy of a root by it needs no bracket.

    Returns
    -------
    roots : array (n,)
        0 where the function is below zero from `SLOWEST` on, infinity where it is above up to `fastest`,
        NaN where it is not a number.
    slopes : array (n,)
        By how much each falls there; NaN where that is not known.

    Source: Chandrupatla (1997), Advances in Engineering Software 28, from memory.
    """
    every = np.arange(len(guess))
    x = np.clip(np.asarray(guess, dtype=float), SLOWEST, fastest)
    told = np.array(np.broadcast_to(slope, x.shape), dtype=float)
    known = (told >= USUAL_SLOPES[0]) & (told <= USUAL_SLOPES[1])
    f = function(x, every)
    ends = _Ends(
        x.copy(), x.copy(), f.copy(), f.copy(), np.where(known, told, 1.0), known, np.full(len(x), np.nan)
    )
    ends.accept(every, x, f, accuracy)
    _widen(function, ends, fastest, accuracy)
    low, high, f_low, f_high = ends.low, ends.high, ends.f_low, ends.f_high
    slopes = np.where(np.isnan(ends.root), np.nan, ends.slope)
    left = np.isnan(ends.root) & ~np.isnan(f_low) & ~np.isnan(f_high)
    some = np.flatnonzero(left & (f_low > 0.0) & (f_high < 0.0))
    dead, free = left & (f_low <= 0.0), left & (f_low > 0.0) & (f_high >= 0.0)
    ends.root[dead] = np.where(f_low == 0.0, low, 0.0)[dead]
    ends.root[free] = np.where(f_high == 0.0, high, np.inf)[free]
    if len(some):
        ends.root[some], slopes[some] = _chandrupatla(
            function, some, low[some], high[some], f_low[some], f_high[some], accuracy
        )
    return ends.root, slopes


@dataclass
class _Ends:
    """The brackets of functions, while they are widened, and the roots that need none."""

    low: Array
    high: Array
    f_low: Array
    f_high: Array
    slope: Array  # by which it falls in the logarithm of x: a margin falls about as x rises
    known: NDArray[np.bool_]
    root: Array

    def accept(self, some: Index, x: Array, f: Array, accuracy: float) -> None:
        """Take the roots that lie within the accuracy of x by a slope that was known before."""
        slope = self.slope[some]
        near = self.known[some] & (np.abs(f) <= accuracy * np.minimum(slope, 1.0))
        self.root[some[near]] = (x * np.exp(f / slope))[near]


def _widen(function: Function, ends: _Ends, fastest: float, accuracy: float) -> None:
    """Widen each bracket until its function is above zero at the low end, below at the high end; in place.

    A little further each time than where the function would be zero by the slope that it has shown.
    """
    low, high, f_low, f_high, slope = ends.low, ends.high, ends.f_low, ends.f_high, ends.slope
    most, least, asked, rounds = FIRST_STEP, 2.0 * accuracy, np.zeros(len(low), dtype=bool), 0
    while True:
        left = np.isnan(ends.root)
        up = (f_high > 0.0) & (high < fastest) & left
        down = (f_low < 0.0) & (low > SLOWEST) & left
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
        further = np.where(ends.known[some], 1.0, BEYOND)
        step = np.clip(further * np.abs(f_end) / slope[some], least, most)
        new = np.where(
            rising,
            np.minimum(end * np.exp(np.minimum(step, np.log(MOST_HIGHER))), fastest),
            np.maximum(end * np.exp(-step), SLOWEST),
        )
        value = function(new, some)
        with np.errstate(all="ignore"):
            slope[some] = np.maximum((value - f_end) / np.log(end / new), LEAST_SLOPE)
        ends.accept(some, new, value, accuracy)
        for near, far, f_near, f_far, moved in (
            (low, high, f_low, f_high, rising),
            (high, low, f_high, f_low, ~rising),
        ):
            which = some[moved]
            near[which], f_near[which] = far[which], f_far[which]
            far[which], f_far[which] = new[moved], value[moved]
        most, least, rounds = min(1.5 * most, MOST_STEP), 8.0 * least, rounds + 1


def _chandrupatla(
    function: Function,
    which: Index,
    a: Array,
    b: Array,
    fa: Array,
    fb: Array,
    accuracy: float,
) -> tuple[Array, Array]:
    """Inverse quadratic interpolation where it is safe, else halving; all in step. Roots and slopes."""
    c, fc = a.copy(), fa.copy()
    t = fa / (fa - fb)
    out, slopes = np.full(len(a), np.nan), np.full(len(a), np.nan)
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
        with np.errstate(all="ignore"):
            slopes[left[done]] = np.where(np.abs(fa - fb) < SMOOTH, (fa - fb) / np.log(b / a), np.nan)[done]
        keep = ~done
        if not keep.any():
            break
        left, a, b, c, fa, fb, fc = (v[keep] for v in (left, a, b, c, fa, fb, fc))
        t = _next(a, b, c, fa, fb, fc, accuracy)
    out[left] = np.where(np.isnan(out[left]), 0.5 * (a + b) if len(a) == len(left) else np.nan, out[left])
    return out, slopes


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
