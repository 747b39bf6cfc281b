"""Which reading, or round of readings, would better the choice of what to do, and by how much."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..inference.worth import Worth, worth_of_knowing, worth_of_reading
from ..quantity import RPM
from ..readings.table import Reading
from ..readings.unknowns import usual_speed
from ..wording import gathered
from .belief import Belief
from .candidates import minutes_of, possible_readings, taped_words
from .choices import Choices, noticed

Array = NDArray[np.float64]

SURE = 2.0
"""A reading pays where its worth is so many standard errors above nothing, and more than counts as none."""


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
    """

    readings: tuple[Reading, ...]
    minutes: float
    worth: float
    error: float

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
    """

    def __init__(
        self,
        belief: Belief,
        found: Choices,
        left: float | None,
        seed: int = 0,
        name: str = "next",
        taken: Iterable[Reading] = (),
    ) -> None:
        self.belief, self.choices, self.left = belief, found, left
        self.usual = usual_speed(belief.given)
        self.singles = possible_readings(belief.given, [*belief.taken, *taken], name)
        self.shown, self.mean = belief.shown(self.singles, seed + 1)
        self.unrest = np.random.default_rng(seed + 2).standard_normal(self.shown.shape)
        self.place = {r: i for i, r in enumerate(self.singles)}

    @property
    def noticed(self) -> float:
        """A gain that can be told from none."""
        return noticed(self.choices, self.belief.weights)

    @property
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

    def pays(self, worth: float, error: float) -> bool:
        """Whether a worth is more than what counts as none, and no chance of the draws."""
        return worth > max(self.noticed, SURE * error)

    def worth(self, values: Array, minutes: float) -> Worth:
        """The worth of readings with the values (B, N) that take so many minutes."""
        left = None if self.left is None else self.left - minutes
        places = self.choices.within(left)
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

    def options(self, before: Sequence[Array] = (), spent: float = 0.0) -> list[Option]:
        """What could be read next, the best first: by worth, of equal ones the quicker.

        With `before`, the readings of the options before, worths are those of reading both.
        """
        out = []
        for readings, values in self.groups():
            minutes = self.minutes(readings)
            if self.left is not None and minutes + spent > self.left:
                continue
            found = self.worth(np.array([*before, *values]), minutes + spent)
            out.append(Option(readings, minutes, found.value, found.error))
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

    def chances(self, places: NDArray[np.intp]) -> Array:
        """Of what can be done in time: the share of the possible machines on which it is the best."""
        gains = self.choices.gains[places]
        first = gains.argmax(axis=0)
        out: Array = np.bincount(first, self.belief.weights, minlength=len(places)).astype(float)
        return out
