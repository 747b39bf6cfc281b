"""What several hypotheses together leave possible: draws around each, by its share."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...inference.problem import Estimate, Problem
from ...inference.sampling import Draws, draw
from ...readings.model import ReadingModel

Array = NDArray[np.float64]

MIXED = 0.05
"""Hypotheses less probable than this are left out: so few draws would not show them."""
FEWEST = 20  # draws around one hypothesis


@dataclass
class Mixture:
    """Probable hypotheses, each with what is believed under it.

    Attributes
    ----------
    base : Estimate
        The estimate before anything was suspected, about which the hypotheses were weighed.
    chances : array (H,)
        How probable each is.
    means, sds : arrays (A, H)
        Of each coordinate beforehand.
    answers : array (A, H)
        The most probable coordinates.
    """

    base: Estimate
    chances: Array
    means: Array
    sds: Array
    answers: Array

    def draw(self, model: ReadingModel, count: int, seed: int) -> Draws:
        """About so many draws; where 0 are asked for those of the linear approximations."""
        rng = np.random.default_rng(seed)
        probable = np.flatnonzero(self.chances > MIXED)
        probable = probable if len(probable) else np.array([int(np.argmax(self.chances))])
        shares = self.chances[probable] / self.chances[probable].sum()
        found = []
        for h, share in zip(probable.tolist(), shares.tolist(), strict=True):
            own = max(math.ceil(share * count), FEWEST) if count else 0
            found.append(draw(*self._near(model, h), own, rng))
        return Draws(
            np.concatenate([d.x for d in found], axis=1),
            np.concatenate([d.predicted for d in found], axis=1),
            np.concatenate([share * d.weights for share, d in zip(shares, found, strict=True)]),
            sum(d.lost for d in found),
            max(count, sum(d.asked for d in found)),
            linear=all(d.linear for d in found),
        )

    def _near(self, model: ReadingModel, h: int) -> tuple[Problem, Estimate]:
        """The answer under a hypothesis, as an estimate to draw around."""
        sd, x = self.sds[:, h], self.answers[:, h]
        problem = model.problem(self.means[:, h], sd)
        model.start_at(x)
        base, there = (
            problem.factors(problem.white(self.base.x)[:, None]),
            problem.factors(problem.white(x)[:, None]),
        )
        moved = np.where(base != 0.0, there / np.where(base != 0.0, base, 1.0), 1.0)
        slopes = self.base.slopes * moved[:, 0] * sd
        predicted = problem.predict(x[:, None])[:, 0]
        residuals = (predicted - problem.measured) / problem.sd
        covariance = sd[:, None] * np.linalg.inv(slopes.T @ slopes + np.eye(len(sd))) * sd
        return problem, Estimate(x, predicted, residuals, slopes, covariance, math.nan, 0, "")
