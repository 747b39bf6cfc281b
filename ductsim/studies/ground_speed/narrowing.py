"""What makes the band of the ground speed wide, and which observation would narrow it most."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...speed.calibrating import SCATTER
from ...statistics import normal_below, quantile

Array = NDArray[np.float64]

TRIED = 41
"""Speeds that are tried, over the middle nine in ten of the limits."""


@dataclass(frozen=True)
class Telling:
    """The observation that would narrow the band most.

    Attributes
    ----------
    speed : float
        How fast to drive, and then to note whether a unit blocks [m/s].
    chance : float
        How likely a unit blocks there, by what is known now.
    left : float
        The standard deviation of the limiting speed that is expected to be left, over the present one.
    """

    speed: float
    chance: float
    left: float


def most_telling(speeds: Array, highest: float = np.inf) -> Telling | None:
    """The speed at which driving tells most of the limit, none above `highest` [m/s].

    None where the draws have no spread, or all that would tell is faster.

    Whether a unit blocks at a speed is as likely as in a calibration: the limit of each draw is felt with a
    chance factor of spread `SCATTER`. What is left is the root of the expected variance after either outcome.
    """
    known = speeds[np.isfinite(speeds) & (speeds > 0.0)]
    if known.size < 2 or not known.std() > 1e-6 * known.mean():
        return None
    tried = np.linspace(quantile(known, 0.05), quantile(known, 0.95), TRIED)
    tried = tried[tried <= highest]
    if not tried.size:
        return None
    blocks = normal_below(np.log(tried[:, None] / known) / SCATTER)
    expected = sum((_left(known, weights) for weights in (blocks, 1.0 - blocks)), np.zeros(tried.size))
    best = int(expected.argmin())
    left = float(np.sqrt(expected[best] / known.var()))
    return Telling(float(tried[best]), float(blocks[best].mean()), left)


def _left(values: Array, weights: Array) -> Array:
    """Share of each row of weights times the variance that it leaves."""
    whole = np.maximum(weights.sum(axis=1), 1e-300)
    mean = weights @ values / whole
    spread = (weights * (values - mean[:, None]) ** 2).sum(axis=1) / whole
    out: Array = spread * whole / len(values)
    return out


def deciding(draws: Mapping[str, Array], speeds: Array) -> dict[str, float]:
    """Address -> the share of the limit's variance that goes along with that number, the largest first.

    The squared rank correlation, which asks only that the limit rises or falls with the number.
    """
    known = np.isfinite(speeds) & (speeds > 0.0)
    if known.sum() < 3 or np.ptp(speeds[known]) == 0.0:
        return {}
    own = _ranks(speeds[known])
    shares = {
        address: float(np.corrcoef(_ranks(values[known]), own)[0, 1]) ** 2
        for address, values in draws.items()
        if np.ptp(values[known]) > 0.0
    }
    return dict(sorted(shares.items(), key=lambda item: -item[1]))


def _ranks(values: Array) -> Array:
    """Ranks of values, equal ones with their mean rank."""
    _, place, often = np.unique(values, return_inverse=True, return_counts=True)
    ranks: Array = np.cumsum(often) - 0.5 * (often - 1.0)
    return ranks[place]
