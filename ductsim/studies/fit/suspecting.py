"""Which few of many leaks and fans are at fault: every suspect mostly sound, some of them not."""

from __future__ import annotations

import time
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ...description.spreads import spread_of
from ...errors import InputError
from ...inference.hypotheses import weigh
from ...inference.problem import Estimate, Problem, find
from ...machine.fitted import draws_for
from ...machine.machine import Machine
from ...network.point import Point
from ...readings.errors import ReadingErrors
from ...readings.model import ReadingModel
from ...readings.table import Readings
from ...readings.unknowns import Unknown, default_scale, fan_faults, leak_sizes, nuisances
from .mixture import Mixture
from .result import Suspects

Array = NDArray[np.float64]
Faulty = tuple[int, ...]

# Our assumptions: one suspect in ten is at fault; a sound fan has lost next to nothing.
RATE = 0.1
WIDE = 8.0
# A faulty leak is about five times what is likely, from once to twenty times; a faulty fan has lost a sixth
# of its pressure or so. On the suspects' own scales: mean and standard deviation.
FAULTY = (1.5, 1.0)
SOUND_FAN = (-1.5, 0.3)
SHARE_LIKELY, SHARE_HIGH = 0.05, 0.4
MOST_FAULTS = 4
BEST = 4


def suspected(
    machine: Machine,
    readings: Readings,
    wanted: Sequence[Unknown],
    *,
    relative: bool = False,
    errors: ReadingErrors | None = None,
    draws: int | None = None,
    seed: int = 0,
    near: Point | None = None,
) -> Suspects:
    """The suspects, weighed by readings that are taken as they are; see `fit`."""
    started = time.perf_counter()
    suspects = suspects_of(machine, wanted)
    if not suspects:
        raise InputError("there is no suspect", place="suspects", allowed="a machine with leaks or fans")
    scales = {u.address: u.scale(machine.layout) for u in suspects}
    scales.update({name: default_scale(machine, name) for name in nuisances(machine, scales)})
    model = ReadingModel(machine, readings, scales, errors, relative)
    model.bound()
    model.near = near
    problem = model.problem()
    mean, sd = sound_belief(machine, suspects, model)
    base = find(problem)
    found = _Search(problem, base, len(suspects), mean, sd)
    ranked = found.ranked()
    best = ranked[0][0]
    under = model.problem(*found.believed(best))
    estimate = find(under, found.at[best])
    conditions = len(model.configurations)
    count = draws_for(conditions, draws)
    shares = np.array([chance for _, chance in ranked])
    beliefs = [found.believed(faulty) for faulty, _ in ranked]
    means, sds = (np.array([b[k] for b in beliefs]).T for k in (0, 1))
    answers = np.array([found.at[faulty] for faulty, _ in ranked]).T
    mixture = Mixture(base, shares, means, sds, answers)
    return Suspects(
        given=machine,
        taken=readings,
        wanted=suspects,
        scales=scales,
        names=model.names,
        conditions=conditions,
        errors=model.errors,
        relative=relative,
        seed=seed,
        estimate=estimate,
        solves=(problem.solves + under.solves) * conditions,
        jacobians=problem.jacobians + under.jacobians,
        seconds=time.perf_counter() - started,
        hypotheses=[(tuple(suspects[i].address for i in faulty), chance) for faulty, chance in ranked],
        draws=mixture.draw(model, count, seed),
        mixture=mixture,
    )


def suspects_of(machine: Machine, wanted: Sequence[Unknown]) -> list[Unknown]:
    """All leaks and fan faults; what the file or the call says of one counts."""
    layout = machine.layout
    told = {u.address: u for u in wanted}
    faults = fan_faults(layout)
    out = []
    for address in dict.fromkeys([*leak_sizes(layout), *faults]):
        likely = told[address].likely if address in told else float(np.median(machine.numbers[address]))
        if address in faults:
            out.append(Unknown(address, 0.0, SHARE_LIKELY, SHARE_HIGH))
        elif likely > 0.0:
            out.append(Unknown(address, 0.0, likely, WIDE * likely))
    return out


def sound_belief(machine: Machine, suspects: Sequence[Unknown], model: ReadingModel) -> tuple[Array, Array]:
    """Mean and standard deviation of each coordinate where no suspect is at fault."""
    mean, sd = np.zeros(model.size), np.ones(model.size)
    faults = set(fan_faults(machine.layout))
    slopes = model.scales.slopes(np.zeros((model.numbers, 1)))[:, 0]
    for i, u in enumerate(suspects):
        if u.address in faults:
            mean[i], sd[i] = SOUND_FAN
        else:
            sd[i] = max(spread_of(machine, u.address), 0.1) * u.likely / slopes[i]
    return mean, sd


class _Search:
    """Hypotheses weighed: no fault and single faults, then one fault at a time added to the best.

    Attributes
    ----------
    at : dict
        Faulty suspects -> the most probable coordinates (A,).
    """

    def __init__(self, problem: Problem, base: Estimate, count: int, mean: Array, sd: Array) -> None:
        self.problem, self.base, self.count = problem, base, count
        self.sound = mean, sd
        self.at: dict[Faulty, Array] = {}

    def ranked(self) -> list[tuple[Faulty, float]]:
        """Hypotheses with their chances, the most probable first."""
        found: dict[Faulty, float] = {}
        trial: list[Faulty] = [(), *((i,) for i in range(self.count))]
        for size in range(1, MOST_FAULTS + 1):
            best_before = max(found.values(), default=-np.inf)
            for faulty, log in zip(trial, self._weigh(trial), strict=True):
                found[faulty] = log + self._log_prior(faulty)
            newest = sorted((f for f in trial if len(f) == size), key=lambda f: -found[f])
            if size > 1 and found[newest[0]] < best_before:
                break
            more = (tuple(sorted((*f, i))) for f in newest[:BEST] for i in range(self.count) if i not in f)
            trial = list(dict.fromkeys(more))
            if not trial:
                break
        logs = np.array(list(found.values()))
        chances = np.exp(logs - logs.max())
        chances /= chances.sum()
        keys = list(found)
        return [(keys[i], float(chances[i])) for i in np.argsort(-chances, kind="stable")]

    def believed(self, faulty: Faulty) -> tuple[Array, Array]:
        """Mean and standard deviation of each coordinate where these suspects are at fault."""
        mean, sd = (v.copy() for v in self.sound)
        mean[list(faulty)], sd[list(faulty)] = FAULTY
        return mean, sd

    def _log_prior(self, faulty: Faulty) -> float:
        return float(len(faulty) * np.log(RATE) + (self.count - len(faulty)) * np.log(1.0 - RATE))

    def _weigh(self, trial: list[Faulty]) -> list[float]:
        beliefs = [self.believed(f) for f in trial]
        means, sds = (np.array([b[k] for b in beliefs]).T for k in (0, 1))
        starts = np.array([self._start(f, means[:, i]) for i, f in enumerate(trial)]).T
        weighed = weigh(self.problem, self.base.slopes, self.base.x, means, sds, starts, trial)
        self.at.update({f: weighed.x[:, i] for i, f in enumerate(trial)})
        return [float(v) for v in weighed.log_evidence]

    def _start(self, faulty: Faulty, mean: Array) -> Array:
        """Where a search begins: at the answer with one fault less, the new suspect at its own mean."""
        for i in faulty:
            parent = tuple(k for k in faulty if k != i)
            if parent in self.at:
                out = self.at[parent].copy()
                out[i] = mean[i]
                return out
        return mean
