"""Which readings do not count: those grossly wrong beside the others, found along with the estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...inference import gross
from ...inference.gross import Group
from ...inference.problem import Estimate, Problem, find
from ...readings.model import ReadingModel

Array = NDArray[np.float64]

LOW_CHANCE = 0.01
"""Readings that fit together no better than one sound set in a hundred contradict each other."""
OFF = 1e4  # times its own standard deviation: what a reading that does not count is off by
ANY_SPEED = 0.3  # standard deviation of an engine speed that is not believed [-]
ANY_FACING = 1.0  # the same of the share of velocity pressure that a tapping reads along [-]
TURNS = 6
BLURRED, LEAST = 0.1, 10.0
"""Share of each reading, and least amount [Pa], that blurs it: so no single reading leads a search astray."""


@dataclass
class Settled:
    """The estimate, and which readings count for it.

    Attributes
    ----------
    groups : list of Group
        The readings, or speeds, that are grossly wrong.
    estimate : Estimate
        Without them.
    plain : Estimate
        Where all readings count.
    problem : Problem
        Of the estimate.
    """

    groups: list[Group]
    estimate: Estimate
    plain: Estimate
    problem: Problem


def problem_without(model: ReadingModel, groups: Sequence[Group]) -> Problem:
    """The fitting problem in which these readings do not count and these speeds are not believed."""
    prior_sd = np.ones(model.size)
    for group in groups:
        if group.column is not None:
            prior_sd[group.column] = group.width
    problem = model.problem(prior_sd=prior_sd)
    out = sorted(gross.aside(groups))
    problem.sd[out] *= OFF
    return problem


def settled(model: ReadingModel) -> Settled:
    """The most probable estimate together with the readings that are grossly wrong.

    All readings are fitted first. Where they contradict each other, slips are looked for in the linear
    picture at the estimate, the rest is fitted again, and so on until nothing changes: from the first fit,
    and from one to blurred readings, which no single reading misleads. The more probable end counts.
    """
    problem = model.problem()
    plain = find(problem)
    search = _Search(model, possible_slips(model), problem)
    agree = chance(plain.chi_square, len(plain.predicted)) >= LOW_CHANCE
    if agree and not gross.slips(*search.linear(plain, problem), search.groups):
        return Settled([], plain, plain, problem)
    best = search.followed(plain, problem)
    if best is None or best.at_odds:
        blurred = model.problem()
        least = np.where(model.pressures, LEAST, 0.0)
        blurred.sd = np.hypot(problem.sd, BLURRED * np.abs(problem.measured) + least)
        other = search.followed(find(blurred), blurred)
        search.count(blurred)
        best = max((f for f in (best, other) if f is not None), key=lambda f: f.worth, default=None)
    search.count(problem)
    if best is None or best.worth < -0.5 * plain.chi_square:
        last = Settled([], plain, plain, problem)
    else:
        last = Settled(best.groups, best.estimate, plain, problem_without(model, best.groups))
    last.problem.solves, last.problem.jacobians = search.solves, search.jacobians
    return last


def chance(chi_square: float, count: int) -> float:
    """How often sound readings of such a machine fit no better."""
    from scipy.special import gammaincc

    return float(gammaincc(0.5 * count, 0.5 * chi_square)) if count else 1.0


def possible_slips(model: ReadingModel) -> list[Group]:
    """Every single reading, tapping, condition, every tachometer, and every tapping that faces the air."""
    readings = model.readings
    by: dict[tuple[str, str, int | None], list[int]] = {}
    for i, (r, condition) in enumerate(zip(readings, model.condition.tolist(), strict=True)):
        by.setdefault(("tapping", r.tapping, None), []).append(i)
        by.setdefault(("condition", str(condition), None), []).append(i)
        column = model.tachometer_of(condition)
        if column is not None and model.errors.tachometer:
            by.setdefault(("tachometer", model.names[column], column), []).append(i)
        for name in (r.tapping, r.minus):
            faced = model.facing_of(name) if r.quantity == "static" else None
            if faced is not None and model.errors.facing:
                by.setdefault(("facing", name, faced), []).append(i)
    singles = [Group("reading", str(i), (i,)) for i in range(len(readings))]
    usual = {"tachometer": (ANY_SPEED, model.errors.tachometer), "facing": (ANY_FACING, model.errors.facing)}
    several = []
    for (kind, name, column), rows in by.items():
        if column is not None:
            width = usual[kind][0] / usual[kind][1]
            if kind == "tachometer" or len(rows) > 1:
                several.append(Group(kind, name, tuple(rows), column, width))
        elif 1 < len(rows) <= gross.MOST * len(readings):
            several.append(Group(kind, name, tuple(rows)))
    return [*singles, *several]


@dataclass
class _Found:
    """Slips with the estimate without them.

    Attributes
    ----------
    groups : list of Group
    estimate : Estimate
    worth : float
        Logarithm of the probability of all readings, to a constant.
    at_odds : bool
        The readings that count contradict each other still.
    """

    groups: list[Group]
    estimate: Estimate
    worth: float
    at_odds: bool


class _Search:
    """Slips and estimate alternately."""

    def __init__(self, model: ReadingModel, groups: list[Group], problem: Problem) -> None:
        self.model, self.groups = model, groups
        self.sd, self.goal = problem.sd, problem.measured / problem.sd
        self.solves = self.jacobians = 0

    def count(self, problem: Problem) -> None:
        """Add what was worked out for a problem."""
        self.solves += problem.solves
        self.jacobians += problem.jacobians

    def linear(self, estimate: Estimate, problem: Problem) -> tuple[Array, Array]:
        """Slopes by the readings' own deviations and usual priors, and the linear misfit."""
        slopes = estimate.slopes * (problem.sd / self.sd)[:, None] / problem.width
        misfit = gross.linear_misfit(slopes, estimate.predicted / self.sd, estimate.x, self.goal)
        return slopes, misfit

    def followed(self, estimate: Estimate, problem: Problem) -> _Found | None:
        """From an estimate on: the most probable slips met on the way."""
        best: _Found | None = None
        seen: list[set[Group]] = []
        for _ in range(TURNS):
            groups = gross.slips(*self.linear(estimate, problem), self.groups)
            if set(groups) in seen:
                break
            seen.append(set(groups))
            problem = problem_without(self.model, groups)
            estimate = find(problem, estimate.x)
            self.count(problem)
            found = self._weighed(groups, estimate, problem)
            if found is not None and (best is None or found.worth > best.worth):
                best = found
        return best

    def _weighed(self, groups: list[Group], estimate: Estimate, problem: Problem) -> _Found | None:
        left = len(self.sd) - len(gross.aside(groups))
        if left < (1.0 - gross.MOST) * len(self.sd):
            return None
        squares = gross.squares(*self.linear(estimate, problem), groups)
        worth = gross.log_chance(estimate.chi_square, squares)
        return _Found(groups, estimate, worth, chance(estimate.chi_square, left) < LOW_CHANCE)
