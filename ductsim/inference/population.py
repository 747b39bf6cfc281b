"""What is usual among machines alike, from what is believed of each: hierarchical Bayes by quadrature.

Each machine's unknowns are coordinates that were standard normal beforehand; what its readings made of them
is taken as normal. Taking the prior out again leaves what the readings alone say. Among the machines an
unknown is normal about a mean with a standard deviation, both uncertain. The means of all unknowns together
are integrated out exactly (they are normal); each spread by quadrature, the others meanwhile at the root of
their mean square, until nothing moves.

What was believed of one machine is split evenly: half of its variance is what all machines have in common,
half is how they differ (half normal, with that mean square). So without any reading the next machine is
believed to be as before. That even split is our assumption.

Source: A. Gelman and others, Bayesian Data Analysis, chapter 5, for the hierarchical normal model (from
memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..statistics import normal_below

Array = NDArray[np.float64]

COMMON = 0.5
"""The share of an unknown's variance that machines of one description have in common."""
SPREADS = np.geomspace(0.02, 3.5, 48)
TURNS, STILL = 30, 1e-3
WIDE = 4.0
"""The variance of an unknown that is odd: of it the others say nothing."""
UNTOLD = 1e6
"""The variance of what says nothing."""


@dataclass(frozen=True)
class Usual:
    """What is usual of one unknown: how likely each of the `SPREADS` is, and its mean with each of them.

    Attributes
    ----------
    weights, means, variances : arrays (spreads,)
        The weights add up to 1; the variances are those of the means.
    """

    weights: Array
    means: Array
    variances: Array

    @property
    def mean(self) -> float:
        """Of the next machine's coordinate."""
        return float(self.weights @ self.means)

    @property
    def variance(self) -> float:
        """Of the next machine's coordinate: how machines differ, and that their mean is not known."""
        own = SPREADS**2 + self.variances + (self.means - self.mean) ** 2
        return float(self.weights @ own)

    @property
    def spread(self) -> float:
        """How machines differ, the root of the mean square."""
        return float(np.sqrt(self.weights @ SPREADS**2))

    def below(self, value: float, variance: float = 0.0) -> float:
        """The chance that the next machine's coordinate, seen with an error, is below a value."""
        width = np.sqrt(SPREADS**2 + self.variances + variance)
        return float(self.weights @ normal_below((value - self.means) / width))

    def quantile(self, share: float) -> float:
        """The value that the next machine's coordinate is below with this chance."""
        from scipy.optimize import brentq

        return float(brentq(lambda x: self.below(x) - share, -60.0, 60.0, xtol=1e-6))


@dataclass(frozen=True)
class Told:
    """What the readings of one machine alone say: information (A, A) and its product with the mean (A,)."""

    information: Array
    shift: Array

    @classmethod
    def of(cls, mean: Array, covariance: Array, least: float = 0.0) -> Told:
        """From what is believed after the readings, the standard normal prior taken out again.

        Directions told by less than `least` count as not told: so little is chance of the draws.
        """
        inverse = np.linalg.inv(covariance)
        values, ways = np.linalg.eigh(0.5 * (inverse + inverse.T) - np.eye(len(mean)))
        told = values > least
        # where nothing is told the mean is no news either
        information = (ways * np.where(told, values, 0.0)) @ ways.T
        return cls(information, (ways * told) @ ways.T @ (inverse @ mean))

    def believed(self, mean: Array, variance: Array) -> tuple[Array, Array]:
        """Mean and covariance of the machine's coordinates where so much is usual."""
        covariance: Array = np.asarray(np.linalg.inv(self.information + np.diag(1.0 / variance)), float)
        return covariance @ (self.shift + mean / variance), covariance

    def likelihood(self, mean: Array, variance: Array) -> float:
        """How well the readings fit a machine of which so much is usual: a logarithm, up to a constant."""
        middle, covariance = self.believed(mean, variance)
        shift = self.shift + mean / variance
        size = np.linalg.slogdet(covariance)[1] - np.log(variance).sum()
        return 0.5 * float(size + shift @ middle - np.sum(mean**2 / variance))

    def freed(self, mean: Array, variance: Array) -> int:
        """The unknown that, taken as unlike what is usual, explains the readings best."""
        every = np.arange(len(mean))
        own = [
            self.likelihood(np.where(every == a, 0.0, mean), np.where(every == a, WIDE, variance))
            for a in every
        ]
        return int(np.argmax(own))

    def shows(self, a: int, mean: Array, variance: Array) -> tuple[float, float]:
        """What it shows of one unknown, and the variance of that, where so much is usual of the others."""
        wide = variance.copy()
        wide[a] = UNTOLD
        middle, covariance = self.believed(np.where(np.arange(len(mean)) == a, 0.0, mean), wide)
        sharp = 1.0 / covariance[a, a] - 1.0 / UNTOLD
        if sharp <= 2.0 / UNTOLD:
            return 0.0, UNTOLD
        return float(middle[a] / covariance[a, a] / sharp), float(1.0 / sharp)


