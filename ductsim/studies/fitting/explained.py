"""A machine fitted to readings: estimates, intervals, what was told and what was not."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...cautions import cautions_for
from ...errors import InputError
from ...inference.drawing import Draws, draw
from ...inference.problem import find
from ...machine.bounded import at_most
from ...machine.machine import Machine
from ...machine.readings.model import ReadingErrors, ReadingModel
from ...machine.readings.table import Readings
from ...machine.readings.unknowns import Unknown, default_scale, nuisances
from ...result import Result
from . import telling

Array = NDArray[np.float64]

TOLD, HARDLY = 0.5, 0.8
"""Up to this ratio of interval to prior interval the readings told an unknown; where they did not, from this
ratio of standard deviations on its scale on only the prior did."""
DRAWS, EASY = 400, 10_000
"""How many draws are made unless asked otherwise, and under how many conditions all of them together."""
MOST_COLUMNS = 100_000
"""Draws times conditions, at most: half a gigabyte when they are solved."""
OUTLYING = 0.01  # chance of one outlier or more among sound readings
NOTHING = 0.01
MANY = "operating points (draws times conditions)"
EDGES, ENDS = np.array([0.025, 0.975]), np.array([0.0, 0.95])


class Fit(Result):
    """A machine fitted to readings.

    Estimates are the most probable values, intervals hold 95 % of what is believed after the readings: with
    2.5 % on either side, or from 0 where more than 2.5 % are next to nothing (below a hundredth of what was
    likely). The machine's other uncertain numbers and the errors of gauge and tachometer are fitted along.
    Readings that contradict each other are answered too: then `draws.linear` is True, a note says that the
    intervals are rough, and which readings are farthest off.

    Attributes
    ----------
    given : Machine
        The machine that was fitted.
    taken : Readings
        The readings as they were read.
    wanted : list of Unknown
        What was to be found, and what was believed of it beforehand.
    model : ReadingModel
        Readings as functions of the coordinates.
    problem : Problem
    estimate : Estimate
        In coordinates, standard normal beforehand.
    relative : bool
        Only ratios between readings counted.
    seconds : float
        Time of the estimate and the draws so far [s].
    """

    def __init__(
        self,
        machine: Machine,
        readings: Readings,
        wanted: Sequence[Unknown],
        *,
        relative: bool = False,
        errors: ReadingErrors | None = None,
        draws: int | None = None,
        seed: int = 0,
    ) -> None:
        started = time.perf_counter()
        self.given = machine
        self.taken = readings
        self.wanted = list(wanted)
        self.relative = relative
        self.seed = seed
        scales = {u.address: u.scale(machine.layout) for u in self.wanted}
        scales.update({name: default_scale(machine, name) for name in nuisances(machine, scales)})
        self.model = ReadingModel(machine, readings.items, scales, errors, relative)
        self.model.bound()
        conditions = len(self.model.configurations)
        self._count = min(DRAWS, EASY // conditions) if draws is None else draws
        at_most(self._count * conditions, MOST_COLUMNS, MANY, "draws")
        self.problem = self.model.problem()
        self.estimate = find(self.problem)
        self._kept: Draws | None = None
        self.seconds = time.perf_counter() - started

    # ---- draws

    @property
    def draws(self) -> Draws:
        """Weighted draws of the coordinates; made when they are first needed."""
        return self._draws(self._count)

    def _draws(self, count: int) -> Draws:
        if self._kept is None or self._kept.asked < count:
            started = time.perf_counter()
            rng = np.random.default_rng(self.seed)
            self._kept = draw(self.problem, self.estimate, count, rng)
            self.seconds += time.perf_counter() - started
        return self._kept

    @property
    def solves(self) -> int:
        """Operating points worked out so far, Jacobians not counted."""
        return self.problem.solves * len(self.model.configurations)

    @cached_property
    def machine(self) -> Machine:
        """The machine with every number at its estimate, at the engine speed and in the weather as given."""
        column = self.estimate.x[:, None]
        found = {a: float(v[0]) for a, v in self.model.machine_numbers(column).items()}
        return self._with(found)

    def sample(self, count: int, seed: int | None = None) -> Machine:
        """Possible machines as columns, in equal shares of what is believed after the readings.

        Parameters
        ----------
        count : int
            How many.
        seed : int, optional
            Of the random choice; the fit's own if not given.
        """
        if count < 1:
            raise InputError(f"{count} possible machines", place="sample", allowed="1 or more")
        at_most(count * len(self.model.configurations), MOST_COLUMNS, MANY, "sample")
        draws = self._draws(max(count, self._count))
        rng = np.random.default_rng(self.seed + 1 if seed is None else seed)
        places = draws.resample(count, rng)
        return self._with(self.model.machine_numbers(draws.x[:, places]))

    def _with(self, numbers: dict[str, Any]) -> Machine:
        given = self.given.given | numbers.keys()
        merged = {**self.given.numbers, **numbers}
        return Machine(self.given.layout, merged, given, file=self.given.file, sha256=self.given.sha256)

    # ---- what came out

    @cached_property
    def unknowns(self) -> list[dict[str, Any]]:
        """A row for each unknown: estimate, interval, prior interval, what told it; clear excess first.

        `ratio` is the width of the interval over that of the prior's, `scale_ratio` the same of the standard
        deviations on the unknown's scale; `told` is "by the readings", "in part" or "only by the prior";
        `chance_high` is how probably it is larger than was likely.
        """
        values = self.model.scales.values(self.draws.x[: self.model.numbers])
        best = self.model.scales.values(self.estimate.x[: self.model.numbers, None])[:, 0]
        sd = np.sqrt(np.diag(self.estimate.covariance))
        rows = []
        for i, u in enumerate(self.wanted):
            low, high = self._interval(values[i], NOTHING * u.likely)
            low, high = min(low, float(best[i])), max(high, float(best[i]))
            first, last = self.prior_interval(i)
            ratio = (high - low) / (last - first)
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
        return sorted(rows, key=lambda row: (row["told"] == "only by the prior", -_excess(row)))

    def _interval(self, values: Array, nothing: float) -> tuple[float, float]:
        """What 95 % of the draws lie between: from 0 where next to nothing is possible, else equal tails."""
        draws = self.draws
        zero = float(draws.weights[values <= nothing].sum())
        shares = ENDS if zero >= EDGES[0] else EDGES
        # n draws leave 1 in n + 1 beyond each end: so few draws make wide intervals, not narrow ones
        count = draws.effective
        shares = np.clip((shares * (count + 1.0) - 0.5) / count, 0.0, 1.0)
        low, high = draws.quantiles(values, shares).tolist()
        return (0.0 if zero >= EDGES[0] else low), high

    def prior_interval(self, place: int) -> tuple[float, float]:
        """What 95 % of the prior lie between, 2.5 % on either side, SI."""
        edges = np.zeros((self.model.numbers, 2))
        edges[place] = (-1.959964, 1.959964)
        low, high = self.model.scales.values(edges)[place].tolist()
        return low, high

    def rows(self) -> list[dict[str, Any]]:
        """The unknowns."""
        return self.unknowns

    @cached_property
    def readings(self) -> list[dict[str, Any]]:
        """A row for each reading: measured, fitted, and the misfit in standard deviations.

        The misfit counts what the fit took up: of sound readings one in twenty is beyond 2.
        """
        sd = self.problem.sd
        out = []
        for i, r in enumerate(self.taken):
            misfit = float(-self.estimate.residuals[i] / self._left[i])
            out.append(
                {
                    "line": r.line,
                    "where": r.where,
                    "how": r.how,
                    "measured": r.value,
                    "fitted": float(self.estimate.predicted[i]),
                    "sd": float(sd[i]),
                    "measure": r.measure,
                    "misfit": misfit,
                    "outlier": abs(misfit) > self._limit,
                }
            )
        return out

    @cached_property
    def _left(self) -> Array:
        """Standard deviation of each whitened residual: what the fit leaves of a reading's own error."""
        inner = np.eye(len(self.taken)) + self.estimate.slopes @ self.estimate.slopes.T
        left: Array = np.sqrt(np.clip(np.diag(np.linalg.inv(inner)), 1e-6, 1.0))
        return left

    @property
    def _limit(self) -> float:
        from scipy.special import ndtri

        return float(-ndtri(0.5 * OUTLYING / len(self.taken)))

    @property
    def outliers(self) -> list[dict[str, Any]]:
        """The readings that do not fit the others."""
        return [row for row in self.readings if row["outlier"]]

    @property
    def chi_square(self) -> float:
        """Sum of squares of readings and priors together; its mean is the number of readings."""
        return self.estimate.chi_square

    @property
    def chance(self) -> float:
        """How often sound readings of such a machine fit no better than these."""
        from scipy.special import gammaincc

        return float(gammaincc(0.5 * len(self.taken), 0.5 * self.chi_square))

    @cached_property
    def pairs(self) -> list[dict[str, Any]]:
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
                if min(size[i], size[j]) > telling.FELT:
                    out.append(
                        {
                            "first": self.wanted[i].address,
                            "second": self.wanted[j].address,
                            "likeness": float(effect[i, j] / (size[i] * size[j])),
                            "correlation": float(self.estimate.covariance[i, j] / (sd[i] * sd[j])),
                        }
                    )
        return sorted(out, key=lambda row: -abs(row["likeness"]))

    @cached_property
    def instruments(self) -> list[dict[str, Any]]:
        """A row for each error of gauge and tachometer: estimate and standard deviation, in usual ones."""
        sd = np.sqrt(np.diag(self.estimate.covariance))
        return [
            {"error": name, "estimate": float(self.estimate.x[i]), "sd": float(sd[i])}
            for i, name in enumerate(self.model.names)
            if i >= self.model.numbers
        ]

    @cached_property
    def others(self) -> list[dict[str, Any]]:
        """The other uncertain numbers that the readings moved most, in usual standard deviations."""
        sd = np.sqrt(np.diag(self.estimate.covariance))
        rows = [
            {"number": name, "estimate": float(self.estimate.x[i]), "sd": float(sd[i])}
            for i, name in enumerate(self.model.coordinates)
            if i >= len(self.wanted)
        ]
        return sorted(rows, key=lambda row: -abs(row["estimate"]))

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """Unknowns, readings, pairs that look alike, errors of the instruments, other numbers."""
        alike = [row for row in self.pairs if abs(row["likeness"]) > telling.ALIKE]
        return {
            "unknowns": self.unknowns,
            "readings": self.readings,
            "alike": alike,
            "instruments": self.instruments,
            "others": self.others[:12],
        }

    # ---- words

    def sentences(self, measures: str = "metric") -> list[str]:
        """What the readings point to, what told it, what they cannot tell, whether they fit."""
        return telling.of_fit(self, measures)

    @property
    def notes(self) -> list[str]:
        """What the reader left out, what was assumed, how much was worked out."""
        return telling.notes(self)

    @property
    def cautions(self) -> list[str]:
        """The cautions that belong to taking readings."""
        blanked = any(r.blanked for r in self.taken)
        return cautions_for(["measure", "blank"] if blanked else ["measure"])


def _told(ratio: float, scale_ratio: float) -> str:
    if ratio <= TOLD:
        return "by the readings"
    return "in part" if scale_ratio < HARDLY else "only by the prior"


def _excess(row: dict[str, Any]) -> float:
    """How clearly an unknown is larger than was likely: its lower end first, then its estimate."""
    likely = row["likely"]
    return math.log1p(row["low"] / likely) + 0.1 * math.log1p(row["estimate"] / likely)
