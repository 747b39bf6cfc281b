"""Which input the spread of an answer comes from: variance shares by sampling."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Shares:
    """Shares of the variance, and the standard errors of these estimates, each of shape (inputs,).

    Attributes
    ----------
    first : share that an input explains alone [-].
    first_error : its standard error [-].
    total : share that would remain if all other inputs were known [-].
    total_error : its standard error [-].
    """

    first: Array
    first_error: Array
    total: Array
    total_error: Array


def variance_shares(one: Array, two: Array, mixed: Array) -> Shares:
    """First-order and total variance shares from three sets of answers.

    Parameters
    ----------
    one, two : arrays (n,)
        Answers at two independent samples A and B.
    mixed : array (inputs, n)
        Answers at A with one input after the other taken from B.

    Returns
    -------
    Shares
        First-order shares by mean(f_B (f_AB - f_A)) / V, total ones by mean((f_A - f_AB)^2) / (2 V).

    Sources: Saltelli et al. (2010), Computer Physics Communications 181, 259-270 (first order); Jansen
    (1999), Computer Physics Communications 117, 35-43 (total); both from memory.
    """
    variance = np.var(np.concatenate([one, two]), ddof=1)
    if not variance > 0.0:
        nothing = np.zeros(len(mixed))
        return Shares(nothing, nothing, nothing, nothing)
    middle = 0.5 * (one.mean() + two.mean())
    first = (two - middle) * (mixed - one) / variance
    total = 0.5 * (mixed - one) ** 2 / variance
    count = len(one)
    return Shares(
        first.mean(axis=1),
        first.std(axis=1, ddof=1) / np.sqrt(count),
        total.mean(axis=1),
        total.std(axis=1, ddof=1) / np.sqrt(count),
    )
