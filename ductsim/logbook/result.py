"""What the visits to a machine add up to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..machine.machine import Machine
from ..result import Note, Result
from ..studies.fit import Fit
from ..studies.proof import Proof
from .visit import Visit

Array = NDArray[np.float64]
Row = dict[str, Any]


@dataclass(frozen=True, eq=False)
class Look:
    """The machine as the readings of one moment show it.

    Attributes
    ----------
    visit : str
        The name of the visit.
    when : str
        "before" or "after" what was done at that visit.
    engine_hours : float or None
        What the engine's meter showed [s].
    fit : Fit
        To these readings alone, of the machine with the fixes that were done until then.
    values : dict
        Unknown -> what is possible of it (S,), SI.
    weakest : array (S,)
        Vacuum of the weakest unit [Pa], on the same possible machines; empty without units.
    weakest_unit : str
        The one that is it most often.
    """

    visit: str
    when: str
    engine_hours: float | None
    fit: Fit
    values: dict[str, Array]
    weakest: Array
    weakest_unit: str


@dataclass(frozen=True, eq=False)
class Brought:
    """What the work between two looks really brought.

    Attributes
    ----------
    visits : list of str
        When it was done.
    fixes : list of str
        What was done.
    before, after : Look
        Between them nothing else was done; what wore in between counts along.
    proof : Proof or None
        The readings before and after, held against what was expected; None where no place
        was read both times.
    """

    visits: list[str]
    fixes: list[str]
    before: Look
    after: Look
    proof: Proof | None


@dataclass(frozen=True)
class Moved:
    """A number that has moved though nothing was done to it.

    Attributes
    ----------
    unknown : str
    start, end : str
        The visits at which it was seen first and last.
    hours : float or None
        Of the engine between them [s].
    before, now : float
        The estimates, SI.
    measure : str
    chance : float
        That it is larger now.
    """

    unknown: str
    start: str
    end: str
    hours: float | None
    before: float
    now: float
    measure: str
    chance: float


@dataclass(repr=False, eq=False)
class History(Result):
    """What the visits to a machine add up to; made by `history`.

    Each look is a fit to its own readings alone, so that two looks err independently but for what the machine
    file says of both; intervals hold 95 %.

    Attributes
    ----------
    folder : str
    machine : Machine
        As it was described.
    today : Machine
        As the latest readings show it, with every fix done since; as described where there are no readings.
    weakest_unit, weakest_vacuum : str, float
        Of the machine today [Pa]; empty and NaN where it has no units or no answer.
    since : list of str
        The fixes done since the latest readings: what they bring is computed, not read.
    visits : list of Visit
    looks : list of Look
    brought : list of Brought
    moved : list of Moved
        What wore, and what fell though nothing was done to it.
    seen : list of Note
    """

    folder: str
    machine: Machine
    today: Machine
    weakest_unit: str
    weakest_vacuum: float
    since: list[str]
    visits: list[Visit]
    looks: list[Look]
    brought: list[Brought]
    moved: list[Moved]
    seen: list[Note]

    @property
    def worn(self) -> list[Moved]:
        """What has grown though nothing was done to it."""
        return [moved for moved in self.moved if moved.chance > 0.5]
