"""Which reading, or round of readings, would better the choice of what to do, and by how much."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..inference.sampling import weighted_quantiles
from ..inference.worth import Worth, worth_of_knowing, worth_of_reading
from ..quantity import RPM
from ..readings.table import Reading
from ..readings.unknowns import usual_speed
from ..wording import gathered
from .belief import Belief
from .candidates import minutes_of, possible_readings, taped_words
from .choices import Choices, noticed

Array = NDArray[np.float64]

NINE_IN_TEN = np.array([0.05, 0.95])
SURE, SAVING = 2.0, 1.0
"""A reading pays where its worth is more than counts as none and so many standard errors above nothing; or
where the work in vain that it saves takes so many standard errors longer than the reading does."""


@dataclass(frozen=True)
class Option:
    """A reading, or a round of readings under one condition, that could be taken next.

    Attributes
    ----------
    readings : tuple of Reading
        Where and how; their values are the means of what is expected.
    minutes : float
        For reading, taping and another engine speed [min].
    worth : float
        What deciding after it gains over deciding now, in the answer's measure; below zero where the
        time that it takes costs more than it tells.
    error : float
        Standard error of the worth, because there are only so many draws.
    saved, saved_error : float
        Minutes of work in vain that deciding after it saves, and the standard error of that [min].
    right, right_error : float
        Chance that what is chosen after it is right, nothing else being noticeably better, and the standard
        error of what it adds to that chance.
    pays : bool
        Whether it is worth taking: see `SURE` and `SAVING`.
    """

    readings: tuple[Reading, ...]
    minutes: float
    worth: float
    error: float
    saved: float = 0.0
    saved_error: float = 0.0
    right: float = 0.0
    right_error: float = 0.0
    pays: bool = False

    @property
    def worth_per_minute(self) -> float:
        """Its worth for each minute, in the answer's measure."""
        return self.worth / max(self.minutes, 1e-9)

    @property
    def where(self) -> str:
        """What is read, in words."""
        return gathered([r.where for r in self.readings])

    @property
    def speed_rpm(self) -> float | None:
        """The engine speed [rpm]; None where none is read."""
        speed = self.readings[0].engine_speed
        return None if speed is None else speed * RPM

    def words(self, layout: Any) -> str:
        """Where, at which speed, what is taped shut."""
        taped = taped_words(layout, self.readings[0].blanked)
        speed = "" if self.speed_rpm is None else f" at {self.speed_rpm:,.0f} rpm"
        return f"{self.where}{speed}" + (f" with {taped} taped shut" if taped else "")


@dataclass(frozen=True)
class Work:
    """Something that can be done: one fix, several in their order, or nothing.

    Attributes
    ----------
    fixes : tuple of str
        Empty for nothing.
    minutes : float
        Working time [min]; 0 where the fixes have none.
    gain : float
        By how much it betters the answer, the mean over the possible machines, in SI.
    low, high : float
        90 % of them lie between.
    chance : float
        The share of them on which nothing else is better.
    """

    fixes: tuple[str, ...]
    minutes: float
    gain: float
    low: float
    high: float
    chance: float


