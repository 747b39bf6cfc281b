"""What each fix is worth in the company of the others, and which of them need or spoil each other.

Everything here works on a table of all 2^n sets of n fixes: entry s is the gain of the set whose fixes are
the bits of s, gain of the empty set 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def members(n: int) -> NDArray[np.bool_]:
    """All 2^n sets of n fixes as rows of shape (2^n, n), in the order of their bits."""
    return ((np.arange(2**n)[:, None] >> np.arange(n)) & 1).astype(bool)


def best_within(gain: Array) -> Array:
    """The gains with each NaN replaced by the largest gain among the set's own parts.

    A set of fixes that contradict each other cannot be done; the best part of it can.
    """
    best = np.where(np.isnan(gain), -np.inf, gain)
    n = int(math.log2(len(gain)))
    for i in range(n):
        split = best.reshape(2 ** (n - 1 - i), 2, -1)
        split[:, 1] = np.maximum(split[:, 1], split[:, 0])
    return np.where(np.isnan(gain), best, gain)


def shapley(gain: Array) -> Array:
    """The mean marginal gain of each fix over all orders in which they can be done.

    Parameters
    ----------
    gain : array (2^n,) or (2^n, M)
        Gain of every set, without NaN.

    Returns
    -------
    array (n,) or (n, M)
        They add up to the gain of all fixes together, less that of none.

    Notes
    -----
    worth(i) = sum over sets S without i of |S|! (n - |S| - 1)! / n! (gain(S with i) - gain(S)): the value
    of a player in a cooperative game, Shapley 1953.
    """
    n = int(math.log2(len(gain)))
    size = members(n).sum(axis=1) if n else np.zeros(1, dtype=int)
    weight = np.array([1.0 / (n * math.comb(n - 1, k)) for k in range(n)])
    out = np.zeros((n, *gain.shape[1:]))
    every = np.arange(len(gain))
    for i in range(n):
        without = every[(every >> i) & 1 == 0]
        difference = gain[without | (1 << i)] - gain[without]
        out[i] = np.tensordot(weight[size[without]], difference, axes=1)
    return out


@dataclass(frozen=True)
class Together:
    """How fixes act on each other.

    Attributes
    ----------
    kind : str
        "only together": the first gains nothing alone, but does once the others are done;
        "cancel": together they gain less than the better of them alone, or what one gains the other takes;
        "overlap": once the other is done, the first gains less than half of what it gains alone;
        "reinforce": together they gain clearly more than both gains added.
    fixes : tuple of int
    alone : float
        Gain of the first fix alone.
    marginal : float
        Its gain once the others are done.
    """

    kind: str
    fixes: tuple[int, ...]
    alone: float
    marginal: float


def interactions(
    at: Callable[[int], float], fixes: Sequence[int], noticed: float, most: int = 3
) -> list[Together]:
    """How fixes act on each other, the strongest first.

    Parameters
    ----------
    at : callable
        Set (bits) -> gain; NaN where it cannot be done or is not known.
    fixes : sequence of int
        The bits to look at.
    noticed : float
        A gain that can be told from none.
    most : int
        How many other fixes a fix may need, at most.
    """
    out = [found for i in fixes if (found := _needs_company(at, fixes, i, noticed, most))]
    taken = {frozenset(found.fixes) for found in out}
    for k, i in enumerate(fixes):
        for j in fixes[:k]:
            if frozenset((i, j)) not in taken:
                out += _pair(at, i, j, noticed)
    return sorted(out, key=lambda t: -abs(t.marginal - t.alone))


def _needs_company(
    at: Callable[[int], float], fixes: Sequence[int], i: int, noticed: float, most: int
) -> Together | None:
    """The smallest company in which a fix that gains nothing alone does gain, the best of that size."""
    alone = at(1 << i)
    if not alone <= noticed:
        return None
    others = [j for j in fixes if j != i]
    for size in range(1, most + 1):
        found = []
        for company in combinations(others, size):
            base = sum(1 << j for j in company)
            marginal = at(base | 1 << i) - at(base)
            if marginal > noticed:
                found.append((marginal, company))
        if found:
            marginal, company = max(found)
            return Together("only together", (i, *company), alone, marginal)
    return None


def _pair(at: Callable[[int], float], i: int, j: int, noticed: float) -> list[Together]:
    """What two fixes do to each other, seen from the one that changes more."""
    one, other, both = at(1 << i), at(1 << j), at(1 << i | 1 << j)
    if math.isnan(one + other + both):
        return []
    first, second, alone, company = (i, j, one, other) if abs(one) <= abs(other) else (j, i, other, one)
    marginal = both - company
    if min(one, other) > noticed and both < max(one, other) - noticed:
        return [Together("cancel", (first, second), alone, marginal)]
    if min(one, other) < -noticed and max(one, other) > noticed and abs(both) < 0.1 * max(one, other):
        return [Together("cancel", (first, second), alone, marginal)]
    if alone > noticed and company > noticed:
        if marginal < 0.5 * alone and alone - marginal > noticed:
            return [Together("overlap", (first, second), alone, marginal)]
        if marginal > 1.2 * alone and marginal - alone > noticed:
            return [Together("reinforce", (first, second), alone, marginal)]
    return []


def sampled_worths(order_gains: Array, orders: NDArray[np.intp]) -> tuple[Array, Array]:
    """Worths and their standard errors from some orders in which the fixes are done.

    Parameters
    ----------
    order_gains : array (orders, n + 1)
        Gain after each step, the first of each row with nothing done.
    orders : array (orders, n)
        The fix done at each step.
    """
    steps = np.diff(order_gains, axis=1)
    by_fix = np.empty_like(steps)
    np.put_along_axis(by_fix, orders, steps, axis=1)
    return by_fix.mean(axis=0), by_fix.std(axis=0, ddof=1) / math.sqrt(len(orders))
