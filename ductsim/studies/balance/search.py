"""The optimiser: the largest lowest answer, then the least spread among the answers."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...answers.limits import ROUNDING, stated_limits
from ...answers.variants import solve_variants
from ...description.possible import across
from ...errors import InputError
from ...machine.machine import Machine
from .trims import Variable

Array = NDArray[np.float64]
SCATTER = 128
"""Settings that are tried before the search begins, so that it begins near the best of them."""
ROOM = 1e-5
"""Share of the lowest answer that evening the others may cost [-]."""
MOST_COUNTED = 20_000
"""Up to so many settings of discrete sizes all of them are solved."""
MOST_MOVES = 1_000
CHUNK = 5_000
EQUAL = 1e-7
"""Lowest answers closer than this share are equal [-]."""
ACTIVE = 1e-5
"""Answers this close to the lowest, and limits this close to being reached, hold an optimum [-]."""


@dataclass
class Point:
    """A solved setting: answers Q and limits L, scaled, and their slopes by the scaled variables."""

    answers: Array
    slopes: Array
    margins: Array
    margin_slopes: Array


class Search:
    """Finds the setting of some variables.

    Parameters
    ----------
    machine : Machine
        A single one.
    variables : list of Dial
    of : sequence of str
        The questions whose lowest answer is to be lifted.
    sign : float
        1 where more is better, else -1.

    Attributes
    ----------
    scale : float
        What answers are divided by.
    evaluations : int
        Settings solved with slopes.
    """

    def __init__(
        self, machine: Machine, variables: Sequence[Variable], of: Sequence[str], sign: float
    ) -> None:
        self.machine = machine
        self.variables = list(variables)
        self.of = list(of)
        self.sign = sign
        self.low = np.array([variable.low for variable in variables])
        self.span = np.array([max(variable.high - variable.low, 1e-300) for variable in variables])
        # always the same start: an answer that hung on the way taken would mislead the search
        self._start = machine.solve()
        self.scale = max(float(np.mean(np.abs([self._start.ask(words) for words in of]))), 1e-12)
        limits = stated_limits(machine)
        self._limited = [words for limit in limits for words in limit.of]
        # each limit is the sum of some questions over its bound
        shares = [
            [1.0 / limit.allowed if own is limit else 0.0 for own in limits for _ in own.of]
            for limit in limits
        ]
        self._sums = np.array(shares).reshape(len(limits), len(self._limited))
        self.evaluations = 0
        self._known: dict[bytes, Point] = {}

    # ---- settings

    def values(self, z: Array) -> Array:
        """SI values of scaled settings (0 to 1), the last axis over the variables."""
        return np.asarray(np.clip(self.low + z * self.span, self.low, self.low + self.span))

    def scaled(self, values: Array) -> Array:
        """Scaled settings of SI values."""
        return np.asarray(np.clip((values - self.low) / self.span, 0.0, 1.0))

    def at(self, z: Array) -> Machine:
        """The machine at a setting."""
        addresses = [variable.address for variable in self.variables]
        return self.machine.change(dict(zip(addresses, self.values(z).tolist(), strict=True)))

    def point(self, z: Array) -> Point:
        """Answers and slopes at a setting, kept."""
        key = np.asarray(z, dtype=float).tobytes()
        if key not in self._known:
            machine = self.at(z)
            addresses = [variable.address for variable in self.variables]
            state = machine.solve(start=self._start)
            values, slopes = machine.jacobian([*self.of, *self._limited], addresses, state)
            self.evaluations += 1
            count = len(self.of)
            slopes = slopes * self.span
            sums = self._sums
            self._known[key] = Point(
                self.sign * values[:count] / self.scale,
                self.sign * slopes[:count] / self.scale,
                1.0 - sums @ values[count:],
                -sums @ slopes[count:],
            )
        return self._known[key]

    def many(self, values: Array) -> tuple[Array, NDArray[np.bool_]]:
        """Scaled answers (K, Q) at K settings in SI, and which of them keep the limits; NaN if unsolved."""
        answers, fine = [], []
        for start in range(0, len(values), CHUNK):
            some = values[start : start + CHUNK]
            columns = {variable.address: some[:, i, None] for i, variable in enumerate(self.variables)}
            objects = {address.split(".")[0] for address in columns}
            across(self.machine, columns, len(some)).check_together(objects)
            found = solve_variants(self.machine, columns, len(some))
            rows = [found.ask(words)[:, 0] for words in self.of]
            answers.append(self.sign * np.column_stack(rows) / self.scale)
            keeps = found.solved[:, 0]
            for limit in found.limits:
                keeps = keeps & ~limit.passed
            fine.append(keeps)
        return np.concatenate(answers), np.concatenate(fine)

    def keeps_limits(self, z: Array) -> bool:
        """Whether no limit is passed at a setting."""
        return bool(self.point(z).margins.min(initial=1.0) >= -ROUNDING)

    # ---- every value can be had

    def lift(self, start: Array, free: NDArray[np.bool_] | None = None) -> Array:
        """The scaled setting with the largest lowest answer; only the free variables are moved."""
        move = np.ones(len(self.variables), dtype=bool) if free is None else free
        starts = [self.scaled(start)]
        tries = np.tile(starts[0], (SCATTER, 1))
        tries[:, move] = np.random.default_rng(0).random((SCATTER, int(move.sum())))
        answers, fine = self.many(self.values(tries))
        lowest = np.where(fine, np.nan_to_num(answers.min(axis=1), nan=-np.inf), -np.inf)
        if np.isfinite(lowest.max()):
            starts.append(tries[lowest.argmax()])
        found = [self._lift_from(z, move) for z in starts]
        good = [z for z in found if self.keeps_limits(z)]
        if not good:
            raise InputError(
                "no setting keeps the fans and drives within their limits",
                place="trim",
                allowed="other trims",
            )
        best = max(float(self.point(z).answers.min()) for z in good)
        # among equals the one reached from the present setting
        return next(z for z in good if self.point(z).answers.min() >= best * (1 - math.copysign(EQUAL, best)))

    def _lift_from(self, z: Array, move: NDArray[np.bool_]) -> Array:
        """Sequential quadratic programming on (variables, t): the largest t that no answer is below."""

        def full(x: Array) -> Array:
            out = z.copy()
            out[move] = x[:-1]
            return np.clip(out, 0.0, 1.0)

        def above(x: Array) -> Array:
            point = self.point(full(x))
            return np.concatenate([point.answers - x[-1], point.margins])

        def above_slopes(x: Array) -> Array:
            point = self.point(full(x))
            last = np.concatenate([-np.ones(len(point.answers)), np.zeros(len(point.margins))])
            return np.column_stack([np.vstack([point.slopes, point.margin_slopes])[:, move], last])

        gradient = np.zeros(int(move.sum()) + 1)
        gradient[-1] = -1.0
        lowest = float(self.point(z).answers.min())
        first = np.concatenate([z[move], [lowest]])
        x = self._minimise(
            lambda x: -float(x[-1]), lambda x: gradient, above, above_slopes, first, free_last=True
        )
        return full(x)

    def even(self, z: Array, move: NDArray[np.bool_] | None = None) -> Array:
        """From a lifted setting: the least spread that leaves the lowest answer where it is."""
        move = np.ones(len(self.variables), dtype=bool) if move is None else move
        lowest = float(self.point(z).answers.min())
        floor = lowest - ROOM * abs(lowest)

        def full(x: Array) -> Array:
            out = z.copy()
            out[move] = x
            return np.clip(out, 0.0, 1.0)

        def spread(x: Array) -> float:
            answers = self.point(full(x)).answers
            return float(np.sum((answers - answers.mean()) ** 2))

        def slopes(x: Array) -> Array:
            point = self.point(full(x))
            return np.asarray(2.0 * ((point.answers - point.answers.mean()) @ point.slopes)[move])

        def above(x: Array) -> Array:
            point = self.point(full(x))
            return np.concatenate([point.answers - floor, point.margins])

        def above_slopes(x: Array) -> Array:
            point = self.point(full(x))
            return np.vstack([point.slopes, point.margin_slopes])[:, move]

        x = full(self._minimise(spread, slopes, above, above_slopes, z[move]))
        kept = self.point(x).answers.min() >= floor - EQUAL and self.keeps_limits(x)
        return x if kept and spread(x[move]) < spread(z[move]) else z

    def _minimise(
        self, value: Any, slope: Any, above: Any, above_slope: Any, first: Array, free_last: bool = False
    ) -> Array:
        from scipy.optimize import minimize

        bounds = [(0.0, 1.0)] * (len(first) - free_last) + [(None, None)] * free_last
        found = minimize(
            value,
            first,
            jac=slope,
            bounds=bounds,
            constraints={"type": "ineq", "fun": above, "jac": above_slope},
            method="SLSQP",
            options={"maxiter": 60, "ftol": 1e-12},
        )
        return np.asarray(found.x)

    def optimality(self, z: Array, free: NDArray[np.bool_] | None = None) -> float:
        """How far a lifted setting is from satisfying the first-order conditions of its optimum.

        The largest part of sum(weight_q slope_q) + sum(multiplier_l slope_l) that no bound holds, with
        weights that are not negative and add up to 1, for answers within 1e-5 of the lowest and limits that
        are reached. In shares of the mean answer per full range of a variable; 0 at an exact optimum.
        """
        from scipy.optimize import nnls

        point = self.point(z)
        active = point.answers <= point.answers.min() + ACTIVE
        reached = point.margins <= ACTIVE
        move = np.ones(len(z), dtype=bool) if free is None else free
        unit = np.eye(len(z))[move]
        columns = [
            point.slopes[active][:, move].T,
            point.margin_slopes[reached][:, move].T,
            unit[:, z <= 1e-7],  # may be pushed down
            -unit[:, z >= 1.0 - 1e-7],  # may be pushed up
        ]
        matrix = np.column_stack(columns)
        sums = np.zeros(matrix.shape[1])
        sums[: int(active.sum())] = 1.0
        weight = 1e3
        weights, _ = nnls(np.vstack([matrix, weight * sums]), np.append(np.zeros(len(matrix)), weight))
        return float(np.abs(matrix @ weights).max(initial=0.0))

    # ---- only sizes that can be bought

    def count(self) -> int:
        """How many settings there are; 0 where some variable has no sizes."""
        return math.prod(0 if variable.sizes is None else len(variable.sizes) for variable in self.variables)

    def every(self) -> Array:
        """The best of all settings, in SI."""
        sizes = [variable.sizes for variable in self.variables if variable.sizes is not None]
        values = np.array(list(itertools.product(*sizes)))
        best = self._best(values)
        if best is None:
            raise InputError(
                "no setting keeps the fans and drives within their limits",
                place="trim",
                allowed="other sizes",
            )
        return np.asarray(values[best])

    def _best(self, values: Array) -> int | None:
        """The row with the largest lowest answer; among equals the one with the least spread."""
        answers, fine = self.many(values)
        lowest = np.where(fine, np.nan_to_num(answers.min(axis=1), nan=-np.inf), -np.inf)
        if not np.isfinite(lowest.max()):
            return None
        top = np.flatnonzero(lowest >= lowest.max() - EQUAL)
        return int(top[answers[top].std(axis=1).argmin()])

    def rounded(self, values: Array) -> Array:
        """From a setting of any values to sizes: the best of the neighbours, then size by size, in SI."""
        near = [_neighbours(variable, value) for variable, value in zip(self.variables, values, strict=True)]
        while math.prod(map(len, near)) > MOST_COUNTED:
            widest = max(range(len(near)), key=lambda i: len(near[i]))
            near[widest] = [self.variables[widest].nearest(values[widest])]
        trial = np.array(list(itertools.product(*near)))
        place = self._best(trial)
        now = np.asarray(trial[0 if place is None else place])
        for _ in range(MOST_MOVES):
            trial = np.vstack([now, *self._moves(now)])
            place = self._best(trial)
            if place is None:
                raise InputError(
                    "no sizes nearby keep the fans and drives within their limits",
                    place="trim",
                    allowed="other sizes",
                )
            if not place:
                break
            now = np.asarray(trial[place])
        return now

    def _moves(self, now: Array) -> list[Array]:
        """Settings with one or two variables a size up or down."""
        steps = []
        for i, variable in enumerate(self.variables):
            if variable.sizes is not None:
                at = int(np.abs(variable.sizes - now[i]).argmin())
                steps += [(i, variable.sizes[k]) for k in (at - 1, at + 1) if 0 <= k < len(variable.sizes)]
        out = []
        for some in itertools.chain(itertools.combinations(steps, 1), itertools.combinations(steps, 2)):
            if len({i for i, _ in some}) == len(some):
                moved = now.copy()
                for i, size in some:
                    moved[i] = size
                out.append(moved)
        return out


def _neighbours(variable: Variable, value: float) -> list[float]:
    """The sizes on both sides of a value; the value itself where every value can be had."""
    if variable.sizes is None:
        return [float(value)]
    k = int(np.searchsorted(variable.sizes, value))
    return sorted({float(variable.sizes[i]) for i in (k - 1, k) if 0 <= i < len(variable.sizes)})
