"""Least squares with priors: the one fitting core behind every fit."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Course = Callable[[Array, Index, bool], Array]

BELIEVED = 16.0
"""A search goes no farther from the prior's means, all unknowns together (root of the sum of squares)
[standard deviations]: nothing is believed out there, and machines are so odd that solving one takes seconds.
A leak fifty times what was likely (12) is well within, and so are 200 other numbers that fit."""
MOST_TRIALS = 60  # predictions of the final search where every unknown has a prior
HOPELESS, FEW_TRIALS = 30.0, 6
"""Chi-square a reading from which readings contradict each other, whatever the unknowns; and the predictions
that the final search makes then: the exact best of what is wrong is worth no more."""
FAR = 1e3  # residual of a reading that could not be predicted, in standard deviations
LITTLE = 0.01
"""Gain in chi-square that a linear step with a new Jacobian promises, from which the Jacobian is as good as
that at the end: a tenth of a standard deviation away."""
NOTHING_LEFT = 1e-6  # gain that a linear step promises where there is nothing left to search for
PRE_STEPS, REFRESHED = 12, 6
SHARES = np.array([1.0, 0.5, 0.2, 0.05])  # of a step: all are tried at once


@dataclass
class Problem:
    """Readings to be explained by unknowns.

    Attributes
    ----------
    predict : callable
        Unknowns (A, N) -> predicted readings (M, N); NaN where there is no answer.
    jacobian : callable
        Unknowns (A,) -> predicted readings (M,) and their derivatives (M, A).
    measured, sd : arrays (M,)
    mean, prior_sd : arrays (A,)
        Beforehand each unknown is normal and independent; an infinite `prior_sd` says nothing.
    stretch : callable or None
        Unknowns (A, N) -> (A, N): factors by which the columns of the Jacobian are known to vary, as the
        slope of a number on its scale. With it, one Jacobian serves in a wide neighbourhood.
    solves : int
        How many columns were predicted so far.
    """

    predict: Callable[[Array], Array]
    jacobian: Callable[[Array], tuple[Array, Array]]
    measured: Array
    sd: Array
    mean: Array
    prior_sd: Array
    stretch: Callable[[Array], Array] | None = None
    solves: int = 0
    jacobians: int = 0
    follow: Callable[[int], Course] | None = None

    def whitened(self, u: Array) -> Array:
        """Predicted readings over their standard deviations at whitened unknowns (A, N)."""
        self.solves += u.shape[1]
        return self.predict(self.unknowns(u)) / self.sd[:, None]

    def following(self, count: int) -> Course:
        """`whitened` for so many columns that move little by little, as `follow` has it."""
        asked = None if self.follow is None else self.follow(count)

        def whitened(u: Array, which: Index, roughly: bool) -> Array:
            if asked is None:
                return self.whitened(u)
            self.solves += u.shape[1]
            return asked(self.unknowns(u), which, roughly) / self.sd[:, None]

        return whitened

    def unknowns(self, u: Array) -> Array:
        """Unknowns from whitened ones, (A,) or (A, N)."""
        scale, mean = self.width, self.mean
        return mean + scale * u if u.ndim == 1 else mean[:, None] + scale[:, None] * u

    def white(self, x: Array) -> Array:
        """Whitened unknowns from unknowns."""
        scale, mean = self.width, self.mean
        return (x - mean) / scale if x.ndim == 1 else (x - mean[:, None]) / scale[:, None]

    @property
    def width(self) -> Array:
        """The prior's standard deviations, 1 where it says nothing."""
        return np.where(np.isfinite(self.prior_sd), self.prior_sd, 1.0)

    def whitened_jacobian(self, u: Array) -> tuple[Array, Array]:
        """Predictions and Jacobian in whitened readings and unknowns."""
        self.jacobians += 1
        predicted, slopes = self.jacobian(self.unknowns(u))
        return predicted / self.sd, slopes / self.sd[:, None] * self.width

    def held(self, u: Array, reach: float) -> Array:
        """Whitened unknowns (A,), drawn back to within `reach` of the priors; as they are without priors."""
        size = float(np.linalg.norm(u))
        return u * (reach / size) if size > reach and np.isfinite(self.prior_sd).all() else u

    def factors(self, u: Array) -> Array:
        """`stretch` at whitened unknowns (A, N); ones without it."""
        return np.ones_like(u) if self.stretch is None else self.stretch(self.unknowns(u))


