"""What a reading is worth to a decision: the value of sample information, from draws.

A decision takes one of K actions. On each of N draws of what is unknown every action has a gain, and every
reading a value. Who decides now takes the action with the best mean gain. Who reads first takes, after each
outcome, the action that is best in the light of it. What this adds to the mean gain is the reading's worth.

The mean gain of each action given the readings is found by regression over the draws, each draw left out of
its own. Its best action is chosen by that, and the gain counts that the action really has on that draw: so
chance alone adds nothing, and the worth is never more than that of knowing everything.

Sources: H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory (1961), for the value of sample
information; M. Strong, J. E. Oakley, A. Brennan, P. Breeze, Estimating the expected value of sample
information using the probabilistic sensitivity analysis sample, Medical Decision Making 35 (2015), for
finding it by regression. Both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FARTHEST = 3.0  # standard deviations beyond which a reading counts as being there: what is rare has no pull
RIDGE = 1e-3
DEGREE = 4
"""Powers of a single reading; of several readings there are squares and products."""
DRAWS_A_TERM = 5
"""So many draws for each term of the regression; where there are fewer, products and then squares go."""


@dataclass(frozen=True)
class Worth:
    """What readings add to the mean gain of a decision.

    Attributes
    ----------
    value : float
        In the gain's own measure; negative where the time that they take costs more than they tell.
    error : float
        Its standard error, because there are only so many draws.
    choice : array (N,)
        The action that would be taken on each draw.
    """

    value: float
    error: float
    choice: NDArray[np.intp]


def best_now(gains: Array, weights: Array) -> int:
    """The action that is taken without another reading, of gains (K, N); the first of equal ones."""
    return int(np.argmax(gains @ weights))


def worth_of_knowing(gains: Array, weights: Array) -> float:
    """The worth of knowing everything: no readings are worth more."""
    return float(gains.max(axis=0) @ weights - (gains @ weights).max())


def worth_of_reading(gains: Array, readings: Array, weights: Array, now: Array | None = None) -> Worth:
    """The worth of reading before deciding.

    Parameters
    ----------
    gains : array (K, N)
        Of the actions that are still open after the readings, on each draw.
    readings : array (B, N)
        What B readings taken together show on each draw, their errors included.
    weights : array (N,)
        Of the draws; they add up to 1.
    now : array (N,), optional
        The gain of what would be done without the readings; by default that of the best action.
    """
    base = gains[best_now(gains, weights)] if now is None else now
    choice = np.asarray(np.argmax(_left_out(gains, _terms(readings, weights), weights), axis=0))
    more = gains[choice, np.arange(len(weights))] - base
    value = float(more @ weights)
    error = float(np.sqrt(np.sum((weights * (more - value)) ** 2)))
    return Worth(value, error, choice)


def _left_out(gains: Array, terms: Array, weights: Array) -> Array:
    """The mean gains (K, N) given the terms (T, N), each draw left out of its own regression."""
    weighed = terms * weights
    inner = weighed @ terms.T
    inner[np.diag_indices(len(inner))] += np.where(np.arange(len(inner)) > 0, RIDGE, 0.0)
    solved = np.linalg.solve(inner, weighed)
    fitted = gains @ solved.T @ terms
    own = np.minimum(np.sum(solved * terms, axis=0), 1.0 - 1e-9)
    out: Array = (fitted - own * gains) / (1.0 - own)
    return out


def _terms(readings: Array, weights: Array) -> Array:
    """One, the readings, and their powers or products, (T, N)."""
    middle = readings @ weights
    away = readings - middle[:, None]
    sd = np.sqrt(away**2 @ weights)
    some = sd > 1e-12 * (1.0 + np.abs(middle))
    z = np.clip(away[some] / sd[some, None], -FARTHEST, FARTHEST)
    ones = np.ones((1, len(weights)))
    if len(z) == 1:
        return np.concatenate([ones, *(z**p for p in range(1, DEGREE + 1))])
    room = 1.0 / float(np.sum(weights**2)) / DRAWS_A_TERM
    products = np.array([z[i] * z[k] for i, k in combinations_with_replacement(range(len(z)), 2)])
    if len(z) and 1 + len(z) + len(products) <= room:
        return np.concatenate([ones, z, products])
    return np.concatenate([ones, z, z**2] if 1 + 2 * len(z) <= room else [ones, z])
