"""Which readings do not count: those grossly wrong beside the others, found along with the estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ...inference import gross
from ...inference.gross import Group
from ...inference.problem import Estimate, Problem, find
from ...readings.model import ReadingModel
from ...statistics import chance_beyond

Array = NDArray[np.float64]

LOW_CHANCE = 0.01
"""Readings that fit together no better than one sound set in a hundred contradict each other."""
OFF = 1e4  # times its own standard deviation: what a reading that does not count is off by
ANY_SPEED = 0.3  # standard deviation of an engine speed that is not believed [-]
ANY_FACING = 1.0  # the same of the share of velocity pressure that a tapping reads along [-]
TURNS = 6
TRIED, BEHIND = 3, 10.0
"""So many pairs of readings are tried the other way round, unless the linear picture has them far behind."""
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
    """The fitting problem in which these readings do not count, and these speeds are not believed.

    Readings that were exchanged are taken for each other.
    """
    prior_sd = np.ones(model.size)
    for group in groups:
        if group.column is not None:
            prior_sd[group.column] = group.width
    problem = model.problem(prior_sd=prior_sd)
    taken = gross.exchanged(groups)
    own, other = list(taken), list(taken.values())
    problem.measured[own], problem.sd[own] = problem.measured[other], problem.sd[other]
    problem.sd[sorted(gross.aside(groups))] *= OFF
    return problem


def settled(model: ReadingModel) -> Settled:
    """The most probable estimate together with the readings that are grossly wrong.

    All readings are fitted first. Where they contradict each other, slips are looked for in the linear
    picture at the estimate, the rest is fitted again, and so on until nothing changes: from the first fit,
    and from one to blurred readings, which no single reading misleads. The more probable end counts, and what
    is more probable still of a few others: without one of its slips, or with two readings exchanged instead.
    """
    problem = model.problem()
    plain = find(problem)
    search = _Search(model, possible_slips(model), problem)
    agree = chance_beyond(plain.chi_square, len(plain.predicted)) >= LOW_CHANCE
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
    if best is not None:
        best = search.bettered(best)
    search.count(problem)
    if best is None or best.worth < -0.5 * plain.chi_square:
        last = Settled([], plain, plain, problem)
    else:
        last = Settled(best.groups, best.estimate, plain, problem_without(model, best.groups))
    last.problem.solves, last.problem.jacobians = search.solves, search.jacobians
    return last


def possible_slips(model: ReadingModel) -> list[Group]:
    """Every reading, tapping, condition, tachometer, tapping that faces the air, and pair of one kind."""
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
    return [*singles, *several, *_exchanges(model)]


def _exchanges(model: ReadingModel) -> list[Group]:
    """Two tappings of one set that were exchanged: throughout the set, and under one of its conditions.

    They are read as the same quantity, by a gauge put on the same way: both are suction, or both pressure. In
    sets that are all alike they cannot be told from exchanged units.
    """
    by: dict[tuple[str, str], dict[int, dict[str, int]]] = {}
    for i, (r, condition) in enumerate(zip(model.readings, model.condition.tolist(), strict=True)):
        if not r.minus:
            by.setdefault((r.set, r.quantity), {}).setdefault(condition, {}).setdefault(r.tapping, i)
    values = np.array([r.value for r in model.readings])
    out = []
    for (name, _), conditions in by.items():
        pairs: dict[tuple[str, str], list[tuple[int, int]]] = {}
        for place in conditions.values():
            for one, two in combinations(sorted(place), 2):
                first, second = sorted((place[one], place[two]))
                if values[first] * values[second] < 0.0:
                    continue
                pairs.setdefault((one, two), []).append((first, second))
        ways = len(pairs) * (1 + (len(conditions) > 1))
        for both in pairs.values():
            for some in dict.fromkeys([tuple(both), *((pair,) for pair in both)]):
                rows = [row for pair in some for row in pair]
                out.append(gross.exchange(name, rows, values, model.noise(), ways))
    return out


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
        self.seen: list[set[Group]] = []

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

    def bettered(self, best: _Found) -> _Found:
        """The most probable of what was found and a few others, each fitted by itself."""
        slopes, misfit = self.linear(best.estimate, problem_without(self.model, best.groups))
        told = {group: gross.evidence(slopes, misfit, [group]) for group in self.groups if group.moved}
        least = gross.evidence(slopes, misfit, best.groups) - BEHIND
        turned = [g for g in sorted(told, key=lambda g: -told[g]) if told[g] > least][:TRIED]
        fewer = [[g for g in best.groups if g is not own] for own in best.groups]
        for groups in [*fewer, *([group] for group in turned)]:
            if not groups or set(groups) in self.seen:
                continue
            problem = problem_without(self.model, groups)
            found = self._weighed(groups, find(problem, best.estimate.x), problem)
            self.count(problem)
            if found is not None and found.worth > best.worth:
                best = found
        return best

    def _weighed(self, groups: list[Group], estimate: Estimate, problem: Problem) -> _Found | None:
        self.seen.append(set(groups))
        left = len(self.sd) - len(gross.aside(groups))
        if left < (1.0 - gross.MOST) * len(self.sd):
            return None
        squares = gross.squares(*self.linear(estimate, problem), groups)
        worth = gross.log_chance(estimate.chi_square, groups, squares)
        return _Found(groups, estimate, worth, chance_beyond(estimate.chi_square, left) < LOW_CHANCE)