@dataclass
class Estimate:
    """The unknowns that explain the readings best, prior beliefs counted in.

    Attributes
    ----------
    x : array (A,)
        The unknowns.
    predicted : array (M,)
        The readings they predict.
    residuals : array (M,)
        (predicted - measured) / sd.
    slopes : array (M, A)
        The Jacobian there, in whitened readings and unknowns.
    covariance : array (A, A)
        Of the unknowns, linear.
    chi_square : float
        Sum of the squared residuals of readings and priors together; with M readings and priors everywhere
        its mean is M.
    evaluations : int
        Predictions made by the search.
    message : str
    """

    x: Array
    predicted: Array
    residuals: Array
    slopes: Array
    covariance: Array
    chi_square: float
    evaluations: int
    message: str


def find(problem: Problem, start: Array | None = None, tolerance: float = 1e-4) -> Estimate:
    """The best estimate, by least squares with exact derivatives.

    With priors everywhere, Newton steps in the space of the readings lead near the answer with few
    Jacobians; `scipy.optimize.least_squares` does the rest, and all of it without priors.

    Parameters
    ----------
    problem : Problem
        Readings and priors.
    start : array (A,), optional
        Where to begin; the prior means if not given.
    tolerance : float
        Relative tolerance of unknowns and cost.
    """
    u0 = np.zeros(len(problem.mean)) if start is None else problem.white(np.asarray(start, dtype=float))
    known = np.isfinite(problem.prior_sd)
    kept: dict[bytes, tuple[Array, Array]] = {}
    trials = MOST_TRIALS
    if known.all() and problem.stretch is not None:
        u0, here, cost, gain = _approach(problem, u0)
        if gain < NOTHING_LEFT:
            return _estimate(problem, u0, here, np.ones(len(u0)), 0.5 * cost, 0, "the approach has converged")
        if cost > HOPELESS * len(problem.measured):
            trials = FEW_TRIALS
    from scipy.optimize import least_squares  # which takes longer to load than most fits take

    goal = problem.measured / problem.sd
    weight = known.astype(float)
    reach = max(BELIEVED, float(np.linalg.norm(u0)))

    def at(u: Array) -> tuple[Array, Array]:
        key = u.tobytes()
        if key not in kept:
            kept.clear()
            kept[key] = problem.whitened_jacobian(u)
        return kept[key]

    def residuals(u: Array) -> Array:
        predicted = problem.whitened(problem.held(u, reach)[:, None])[:, 0]
        miss = np.where(np.isfinite(predicted), predicted - goal, FAR)
        return np.concatenate([miss, (weight * u)[known]])

    def slopes(u: Array) -> Array:
        inner = problem.held(u, reach)
        own = at(inner)[1]
        if inner is not u:  # what is drawn back moves sideways only
            way = u / np.linalg.norm(u)
            own = (own - np.outer(own @ way, way)) * (reach / np.linalg.norm(u))
        return np.vstack([own, np.diag(weight)[known]])

    found = least_squares(
        residuals,
        u0,
        slopes,
        method="lm",
        x_scale="jac" if not known.all() else 1.0,
        xtol=tolerance,
        ftol=tolerance,
        gtol=tolerance,
        max_nfev=trials if known.all() else None,
    )
    u = problem.held(found.x, reach)
    return _estimate(problem, u, at(u), weight, float(found.cost), int(found.nfev), str(found.message))


