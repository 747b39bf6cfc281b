"""What a fit to readings has found."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from ...inference import gross
from ...inference.problem import Estimate
from ...inference.sampling import Draws, draw
from ...inference.scales import EDGE, Scales
from ...machine.fitted import Fitted
from ...readings.unknowns import Unknown
from ...statistics import chance_beyond, normal_at
from .costing import LEAST, costs
from .mixture import Mixture
from .setting_aside import problem_without

Array = NDArray[np.float64]
Row = dict[str, Any]

ONE_SIDED = 1.6448536269514722  # the coordinate of the 95 % quantile
TOLD, HARDLY = 0.5, 0.8
"""Up to this ratio of interval to prior interval the readings told an unknown; where they did not, from this
ratio on, and the same of standard deviations on its scale, only the prior did."""
OUTLYING = 0.01  # chance of one outlier or more among sound readings
FELT = 0.3  # effects smaller than this, in standard deviations of what is known, count as none


@dataclass(repr=False, eq=False)
class Fit(Fitted):
    """A machine fitted to readings; made by `fit`.

    Estimates are the most probable values, intervals hold 95 % of what is believed after the readings: with
    2.5 % on either side, or from 0 where more than 2.5 % are next to nothing (below a hundredth of what was
    likely). The machine's other uncertain numbers and the errors of gauge and tachometer are fitted along.
    Readings that are grossly wrong beside the others are set aside: they are named and do not count. Two that
    were exchanged are named and taken for each other. Where
    too many contradict each other there is an answer too: then `draws.linear` is True, a note says that the
    intervals are rough, and which readings are farthest off.

    Attributes
    ----------
    sd : array (M,)
        Standard deviation of each reading by itself, SI.
    plain : Estimate
        The estimate where every reading counts.
    slips : list of Group
        What is grossly wrong: readings, those exchanged, or a set's engine speed. `estimate` and `draws` are
        without it.
    priced : list of dict
        What each leak costs the weakest unit, as `costs` has it.
    """

    sd: Array
    plain: Estimate
    slips: list[gross.Group]
    priced: list[Row] = field(default_factory=list)

    def drawn(self, count: int) -> Draws:
        """At least so many draws: those at hand, or new ones where these are fewer."""
        if count <= self.draws.asked:
            return self.draws
        problem = problem_without(self.model, self.slips)
        self.model.start_at(self.estimate.x)
        return draw(problem, self.estimate, count, np.random.default_rng(self.seed))

    # ---- the unknowns

    @cached_property
    def unknowns(self) -> list[Row]:
        """A row for each unknown: estimate, interval, prior interval, what told it, what it costs.

        The leak that most probably costs the weakest unit most comes first: `cost_Pa` is by how much vacuum
        [Pa] the weakest unit would gain with the leak no larger than was likely, `chance_costliest` how
        probably no other leak costs more. Unknowns that cost nothing follow, clear excess first.

        `ratio` is the width of the interval over that of the prior's of the same kind, `scale_ratio` the
        same of the standard deviations on the unknown's scale; `told` is "by the readings", "in part" or
        "only by the prior"; `chance_high` is how probably it is larger than was likely.
        """
        count = len(self.scales)
        scales = Scales(list(self.scales.values()))
        values = scales.values(self.draws.x[:count])
        priced = {row["leak"]: row for row in self.priced}
        best = scales.values(self.estimate.x[:count, None])[:, 0]
        prior = scales.values(np.repeat([[-EDGE, EDGE]], count, axis=0))
        one_end = np.full((count, 2), ONE_SIDED) * [-1.0, 1.0]
        prior_ends = scales.values(one_end).max(axis=1)
        sd = np.sqrt(np.diag(self.estimate.covariance))
        rows = []
        for i, u in enumerate(self.wanted):
            low, high, one_sided = self.interval(u.address)
            first, last = prior[i].tolist()
            # like with like: an interval from 0 against what was believed to lie above 0 alike
            before = (0.0, float(prior_ends[i])) if one_sided else (first, last)
            ratio = (high - low) / (before[1] - before[0])
            rows.append(
                {
                    "unknown": u.address,
                    "estimate": float(best[i]),
                    "low": low,
                    "high": high,
                    "measure": self.given.layout.declaration(u.address).measure,
                    "likely": u.likely,
                    "prior_low": first,
                    "prior_high": last,
                    "ratio": ratio,
                    "scale_ratio": float(sd[i]),
                    "told": _told(ratio, float(sd[i])),
                    "chance_high": float(np.sum(self.draws.weights[values[i] > u.likely])),
                }
            )
            if priced:
                own = priced.get(u.address, {})
                rows[-1]["cost_Pa"] = own.get("cost", math.nan)
                rows[-1]["chance_costliest"] = own.get("chance_costliest", math.nan)
        costly = [n for n, row in priced.items() if row["chance_costliest"] > 0.0 or row["mean"] > LEAST]
        place = {name: i for i, name in enumerate(costly)}
        last = len(place)
        return sorted(
            rows,
            key=lambda row: (
                place.get(row["unknown"], last),
                row["told"] == "only by the prior",
                -excess(row),
            ),
        )

    @cached_property
    def pairs(self) -> list[Row]:
        """Pairs of unknowns that move the readings alike: `likeness` is the cosine between their effects.

        1 or -1: the readings cannot tell them apart; 0: they act on different readings. Effects are taken
        beside all other uncertain numbers. `correlation` is that of the estimates.
        """
        count = len(self.wanted)
        slopes = self.estimate.slopes
        others = slopes[:, count:]
        noise = np.eye(len(slopes)) + others @ others.T
        effect = slopes[:, :count].T @ np.linalg.solve(noise, slopes[:, :count])
        size = np.sqrt(np.maximum(np.diag(effect), 1e-12))
        sd = np.sqrt(np.diag(self.estimate.covariance))[:count]
        out = []
        for i in range(count):
            for j in range(i + 1, count):
                if min(size[i], size[j]) > FELT:
                    out.append(
                        {
                            "first": self.wanted[i].address,
                            "second": self.wanted[j].address,
                            "likeness": float(effect[i, j] / (size[i] * size[j])),
                            "correlation": float(self.estimate.covariance[i, j] / (sd[i] * sd[j])),
                        }
                    )
        return sorted(out, key=lambda row: -abs(row["likeness"]))

    def costs(self, count: int = 100, seed: int | None = None) -> list[Row]:
        """A row for each leak that was sought: what it costs the weakest unit, the costliest first.

        `cost` is by how much vacuum [Pa] the weakest unit would gain with the leak no larger than was likely,
        the middle of `count` possible machines; `low` and `high` hold 95 % of them, `mean` is their mean, and
        `chance_costliest` the share in which no other leak costs more (and this one more than 1 Pa).

        Parameters
        ----------
        count : int
            How many possible machines.
        seed : int, optional
            Of their random choice; the fit's own if not given.

        Raises
        ------
        InputError
            Where no leak was sought, or the machine has no unit.
        """
        return costs(self, count, seed)

    # ---- the readings

    @cached_property
    def readings(self) -> list[Row]:
        """A row for each reading: measured, fitted, and the misfit in standard deviations.

        The misfit counts what the fit took up: of sound readings one in twenty is beyond 2. Of a reading that
        is set aside, or taken for another that it was exchanged with, `fitted` is what the others make.
        """
        limit = float(-normal_at(0.5 * OUTLYING / len(self.taken)))
        # what the fit leaves of a reading's own error, in standard deviations of it
        inner = np.eye(len(self.taken)) + self.estimate.slopes @ self.estimate.slopes.T
        left = np.sqrt(np.clip(np.diag(np.linalg.inv(inner)), 1e-6, 1.0))
        aside = self.aside
        odd = aside | set(gross.exchanged(self.slips))
        out = []
        for i, r in enumerate(self.taken):
            fitted = float(self.estimate.predicted[i])
            if i in odd:
                misfit = (r.value - fitted) / (self.sd[i] * math.sqrt(1.0 + self._known(i)))
            else:
                misfit = -float(self.estimate.residuals[i]) / left[i]
            out.append(
                {
                    "line": r.line,
                    "where": r.where,
                    "how": r.how,
                    "measured": r.value,
                    "fitted": fitted,
                    "sd": float(self.sd[i]),
                    "measure": r.measure,
                    "misfit": float(misfit),
                    "outlier": bool(i in odd or abs(misfit) > limit),
                    "set_aside": i in aside,
                }
            )
        return out

    def _known(self, i: int) -> float:
        """The variance of what the readings that count predict of one that does not, in its own."""
        problem = problem_without(self.model, self.slips)
        slope = self.estimate.slopes[i] / problem.width * (problem.sd[i] / self.sd[i])
        return float(slope @ self.estimate.covariance @ slope)

    @property
    def aside(self) -> set[int]:
        """Places of the readings that do not count."""
        return gross.aside(self.slips)

    @property
    def outliers(self) -> list[Row]:
        """The readings that do not fit the others."""
        return [row for row in self.readings if row["outlier"]]

    @property
    def chi_square(self) -> float:
        """Sum of squares of all readings and priors together; its mean is the number of readings."""
        return self.plain.chi_square

    @property
    def chance(self) -> float:
        """How often sound readings of such a machine fit no better than all of these."""
        return chance_beyond(self.chi_square, len(self.taken))

    @property
    def chance_left(self) -> float:
        """How often sound readings fit no better than those that count."""
        return chance_beyond(self.estimate.chi_square, len(self.taken) - len(self.aside))

    # ---- what was fitted along

    @property
    def instruments(self) -> list[Row]:
        """A row for each error of gauge and tachometer: estimate and standard deviation, in usual ones."""
        return [{"error": row.pop("name"), **row} for row in self._coordinates(len(self.scales), None)]

    @property
    def others(self) -> list[Row]:
        """The other uncertain numbers that the readings moved most, in usual standard deviations."""
        rows = self._coordinates(len(self.wanted), len(self.scales))
        return sorted(
            ({"number": row.pop("name"), **row} for row in rows), key=lambda row: -abs(row["estimate"])
        )

    def _coordinates(self, first: int, end: int | None) -> list[Row]:
        sd = np.sqrt(np.diag(self.estimate.covariance))
        columns = zip(self.names[first:end], self.estimate.x[first:end], sd[first:end], strict=True)
        return [{"name": name, "estimate": float(x), "sd": float(s)} for name, x, s in columns]


def _told(ratio: float, scale_ratio: float) -> str:
    if ratio <= TOLD:
        return "by the readings"
    return "in part" if min(ratio, scale_ratio) < HARDLY else "only by the prior"


def excess(row: Row) -> float:
    """How clearly an unknown is larger than was likely: its lower end first, then its estimate."""
    likely = row["likely"]
    return math.log1p(row["low"] / likely) + 0.1 * math.log1p(row["estimate"] / likely)


@dataclass(repr=False, eq=False)
class Suspects(Fitted):
    """Every leak and every fan as a suspect, ranked by how probably it is at fault; made by `fit`.

    Each hypothesis names a few faulty suspects; faulty ones may be far larger than likely, sound ones vary
    by their usual spread. The chance of a suspect is the sum over the hypotheses that name it. The estimate
    is that under the most probable hypothesis.

    Attributes
    ----------
    hypotheses : list of (faulty addresses, chance)
        The most probable first.
    mixture : Mixture
        What is believed under each, for more draws.
    """

    hypotheses: list[tuple[tuple[str, ...], float]]
    mixture: Mixture

    several: ClassVar[bool] = True

    @property
    def suspects(self) -> list[Unknown]:
        """The suspects, and what is likely of each."""
        return self.wanted

    @property
    def chances(self) -> dict[str, float]:
        """Suspect -> chance that it is at fault."""
        out = {u.address: 0.0 for u in self.wanted}
        for names, share in self.hypotheses:
            for name in names:
                out[name] += share
        return out

    def drawn(self, count: int) -> Draws:
        """At least so many draws: those at hand, or new ones where these are fewer."""
        return self.draws if count <= self.draws.asked else self.mixture.draw(self.model, count, self.seed)
