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
from ...inference.scales import EDGE
from ...machine.fitted import Fitted
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
    """The linear picture: what is believed of the numbers now, and of errors that are as large as ever.

    Attributes
    ----------
    model : ReadingModel
        Of the readings that could be taken, as a set of their own.
    z : array (A,)
        The most probable coordinates.
    covariance : array (A, A)
        Of the coordinates.
    """

    model: ReadingModel
    z: Array
    covariance: Array

    @classmethod
    def of(cls, fit: Fitted, singles: Sequence[Reading]) -> _Belief:
        model = ReadingModel(fit.given, singles, fit.scales, fit.errors, fit.relative)
        count = model.numbers
        z, covariance = np.zeros(model.size), np.eye(model.size)
        z[:count] = fit.estimate.x[:count]
        covariance[:count, :count] = fit.estimate.covariance[:count, :count]
        return cls(model, z, covariance)

    def interval(self, words: str, now: float, sd: float) -> Interval:
        """The 95 % interval of a question with the value `now`, or of a coordinate, for its deviation."""
        if words not in self.model.coordinates:
            return now - EDGE * sd, now + EDGE * sd
        row = self.model.coordinates.index(words)
        ends = np.repeat(self.z[: self.model.numbers, None], 2, axis=1)
        ends[row] += np.array([-EDGE, EDGE]) * sd
        low, high = self.model.scales.values(ends)[row].tolist()
        return min(low, high), max(low, high)


def _candidates(belief: _Belief, singles: Sequence[Reading]) -> tuple[list[Reading], Array, Array]:
    """Single readings and differences of two, with expected values; their gradients and own deviations."""
    model = belief.model
    values, slopes = model.jacobian(belief.z)
    readings = [replace(r, value=v) for r, v in zip(singles, values.tolist(), strict=True)]
    rows = list(slopes)
    zero = model.names.index(f"zero of set {NEXT}")
    by_condition: dict[Any, list[int]] = {}
    for i, r in enumerate(singles):
        if r.quantity == "static":
            by_condition.setdefault((r.engine_speed, r.blanked), []).append(i)
    for members in by_condition.values():
        for i, k in combinations(members, 2):
            row = slopes[i] - slopes[k]
            row[zero] = model.errors.zero
            rows.append(row)
            readings.append(replace(singles[i], minus=singles[k].tapping, value=float(values[i] - values[k])))
    return readings, np.array(rows), np.array([model.errors.of(r, r.value) for r in readings])


def _gradients(fit: Fitted, belief: _Belief, of: Sequence[str]) -> tuple[Array, list[float]]:
    """Derivatives of the questions in the coordinates (Q, A), and the answers now; NaN for coordinates."""
    model = belief.model
    gradients, now = np.zeros((len(of), model.size)), []
    for row, words in zip(gradients, of, strict=True):
        if words in model.coordinates:
            row[model.coordinates.index(words)] = 1.0
            now.append(math.nan)
        else:
            question(fit.given.layout, words)
            answers, by_number = fit.machine.jacobian([words], model.addresses)
            row[:] = model.by_coordinate(belief.z, by_number)[0]
            now.append(float(answers[0]))
    return gradients, now


def _chosen(
    fit: Fitted,
    belief: _Belief,
    asked: Sequence[str],
    most: int,
    readings: list[Reading],
    slopes: Array,
    noise: Array,
) -> NextReadings:
    layout, usual = fit.given.layout, usual_speed(fit.given)
    of = list(asked) or [u.address for u in fit.wanted]
    questions, answers = _gradients(fit, belief, of)
    covariance = belief.covariance
    now = np.einsum("qa,ab,qb->q", questions, covariance, questions)
    known = np.where(now > 0.0, now, 1.0)
    after = variance_after_one(covariance, questions, slopes, noise)
    left = (after / known[:, None]).mean(axis=0)
    every = [
        Candidate(r, minutes_of(layout, [r], usual), float(share))
        for r, share in zip(readings, left, strict=True)
    ]
    # of readings that tell the same to within half a per cent of variance the quickest comes first
    look_alikes = np.round(np.log(np.maximum(left, 1e-12)) / ALIKE)
    order = np.lexsort((left, [c.minutes for c in every], look_alikes))
    _, few = best_sets(covariance, questions, slopes, noise, min(most, len(every)))[0]
    chosen = np.array(sorted(few, key=lambda i: _way(readings[i])))
    together = variance_after(covariance, questions, slopes[chosen], noise[chosen])
    sds = np.sqrt([now, after[:, order[0]], together]).T
    return NextReadings(
        given=fit.given,
        of=of,
        asked=bool(asked),
        candidates=[every[i] for i in order],
        together=[every[i] for i in chosen],
        minutes_together=minutes_of(layout, [readings[i] for i in chosen], usual),
        left_together=float(np.mean(together / known)),
        expected=[
            Expected(words, _measure(layout, words), *(belief.interval(words, answer, float(s)) for s in own))
            for words, answer, own in zip(of, answers, sds, strict=True)
        ],
    )


def _measure(layout: Layout, words: str) -> str:
    return layout.declared[words].measure if words in layout.declared else question(layout, words).measure


def _way(r: Reading) -> tuple[int, float, tuple[str, ...]]:
    """The order of work: untaped first, then by engine speed."""
    return len(r.blanked), r.engine_speed or 0.0, r.blanked
