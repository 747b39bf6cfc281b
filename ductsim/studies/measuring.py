"""Where to read next: the readings that would shrink an uncertainty most."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..cautions import cautions_for
from ..errors import InputError, shown
from ..inference.choosing import best_sets, variance_after, variance_after_one
from ..machine.asked import question
from ..machine.layout import Layout
from ..machine.readings.model import ReadingModel
from ..machine.readings.table import RPM, Reading
from ..machine.readings.unknowns import usual_speed
from ..machine.saying import gathered, listed, said
from ..result import Result
from ..writing import write_text

Array = NDArray[np.float64]

NEXT = "next"
TAPING = 1.5  # minutes for taping one opening shut and freeing it again: common practice, no published source
NEW_SPEED = 1.0  # minutes for another engine speed
SPEEDS = 3
ALIKE = 0.005
NORMAL = 1.959964


@dataclass(frozen=True)
class Candidate:
    """A reading that could be taken next.

    Attributes
    ----------
    reading : Reading
        Where and how; its value is what the fit expects.
    minutes : float
        For reading, taping and another engine speed, when it is taken by itself [min].
    """

    reading: Reading
    minutes: float


def where_to_measure(fit: Any, of: str | Sequence[str] | None = None, *, most: int = 3) -> NextReadings:
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
    if not hasattr(fit, "estimate") or not hasattr(fit, "model"):
        raise InputError(f"{shown(fit)} is no fit", place="where_to_measure", allowed="what ds.fit returns")
    if not 1 <= most <= 4:
        raise InputError(f"{most} readings", place="most", allowed="1 to 4")
    return NextReadings(fit, [of] if isinstance(of, str) else of, most)


class NextReadings(Result):
    """The readings worth taking next, the most telling first.

    All numbers are those of the linear, normal approximation at the fit's estimate.

    Attributes
    ----------
    fit : Fit
        What `ds.fit` returned.
    of : list of str
        What is to become surer.
    candidates : list of Candidate
        The most telling first.
    best : Candidate
        The best single reading.
    together : list of Candidate
        The best few readings, in the order in which to take them.
    """

    def __init__(self, fit: Any, of: Sequence[str] | None, most: int) -> None:
        self.fit = fit
        self.of = list(of) if of else [u.address for u in fit.wanted]
        self._asked = bool(of)
        singles = possible_readings(fit)
        if not singles:
            raise InputError(
                "there is no tapping to read", place="where_to_measure", allowed="a tapping with easy access"
            )
        scales = dict(zip(fit.model.coordinates, fit.model.scales.scales, strict=True))
        model = ReadingModel(fit.given, singles, scales, fit.model.errors, fit.relative)
        self._lay_belief(model)
        self._lay_candidates(model, singles)
        self._lay_questions()
        self._choose(most)

    # ---- the linear picture

    def _lay_belief(self, model: ReadingModel) -> None:
        """Covariance of the machine's numbers after the fit; the new set's errors are as large as ever."""
        count = model.numbers
        self._covariance = np.eye(model.size)
        self._covariance[:count, :count] = self.fit.estimate.covariance[:count, :count]
        self._z = np.zeros(model.size)
        self._z[:count] = self.fit.estimate.x[:count]

    def _lay_candidates(self, model: ReadingModel, singles: list[Reading]) -> None:
        values, slopes = model.jacobian(self._z)
        rows, readings, expected = list(slopes), list(singles), values.tolist()
        zero = model.names.index(f"zero of set {NEXT}")
        by_condition: dict[Any, list[int]] = {}
        for i, r in enumerate(singles):
            if r.quantity == "static":
                by_condition.setdefault((r.engine_speed, r.blanked), []).append(i)
        for members in by_condition.values():
            for a, i in enumerate(members):
                for k in members[a + 1 :]:
                    row = slopes[i] - slopes[k]
                    row[zero] = model.errors.zero
                    rows.append(row)
                    expected.append(float(values[i] - values[k]))
                    readings.append(_difference(singles[i], singles[k]))
        readings = [_valued(r, v) for r, v in zip(readings, expected, strict=True)]
        self._slopes = np.array(rows)
        self._noise = np.array([model.errors.of(r, r.value) for r in readings])
        usual = usual_speed(self.fit.given)
        layout = self.fit.given.layout
        self._all = [Candidate(r, minutes_of(layout, [r], usual)) for r in readings]
        self._usual = usual
        self._model = model

    def _lay_questions(self) -> None:
        fit, model = self.fit, self._model
        gradients, self._now = [], []
        for words in self.of:
            row = np.zeros(model.size)
            if words in model.coordinates:
                row[model.coordinates.index(words)] = 1.0
                self._now.append(math.nan)
            else:
                question(fit.given.layout, words)
                answers, by_number = fit.machine.jacobian([words], model.addresses)
                row = model.by_coordinate(self._z, by_number)[0]
                self._now.append(float(answers[0]))
            gradients.append(row)
        self._questions = np.array(gradients)

    def _choose(self, most: int) -> None:
        now = np.einsum("qa,ab,qb->q", self._questions, self._covariance, self._questions)
        self._sd_now = np.sqrt(now)
        after = variance_after_one(self._covariance, self._questions, self._slopes, self._noise)
        self._after = np.sqrt(after)
        self._left = (after / np.where(now > 0.0, now, 1.0)[:, None]).mean(axis=0)
        minutes = np.array([c.minutes for c in self._all])
        # of readings that tell the same to within half a per cent of variance the quickest comes first
        alike = np.round(np.log(np.maximum(self._left, 1e-12)) / ALIKE)
        self._order = np.lexsort((self._left, minutes, alike))
        self.candidates = [self._all[i] for i in self._order]
        self.best = self.candidates[0]
        size = min(most, len(self._all))
        _, chosen = best_sets(self._covariance, self._questions, self._slopes, self._noise, size)[0]
        self._chosen = sorted(chosen, key=lambda i: self._way(self._all[i].reading))
        self.together = [self._all[i] for i in self._chosen]

    def _way(self, r: Reading) -> tuple[int, float, tuple[str, ...]]:
        """The order of work: untaped first, then by engine speed."""
        return len(r.blanked), r.engine_speed or 0.0, r.blanked

    # ---- expected after

    def interval(self, place: int, sd: float) -> tuple[float, float]:
        """The expected 95 % interval of question `place` for a standard deviation of it."""
        words = self.of[place]
        if words not in self._model.coordinates:
            return self._now[place] - NORMAL * sd, self._now[place] + NORMAL * sd
        row = self._model.coordinates.index(words)
        count = self._model.numbers
        ends = np.repeat(self._z[:count, None], 2, axis=1)
        ends[row] += np.array([-NORMAL, NORMAL]) * sd
        low, high = self._model.scales.values(ends)[row].tolist()
        return min(low, high), max(low, high)

    @cached_property
    def sd_together(self) -> Array:
        """Standard deviation of each question after the best few readings."""
        chosen = np.array(self._chosen)
        left = variance_after(self._covariance, self._questions, self._slopes[chosen], self._noise[chosen])
        out: Array = np.sqrt(left)
        return out

    @property
    def minutes_together(self) -> float:
        """Time for the best few readings, taping shared [min]."""
        return minutes_of(self.fit.given.layout, [c.reading for c in self.together], self._usual)

    # ---- rows

    def rows(self) -> list[dict[str, Any]]:
        """A row for each candidate, the most telling first.

        `shrinks_to` is the standard deviation after it over that now, averaged over the questions (root mean
        square); `gain_per_minute` the share of variance that it takes away in a minute.
        """
        out = []
        for i in self._order[:60]:
            r = self._all[i].reading
            out.append(
                {
                    "where": r.where,
                    "engine_speed_rpm": None if r.engine_speed is None else r.engine_speed / RPM,
                    "blanked": _taped(self.fit.given.layout, r.blanked),
                    "expected": r.value,
                    "measure": r.measure,
                    "minutes": self._all[i].minutes,
                    "shrinks_to": float(np.sqrt(self._left[i])),
                    "gain_per_minute": float((1.0 - self._left[i]) / self._all[i].minutes),
                }
            )
        return out

    def questions(self) -> list[dict[str, Any]]:
        """A row for each question: its interval now, after the best reading, after the best few."""
        out = []
        best = int(self._order[0])
        for q, words in enumerate(self.of):
            row: dict[str, Any] = {"question": words, "measure": self._measure(words)}
            for name, sd in (
                ("now", self._sd_now[q]),
                ("after_one", self._after[q, best]),
                ("together", self.sd_together[q]),
            ):
                row[f"{name}_low"], row[f"{name}_high"] = self.interval(q, float(sd))
            out.append(row)
        return out

    def _measure(self, words: str) -> str:
        layout = self.fit.given.layout
        return layout.declared[words].measure if words in layout.declared else question(layout, words).measure

    def sheet(self) -> list[dict[str, Any]]:
        """The reading sheet of the best few readings: where, at which speed, what taped; `value` is blank."""
        out = []
        for i, c in enumerate(self.together):
            r = c.reading
            out.append(
                {
                    "step": i + 1,
                    "tape_shut": _taped(self.fit.given.layout, r.blanked) or "nothing",
                    "engine_speed_rpm": None if r.engine_speed is None else r.engine_speed / RPM,
                    "tapping": f"{r.tapping} - {r.minus}" if r.minus else r.tapping,
                    "quantity": r.quantity,
                    "expected_Pa": r.value,
                    "value": "",
                }
            )
        return out

    def write_sheet(self, path: Any) -> None:
        """Write the sheet as a readings file whose values are to be filled in."""
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(["tapping", "quantity", "value", "engine_speed", "set", "blanked", "note"])
        for c in self.together:
            r = c.reading
            name = f"{r.tapping} - {r.minus}" if r.minus else r.tapping
            speed = "" if r.engine_speed is None else f"{r.engine_speed / RPM:.0f} rpm"
            writer.writerow([name, r.quantity, "", speed, NEXT, " + ".join(r.blanked), ""])
        write_text(path, text.getvalue())

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """The candidates, the questions, the reading sheet."""
        return {"sheet": self.sheet(), "questions": self.questions(), "candidates": self.rows()}

    # ---- words

    def sentences(self, measures: str = "metric") -> list[str]:
        """The best single reading, the best few, and what they leave."""
        what = self.of[0] if len(self.of) == 1 else f"these {len(self.of)}"
        what = what if self._asked else f"all {len(self.of)} unknowns"
        best = self._order[0]
        shrunk = 1.0 - math.sqrt(self._left[best])
        out = [
            f"Read {self._words(self.best.reading)}: it makes the uncertainty of {what} {shrunk:.0%} smaller "
            f"({self.best.minutes:.0f} min)."
        ]
        quick = max(range(len(self._all)), key=lambda i: (1.0 - self._left[i]) / self._all[i].minutes)
        if quick != best:
            out.append(
                f"Most for its time: {self._words(self._all[quick].reading)}, "
                f"{1.0 - math.sqrt(self._left[quick]):.0%} smaller in {self._all[quick].minutes:.0f} min."
            )
        if len(self.together) > 1:
            after = float(np.mean((self.sd_together / self._sd_now) ** 2))
            words = listed([self._words(c.reading) for c in self.together])
            out.append(
                f"The best {len(self.together)} together: {words}; {1.0 - math.sqrt(after):.0%} smaller in "
                f"{self.minutes_together:.0f} min."
            )
        if self._asked:
            out += [self._expected(row, measures) for row in self.questions()]
        return out

    def _expected(self, row: dict[str, Any], measures: str) -> str:
        m = row["measure"]
        m = "cm2" if m == "m2" and row["now_high"] < 0.1 else m
        ends = [
            f"{said(row[f'{k}_low'], m, measures)} to {said(row[f'{k}_high'], m, measures)}"
            for k in ("now", "after_one", "together")
        ]
        return (
            f"{row['question']} lies from {ends[0]} now (95 %), from {ends[1]} after the best reading, "
            f"from {ends[2]} after the best set."
        )

    def _words(self, r: Reading) -> str:
        speed = "" if r.engine_speed is None else f" at {r.engine_speed / RPM:,.0f} rpm"
        taped = _taped(self.fit.given.layout, r.blanked)
        return f"{r.where}{speed}" + (f" with {taped} taped shut" if taped else "")

    @property
    def notes(self) -> list[str]:
        """What the numbers rest on."""
        return [
            "Expected intervals are those of the linear, normal approximation.",
            f"Taping counts {TAPING:g} min an opening, another engine speed {NEW_SPEED:g} min.",
        ]

    @property
    def cautions(self) -> list[str]:
        """The cautions that belong to reading and taping."""
        return cautions_for(["measure", "blank"])


def possible_readings(fit: Any) -> list[Reading]:
    """Every single reading that could be taken: easy tappings, read speeds, groups of blanked openings.

    Static pressures everywhere; total pressures where totals were read before, for that needs a Pitot tube.
    """
    layout = fit.given.layout
    total = {name for r in fit.taken if r.quantity == "total" for name in (r.tapping, r.minus)}
    easy = [t.name for t in layout.tappings if t.access == "easy"]
    read = [r.engine_speed for r in fit.taken if r.engine_speed is not None]
    speeds: list[float | None] = sorted(set(read), key=lambda s: -read.count(s))[:SPEEDS] or [
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


def _difference(first: Reading, second: Reading) -> Reading:
    return Reading(
        first.tapping,
        0.0,
        minus=second.tapping,
        engine_speed=first.engine_speed,
        set=first.set,
        blanked=first.blanked,
    )


def _valued(r: Reading, value: float) -> Reading:
    return Reading(
        r.tapping, value, r.quantity, r.minus, r.engine_speed, r.set, blanked=r.blanked, weather=r.weather
    )


def _taped(layout: Layout, blanked: Sequence[str]) -> str:
    """Blanked openings in words: "all openings", "the openings of unit 4", else their names."""
    own = set(blanked)
    if not own:
        return ""
    if own == {o for u in layout.units for o in u.openings}:
        return "all openings"
    for unit in layout.units:
        if own == set(unit.openings):
            return f"the openings of unit {unit.name}"
    return gathered(blanked)
