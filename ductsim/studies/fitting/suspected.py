"""Which few of many leaks and fans are at fault: every suspect mostly sound, some of them not."""

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
from ...inference.drawing import draw
from ...inference.hypotheses import weigh
from ...inference.problem import Estimate, Problem, find
from ...machine.describe import spread_of
from ...machine.machine import Machine
from ...machine.readings.model import ReadingErrors, ReadingModel
from ...machine.readings.table import Readings
from ...machine.readings.unknowns import Unknown, default_scale, fan_faults, leak_sizes, nuisances
from ...machine.saying import listed, said
from ...result import Result
from .telling import handy

Array = NDArray[np.float64]

# Our assumptions: one suspect in ten is at fault; a faulty leak is about five times what is likely, from
# once to twenty times; a sound fan has lost next to nothing, a faulty one a sixth of its pressure or so.
RATE = 0.1
WIDE = 8.0
FAULTY = (1.5, 1.0)
SOUND_FAN = (-1.5, 0.3)
SHARE_LIKELY, SHARE_HIGH = 0.05, 0.4
MOST_FAULTS = 4
BEST = 4
MIXED = 0.05


class Suspects(Result):
    """Every leak and every fan as a suspect, ranked by how probably it is at fault.

    Each hypothesis names a few faulty suspects; faulty ones may be far larger than likely, sound ones vary
    by their usual spread. The chance of a suspect is the sum over the hypotheses that name it.

    Attributes
    ----------
    given : Machine
    taken : Readings
    suspects : list of Unknown
    hypotheses : list of (faulty addresses, chance)
        The most probable first.
    solves : int
        Operating points worked out.
    seconds : float
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
        self.given, self.taken = machine, readings
        self.seed = seed
        self.suspects = _suspects(machine, wanted)
        if not self.suspects:
            raise InputError("there is no suspect", place="suspects", allowed="a machine with leaks or fans")
        scales = {u.address: u.scale(machine.layout) for u in self.suspects}
        scales.update({name: default_scale(machine, name) for name in nuisances(machine, scales)})
        self.model = ReadingModel(machine, readings.items, scales, errors, relative)
        self.model.bound()
        self.problem = self.model.problem()
        self._lay_beliefs()
        self.base: Estimate = find(self.problem)
        self._search()
        self.seconds = time.perf_counter() - started

    # ---- beliefs

    def _lay_beliefs(self) -> None:
        count = len(self.suspects)
        self._sound = np.zeros(self.model.size), np.ones(self.model.size)
        faults = set(fan_faults(self.given.layout))
        for i, u in enumerate(self.suspects):
            if u.address in faults:
                self._sound[0][i], self._sound[1][i] = SOUND_FAN
            else:
                z = np.zeros((self.model.numbers, 1))
                slope = self.model.scales.slopes(z)[i, 0] / u.likely
                self._sound[1][i] = max(spread_of(self.given, u.address), 0.1) / slope
        self._prior = np.full(count, RATE)

    def _beliefs(self, faulty: tuple[int, ...]) -> tuple[Array, Array]:
        mean, sd = (v.copy() for v in self._sound)
        for i in faulty:
            mean[i], sd[i] = FAULTY
        return mean, sd

    def _log_prior(self, faulty: tuple[int, ...]) -> float:
        named = np.isin(np.arange(len(self._prior)), faulty)
        return float(np.log(np.where(named, self._prior, 1.0 - self._prior)).sum())

    def _search(self) -> None:
        """Weigh no fault and single faults, then add one fault at a time to the best."""
        found: dict[tuple[int, ...], float] = {}
        self._at: dict[tuple[int, ...], Array] = {}
        count = len(self.suspects)
        trial: list[tuple[int, ...]] = [(), *((i,) for i in range(count))]
        for size in range(1, MOST_FAULTS + 1):
            best_before = max(found.values(), default=-np.inf)
            for faulty, log in zip(trial, self._weigh(trial), strict=True):
                found[faulty] = log + self._log_prior(faulty)
            newest = sorted((f for f in trial if len(f) == size), key=lambda f: -found[f])
            if size > 1 and found[newest[0]] < best_before:
                break
            trial = list(
                dict.fromkeys(
                    tuple(sorted((*f, i))) for f in newest[:BEST] for i in range(count) if i not in f
                )
            )
            if not trial:
                break
        logs = np.array(list(found.values()))
        chances = np.exp(logs - logs.max())
        chances /= chances.sum()
        order = np.argsort(-chances, kind="stable")
        keys = list(found)
        self._ranked = [(keys[i], float(chances[i])) for i in order]
        self.hypotheses = [
            (tuple(self.suspects[i].address for i in faulty), chance) for faulty, chance in self._ranked
        ]

    def _weigh(self, trial: list[tuple[int, ...]]) -> list[float]:
        beliefs = [self._beliefs(f) for f in trial]
        means, sds = (np.array([b[k] for b in beliefs]).T for k in (0, 1))
        starts = np.array([self._start(f, means[:, i]) for i, f in enumerate(trial)]).T
        weighed = weigh(self.problem, self.base.slopes, self.base.x, means, sds, starts)
        self._at.update({f: weighed.x[:, i] for i, f in enumerate(trial)})
        return [float(v) for v in weighed.log_evidence]

    def _start(self, faulty: tuple[int, ...], mean: Array) -> Array:
        """Where a search begins: at the answer with one fault less, the new suspect at its own mean."""
        for i in faulty:
            parent = tuple(k for k in faulty if k != i)
            if parent in self._at:
                out = self._at[parent].copy()
                out[i] = mean[i]
                return out
        return mean

    @property
    def solves(self) -> int:
        """Operating points worked out so far, Jacobians not counted."""
        return self.problem.solves * len(self.model.configurations)

    # ---- what came out

    def _fitted(self, faulty: tuple[int, ...]) -> tuple[Problem, Estimate]:
        mean, sd = self._beliefs(faulty)
        problem = self.model.problem(mean, sd)
        estimate = find(problem, self._at[faulty])
        self.problem.solves += problem.solves
        return problem, estimate

    def _near(self, faulty: tuple[int, ...]) -> tuple[Problem, Estimate]:
        """The answer that the search found, as an estimate to draw around."""
        mean, sd = self._beliefs(faulty)
        problem, x = self.model.problem(mean, sd), self._at[faulty]
        base = self.problem.factors(self.base.x[:, None])
        moved = np.where(
            base != 0.0, self.problem.factors(x[:, None]) / np.where(base != 0.0, base, 1.0), 1.0
        )
        slopes = self.base.slopes * moved[:, 0] * sd
        predicted = problem.predict(x[:, None])[:, 0]
        residuals = (predicted - problem.measured) / problem.sd
        covariance = sd[:, None] * np.linalg.inv(slopes.T @ slopes + np.eye(len(sd))) * sd
        return problem, Estimate(x, predicted, residuals, slopes, covariance, math.nan, 0, "")

    @cached_property
    def best(self) -> Estimate:
        """The estimate under the most probable hypothesis."""
        return self._fitted(self._ranked[0][0])[1]

    @cached_property
    def machine(self) -> Machine:
        """The machine under the most probable hypothesis, at the engine speed and in the weather as given."""
        numbers = self.model.machine_numbers(self.best.x[:, None])
        return self._with({a: float(v[0]) for a, v in numbers.items()})

    def sample(self, count: int, seed: int | None = None) -> Machine:
        """Possible machines as columns, over the probable hypotheses."""
        if count < 1:
            raise InputError(f"{count} possible machines", place="sample", allowed="1 or more")
        rng = np.random.default_rng(self.seed + 1 if seed is None else seed)
        probable = [(f, c) for f, c in self._ranked if c > MIXED] or self._ranked[:1]
        shares = np.array([c for _, c in probable])
        edges = np.floor(count * np.cumsum(shares) / shares.sum() + rng.random()).astype(int)
        sizes = np.diff(np.clip(edges, 0, count), prepend=0)
        sizes[0] += count - sizes.sum()
        columns = []
        for (faulty, _), size in zip(probable, sizes, strict=True):
            if size:
                problem, estimate = self._near(faulty)
                draws = draw(problem, estimate, max(2 * int(size), 20), rng)
                columns.append(draws.x[:, draws.resample(int(size), rng)])
                self.problem.solves += problem.solves
        return self._with(self.model.machine_numbers(np.concatenate(columns, axis=1)))

    def _with(self, numbers: dict[str, Any]) -> Machine:
        given = self.given.given | numbers.keys()
        merged = {**self.given.numbers, **numbers}
        return Machine(self.given.layout, merged, given, file=self.given.file, sha256=self.given.sha256)

    @cached_property
    def chances(self) -> dict[str, float]:
        """Suspect -> chance that it is at fault."""
        out = {u.address: 0.0 for u in self.suspects}
        for names, chance in self.hypotheses:
            for name in names:
                out[name] += chance
        return out

    def rows(self) -> list[dict[str, Any]]:
        """A row for each suspect, the most probable first; intervals are linear on each scale."""
        x, sd = self.best.x, np.sqrt(np.diag(self.best.covariance))
        steps = np.array([-1.959964, 0.0, 1.959964])
        n = self.model.numbers
        ends = self.model.scales.values(x[:n, None] + sd[:n, None] * steps)
        rows = [
            {
                "suspect": u.address,
                "chance": self.chances[u.address],
                "estimate": float(ends[i, 1]),
                "low": float(ends[i, 0]),
                "high": float(ends[i, 2]),
                "likely": u.likely,
                "measure": self.given.layout.declaration(u.address).measure,
            }
            for i, u in enumerate(self.suspects)
        ]
        return sorted(rows, key=lambda row: -row["chance"])

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """The suspects, and the hypotheses that are worth a look."""
        rows = [
            {"faulty": " + ".join(names) or "none", "chance": chance}
            for names, chance in self.hypotheses
            if chance > 0.005
        ]
        return {"suspects": self.rows(), "hypotheses": rows}

    def sentences(self, measures: str = "metric") -> list[str]:
        """Who is at fault, how surely, and who is not excluded."""
        rows = self.rows()
        names, chance = self.hypotheses[0]
        if not names:
            out = [f"No suspect is at fault, most probably ({chance:.0%})."]
        else:
            words = [_size(row, measures) for row in rows if row["suspect"] in names]
            verb = "are" if len(words) > 1 else "is"
            out = [f"Most probably {listed(words)} {verb} at fault ({chance:.0%} for just that)."]
        others = [f"{r['suspect']} ({r['chance']:.0%})" for r in rows if r["suspect"] not in names][:4]
        if others:
            out.append(f"Next come {listed(others)}.")
        return out

    @property
    def notes(self) -> list[str]:
        """What was assumed, and how much was worked out."""
        return [
            *self.taken.notes,
            f"Beforehand {RATE:.0%} of the suspects are at fault: our assumption.",
            f"{len(self.hypotheses)} hypotheses, {self.solves:,} operating points, {self.seconds:.1f} s.",
        ]

    @property
    def cautions(self) -> list[str]:
        """The cautions that belong to taking readings."""
        blanked = any(r.blanked for r in self.taken)
        return cautions_for(["measure", "blank"] if blanked else ["measure"])


def _size(row: dict[str, Any], measures: str) -> str:
    measure = handy(row["measure"], row["high"])
    estimate, likely = (said(row[key], measure, measures) for key in ("estimate", "likely"))
    return f"{row['suspect']} ({estimate}, likely {likely})"


def _suspects(machine: Machine, wanted: Sequence[Unknown]) -> list[Unknown]:
    """All leaks and fan faults; what the file or the call says of one counts."""
    layout = machine.layout
    said_of = {u.address: u for u in wanted}
    faults = fan_faults(layout)
    out = []
    for address in dict.fromkeys([*leak_sizes(layout), *faults]):
        likely = said_of[address].likely if address in said_of else float(np.median(machine.numbers[address]))
        if address in faults:
            out.append(Unknown(address, 0.0, SHARE_LIKELY, SHARE_HIGH))
        elif likely > 0.0:
            out.append(Unknown(address, 0.0, likely, WIDE * likely))
    return out