def _estimate(
    problem: Problem,
    u: Array,
    here: tuple[Array, Array],
    weight: Array,
    cost: float,
    evaluations: int,
    message: str,
) -> Estimate:
    predicted, slopes = here
    information = slopes.T @ slopes + np.diag(weight)
    covariance = problem.width[:, None] * np.linalg.inv(information) * problem.width
    return Estimate(
        x=problem.unknowns(u),
        predicted=predicted * problem.sd,
        residuals=predicted - problem.measured / problem.sd,
        slopes=slopes,
        covariance=covariance,
        chi_square=2.0 * cost,
        evaluations=evaluations,
        message=message,
    )


def _approach(problem: Problem, u: Array) -> tuple[Array, tuple[Array, Array], float, float]:
    """Newton steps in the space of the readings, with the Jacobian's columns stretched as they are known to.

    The best whitened unknowns are J^T times the misfit: as many numbers as there are readings. What the steps
    show beyond the Jacobian is learnt by Broyden's rule. Comes back with the point, predictions and Jacobian
    there, its chi-square, and what a linear step still promises to gain; infinite where that Jacobian is not
    known to be good.
    """
    goal = problem.measured / problem.sd
    reach = max(BELIEVED, float(np.linalg.norm(u)))
    for _ in range(REFRESHED):
        predicted, slopes = problem.whitened_jacobian(u)
        cost = _cost(predicted - goal, u)
        base, learnt = problem.factors(u[:, None])[:, 0], np.zeros_like(slopes)
        step, promised = _step(slopes, goal - predicted, u)
        good = promised < LITTLE
        enough = NOTHING_LEFT if good else 0.5 * LITTLE
        shown = problem.following(len(SHARES))
        for _ in range(PRE_STEPS):
            if promised < enough:
                break
            trial, there, worth = _along(problem, shown, goal, u, step, reach)
            if not worth < cost:
                break
            moved, told = trial - u, there - predicted
            u, predicted, cost = trial, there, worth
            local = _stretched(slopes, base, problem.factors(u[:, None])[:, 0])
            learnt += np.outer(told - (local + learnt) @ moved, moved) / (moved @ moved)
            step, promised = _step(local + learnt, goal - predicted, u)
        if good and promised < enough:
            local = _stretched(slopes, base, problem.factors(u[:, None])[:, 0])
            return u, (predicted, local), cost, promised
    return u, (predicted, slopes), cost, np.inf


def _along(
    problem: Problem, shown: Course, goal: Array, u: Array, step: Array, reach: float
) -> tuple[Array, Array, float]:
    """The best point along a step of those tried."""
    trial = np.array([problem.held(u + share * step, reach) for share in SHARES]).T
    there = shown(trial, np.arange(len(SHARES)), False)
    miss = there - goal[:, None]
    worth = np.sum(miss * miss, axis=0) + np.sum(trial * trial, axis=0)
    best = int(np.argmin(np.where(np.isfinite(worth), worth, np.inf)))
    return trial[:, best], there[:, best], float(worth[best]) if np.isfinite(worth[best]) else np.inf


def _stretched(slopes: Array, base: Array, now: Array) -> Array:
    """A Jacobian taken where the columns' factors were `base`, where they are `now`."""
    moving = base != 0.0
    return slopes * np.where(moving, now / np.where(moving, base, 1.0), 1.0)


def _step(slopes: Array, misfit: Array, u: Array) -> tuple[Array, float]:
    """The step to the best linear answer from u, priors centred at 0, and the gain that it promises."""
    inner = np.eye(len(slopes)) + slopes @ slopes.T
    pull = np.linalg.solve(inner, misfit + slopes @ u)
    end = slopes.T @ pull
    return end - u, _cost(misfit, u) - float((misfit + slopes @ u) @ pull)


def _cost(misfit: Array, u: Array) -> float:
    return float(misfit @ misfit + u @ u)
