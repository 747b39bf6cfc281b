"""What several machines of one description have in common."""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from typing import Any

from ..description.spreads import Spread
from ..inference.population import Usual
from ..machine.machine import Machine
from ..readings.unknowns import Unknown
from ..result import Result


@dataclass(frozen=True)
class Member:
    """One machine of a fleet.

    Attributes
    ----------
    name : str
    values : dict
        Unknown -> (low, estimate, high): 95 % with what is usual of the fleet, in SI.
    readings : int
        How many readings it was fitted to.
    """

    name: str
    values: dict[str, tuple[float, float, float]]
    readings: int


@dataclass(frozen=True)
class Odd:
    """An unknown of a machine that is unlike the others.

    Attributes
    ----------
    name, unknown : str
    estimate : float
        What its own readings make of it, in SI.
    usual : (low, likely, high)
        What is usual of the others.
    chance : float
        How often a machine like the others shows it so far off.
    """

    name: str
    unknown: str
    estimate: float
    usual: tuple[float, float, float]
    chance: float


@dataclass(repr=False, eq=False)
class Fleet(Result):
    """What is usual among machines of one description; made by `learn`.

    Attributes
    ----------
    given : Machine
        The description that they share.
    wanted : list of Unknown
        What was believed of each unknown before.
    known : dict
        Unknown -> `Unknown`: what is believed of it in the next machine: low, likely, high.
    populations : dict
        Unknown -> `Usual`: mean and spread among machines, on the unknown's scale.
    shares : dict
        Unknown -> width of the next machine's interval over that of before.
    members : list of Member
    odd : list of Odd
        What is unlike the others, the oddest first; it does not count for what is usual.
    """

    given: Machine
    wanted: list[Unknown]
    known: dict[str, Unknown]
    populations: dict[str, Usual]
    shares: dict[str, float]
    members: list[Member]
    odd: list[Odd]

    @property
    def unknowns(self) -> dict[str, tuple[float, float, float]]:
        """Address -> (low, likely, high) of the next machine, as `fit` takes unknowns."""
        return {address: (u.low, u.likely, u.high) for address, u in self.known.items()}

    @property
    def spreads(self) -> list[Spread]:
        """The same as spreads, as `ensemble` and the tables [[spread]] of a machine file take them.

        A triangle between the ends of the 95 %, whose middle of mass is what is likely.
        """
        out = []
        for address, u in self.known.items():
            peak = min(max(3.0 * u.likely - u.low - u.high, u.low), u.high)
            out.append(Spread(address, "triangular", low=u.low, likely=peak, high=u.high))
        return out

    @property
    def machine(self) -> Machine:
        """The description with what is usual as its unknowns: what the next machine starts from."""
        layout = self.given.layout
        tables: list[dict[str, Any]] = [
            {"number": a, "low": u.low, "likely": u.likely, "high": u.high} for a, u in self.known.items()
        ]
        return self.given.rebuilt(layout=replace(layout, free={**layout.free, "unknown": tables}))

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write `machine` as a machine file."""
        self.machine.write(path)
