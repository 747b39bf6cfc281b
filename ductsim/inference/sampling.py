"""Draws from what is believed after the readings: randomised maximum likelihood, with its weights.

Each draw takes unknowns from the prior and noise from the readings' errors, and moves the unknowns until
they explain the noisy readings. For a linear model these are exact posterior draws. For others they get
weights, which need no derivatives beyond those at hand: the Jacobian J is held at the estimate, so a draw
ends at x = z + J^T k with k = y + e - F(x), whose density is known in closed form. Let b = J x + y - F(x)
and S = 1 + J J^T; then the weight is exp(-b S^-1 b / 2) / det(1 + F'(x) J^T).

Source: D. S. Oliver, Metropolized randomized maximum likelihood for improved sampling from multimodal
distributions, SIAM/ASA Journal on Uncertainty Quantification 5 (2017), for the idea of the weights (from
memory); their schema with a held Jacobian is derived here.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .problem import Estimate, Problem

Array = NDArray[np.float64]

STEPS = 8
GIVEN_UP = 0.02  # share of draws that need not settle
SETTLED = 3e-2  # of a reading's standard deviation
ALLOWED = 0.2
CLOSE, EXACT = 0.1, 3
"""From this median of all draws on readings are predicted exactly, and for so many steps at least."""
LEAST_MOVE = 1e-30
COUNTING, ENOUGH = 1.0 / 3.0, 133.0
"""So many draws must count: a third of them, but no more than are enough."""
UNSOLVED = 2000  # draws of the linear approximation where none is asked for
REACH = 8.0
"""A draw with an unknown so far out of its prior [standard deviations] has lost its way. Sound posteriors
stay within, and out there machines are so odd that solving them takes minutes. Around an estimate that is
itself far out, the reach is half of this beyond it."""
MOST_LOST = 0.5
"""Share of the draws that may be lost; where more are, those that remain say little of the whole."""
EDGES, ENDS = np.array([0.025, 0.975]), np.array([0.0, 0.95])
BLOCK = 5_000_000
"""Numbers in one array of a block of draws (draws x readings x readings): 40 MB."""


@dataclass
class Draws:
    """Weighted draws.

    Attributes
    ----------
    x : array (A, N)
        The unknowns.
    predicted : array (M, N)
        The readings they predict.
    weights : array (N,)
        They add up to 1.
    lost : int
        Draws that were given up because they found no way to explain their readings.
    asked : int
        How many were asked for.
    linear : bool
        These are those of the linear, normal approximation at the estimate: too many were lost, or none was
        asked for.
    """

    x: Array
    predicted: Array
    weights: Array
    lost: int
    asked: int
    linear: bool = False

    @property
    def effective(self) -> float:
        """The number of equally weighted draws that would tell as much."""
        return float(1.0 / np.sum(self.weights**2))

    def quantiles(self, values: Array, shares: Array) -> Array:
        """Weighted quantiles of a value per draw."""
        return weighted_quantiles(values, self.weights, shares)

    def interval(self, values: Array, nothing: float = -np.inf) -> tuple[float, float, bool]:
        """What 95 % of a value per draw lie between, and whether that is from 0.

        It is from 0 where more than 2.5 % are no more than `nothing`, else with equal tails. N draws leave 1
        in N + 1 beyond each end: so few draws make wide intervals, not narrow ones.
        """
        one_sided = bool(self.weights[values <= nothing].sum() >= EDGES[0])
        count = self.effective
        shares = np.clip(((ENDS if one_sided else EDGES) * (count + 1.0) - 0.5) / count, 0.0, 1.0)
        low, high = self.quantiles(values, shares).tolist()
        return (0.0 if one_sided else low), high, one_sided

    def thinned(self, count: int, rng: np.random.Generator) -> Draws:
        """`count` of them, equally weighted; itself where there are not many more."""
        if self.x.shape[1] <= 2 * count:
            return self
        places = self.resample(count, rng)
        weights = np.full(count, 1.0 / count)
        return replace(self, x=self.x[:, places], predicted=self.predicted[:, places], weights=weights)

    def mean(self, values: Array) -> Array:
        """Weighted means of values (..., N); draws without a value are left out."""
        known = np.isfinite(values)
        total = np.where(known, values, 0.0) @ self.weights
        out: Array = total / np.maximum(known @ self.weights, 1e-12)
        return out

    def anomalies(self, values: Array) -> Array:
        """Deviations of values (K, N) from their means, by the roots of the weights.

        Their products are covariances, so they serve in the place of gradients in unknowns of variance 1:
        what `choosing` asks for. A draw without a value deviates by nothing.
        """
        out: Array = np.where(np.isfinite(values), values - self.mean(values)[:, None], 0.0)
        return out * np.sqrt(self.weights)

    def resample(self, count: int, rng: np.random.Generator) -> NDArray[np.intp]:
        """Places of `count` equally weighted draws; systematic, in random order."""
        edges = np.cumsum(self.weights)
        at = (rng.random() + np.arange(count)) / count
        places = np.minimum(np.searchsorted(edges, at * edges[-1]), len(edges) - 1)
        return rng.permutation(places)


def draw(problem: Problem, estimate: Estimate, count: int, rng: np.random.Generator) -> Draws:
    """`count` draws around an estimate; every unknown needs a prior.

    With a `count` of 0 nothing is solved: the draws are `UNSOLVED` of the linear approximation.

    Where more than half of them find no way to explain their readings within reach of the prior, as with
    readings that contradict each other, the draws are those of the linear approximation, and say so.

    Parameters
    ----------
    problem : Problem
        The readings and the priors.
    estimate : Estimate
        From `find`.
    count : int
        How many.
    rng : numpy Generator
        Where the random numbers come from.
    """
    if not np.isfinite(problem.prior_sd).all():
        raise ValueError("every unknown needs a prior")
    slopes = estimate.slopes
    readings, unknowns = slopes.shape
    best = problem.white(estimate.x)
    inner = np.eye(readings) + slopes @ slopes.T
    solved, count = count > 0, count or UNSOLVED
    half = (count + 1) // 2
    start = _both_signs(rng.standard_normal((unknowns, half)), count)
    noise = _both_signs(rng.standard_normal((readings, half)), count)
    goal = problem.measured[:, None] / problem.sd[:, None] + noise
    at_best = estimate.predicted / problem.sd
    first = goal - at_best[:, None] - slopes @ (start - best[:, None])
    k = np.asarray(np.linalg.solve(inner, first), dtype=np.float64)
    if not solved:
        return _linear(problem, start + slopes.T @ k, slopes, best, at_best, 0)
    u, predicted = np.full_like(start, np.nan), np.full_like(goal, np.nan)
    log, lost = np.zeros(count), 0
    step = max(1, BLOCK // readings**2)
    for begin in range(0, count, step):
        some = slice(begin, begin + step)
        lines = _settle(problem, slopes, start[:, some], goal[:, some], k[:, some], best)
        u[:, some], predicted[:, some] = lines.u, lines.predicted
        log[some] = lines.logs(slopes, inner, goal[:, some] - noise[:, some])
        lost += int((~lines.kept).sum())
        if lost > MOST_LOST * count:
            return _linear(problem, start + slopes.T @ k, slopes, best, at_best, lost)
    kept = np.isfinite(log)
    return Draws(
        problem.unknowns(u[:, kept]),
        predicted[:, kept] * problem.sd[:, None],
        _flattened(log[kept]),
        lost,
        count,
    )


def _linear(problem: Problem, u: Array, slopes: Array, best: Array, at_best: Array, lost: int) -> Draws:
    """The draws that a linear model would have: where the first step of each leads."""
    count = u.shape[1]
    predicted = (at_best[:, None] + slopes @ (u - best[:, None])) * problem.sd[:, None]
    return Draws(problem.unknowns(u), predicted, np.full(count, 1.0 / count), lost, count, linear=True)


def _both_signs(half: Array, count: int) -> Array:
    return np.concatenate([half, -half], axis=1)[:, :count]


@dataclass
class _Lines:
    """Draws that have come to rest, or are lost.

    Attributes
    ----------
    u, predicted : arrays (A, N), (M, N)
        Whitened.
    local : array (N, M, M)
        1 + F'(x) J^T at each.
    error : array (N,)
        What is left of its equation; infinite where a draw is lost.
    """

    u: Array
    predicted: Array
    local: Array
    error: Array

    @property
    def kept(self) -> NDArray[np.bool_]:
        """The draws that explain their readings."""
        out: NDArray[np.bool_] = self.error < ALLOWED
        return out

    def logs(self, slopes: Array, inner: Array, measured: Array) -> Array:
        """Logarithms of the weights; minus infinity where a draw is lost."""
        out = np.full(len(self.error), -np.inf)
        kept = self.kept
        b = slopes @ self.u[:, kept] + measured[:, kept] - self.predicted[:, kept]
        out[kept] = -0.5 * np.sum(b * np.linalg.solve(inner, b), axis=0) - _log_size(self.local[kept])
        return out


def _settle(problem: Problem, slopes: Array, start: Array, goal: Array, k: Array, best: Array) -> _Lines:
    """Solve k + F(z + J^T k) = y + e for every draw by Newton; columns that have settled rest."""
    readings, count = goal.shape
    k = k.copy()
    base = problem.factors(best[:, None])
    moving = base != 0.0
    reach = np.maximum(REACH, np.abs(best) + 0.5 * REACH)[:, None]
    products = _Products(slopes)
    predicted = np.full_like(goal, np.nan)
    local = np.empty((count, readings, readings))
    local[:] = np.eye(readings)
    error = np.full(count, np.inf)
    live = np.arange(count)
    learnt = np.zeros_like(local)  # what the steps taken tell beyond the slopes, by Broyden's rule
    before, last = np.zeros_like(goal), np.zeros_like(goal)
    shown, roughly = problem.following(count), problem.follow is not None
    for turn in range(STEPS):
        u = start[:, live] + slopes.T @ k[:, live]
        far = ~(np.abs(u) <= reach).all(axis=0)
        error[live[far]] = np.inf
        u, live = u[:, ~far], live[~far]
        if not len(live) or (turn and np.isinf(error).mean() > MOST_LOST):
            break
        predicted[:, live] = shown(u, live, roughly)
        off = k[:, live] - (goal[:, live] - predicted[:, live])
        stretch = np.where(moving, problem.factors(u) / np.where(moving, base, 1.0), 1.0)
        own = products.stretched(stretch)
        own += learnt[live]
        size = np.sqrt(np.sum(off * off, axis=0))
        error[live] = np.where(np.isfinite(size), size, np.inf)
        if turn:
            moved = last[:, live].T
            told = (off - before[:, live]).T
            miss = told - (own @ moved[:, :, None])[:, :, 0]
            share = moved / np.maximum(np.sum(moved * moved, axis=1, keepdims=True), LEAST_MOVE)
            more = miss[:, :, None] * share[:, None, :]
            learnt[live] += more
            own += more
        local[live] = own
        going = np.isfinite(error[live]) & ((error[live] > SETTLED) | roughly)
        roughly = roughly and turn + 1 < STEPS - EXACT and bool(np.median(error[live]) > CLOSE)
        off, live = off[:, going], live[going]
        if len(live) <= GIVEN_UP * count or turn == STEPS - 1:
            break
        step = _newton(local[live], learnt[live], off)
        before[:, live], last[:, live] = off, -step
        k[:, live] -= step
    return _Lines(start + slopes.T @ k, predicted, local, error)


def _newton(local: Array, learnt: Array, off: Array) -> Array:
    """Steps that take `off` away; without what was learnt, which `local` holds, where that makes no sense."""
    try:
        out: Array = np.asarray(np.linalg.solve(local, off.T[:, :, None]), dtype=np.float64)
    except np.linalg.LinAlgError:
        out = np.asarray(np.linalg.solve(local - learnt, off.T[:, :, None]), dtype=np.float64)
    step: Array = out[:, :, 0].T
    return step


class _Products:
    """1 + J diag(stretch) J^T for many columns of stretches; each product of two readings is made once."""

    def __init__(self, slopes: Array) -> None:
        readings = len(slopes)
        one, two = np.triu_indices(readings)
        self._pairs = (slopes[one] * slopes[two]).T
        self._place = np.empty((readings, readings), dtype=np.intp)
        self._place[one, two] = self._place[two, one] = np.arange(len(one))

    def stretched(self, stretch: Array) -> Array:
        """Of stretches (A, N) the matrices (N, M, M)."""
        out: Array = (stretch.T @ self._pairs).take(self._place, axis=1)
        out += np.eye(len(self._place))
        return out


def _log_size(matrices: Array) -> Array:
    """Logarithm of the size of each determinant; hopeless where it is none."""
    size: Array = np.linalg.slogdet(matrices)[1]
    return np.where(np.isfinite(size), size, np.inf)


def _flattened(log: Array) -> Array:
    """Weights from their logarithms, flattened until a third of the draws count, or enough of them.

    A few huge weights would make intervals of chance. Flat weights are those of plain randomised maximum
    likelihood, which is nearly right already; so a power of the weights trades little error for much chance.
    The more draws, the less is flattened, and nothing at last.
    """
    power, wanted = 1.0, min(COUNTING * len(log), ENOUGH)
    for _ in range(40):
        weights: Array = np.exp(power * (log - log.max()))
        weights /= weights.sum()
        if np.sum(weights**2) * wanted <= 1.0:
            break
        power *= 0.9
    return weights


def weighted_quantiles(values: Array, weights: Array, shares: Array) -> Array:
    """Quantiles of weighted values, halfway rule; NaN values are left out."""
    known = np.isfinite(values)
    order = np.argsort(values[known], kind="stable")
    ordered, mass = values[known][order], weights[known][order]
    if not len(ordered):
        return np.full(np.shape(shares), np.nan)
    middle = np.cumsum(mass) - 0.5 * mass
    return np.interp(shares, middle / mass.sum(), ordered)
