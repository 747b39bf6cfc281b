"""Where to read next: the readings that would shrink an uncertainty most."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from ...arguments import texts, whole
from ...deciding.candidates import NEXT, minutes_of, possible_readings
from ...description.layout import Layout
from ...errors import InputError, shown
from ...fixes.fix import working_time
from ...inference.choosing import best_sets, variance_after, variance_after_one
from ...inference.sampling import Draws
from ...machine.fitted import Fitted, draws_for
from ...questions.vocabulary import question
from ...readings.model import ReadingModel
from ...readings.table import Reading
from ...readings.unknowns import usual_speed
from .next_step import NextStep
from .next_study import next_step
from .result import Candidate, Expected, Interval, NextReadings

Array = NDArray[np.float64]

ALIKE = 0.005
MOST_TOGETHER = 4
UNKNOWNS = "unknowns"
"""The word for all unknowns of a fit."""


@overload
def where_to_measure(
    fit: Any,
    of: None = None,
    *,
    fixes: Any = None,
    minutes: float | str | None = None,
    answer: str = "weakest vacuum",
    most: int = 3,
    seed: int = 0,
) -> NextStep: ...


@overload
def where_to_measure(
    fit: Any,
    of: str | Sequence[str],
    *,
    fixes: Any = None,
    minutes: float | str | None = None,
    answer: str = "weakest vacuum",
    most: int = 3,
    seed: int = 0,
) -> NextReadings: ...


def where_to_measure(
    fit: Any,
    of: str | Sequence[str] | None = None,
    *,
    fixes: Any = None,
    minutes: float | str | None = None,
    answer: str = "weakest vacuum",
    most: int = 3,
    seed: int = 0,
) -> NextStep | NextReadings:
    """What to do next, and which reading would better that choice; or which readings tell most of something.

    Without `of` the aim is the decision. On possible machines each fix has its gain; a reading is worth what
    deciding after it gains on average over deciding now, in the answer's own measure. Where no reading is
    worth more than half a per cent of the answer, which counts as none, it is enough, and the fix is named.

    With `of` the aim is to know: the readings that shrink the uncertainty of what is named most.

    Candidates are all tappings that are easy to reach, differences of two of them, the engine speeds read so
    far, and blanked openings: those of one unit, of all units, and the same one of every unit. The new
    readings count as a set of their own, with its own gauge and tachometer errors.

    Parameters
    ----------
    fit : Fit or Machine
        What `ds.fit` returned; without `of` also a machine of which nothing was read yet.
    of : str or list of str, optional
        What is to become surer: questions of the `of` vocabulary, or addresses of unknowns; "unknowns" for
        all unknowns of the fit. By default what to do next.
    fixes : path, list of Fix, mapping or DataFrame, optional
        What can be done, as `read_fixes` takes it; by default to seal or clean what is sought, one by one.
    minutes : float or str, optional
        The time there is for readings and fixes: minutes, or a text with its measure ("1.5 h"). Then all
        fixes that fit into what the readings leave are done, not only the next one.
    answer : str
        The answer that fixes are to better.
    most : int
        How many readings the best set has that shrinks the uncertainty of what `of` names.
    seed : int
        Of the random numbers.

    Returns
    -------
    NextStep, or NextReadings where `of` is given

    Raises
    ------
    InputError
        For something that is no fit, unknown questions, fixes that cannot be done, and machines without a
        tapping to read.
    """
    most = whole(most, "most", "a set of", 1, MOST_TOGETHER)
    if of is None:
        return next_step(fit, fixes, answer, working_time(minutes, "minutes"), seed)
    if not isinstance(fit, Fitted) or fit.several:
        raise InputError(f"{shown(fit)} is no fit", place="where_to_measure", allowed="what ds.fit returns")
    asked = [] if of == UNKNOWNS else texts(of, "where_to_measure, of", "a question, or a list of them")
    singles = possible_readings(fit.given, fit.taken)
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
