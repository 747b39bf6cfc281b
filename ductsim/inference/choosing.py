"""Which further readings tell most: expected variances in the linear, normal approximation."""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
TOP = 24


def variance_after_one(covariance: Array, questions: Array, candidates: Array, noise: Array) -> Array:
    """Variance of each question after each single candidate reading, (Q, C).

    Parameters
    ----------
    covariance : array (A, A)
        Of the unknowns, set errors of the new readings among them.
    questions : array (Q, A)
        Gradients of the questions.
    candidates : array (C, A)
        Gradients of the candidate readings.
    noise : array (C,)
        Their own standard deviations.
    """
    spread = covariance @ candidates.T
    shared = questions @ spread
    total = np.einsum("ca,ac->c", candidates, spread) + noise**2
    now = np.einsum("qa,ab,qb->q", questions, covariance, questions)
    out: Array = np.maximum(now[:, None] - shared**2 / total, 0.0)
    return out


def variance_after(covariance: Array, questions: Array, candidates: Array, noise: Array) -> Array:
    """Variance of each question after all of the candidate readings together, (Q,)."""
    spread = covariance @ candidates.T
    inner = candidates @ spread + np.diag(noise**2)
    shared = questions @ spread
    now = np.einsum("qa,ab,qb->q", questions, covariance, questions)
    out: Array = np.maximum(now - np.einsum("qc,cq->q", shared, np.linalg.solve(inner, shared.T)), 0.0)
    return out


def best_sets(
    covariance: Array, questions: Array, candidates: Array, noise: Array, size: int, top: int = TOP
) -> list[tuple[float, tuple[int, ...]]]:
    """Sets of candidates by the sum of the questions' relative variances afterwards, the best first.

    All sets of the `top` best single candidates are tried, and the set that grows one by one out of all
    candidates. Questions are weighed by their variance now.
    """
    now = np.einsum("qa,ab,qb->q", questions, covariance, questions)
    weigh = 1.0 / np.where(now > 0.0, now, 1.0)
    single = weigh @ variance_after_one(covariance, questions, candidates, noise)
    chosen = np.argsort(single, kind="stable")[:top]
    tried = {_grown(covariance, questions, candidates, noise, size, weigh)}
    tried.update(tuple(sorted(int(i) for i in group)) for group in combinations(chosen, size))
    groups = np.array(sorted(tried), dtype=np.intp)
    spread = covariance @ candidates.T
    cross = candidates @ spread + np.diag(noise**2)
    shared = questions @ spread
    inner = cross[groups[:, :, None], groups[:, None, :]]
    own = shared[:, groups].transpose(1, 2, 0)
    gain = np.einsum("gsq,gsq->gq", own, np.linalg.solve(inner, own))
    worth = np.maximum(now - gain, 0.0) @ weigh
    order = np.argsort(worth, kind="stable")
    return [(float(worth[i]), tuple(int(k) for k in groups[i])) for i in order]


def _grown(
    covariance: Array, questions: Array, candidates: Array, noise: Array, size: int, weigh: Array
) -> tuple[int, ...]:
    """One candidate after the other, each the best beside those already taken."""
    taken: list[int] = []
    left = covariance
    for _ in range(size):
        worth = weigh @ variance_after_one(left, questions, candidates, noise)
        worth[taken] = np.inf
        best = int(np.argmin(worth))
        taken.append(best)
        a = candidates[best]
        spread = left @ a
        left = left - np.outer(spread, spread) / (a @ spread + noise[best] ** 2)
    return tuple(sorted(taken))
