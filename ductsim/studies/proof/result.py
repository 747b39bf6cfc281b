"""What readings before and after a fix prove."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ...fixes.fix import Fix
from ...inference.scales import EDGE
from ...machine.machine import Machine
from ...readings.table import Reading
from ...result import Note, Result
from ...statistics import chance_beyond, normal_below

Array = NDArray[np.float64]

SURE = EDGE  # one-sided: a fix without any effect passes in 2.5 % of cases
NEEDED = 1.0 / (SURE + 1.281552)  # standard deviation of the effect at which nine of ten working fixes show
MOST = 1000
AS_EXPECTED, LESS, MORE, NOT, UNTOLD = (
    "works as expected",
    "works, but less than expected",
    "works, more than expected",
    "does not work as expected",
    "cannot be told",
)


@dataclass(repr=False, eq=False)
class Proof(Result):
    """A fix proved or not; made by `proof`.

    `effect` is the measured change as a share of the expected one, over all readings together: 1 means as
    expected, 0 none. It weighs each reading by its errors.

    Attributes
    ----------
    machine : Machine
        Before the fix.
    fix : Fix
    points : list of Reading
        The K places that were read before and after, at the speed that both are reduced to.
    planned : bool
        True where nothing was measured: what it would take.
    means : array (2, K)
        Readings before and after, reduced to one speed and density, the mean at each place; SI.
    counts : array (2, K)
        How many readings they are the means of.
    own : array (K,)
        Variance of the change at each place by the errors of each reading by itself.
    common : array (K, E)
        What one standard deviation of each error common to a set makes of the changes.
    changes : array (K, S)
        What the fix changes on S possible machines, at the machine's own speed and weather.
    seen : list of Note
        What was left out.
    """

    machine: Machine
    fix: Fix
    points: list[Reading]
    planned: bool
    means: Array
    counts: NDArray[np.int_]
    own: Array
    common: Array
    changes: Array
    seen: list[Note]

    @property
    def change(self) -> Array:
        """The measured change at each place (K,), SI."""
        out: Array = self.means[1] - self.means[0]
        return out

    @property
    def expected(self) -> Array:
        """The expected change at each place (K,), SI."""
        out: Array = self.changes.mean(axis=1)
        return out

    @property
    def covariance(self) -> Array:
        """Of the changes by the errors of the readings, (K, K)."""
        out: Array = np.diag(self.own) + self.common @ self.common.T
        return out

    def only(self, tappings: Sequence[str]) -> Proof:
        """The same proof by what is read at some of its tappings alone, in that order; nothing is solved."""
        rows = [k for name in tappings for k, point in enumerate(self.points) if point.tapping == name]
        return replace(
            self,
            points=[self.points[k] for k in rows],
            means=self.means[:, rows],
            counts=self.counts[:, rows],
            own=self.own[rows],
            common=self.common[rows],
            changes=self.changes[rows],
        )

    # ---- the effect

    @cached_property
    def weights(self) -> Array:
        """Weights by which the changes make up the effect (K,)."""
        solved: Array = np.asarray(np.linalg.solve(self.covariance, self.expected), dtype=np.float64)
        total = float(self.expected @ solved)
        return solved / total if total > 0.0 else np.full(len(self.expected), math.nan)

    @property
    def effect(self) -> float:
        """Measured change over the expected one; NaN when planned."""
        return math.nan if self.planned else float(self.weights @ self.change)

    @property
    def effect_sd(self) -> float:
        """Standard deviation of the effect by the errors of the readings; infinite if nothing is expected."""
        weights = self.weights
        sd = math.sqrt(float(weights @ self.covariance @ weights))
        return sd if math.isfinite(sd) else math.inf

    @property
    def expected_sd(self) -> float:
        """Standard deviation of the effect that was expected, because the machine is not known exactly."""
        sd = float(np.std(self.weights @ self.changes))
        return sd if math.isfinite(sd) else 0.0

    @property
    def verdict(self) -> str:
        """In words: one of `AS_EXPECTED`, `LESS`, `MORE`, `NOT` and `UNTOLD`."""
        sd, both = self.effect_sd, math.hypot(self.effect_sd, self.expected_sd)
        if self.planned or not math.isfinite(sd):
            return UNTOLD
        if self.effect > SURE * sd:
            if self.effect < 1.0 - SURE * both:
                return LESS
            return MORE if self.effect > 1.0 + SURE * both else AS_EXPECTED
        return NOT if self.effect < 1.0 - SURE * both else UNTOLD

    @property
    def power(self) -> float:
        """Chance that a fix which works as expected shows, with these readings."""
        if not math.isfinite(self.effect_sd):
            return 0.025
        return float(np.mean(normal_below(self.weights @ self.changes / self.effect_sd - SURE)))

    @property
    def pattern_chance(self) -> float:
        """How often the changes differ so much from place to place by the readings' errors alone."""
        if self.planned or len(self.points) < 2 or not math.isfinite(self.effect_sd):
            return 1.0
        miss = self.change - self.effect * self.expected
        uncertain = np.cov(self.changes) * min(self.effect, 1.0) ** 2
        total = float(miss @ np.linalg.solve(self.covariance + uncertain, miss))
        return chance_beyond(total, len(miss) - 1)

    @cached_property
    def readings_needed(self) -> int | None:
        """Readings at each place, before and after, at which nine of ten working fixes show.

        None where the errors common to a set stand in the way however many there are.
        """
        each, common = self.own * self.counts.min(axis=0), self.common @ self.common.T
        expected = self.expected

        def enough(n: int) -> bool:
            inner = np.diag(each / n) + common
            return bool(expected @ np.linalg.solve(inner, expected) >= NEEDED**-2)

        n = 1 + bisect_left(range(1, MOST + 1), True, key=enough)  # more readings never tell less
        return n if n <= MOST else None

    @property
    def sets_needed(self) -> int | None:
        """Sets like these, each with the gauge zeroed and the speed read anew, before and after."""
        if not math.isfinite(self.effect_sd):
            return None
        count = math.ceil((self.effect_sd / NEEDED) ** 2)
        return count if count <= MOST else None
