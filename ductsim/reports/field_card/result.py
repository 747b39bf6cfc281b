"""What a field page knows: tables made beforehand, so that a phone without network or Python can answer."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...fixes.fix import Fix
from ...machine.machine import Machine
from ...quantity import RPM
from ...questions.vocabulary import Question, question
from ...result import Note, Result
from ...writing import write_text

Array = NDArray[np.float64]
Row = dict[str, Any]
PAGE = "ductsim.reports.field_card.page"  # which knows of this module; loaded when a page is asked for


@dataclass
class SolvedFixes:
    """Sets of fixes at several engine speeds, each solved; V speeds, K sets, U units.

    A fix that sets the engine speed and nothing else is no member of the sets: with it done, the answers are
    those at its speed.

    Attributes
    ----------
    fixes : list of Fix
        Those that are in the sets, in the order of the bits.
    turning : list of (Fix, place of its speed)
        Those that set the engine speed alone.
    errors : dict
        Name of a fix that makes no sense on this machine -> the sentence that says why.
    cautions : dict
        Name of a fix -> what to beware of.
    conflicts : list of (name, name, words)
        Pairs that contradict each other.
    factors : array (V,)
        Engine speeds, over those of the machine as it is.
    engine_speed : float
        Today's [rad/s]; NaN where several engines turn differently, or none does.
    exact : bool
        Whether every set that can be done was solved; otherwise only single fixes and pairs were.
    masks : array (K,)
        The sets, whole numbers whose bits are fixes.
    answer : array (V, K)
        To the question, in SI.
    vacuum, opening_air, duct_air : arrays (V, K, U)
        Of every unit [Pa, kg/s, kg/s].
    power : array (V, K)
        Shaft power of all fans [W].
    weakest : array (V, K)
        The place of the unit with the lowest vacuum; -1 where nothing is known.
    verdicts : list of (verdict, words)
        Why a set is not to be done; the first is of the sets that may be.
    verdict : array (V, K)
        Places in `verdicts`.
    ground_speed : array (V, K, U)
        The ground speed at which each unit's crop begins to stay behind [m/s]; NaN without a crop.
    ground_speed_error : float
        The largest share by which that differed from a solved one, in `ground_speed_checks` of them.
    ground_speed_checks : int
    highest_speed : float
        The machine's own highest ground speed [m/s]; NaN where it states none.
    approximation_error : float
        Where not exact: by how much an answer put together from pairs differed from a solved one at most, in
        `approximation_checks` sets [SI of the question].
    approximation_checks : int
    """

    fixes: list[Fix]
    turning: list[tuple[Fix, int]]
    errors: dict[str, str]
    cautions: dict[str, list[str]]
    conflicts: list[tuple[str, str, str]]
    factors: Array
    engine_speed: float
    exact: bool
    masks: list[int]
    answer: Array
    vacuum: Array
    opening_air: Array
    duct_air: Array
    power: Array
    weakest: NDArray[np.intp]
    verdicts: list[tuple[str, str]]
    verdict: NDArray[np.intp]
    ground_speed: Array
    ground_speed_error: float = np.nan
    ground_speed_checks: int = 0
    highest_speed: float = np.nan
    approximation_error: float = np.nan
    approximation_checks: int = 0

    @property
    def today(self) -> int:
        """The place of today's engine speed."""
        return int(np.argmin(np.abs(self.factors - 1.0)))

    def speed_label(self, place: int) -> str:
        """An engine speed as it is shown: "2,100 rpm", or a share of today's."""
        factor = float(self.factors[place])
        if np.isfinite(self.engine_speed):
            return f"{factor * self.engine_speed * RPM:,.0f} rpm"
        return f"{factor:.0%} of today's speed"

    @property
    def turned(self) -> bool:
        """Whether there is an engine speed to choose."""
        return len(self.factors) > 1


@dataclass
class Sheet:
    """Readings that are taken together: every tapping once, under the same conditions.

    Attributes
    ----------
    name : str
        The set they are written under: "A", "B".
    title : str
        What is done before: "As it runs", "All openings taped shut".
    blanked : tuple of str
        The openings that are taped shut.
    shown : dict
        Tapping -> (lowest, expected, highest) static pressure of a healthy machine at today's speed [Pa].
    """

    name: str
    title: str
    blanked: tuple[str, ...]
    shown: dict[str, Array]


@dataclass
class Weighing:
    """What weighs suspects against readings; R readings (sheets by tappings), S suspects, G sizes.

    Attributes
    ----------
    suspects : list of str
        The addresses that may be at fault.
    grid : array (G,)
        Sizes of a fault, on each suspect's own scale: standard normal beforehand.
    sizes : array (S, G)
        The same in SI.
    likely : array (S,)
        What is likely of each, in SI.
    faulty : (float, float)
        Mean and standard deviation of a fault on that scale.
    rate : float
        The share of the suspects that is at fault beforehand.
    sound : array (R,)
        Static pressures where none is at fault [Pa].
    at : array (S, G, R)
        The same with one suspect at one size.
    relative : array (R, R)
        Covariance of what is uncertain beside the suspects [Pa2], where none is at fault; grows with the
        pressures.
    zero : array (R, R)
        That of the gauge's zero [Pa2], which does not.
    by_suspect : array (R, S)
        What a sound suspect moves by one standard deviation [Pa].
    by_speed : array (R,)
        What the engine speed moves, for a change by its whole self [Pa].
    exponent : array (R,)
        The power of the engine speed that the pressures grow with.
    swing, share : float
        Unrest of a reading by itself [Pa], [-].
    tachometer, unread_speed : float
        How far an engine speed that was read, or not read, is off [-].
    """

    suspects: list[str]
    grid: Array
    sizes: Array
    likely: Array
    faulty: tuple[float, float]
    rate: float
    sound: Array
    at: Array
    relative: Array
    zero: Array
    by_suspect: Array
    by_speed: Array
    exponent: Array
    swing: float
    share: float
    tachometer: float
    unread_speed: float


@dataclass(repr=False, eq=False)
class FieldCard(Result):
    """One page for the field; made by `field_card`, written by `write`.

    Attributes
    ----------
    machine : Machine
    of : str
        The question that fixes are judged by.
    fixes : SolvedFixes or None
        None where no fixes were given.
    sheets : list of Sheet
        What to read; empty on a machine without tappings.
    weighing : Weighing or None
        None where nothing can be suspected.
    entered : list of dict
        Readings that stand on the page from the start: the columns of a table of readings, as texts.
    beware : dict
        "fixes", "readings" -> what to beware of.
    first : str
        The unit to begin reading with.
    seen : list of Note
    fitted : bool
        Whether the fixes start from the machine as the readings given tell it, as those of a report do; else
        from the machine as described.
    """

    machine: Machine
    of: str
    fixes: SolvedFixes | None
    sheets: list[Sheet]
    weighing: Weighing | None
    entered: list[dict[str, str]]
    beware: dict[str, list[str]]
    first: str = ""
    seen: list[Note] = field(default_factory=list)
    fitted: bool = False

    @property
    def question(self) -> Question:
        """What is asked, with its label and measure."""
        return question(self.machine.layout, self.of)

    def page(self, measures: str | None = None) -> str:
        """The whole page as HTML; `measures` is "metric" or "inch", by default the machine's own."""
        made: str = import_module(PAGE).page(self, self.machine.measures if measures is None else measures)
        return made

    def write(self, path: str | os.PathLike[str], measures: str | None = None) -> None:
        """Write the page: one file that needs nothing else.

        Raises
        ------
        InputError
            Where nothing can be written, and for unknown measures.
        """
        write_text(path, self.page(measures))