def learn(
    machines: Sequence[Told],
    left_out: NDArray[np.bool_],
    spreads: Array | None = None,
    turns: int = TURNS,
) -> list[Usual]:
    """What is usual of every unknown.

    Parameters
    ----------
    machines : sequence of Told
        N of them.
    left_out : array (N, A)
        Which unknowns of which machines do not count: those are odd.
    spreads : array (A,), optional
        Where to begin: how machines differ.
    turns : int
        How often all unknowns are gone through, at most.
    """
    size = left_out.shape[1]
    known = np.full(size, np.sqrt(1.0 - COMMON)) if spreads is None else spreads.copy()
    informations = np.array([m.information for m in machines])
    shifts = np.array([m.shift for m in machines])
    found: list[Usual] = []
    for _ in range(turns):
        before = known.copy()
        found = []
        for a in range(size):
            grid = np.repeat(known[None], len(SPREADS), axis=0)
            grid[:, a] = SPREADS
            log, means, variances = _integrated(informations, shifts, left_out, grid, a)
            log = log - 0.5 * SPREADS**2 / (1.0 - COMMON) + np.log(np.gradient(SPREADS))
            weights = np.exp(log - log.max())
            found.append(Usual(weights / weights.sum(), means, variances))
            known[a] = found[a].spread
        if np.abs(np.log(known / before)).max() < STILL:
            break
    return found


def _integrated(
    informations: Array, shifts: Array, left_out: NDArray[np.bool_], spreads: Array, a: int
) -> tuple[Array, Array, Array]:
    """Of each row of spreads (G, A): the log likelihood, the means integrated out, and the mean of unknown a.

    Given the means m a machine adds (d + K m)' P (d + K m) / 2 - m' K m / 2 to the exponent, with K the
    precision among machines, P = (information + K)^-1 and d its shift. That is quadratic in m.
    """
    size = spreads.shape[1]
    precision = np.where(left_out[None], 1.0 / WIDE, 1.0 / spreads[:, None, :] ** 2)  # (G, N, A)
    pull = np.where(left_out[None], 0.0, precision)
    inner = informations[None] + precision[..., None] * np.eye(size)
    covariance = np.linalg.inv(inner)
    middle = np.einsum("gnab,nb->gna", covariance, shifts)
    log = 0.5 * (
        np.log(precision).sum(axis=(1, 2))
        - np.linalg.slogdet(inner)[1].sum(axis=1)
        + np.einsum("na,gna->g", shifts, middle)
    )
    information = (
        np.eye(size) / COMMON
        + pull.sum(axis=1)[:, :, None] * np.eye(size)
        - np.einsum("gna,gnab,gnb->gab", pull, covariance, pull)
    )
    shift = np.einsum("gna,gna->ga", pull, middle)
    of_means = np.linalg.inv(information)
    means = np.einsum("gab,gb->ga", of_means, shift)
    log += 0.5 * (np.einsum("ga,ga->g", shift, means) - np.linalg.slogdet(information)[1])
    return log, means[:, a], of_means[:, a, a]


def oddness(
    machines: Sequence[Told], left_out: NDArray[np.bool_], spreads: Array
) -> tuple[Array, Array, NDArray[np.intp]]:
    """How often a machine like the others shows an unknown so far off, two-sided, and what it shows; (N, A).

    Each machine is held against what is usual of the others. The third is, of each machine, the unknown that
    explains it best if it is odd: where readings tell several only together, not always the one farthest off.
    """
    chances, seen = np.ones(left_out.shape), np.zeros(left_out.shape)
    freed = np.zeros(len(machines), dtype=np.intp)
    for i, told in enumerate(machines):
        rest = [k for k in range(len(machines)) if k != i]
        others = learn([machines[k] for k in rest], left_out[rest], spreads, turns=1)
        mean = np.where(left_out[i], 0.0, [u.mean for u in others])
        variance = np.where(left_out[i], WIDE, [u.variance for u in others])
        for a, own in enumerate(others):
            seen[i, a], error = told.shows(a, mean, variance)
            if error < UNTOLD and not left_out[i, a]:
                share = own.below(float(seen[i, a]), error)
                chances[i, a] = 2.0 * min(share, 1.0 - share)
        freed[i] = told.freed(mean, variance)
    return chances, seen, freed
