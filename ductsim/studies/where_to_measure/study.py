"""Where to read next: the readings that would shrink an uncertainty most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import texts, whole
from ...description.layout import Layout
from ...errors import InputError, shown
from ...inference.choosing import best_sets, variance_after, variance_after_one
from ...inference.sampling import Draws
from ...machine.fitted import Fitted, draws_for
from ...questions.vocabulary import question
from ...readings.model import ReadingModel
from ...readings.table import Reading
from ...readings.unknowns import usual_speed
from .result import NEXT, Candidate, Expected, Interval, NextReadings

Array = NDArray[np.float64]

TAPING = 1.5  # minutes for taping one opening shut and freeing it again: common practice, no published source
NEW_SPEED = 1.0  # minutes for another engine speed
SPEEDS = 3
ALIKE = 0.005
MOST_TOGETHER = 4


def where_to_measure(fit: Fitted, of: str | Sequence[str] | None = None, *, most: int = 3) -> NextReadings:
    """Which single reading, and which few together, would tell most next.

    Candidates are all tappings that are easy to reach, differences of two of them, the engine speeds read so
    far, and blanked openings: those of one unit, of all units, and the same one of every unit. The new
    readings count as a set of their own, with its own gauge and tachometer errors.

    Parameters
    ----------
    fit : Fit
        What `ds.fit` returned.
    of : str or list of str, optional
        Questions of the `of` vocabulary, or addresses of unknowns, whose uncertainty is to shrink. By default
        all unknowns of the fit.
    most : int
        How many readings the best set has.

    Returns
    -------
    NextReadings

    Raises
    ------
    InputError
        For something that is no fit, unknown questions, and machines without a tapping to read.
    """
    if not isinstance(fit, Fitted) or fit.several:
        raise InputError(f"{shown(fit)} is no fit", place="where_to_measure", allowed="what ds.fit returns")
    most = whole(most, "most", "a set of", 1, MOST_TOGETHER)
    asked = texts(of, "where_to_measure, of", "a question, or a list of them") if of else []
    singles = possible_readings(fit)
    if not singles:
        raise InputError(
            "there is no tapping to read", place="where_to_measure", allowed="a tapping with easy access"
        )
    belief = _Belief.of(fit, singles)
    return _chosen(fit, belief, asked, most, *_candidates(belief, singles))


@dataclass
class _Belief:
    """What is believed of the readings that could be taken, with errors that are as large as ever.

    Attributes
    ----------
    model : ReadingModel
        Of the readings that could be taken, as a set of their own.
    draws : Draws
        Of the fit, or as many of them as are made by default.
    z : array (A,)
        The most probable coordinates.
    x : array (A, N)
        The coordinates of each draw. How a tapping faces the air is what it was; the errors of the new set
        are nothing in all of them.
    own : array (E,)
        The coordinates that are errors of the new set: independent of all else, of variance 1.
    """

    model: ReadingModel
    draws: Draws
    z: Array
    x: Array
    own: NDArray[np.intp]

    @classmethod
    def of(cls, fit: Fitted, singles: Sequence[Reading]) -> _Belief:
        model = ReadingModel(fit.given, singles, fit.scales, fit.errors, fit.relative)
        count = draws_for(fit.conditions, None)
        draws = fit.drawn(count).thinned(count, np.random.default_rng(fit.seed))
        places = list(range(model.numbers))  # in the fit, of each coordinate here; -1: a new error
        for name in model.names[model.numbers :]:
            places.append(fit.names.index(name) if name in fit.names and model.stays(name) else -1)
        known = np.flatnonzero(np.array(places) >= 0)
        z, x = np.zeros(model.size), np.zeros((model.size, draws.x.shape[1]))
        kept = np.array(places)[known]
        z[known], x[known] = fit.estimate.x[kept], draws.x[kept]
        return cls(model, draws, z, x, np.setdiff1d(np.arange(model.size), known))

    def rows(self, values: Array, errors: Array | None = None) -> Array:
        """Values of each draw (K, N), and slopes in the errors (K, E), as rows that `choosing` takes."""
        anomalies = self.draws.anomalies(values)
        return np.hstack([anomalies, np.zeros((len(values), len(self.own))) if errors is None else errors])

    @property
    def covariance(self) -> Array:
        """Of what the columns of `rows` stand for."""
        return np.eye(self.x.shape[1] + len(self.own))

    def left(self, after: Array, now: Array, count: int) -> Array:
        """Shares of variance that `count` readings leave, (Q, ...).

        Of N draws, `count` readings explain count / (N - 1) by chance alone: that is taken off, as in an
        adjusted coefficient of determination.
        """
        known = np.where(now > 0.0, now, 1.0).reshape(-1, *[1] * (after.ndim - 1))
        many = max(self.draws.effective, count + 2.0)
        out: Array = np.clip(after / known * (many - 1.0) / (many - 1.0 - count), 0.0, 1.0)
        return out


def _candidates(belief: _Belief, singles: Sequence[Reading]) -> tuple[list[Reading], Array, Array]:
    """Single readings and differences of two, with expected values; their rows and own deviations."""
    model = belief.model
    values, slopes = model.jacobian(belief.z)
    predicted, own = model.predict(belief.x), slopes[:, belief.own]
    readings = [replace(r, value=v) for r, v in zip(singles, values.tolist(), strict=True)]
    zero = belief.own.tolist().index(model.names.index(f"zero of set {NEXT}"))
    by_condition: dict[Any, list[int]] = {}
    for i, r in enumerate(singles):
        if r.quantity == "static":
            by_condition.setdefault((r.engine_speed, r.blanked), []).append(i)
    pairs = [pair for members in by_condition.values() for pair in combinations(members, 2)]
    first, second = np.array(pairs, dtype=np.intp).reshape(-1, 2).T
    between = own[first] - own[second]
    between[:, zero] = model.errors.zero
    for i, k in pairs:
        readings.append(replace(singles[i], minus=singles[k].tapping, value=float(values[i] - values[k])))
    rows = belief.rows(
        np.concatenate([predicted, predicted[first] - predicted[second]]), np.concatenate([own, between])
    )
    return readings, rows, np.array([model.errors.of(r, r.value) for r in readings])


def _answers(fit: Fitted, belief: _Belief, of: Sequence[str]) -> Array:
    """What each draw answers to each question, (Q, N): a coordinate as far as it is felt, else the answer."""
    model = belief.model
    felt = model.scales.felt(belief.x[: model.numbers])
    out = np.empty((len(of), belief.x.shape[1]))
    asked = [i for i, words in enumerate(of) if words not in model.coordinates]
    for i in asked:
        question(fit.given.layout, of[i])
    if asked:
        state = fit.at(belief.draws.x).solve(raise_error=False)
        out[asked] = [np.broadcast_to(v, out.shape[1]) for v in state.ask([of[i] for i in asked])]
    for i in set(range(len(of))) - set(asked):
        out[i] = felt[model.coordinates.index(of[i])]
    return out


def _interval(fit: Fitted, belief: _Belief, words: str, answers: Array, left: float) -> Interval:
    """The 95 % interval of a question where this share of its variance is left."""
    if words in belief.model.coordinates:
        return fit.interval(words, math.sqrt(left))[:2]
    middle = float(belief.draws.mean(answers))
    return belief.draws.interval(middle + math.sqrt(left) * (answers - middle))[:2]


def _chosen(
    fit: Fitted,
    belief: _Belief,
    asked: Sequence[str],
    most: int,
    readings: list[Reading],
    rows: Array,
    noise: Array,
) -> NextReadings:
    layout, usual = fit.given.layout, usual_speed(fit.given)
    of = list(asked) or [u.address for u in fit.wanted]
    answers = _answers(fit, belief, of)
    questions, covariance = belief.rows(answers), belief.covariance
    now = np.sum(questions * questions, axis=1)
    after = belief.left(variance_after_one(covariance, questions, rows, noise), now, 1)
    left = after.mean(axis=0)
    every = [
        Candidate(r, minutes_of(layout, [r], usual), float(share))
        for r, share in zip(readings, left, strict=True)
    ]
    # of readings that tell the same to within half a per cent of variance the quickest comes first
    look_alikes = np.round(np.log(np.maximum(left, 1e-12)) / ALIKE)
    order = np.lexsort((left, [c.minutes for c in every], look_alikes))
    _, few = best_sets(covariance, questions, rows, noise, min(most, len(every)))[0]
    chosen = np.array(sorted(few, key=lambda i: _way(readings[i])))
    together = belief.left(
        variance_after(covariance, questions, rows[chosen], noise[chosen]), now, len(chosen)
    )
    shares = np.array([np.ones(len(of)), after[:, order[0]], together]).T
    return NextReadings(
        given=fit.given,
        of=of,
        asked=bool(asked),
        candidates=[every[i] for i in order],
        together=[every[i] for i in chosen],
        minutes_together=minutes_of(layout, [readings[i] for i in chosen], usual),
        left_together=float(np.mean(together)),
        expected=[
            Expected(
                words,
                _measure(layout, words),
                *(_interval(fit, belief, words, answer, float(share)) for share in own),
            )
            for words, answer, own in zip(of, answers, shares, strict=True)
        ],
    )


def _measure(layout: Layout, words: str) -> str:
    return layout.declared[words].measure if words in layout.declared else question(layout, words).measure


def _way(r: Reading) -> tuple[int, float, tuple[str, ...]]:
    """The order of work: untaped first, then by engine speed."""
    return len(r.blanked), r.engine_speed or 0.0, r.blanked


def possible_readings(fit: Fitted) -> list[Reading]:
    """Every single reading that could be taken: easy tappings, read speeds, groups of blanked openings.

    Static pressures everywhere; total pressures where totals were read before, for that needs a Pitot tube.
    """
    layout = fit.given.layout
    total = {name for r in fit.taken if r.quantity == "total" for name in (r.tapping, r.minus)}
    easy = [t.name for t in layout.tappings if t.access == "easy"]
    read = [r.engine_speed for r in fit.taken if r.engine_speed is not None]
    speeds: list[float | None] = [*sorted(set(read), key=lambda s: -read.count(s))[:SPEEDS]] or [
        usual_speed(fit.given)
    ]
    out = []
    for i, speed in enumerate(speeds):
        for blanked in blankings(layout) if i == 0 else [()]:
            for tapping in easy:
                for quantity in ("static", "total") if tapping in total else ("static",):
                    out.append(
                        Reading(tapping, 0.0, quantity, engine_speed=speed, set=NEXT, blanked=blanked, line=0)
                    )
    return out


def blankings(layout: Layout) -> list[tuple[str, ...]]:
    """Groups of openings to tape: none, those of each unit, of all units, the same one of every unit."""
    units = [u.openings for u in layout.units if u.openings]
    groups = [(), *units, tuple(o for openings in units for o in openings)]
    if len(units) > 1:
        for k in range(max(map(len, units))):
            groups.append(tuple(openings[k] for openings in units if len(openings) > k))
    return list(dict.fromkeys(tuple(sorted(g)) for g in groups))


def minutes_of(layout: Layout, readings: Sequence[Reading], usual: float | None) -> float:
    """Time for some readings taken one after the other [min]; taping and speeds are shared."""
    out = sum(layout.tapping[name].minutes for r in readings for name in (r.tapping, r.minus) if name)
    taped = {o for r in readings for o in r.blanked}
    speeds = {r.engine_speed for r in readings if r.engine_speed is not None} - {usual}
    return out + TAPING * len(taped) + NEW_SPEED * len(speeds)
