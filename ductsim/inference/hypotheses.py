"""Several beliefs beforehand, held against the same readings: how well does each predict them?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .problem import BELIEVED, Index, Problem

Array = NDArray[np.float64]

STEPS = 8
ENOUGH = 5e-2  # gain in chi-square that ends the search
SHARES = (1.0, 0.3, 0.1)  # of a step: each is tried where those before are no better
NUDGE = 0.05  # standard deviations by which an unknown is moved to see its slope


@dataclass
class Weighed:
    """Hypotheses weighed.

    Attributes
    ----------
    x : array (A, H)
        The most probable unknowns under each.
    log_evidence : array (H,)
        Logarithm of the probability of the readings under each, to a common constant.
    """

    x: Array
    log_evidence: Array


def weigh(
    problem: Problem,
    slopes: Array,
    at: Array,
    means: Array,
    sds: Array,
    start: Array | None = None,
    own: Sequence[Sequence[int]] = (),
) -> Weighed:
    """Weigh hypotheses that differ in what they believe beforehand of each unknown.

    All are searched at once, as columns, with one Jacobian whose columns are stretched as the problem knows.
    Where a hypothesis takes an unknown far from where the Jacobian was taken, its slope may be quite another
    there (a screen that is nearly blinded): those of `own` are found by differences at every step. The
    evidence is that of the linear, normal approximation at each answer (Laplace).

    Parameters
    ----------
    problem : Problem
        Its own priors do not matter.
    slopes : array (M, A)
        Derivatives of the whitened readings in the unknowns, taken at `at`.
    at : array (A,)
        Where the Jacobian was taken.
    means, sds : arrays (A, H)
        What each hypothesis believes.
    start : array (A, H), optional
        Where each search begins; at the means if not given.
    own : sequence of sequences of int, optional
        For each hypothesis the unknowns whose slopes are its own.
    """
    stretch = problem.stretch or np.ones_like
    goal = (problem.measured / problem.sd)[:, None]
    base = stretch(at[:, None])
    moving = base != 0.0
    pairs = [(h, i) for h, of in enumerate(own) for i in of]

    shown = problem.following(means.shape[1])

    def predict(x: Array, which: Index) -> Array:
        return shown(problem.white(x), which, False)

    def local(which: Index) -> Array:
        """Jacobians of these hypotheses where they stand, in whitened unknowns."""
        x = means[:, which] + sds[:, which] * u[:, which]
        factor = np.where(moving, stretch(x) / np.where(moving, base, 1.0), 1.0) * sds[:, which]
        out: Array = slopes[None, :, :] * factor.T[:, None, :]
        place = {int(h): k for k, h in enumerate(which)}
        near = [(place[h], i) for h, i in pairs if h in place]
        if near:
            k, i = np.array(near, dtype=np.intp).T
            h = which[k]
            nudged = x[:, k]
            nudged[i, np.arange(len(i))] += NUDGE * sds[i, h]
            told = (predict(nudged, h) - predicted[:, h]) / NUDGE
            known = np.isfinite(told).all(axis=0)
            out[k[known], :, i[known]] = told[:, known].T
        return out

    u = np.zeros_like(means) if start is None else (start - means) / sds
    reach = np.maximum(BELIEVED, np.linalg.norm(u, axis=0))
    live = np.arange(means.shape[1])
    predicted = predict(means + sds * u, live)
    cost = _cost(predicted - goal, u)
    for _ in range(STEPS):
        mean, sd = means[:, live], sds[:, live]
        j = local(live)
        target = np.einsum("hma,ah->mh", j, u[:, live]) + goal - predicted[:, live]
        inner = np.eye(len(slopes)) + j @ j.transpose(0, 2, 1)
        k = np.linalg.solve(inner, target.T[:, :, None])
        step = (j.transpose(0, 2, 1) @ k)[:, :, 0].T - u[:, live]
        before = cost[live]
        waiting = np.arange(len(live))
        for share in SHARES:
            trial = u[:, live[waiting]] + share * step[:, waiting]
            trial *= np.minimum(1.0, reach[live[waiting]] / np.maximum(np.linalg.norm(trial, axis=0), 1e-9))
            there = predict(mean[:, waiting] + sd[:, waiting] * trial, live[waiting])
            worth = _cost(there - goal, trial)
            better = worth < cost[live[waiting]]
            columns = live[waiting[better]]
            u[:, columns], predicted[:, columns] = trial[:, better], there[:, better]
            cost[columns] = worth[better]
            waiting = waiting[~better]
            if not len(waiting):
                break
        live = live[before - cost[live] > ENOUGH]
        if not len(live):
            break
    j = local(np.arange(len(cost)))
    inner = np.eye(len(slopes)) + j @ j.transpose(0, 2, 1)
    return Weighed(means + sds * u, -0.5 * cost - 0.5 * np.linalg.slogdet(inner)[1])


def _cost(misfit: Array, u: Array) -> Array:
    out: Array = np.sum(misfit * misfit, axis=0) + np.sum(u * u, axis=0)
    return np.where(np.isfinite(out), out, np.inf)
