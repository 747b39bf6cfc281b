"""Draws from what is believed after the readings: randomised maximum likelihood, with its weights.

Each draw takes unknowns from the prior and noise from the readings' errors, and moves the unknowns until
they explain the noisy readings. For a linear model these are exact posterior draws. For others they get
weights, which need no derivatives beyond those at hand: the Jacobian J is held at the estimate, so a draw
ends at x = z + J^T k with k = y + e - F(x), whose density is known in closed form. Let b = J x + y - F(x)
and S = 1 + J J^T; then the weight is exp(-b S^-1 b / 2) / det(1 + F'(x) J^T).

Source: D. S. Oliver, Metropolized randomized maximum likelihood for improved sampling from multimodal
distributions, SIAM/ASA Journal on Uncertainty Quantification 5 (2017), for the idea of the weights (from
memory); their form with a held Jacobian is derived here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .problem import Estimate, Problem

Array = NDArray[np.float64]

STEPS = 7
GIVEN_UP = 0.02  # share of draws that need not settle
SETTLED = 3e-2  # of a reading's standard deviation
ALLOWED = 0.2
COUNTING = 1.0 / 3.0  # share of the draws that must count


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
    """

    x: Array
    predicted: Array
    weights: Array
    lost: int
    asked: int

    @property
    def effective(self) -> float:
        """The number of equally weighted draws that would tell as much."""
        return float(1.0 / np.sum(self.weights**2))

    def quantiles(self, values: Array, shares: Array) -> Array:
        """Weighted quantiles of a value per draw."""
        return weighted_quantiles(values, self.weights, shares)

    def resample(self, count: int, rng: np.random.Generator) -> NDArray[np.intp]:
        """Places of `count` equally weighted draws; systematic, in random order."""
        edges = np.cumsum(self.weights)
        at = (rng.random() + np.arange(count)) / count
        places = np.minimum(np.searchsorted(edges, at * edges[-1]), len(edges) - 1)
        return rng.permutation(places)


def draw(problem: Problem, estimate: Estimate, count: int, rng: np.random.Generator) -> Draws:
    """`count` draws around an estimate; every unknown needs a prior.

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
    half = (count + 1) // 2
    start = _both_signs(rng.standard_normal((unknowns, half)), count)
    noise = _both_signs(rng.standard_normal((readings, half)), count)
    goal = problem.measured[:, None] / problem.sd[:, None] + noise
    at_best = estimate.predicted / problem.sd
    first = goal - at_best[:, None] - slopes @ (start - best[:, None])
    k = np.asarray(np.linalg.solve(inner, first), dtype=np.float64)
    return _settle(problem, slopes, inner, start, goal, noise, k, best)


def _both_signs(half: Array, count: int) -> Array:
    return np.concatenate([half, -half], axis=1)[:, :count]


def _settle(
    problem: Problem,
    slopes: Array,
    inner: Array,
    start: Array,
    goal: Array,
    noise: Array,
    k: Array,
    best: Array,
) -> Draws:
    """Solve k + F(z + J^T k) = y + e for every draw by Newton; columns that have settled rest."""
    readings, count = goal.shape
    base = problem.factors(best[:, None])
    moving = base != 0.0
    predicted = np.full_like(goal, np.nan)
    local = np.empty((count, readings, readings))
    error = np.full(count, np.inf)
    live = np.arange(count)
    learnt = np.zeros_like(local)  # what the steps taken tell beyond `local`, by Broyden's rule
    before, last = np.zeros_like(goal), np.zeros_like(goal)
    for turn in range(STEPS):
        u = start[:, live] + slopes.T @ k[:, live]
        predicted[:, live] = problem.whitened(u)
        off = k[:, live] - (goal[:, live] - predicted[:, live])
        stretch = np.where(moving, problem.factors(u) / np.where(moving, base, 1.0), 1.0)
        local[live] = np.eye(readings) + _products(slopes, stretch)
        size = np.sqrt(np.sum(off * off, axis=0))
        error[live] = np.where(np.isfinite(size), size, np.inf)
        if turn:
            moved = last[:, live].T
            told = (off - before[:, live]).T
            miss = told - ((local[live] + learnt[live]) @ moved[:, :, None])[:, :, 0]
            share = moved / np.sum(moved * moved, axis=1, keepdims=True)
            learnt[live] += miss[:, :, None] * share[:, None, :]
        going = (error[live] > SETTLED) & np.isfinite(error[live])
        off, live = off[:, going], live[going]
        if len(live) <= GIVEN_UP * count or turn == STEPS - 1:
            break
        step = _newton(local[live], learnt[live], off)
        before[:, live], last[:, live] = off, -step
        k[:, live] -= step
    return _weighed(
        problem, slopes, inner, start + slopes.T @ k, predicted, goal - noise, local + learnt, error
    )


def _newton(local: Array, learnt: Array, off: Array) -> Array:
    """Steps that take `off` away; without what was learnt where that makes no sense."""
    sound = np.isfinite(learnt).all(axis=(1, 2))
    learnt[~sound] = 0.0
    try:
        out: Array = np.asarray(np.linalg.solve(local + learnt, off.T[:, :, None]), dtype=np.float64)
    except np.linalg.LinAlgError:
        out = np.asarray(np.linalg.solve(local, off.T[:, :, None]), dtype=np.float64)
    step: Array = out[:, :, 0].T
    return step


def _products(slopes: Array, stretch: Array) -> Array:
    """J diag(stretch) J^T for every column of `stretch`, (N, M, M)."""
    readings, unknowns = slopes.shape
    pairs = (slopes[:, None, :] * slopes[None, :, :]).reshape(readings * readings, unknowns)
    return (pairs @ stretch).T.reshape(-1, readings, readings)


def _weighed(
    problem: Problem,
    slopes: Array,
    inner: Array,
    u: Array,
    predicted: Array,
    goal: Array,
    local: Array,
    error: Array,
) -> Draws:
    kept = error < ALLOWED
    if not kept.any():
        raise ValueError("no draw explains its readings")
    u, predicted = u[:, kept], predicted[:, kept]
    b = slopes @ u + goal[:, kept] - predicted
    log = -0.5 * np.sum(b * np.linalg.solve(inner, b), axis=0) - _log_size(local[kept])
    weights = _flattened(log)
    return Draws(problem.unknowns(u), predicted * problem.sd[:, None], weights, int((~kept).sum()), len(kept))


def _log_size(matrices: Array) -> Array:
    """Logarithm of the size of each determinant; hopeless where it is none."""
    size: Array = np.linalg.slogdet(matrices)[1]
    return np.where(np.isfinite(size), size, np.inf)


def _flattened(log: Array) -> Array:
    """Weights from their logarithms, flattened until a third of the draws count.

    A few huge weights would make intervals of chance. Flat weights are those of plain randomised maximum
    likelihood, which is nearly right already; so a power of the weights trades little error for much chance.
    """
    power = 1.0
    for _ in range(40):
        weights: Array = np.exp(power * (log - log.max()))
        weights /= weights.sum()
        if np.sum(weights**2) * COUNTING * len(weights) <= 1.0:
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
