"""Words in place of a number which no tape or gauge tells: each a value, its spread, its source."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

CANT_TELL = "can't tell"
"""The word of who knows nothing; it stands for what is required and left out in a file."""


@dataclass(frozen=True, slots=True)
class Choice:
    """A word in place of a number.

    Attributes
    ----------
    word : str
        What stands in the file: "wire-wound".
    value : float
        The number in SI.
    spread : float
        Relative standard deviation [-]: how well the word alone tells the number; our assumption, from how
        far the sources lie apart.
    source : str
        Key of the value's source.
    """

    word: str
    value: float
    spread: float
    source: str


class Chosen(float):
    """A number that a word stood for: a float that knows its word, until another number takes its place."""

    choice: Choice

    def __new__(cls, choice: Choice) -> Chosen:
        """The value of a choice."""
        out = super().__new__(cls, choice.value)
        out.choice = choice
        return out

    def __reduce__(self) -> tuple[type[Chosen], tuple[Choice]]:
        return Chosen, (self.choice,)


def choice_of(word: object, choices: Iterable[Choice]) -> Choice | None:
    """The choice of that word, None where there is none."""
    return next((choice for choice in choices if choice.word == word), None)


DUCT_WALLS = (
    Choice("galvanised sheet", 0.09e-3, 0.3, "ashrae2021ch21"),
    Choice("spiral seam", 0.09e-3, 0.3, "ashrae2021ch21"),
    Choice("steel", 0.046e-3, 0.4, "ashrae2021ch21"),
    Choice("plastic", 0.02e-3, 0.7, "ashrae2021ch21"),
    Choice("rusty", 0.5e-3, 0.6, "our_assumption"),
    Choice("can't tell", 0.15e-3, 0.9, "our_assumption"),
)
"""Roughness of a duct's wall [m]; of plastic 0.009 to 0.046 mm were published."""

HOSE_WALLS = (
    Choice("smooth", 0.03e-3, 0.7, "our_assumption"),
    Choice("wire-wound", 0.9e-3, 0.5, "ashrae2021ch21"),
    Choice("corrugated", 1.6e-3, 0.3, "ashrae2021ch21"),
    Choice("can't tell", 0.9e-3, 0.9, "our_assumption"),
)
"""Effective roughness of a hose's wall [m], pulled out: wire-wound cloth or plastic 0.09 to 0.9 mm,
corrugated metal 1.2 to 2.1 mm."""

OPENING_EDGES = (
    Choice("sharp edge", 2.78, 0.08, "acgih2001"),
    Choice("duct end", 1.93, 0.08, "acgih2001"),
    Choice("flanged duct end", 1.49, 0.06, "acgih2001"),
    Choice("rounded edge", 1.04, 0.05, "acgih2001"),
    Choice("can't tell", 2.0, 0.3, "our_assumption"),
)
"""Loss of an opening into a room at rest, on the velocity in its area [-]: what its edge takes, and the
velocity itself, which is lost behind it. A hole in a sheet has a sharp edge."""

OPEN_SHARES = (Choice("can't tell", 0.45, 0.25, "our_assumption"),)
"""Open share of a screen [-]; most perforated plates have 0.3 to 0.6."""

NOZZLES = (
    Choice("smooth cone", 0.05, 0.4, "from_memory_jet_losses"),
    Choice("dented cone", 0.2, 0.5, "our_assumption"),
    Choice("short pipe", 0.5, 0.15, "idelchik"),
    Choice("can't tell", 0.15, 0.9, "our_assumption"),
)
"""Loss of a nozzle as it looks, on the velocity at its mouth [-]; of a short pipe that of its entrance."""

MIXED = (Choice("can't tell", 0.85, 0.12, "our_assumption"),)
"""Share of the pressure rise of full mixing [-]; better told by the `mixing_length`."""

EXPONENTS = (
    Choice("open gap", 0.5, 0.04, "common_practice"),
    Choice("joints and seams", 0.65, 0.08, "ashrae2021ch21"),
    Choice("can't tell", 0.6, 0.12, "our_assumption"),
)
"""Exponent of a leak's power law [-], by what leaks."""

BEND_FACTORS = (
    Choice("smooth elbow at its end", 1.0, 0.1, "our_assumption"),
    Choice("the hose itself is bent", 2.0, 0.3, "hose_bends"),
)
"""Loss of a hose's bends over that of smooth ones [-]."""

_IN_TRADE = 0.4719474432 / 9.290304 / 249.08891**0.65
"""1 ft3/min of leakage on 100 ft2 at 1 inch of water, in L/(s m2 Pa^0.65)."""
LEAKAGE_CLASSES = (
    Choice("rectangular, nothing sealed", 48.0 * _IN_TRADE, 0.5, "smacna_leakage"),
    Choice("rectangular, joints sealed", 24.0 * _IN_TRADE, 0.5, "smacna_leakage"),
    Choice("rectangular, all sealed", 6.0 * _IN_TRADE, 0.5, "smacna_leakage"),
    Choice("round, joints sealed", 12.0 * _IN_TRADE, 0.5, "smacna_leakage"),
    Choice("round, all sealed", 3.0 * _IN_TRADE, 0.5, "smacna_leakage"),
    Choice("flexible, nothing sealed", 30.0 * _IN_TRADE, 0.5, "smacna_leakage"),
    Choice("flexible, ends sealed", 12.0 * _IN_TRADE, 0.5, "smacna_leakage"),
    Choice("class A", 0.027, 0.3, "en12237"),
    Choice("class B", 0.009, 0.3, "en12237"),
    Choice("class C", 0.003, 0.3, "en12237"),
    Choice("class D", 0.001, 0.3, "en12237"),
    Choice("can't tell", 24.0 * _IN_TRADE, 0.9, "our_assumption"),
)
"""Leakage of a duct's walls and joints [L/(s m2 Pa^0.65)]: classes 48, 24, 6; 12, 3; 30, 12 as published in
ft3/min on 100 ft2 at 1 inch of water, by what is sealed (joints: seal class C, all: A). What classes A to D
of the European standards allow is from memory. Spreads are our assumption."""

FLAPS = (
    Choice("limp rubber", 20.0, 0.6, "our_assumption"),
    Choice("sheet metal, by its weight", 60.0, 0.5, "our_assumption"),
    Choice("spring-loaded", 250.0, 0.6, "our_assumption"),
    Choice("can't tell", 80.0, 0.9, "our_assumption"),
)
"""Pressure difference that opens half of a flap [Pa], by what holds it shut: 2 mm of rubber or of sheet steel
weigh 20 to 150 N/m2, a spring takes what it was chosen for."""

FLAP_LOSSES = (
    Choice("hinged at one edge", 1.5, 0.3, "our_assumption"),
    Choice("turning about its middle", 1.0, 0.4, "our_assumption"),
    Choice("can't tell", 1.5, 0.5, "our_assumption"),
)
"""Loss of a flap on the velocity in its open area [-]."""

FLAP_GAPS = (
    Choice("lies tight", 0.005, 0.6, "our_assumption"),
    Choice("lies loose", 0.03, 0.6, "our_assumption"),
    Choice("warped", 0.1, 0.5, "our_assumption"),
    Choice("can't tell", 0.03, 0.9, "our_assumption"),
)
"""Share of a flap's area that stays open when it is shut [-]."""
