"""What the usual mishaps would do."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ...crop.margins import Place
from ...machine.machine import Machine
from ...questions.vocabulary import Question, question
from ...result import Note, Result


@dataclass
class Seen:
    """What the machine would show after a mishap, or as it is.

    Attributes
    ----------
    kind : str
        What happens to what kind of thing: "hose has come off".
    words : str
        What has happened: "hose 3 has come off".
    sign : str
        What someone near the machine would see or hear.
    parts : tuple of str
        The parts that it happened to; of a unit's door its openings.
    answer : float
        To the question asked, in SI; NaN where there is no answer.
    vacuum, opening_air : dicts
        Unit -> static vacuum at its tapping [Pa], air that enters by its openings [kg/s].
    gauges : dict
        Tapping -> static pressure there [Pa gauge].
    power : float
        Shaft power of all fans [W].
    weakest : str
        The unit with the lowest vacuum.
    margin : float
        The smallest carrying margin with the crop at its present speed; NaN without a crop.
    place : Place or None
        Where that is.
    passed : str
        What limit is passed, in words; empty where none is.
    """

    kind: str
    words: str
    sign: str
    parts: tuple[str, ...]
    answer: float
    vacuum: dict[str, float]
    opening_air: dict[str, float]
    gauges: dict[str, float]
    power: float
    weakest: str
    margin: float
    place: Place | None
    passed: str

    @property
    def solved(self) -> bool:
        """Whether there is an answer."""
        return bool(np.isfinite(self.answer))


@dataclass(repr=False, eq=False)
class Faults(Result):
    """The usual mishaps one by one, the worst first; made by `what_if`.

    Attributes
    ----------
    machine : Machine
        The machine as it is; of possible machines the middle one.
    of : str
        What was asked.
    before : Seen
        The machine as it is.
    after : list of Seen
        After each mishap by itself, the one that takes most from the answer first (of equal ones that which
        takes most air from all openings), those without an answer last.
    seen : list of Note
        What the solved machine had to say as it is.
    """

    machine: Machine
    of: str
    before: Seen
    after: list[Seen]
    seen: list[Note] = field(default_factory=list)

    @property
    def question(self) -> Question:
        """What was asked, with its label and measure."""
        return question(self.machine.layout, self.of)

    @property
    def worst_of_each_kind(self) -> list[Seen]:
        """The worst mishap of each kind that has an answer, the worst first."""
        kinds = {own.kind: own for own in reversed(self.after) if own.solved}
        return [own for own in self.after if kinds.get(own.kind) is own]

    def damage(self, after: Seen) -> float:
        """How much worse the answer is than before, in its SI measure; below 0 where it is better."""
        sign = 1.0 if self.question.more_is_better else -1.0
        return sign * (self.before.answer - after.answer)

    def air_lost(self, after: Seen) -> tuple[str, float]:
        """The unit that loses most air at its openings, and the share that it loses; ("", 0) if none."""
        lost = {
            unit: 1.0 - after.opening_air[unit] / air
            for unit, air in self.before.opening_air.items()
            if air > 0.0 and np.isfinite(after.opening_air[unit])
        }
        unit = max(lost, key=lambda name: lost[name], default="")
        return (unit, lost[unit]) if unit and lost[unit] > 0.0 else ("", 0.0)

    def gauge(self, after: Seen) -> str:
        """The tapping whose static pressure moves most; empty where none is known to move."""
        moved = {
            name: abs(value - self.before.gauges[name])
            for name, value in after.gauges.items()
            if np.isfinite(value) and np.isfinite(self.before.gauges[name])
        }
        return max(moved, key=lambda name: moved[name], default="")