class Weighing:
    """Weighs what could be read against a choice of fixes.

    Attributes
    ----------
    belief, choices : Belief, Choices
        What is possible, and what can be done.
    left : float or None
        Minutes left for reading and work; None where time is no matter.
    singles : list of Reading
        All that could be read.
    shown : array (C, N)
        What the instruments show of it, without the errors that each reading has by itself.
    unrest : array (C, N)
        Those errors, in standard deviations.
    anyway : set of str
        Tappings some of which are read at work in any case, for which `kept` minutes are kept beside `left`.
    kept : float
    """

    def __init__(
        self,
        belief: Belief,
        found: Choices,
        left: float | None,
        seed: int = 0,
        name: str = "next",
        anyway: Iterable[str] = (),
        kept: float = 0.0,
    ) -> None:
        self.belief, self.choices, self.left = belief, found, left
        self.anyway, self.kept = frozenset(anyway), kept
        self.usual = usual_speed(belief.given)
        self.singles = possible_readings(belief.given, belief.taken, name)
        self.shown, self.mean = belief.shown(self.singles, seed + 1)
        self.unrest = np.random.default_rng(seed + 2).standard_normal(self.shown.shape)
        self.place = {r: i for i, r in enumerate(self.singles)}

    @cached_property
    def noticed(self) -> float:
        """A gain that can be told from none."""
        return noticed(self.choices, self.belief.weights)

    @cached_property
    def now(self) -> int:
        """The place of what would be done now."""
        return self.choices.best(self.belief.weights, self.left)

    @property
    def most(self) -> float:
        """What knowing everything at once, in no time, would add."""
        return worth_of_knowing(self.choices.gains[self.choices.within(self.left)], self.belief.weights)

    def minutes(self, readings: Sequence[Reading]) -> float:
        """Time for some readings."""
        return minutes_of(self.belief.given.layout, readings, self.usual)

    def cost(self, readings: Sequence[Reading]) -> float:
        """What some readings take from the time that is left: those that are read in any case are free."""
        plain = {r.tapping for r in readings if not (r.minus or r.blanked) and r.engine_speed == self.usual}
        tapping = self.belief.given.layout.tapping
        own = sum(tapping[name].minutes for name in plain & self.anyway)
        return self.minutes(readings) - min(own, self.kept)

    def vain(self, places: NDArray[np.intp]) -> Array:
        """Minutes of work in vain of what can be done, on each possible machine, (K, N).

        Where something else gains noticeably more it is the share of that gain that is lost.
        """
        gains = self.choices.gains
        best = gains[places].max(axis=0)
        lost = best - gains
        share = np.where(lost > self.noticed, np.clip(lost / np.maximum(best, 1e-300), 0.0, 1.0), 0.0)
        return self.choices.minutes[:, None] * share

    def fine(self, places: NDArray[np.intp]) -> NDArray[np.bool_]:
        """Whether nothing else that can be done is noticeably better, on each possible machine, (K, N)."""
        gains = self.choices.gains
        out: NDArray[np.bool_] = gains[places].max(axis=0) - gains <= self.noticed
        return out

    @cached_property
    def right(self) -> float:
        """The chance that what would be done now is right."""
        return self.right_after(0.0)

    def right_after(self, cost: float) -> float:
        """The chance that what would be done in the time beside readings of that cost is right."""
        left = self._beside(cost)
        first = self.choices.best(self.belief.weights, left)
        return float(self.fine(self.choices.within(left))[first] @ self.belief.weights)

    def _beside(self, cost: float) -> float | None:
        return None if self.left is None else self.left - cost

    @cached_property
    def price(self) -> float | None:
        """What a minute of the work that would be done now gains; None where it has no time or gain."""
        gain = float(self.choices.gains[self.now] @ self.belief.weights)
        minutes = float(self.choices.minutes[self.now])
        return gain / minutes if minutes > 0.0 and gain > 0.0 else None

    def in_minutes(self, option: Option, before: Option | None = None) -> float:
        """What an option is worth beside the one before, less the time that it takes [min].

        Its worth counts as the time that the work of now would need for it, or as the work in vain that it
        saves, whichever is more; without a time of the work as nothing.
        """
        worth, saved = option.worth, option.saved
        if before is not None:
            worth, saved = worth - before.worth, saved - before.saved
        return max(0.0 if self.price is None else worth / self.price, saved) - option.minutes

    def worth(self, values: Array, minutes: float) -> Worth:
        """The worth of readings with the values (B, N) that take so many minutes."""
        places = self.choices.within(self._beside(minutes))
        found = worth_of_reading(
            self.choices.gains[places], values, self.belief.weights, self.choices.gains[self.now]
        )
        return replace(found, choice=places[found.choice])

    def groups(self) -> list[tuple[tuple[Reading, ...], list[Array]]]:
        """Single readings, differences of two, and rounds of all units' tappings, with what they show."""
        out: list[tuple[tuple[Reading, ...], list[Array]]] = []
        by_condition: dict[Any, list[int]] = {}
        for i, r in enumerate(self.singles):
            out.append(((replace(r, value=float(self.mean[i])),), [self._read(r, i)]))
            if r.quantity == "static":
                by_condition.setdefault((r.engine_speed, r.blanked), []).append(i)
        own = [u.vacuum_at for u in self.belief.given.layout.units]
        for members in by_condition.values():
            at = {self.singles[i].tapping: i for i in members}
            tour = [at[name] for name in own if name in at]
            if len(tour) > 1:
                readings = [replace(self.singles[i], value=float(self.mean[i])) for i in tour]
                out.append((tuple(readings), [self._read(self.singles[i], i) for i in tour]))
            out += [self._difference(i, k) for i, k in combinations(members, 2)]
        return out

    def _difference(self, i: int, k: int) -> tuple[tuple[Reading, ...], list[Array]]:
        """One gauge between two tappings: what is off for both of them is not in it."""
        value = float(self.mean[i] - self.mean[k])
        reading = replace(self.singles[i], minus=self.singles[k].tapping, value=value)
        return (reading,), [self._read(reading, i, k)]

    def _read(self, reading: Reading, i: int, k: int | None = None) -> Array:
        """What a reading shows on each possible machine: of one place, or the difference of two."""
        between = self.mean[i] - (0.0 if k is None else self.mean[k])
        own = self.belief.errors.of(reading, float(between)) * self.unrest[i]
        out: Array = self.shown[i] - (0.0 if k is None else self.shown[k]) + own
        return out

    def _option(
        self, readings: tuple[Reading, ...], values: Array, minutes: float, cost: float, last: Option | None
    ) -> Option:
        found = self.worth(values, cost)
        here = np.arange(len(self.belief.weights))
        places = self.choices.within(self._beside(cost))
        vain = self.vain(places)
        saved, saved_error = self._mean(vain[self.now] - vain[found.choice, here])
        fine = self.fine(places)
        surer, right_error = self._mean(1.0 * fine[found.choice, here] - fine[self.now])
        more, time = (found.value, saved) if last is None else (found.value - last.worth, saved - last.saved)
        pays = more > max(self.noticed, SURE * found.error) or (
            more > -self.noticed and time > minutes + SAVING * saved_error
        )
        right = self.right + surer
        return Option(
            readings, minutes, found.value, found.error, saved, saved_error, right, right_error, pays
        )

    def _mean(self, values: Array) -> tuple[float, float]:
        """The mean over the possible machines, and its standard error."""
        mean = float(values @ self.belief.weights)
        return mean, float(np.sqrt(np.sum((self.belief.weights * (values - mean)) ** 2)))

    def options(self, before: Sequence[Option] = ()) -> list[Option]:
        """What could be read next, the best first: by worth, of equal ones the quicker.

        Worths are those of reading all options `before` too; minutes are what it takes beside them.
        """
        known = [values for option in before for values in self.values(option)]
        read = [r for option in before for r in option.readings]
        gone = self.minutes(read)
        out = []
        for readings, values in self.groups():
            both = [*read, *readings]
            minutes, cost = self.minutes(both), self.cost(both)
            if self.left is not None and cost > self.left:
                continue
            last = before[-1] if before else None
            out.append(self._option(readings, np.array([*known, *values]), minutes - gone, cost, last))
        step = max(self.noticed, 1e-12)
        return sorted(out, key=lambda o: (-round(o.worth / step), o.minutes, -o.worth))

    def values(self, option: Option) -> list[Array]:
        """What an option's readings show on each possible machine."""
        out = []
        for r in option.readings:
            first = self.place[replace(r, minus="", value=0.0)]
            second = self.place[replace(r, tapping=r.minus, minus="", value=0.0)] if r.minus else None
            out.append(self._read(r, first, second))
        return out

    def work(self, cost: float = 0.0) -> list[Work]:
        """What can be done beside readings of that cost: first what would be done, then by gain."""
        found, weights, left = self.choices, self.belief.weights, self._beside(cost)
        places, first = found.within(left), found.best(weights, left)
        chances = dict(zip(places.tolist(), self.chances(places).tolist(), strict=True))
        mean = found.gains @ weights
        out = []
        for k in sorted(chances, key=lambda k: (k != first, -mean[k])):
            low, high = weighted_quantiles(found.gains[k], weights, NINE_IN_TEN).tolist()
            out.append(Work(found.fixes[k], float(found.minutes[k]), float(mean[k]), low, high, chances[k]))
        return out

    def chances(self, places: NDArray[np.intp]) -> Array:
        """Of what can be done in time: the share of the possible machines on which it is the best."""
        gains = self.choices.gains[places]
        first = gains.argmax(axis=0)
        out: Array = np.bincount(first, self.belief.weights, minlength=len(places)).astype(float)
        return out
