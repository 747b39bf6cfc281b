"""Which few readings are grossly wrong: single ones, or groups that share a place, conditions or a speed.

Near an estimate, readings are linear in the unknowns: beforehand they are normal about what is predicted,
with covariance S = 1 + J J^T in whitened readings and unknowns. A slip is a group of readings, or one
direction in which several move together, that has an error of its own, tau times as large as what is known
of the group from all others. With q the sum of squares by which the group misses what the others predict,
for k numbers, the most probable tau^2 is q / k, and the slip explains the readings better by
(q - k - k log(q / k)) / 2 in the logarithm of their probability. It is
believed where that is more than it costs to believe in a slip.

Readings that were exchanged are a slip without any error of its own: each is what the other should be. It
explains them better by the logarithm of how much more probable they are that way round, given all others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

RATE = 0.01
"""Share of readings, places, conditions and speeds that are grossly wrong: our assumption. A single reading
is then believed to be wrong from 3.6 standard deviations on: one in 3,000 sound ones."""
COST = float(np.log((1.0 - RATE) / RATE))
MOST = 0.4  # of the readings: where more are at odds, nobody can say which are right
ROUNDS = 6


@dataclass(frozen=True)
class Group:
    """Readings that may be wrong together.

    Attributes
    ----------
    kind, name : str
        What they share.
    rows : tuple of int
        The readings.
    column : int or None
        The unknown that is off, where they are only wrong along its effect.
    width : float
        How far off it may be then, in usual standard deviations.
    moved, noise : tuples of float
        Of readings that were exchanged, the first with the second, the third with the fourth and so on: what
        each changes by when the other is taken for it, and its variance then, whitened as it stands.
    ways : int
        How many others might have been exchanged as well as these.
    """

    kind: str
    name: str
    rows: tuple[int, ...]
    column: int | None = None
    width: float = 1e4
    moved: tuple[float, ...] = ()
    noise: tuple[float, ...] = ()
    ways: int = 1

    @property
    def cost(self) -> float:
        """What believing in it costs, in the logarithm of a probability."""
        return COST + float(np.log(self.ways))


def worth(square: float, count: int) -> float:
    """By how much a slip of `count` numbers is believed; below 0 it is not."""
    ratio = square / count
    return 0.5 * (square - count - count * np.log(ratio)) - COST if ratio > 1.0 else -np.inf


def slips(slopes: Array, misfit: Array, groups: Sequence[Group]) -> list[Group]:
    """The groups that are grossly wrong; more than `MOST` of the readings may be among them.

    Parameters
    ----------
    slopes : array (M, A)
        Derivatives of the whitened readings in the whitened unknowns.
    misfit : array (M,)
        Whitened readings less what the unknowns' means would make, linearly: see `linear_misfit`.
    groups : sequence of Group
        What may be wrong.
    """
    chosen: list[Group] = []
    for _ in range(ROUNDS):
        before = set(chosen)
        chosen = _dropped(slopes, misfit, _grown(slopes, misfit, groups, chosen))
        chosen = _parted(slopes, misfit, groups, _joined(slopes, misfit, groups, chosen))
        if set(chosen) == before:
            break
    return chosen


def aside(chosen: Sequence[Group]) -> set[int]:
    """The readings that do not count: those of groups that are wrong in any way."""
    return {row for group in chosen if group.column is None and not group.moved for row in group.rows}


def exchanged(chosen: Sequence[Group]) -> dict[int, int]:
    """Reading -> the one that is taken for it."""
    out: dict[int, int] = {}
    for group in chosen:
        if group.moved:
            out.update(zip(group.rows, _crosswise(group.rows), strict=True))
    return out


def exchange(name: str, rows: Sequence[int], values: Array, sd: Array, ways: int) -> Group:
    """The slip that readings were exchanged in pairs, from all readings and their standard deviations."""
    own, other = list(rows), list(_crosswise(tuple(rows)))
    moved = (values[other] - values[own]) / sd[own]
    noise = (sd[other] / sd[own]) ** 2
    return Group(
        "exchanged", name, tuple(rows), moved=tuple(moved.tolist()), noise=tuple(noise.tolist()), ways=ways
    )


def _crosswise(rows: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(rows[i ^ 1] for i in range(len(rows)))


class _State:
    """What the readings that count tell of all others."""

    def __init__(self, slopes: Array, misfit: Array, chosen: Sequence[Group]) -> None:
        out = aside(chosen)
        self.kept = np.array([i for i in range(len(misfit)) if i not in out], dtype=np.intp)
        self.place = {int(row): at for at, row in enumerate(self.kept)}
        self.slopes, self.misfit, noise = slopes, misfit.copy(), np.ones(len(misfit))
        for group in chosen:
            if group.moved:
                self.misfit[list(group.rows)] += group.moved
                noise[list(group.rows)] = group.noise
        ways = [g.width * direction(slopes, g) for g in chosen if g.column is not None]
        self.wide = np.column_stack([slopes, *ways]) if ways else slopes
        own = self.wide[self.kept]
        alike = own @ own.T
        known = alike + np.diag(noise[self.kept])
        self.narrower = 0.0
        if exchanged(chosen):
            as_read = np.linalg.slogdet(alike + np.eye(len(own)))[1]
            self.narrower = 0.5 * float(as_read - np.linalg.slogdet(known)[1])
        self.inverse: Array = np.asarray(np.linalg.inv(known), dtype=np.float64)
        self.pull = self.inverse @ self.misfit[self.kept]

    def worth(self, group: Group) -> float:
        """By how much a group is believed that is not among the chosen; below 0 it is not."""
        return self.turned(group) - group.cost if group.moved else worth(*self.square(group))

    def turned(self, group: Group) -> float:
        """How much more probable readings are when they are exchanged, in the logarithm, given the others."""
        if not all(row in self.place for row in group.rows):
            return -np.inf
        rows = [self.place[row] for row in group.rows]
        known: Array = np.asarray(np.linalg.inv(self.inverse[np.ix_(rows, rows)]), dtype=np.float64)
        miss = known @ self.pull[rows]
        other = known + np.diag(np.array(group.noise) - 1.0)
        return _log_normal(miss + group.moved, other) - _log_normal(miss, known)

    def square(self, group: Group) -> tuple[float, int]:
        """How far a group misses what the other readings that count predict, and for how many numbers."""
        if group.column is not None:
            way = direction(self.slopes, group)[self.kept]
            size = float(way @ self.inverse @ way)
            return (float(way @ self.pull) ** 2 / size if size > 1e-12 else 0.0), 1
        rows = [self.place[row] for row in group.rows if row in self.place]
        if rows:
            pull = self.pull[rows]
            return float(pull @ np.linalg.solve(self.inverse[np.ix_(rows, rows)], pull)), len(rows)
        out = list(group.rows)
        cross = self.wide[out] @ self.wide[self.kept].T
        miss = self.misfit[out] - cross @ self.pull
        known = np.eye(len(out)) + self.wide[out] @ self.wide[out].T - cross @ self.inverse @ cross.T
        return float(miss @ np.linalg.solve(known, miss)), len(out)


def _log_normal(miss: Array, covariance: Array) -> float:
    """The logarithm of the probability of a miss, to a constant."""
    return -0.5 * float(miss @ np.linalg.solve(covariance, miss) + np.linalg.slogdet(covariance)[1])


def direction(slopes: Array, group: Group) -> Array:
    """How the readings of a group move together."""
    out = np.zeros(len(slopes))
    rows = list(group.rows)
    out[rows] = slopes[rows, group.column]
    return out


def _grown(slopes: Array, misfit: Array, groups: Sequence[Group], chosen: list[Group]) -> list[Group]:
    """One group after the other, each the most clearly wrong beside those before."""
    chosen = list(chosen)
    while len(aside(chosen)) <= MOST * len(misfit):
        state, out = _State(slopes, misfit, chosen), aside(chosen)
        turned = set(exchanged(chosen))
        free = [g for g in groups if g not in chosen and not (out | turned if g.moved else out) & set(g.rows)]
        gains = [state.worth(g) for g in free]
        if not gains or max(gains) <= 0.0:
            break
        chosen.append(free[int(np.argmax(gains))])
    return chosen


def _dropped(slopes: Array, misfit: Array, chosen: list[Group]) -> list[Group]:
    """Without those that agree with the readings that count, the least clearly wrong first."""
    while chosen:
        gains = _held(slopes, misfit, chosen)
        if min(gains) > 0.0:
            break
        chosen = [g for i, g in enumerate(chosen) if i != int(np.argmin(gains))]
    return chosen


def _held(slopes: Array, misfit: Array, chosen: Sequence[Group]) -> list[float]:
    """By how much each chosen group is believed beside the others."""
    out = []
    for group, square in zip(chosen, squares(slopes, misfit, chosen), strict=True):
        others = [g for g in chosen if g is not group]
        out.append(_State(slopes, misfit, others).worth(group) if group.moved else worth(*square))
    return out


def _joined(slopes: Array, misfit: Array, groups: Sequence[Group], chosen: list[Group]) -> list[Group]:
    """A larger group in the place of those within it, where it tells more than they do together."""
    found, best = chosen, evidence(slopes, misfit, chosen)
    for group in groups:
        within = [g for g in chosen if set(g.rows) <= set(group.rows) and g != group]
        others = [g for g in chosen if g not in within]
        if len(within) > 1 and not aside(others) & set(group.rows):
            trial = [*others, group]
            told = evidence(slopes, misfit, trial)
            if told > best:
                found, best = trial, told
    return found


def _parted(slopes: Array, misfit: Array, groups: Sequence[Group], chosen: list[Group]) -> list[Group]:
    """Fewer readings or one direction in the place of a group, where that tells more."""
    for group in [g for g in chosen if len(g.rows) > 1 and g.column is None]:
        others = [g for g in chosen if g is not group]
        within = [g for g in groups if set(g.rows) <= set(group.rows)]
        smaller = [g for g in within if g.column is not None or len(g.rows) < len(group.rows)]
        trial = _dropped(slopes, misfit, _grown(slopes, misfit, smaller, others))
        if evidence(slopes, misfit, trial) > evidence(slopes, misfit, chosen):
            chosen = trial
    return chosen


def linear_misfit(slopes: Array, predicted: Array, u: Array, goal: Array) -> Array:
    """What `slips` asks for, from whitened predictions at whitened unknowns u and whitened readings."""
    out: Array = goal - predicted + slopes @ u
    return out


def evidence(slopes: Array, misfit: Array, chosen: Sequence[Group]) -> float:
    """Logarithm of the probability of all readings where these are wrong, linearly, to a constant."""
    state = _State(slopes, misfit, chosen)
    chi_square = float(state.misfit[state.kept] @ state.pull)
    return log_chance(chi_square, chosen, squares(slopes, misfit, chosen)) + state.narrower


def log_chance(chi_square: float, chosen: Sequence[Group], found: Sequence[tuple[float, int]]) -> float:
    """The same from the chi-square of the readings that count, and what `squares` found of the others."""
    out = -0.5 * chi_square - sum(group.cost for group in chosen)
    for square, count in found:
        if count:
            out -= 0.5 * count * (1.0 + np.log(max(square / count, 1.0)))
    return float(out)


def squares(slopes: Array, misfit: Array, chosen: Sequence[Group]) -> list[tuple[float, int]]:
    """By how much each chosen group misses what all others predict, and for how many numbers.

    What was exchanged misses nothing as it is taken: 0 for no number.
    """
    state = _State(slopes, misfit, chosen)
    out = []
    for group in chosen:
        if group.moved:
            out.append((0.0, 0))
            continue
        others = [g for g in chosen if g is not group]
        out.append((state if group.column is None else _State(slopes, misfit, others)).square(group))
    return out
