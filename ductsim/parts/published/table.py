"""One published value and ours, and how a part gives it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..declare import LocalAir, Part

AIR = 1.204  # density of the air in the worked examples of ashrae2021ch21 [kg/m3]
NU = 1.506e-5  # its kinematic viscosity [m2/s], from Re = 66.4 D V
INCH_WATER = 249.089  # [Pa]


@dataclass(frozen=True, slots=True)
class Check:
    """One published value and ours.

    Attributes
    ----------
    law : str
        The law, or what stands in for one.
    what : str
        The case in words.
    key : str
        Key of the source.
    unit : str
        Unit of both values, "-" for a ratio.
    reference, ours : float
        The published value and ours.
    tolerance : float
        Largest difference allowed, in the same unit: what the published digits or the fit are good for.
    standing : str
        Of the published value: "seen", "from memory", "computed" (from the published equation), "common
        practice".
    """

    law: str
    what: str
    key: str
    unit: str
    reference: float
    ours: float
    tolerance: float
    standing: str

    @property
    def holds(self) -> bool:
        """Whether the difference is within the tolerance."""
        return abs(self.ours - self.reference) <= self.tolerance

    def row(self) -> dict[str, Any]:
        """The check as a plain row of a table."""
        return {
            "law": self.law,
            "case": self.what,
            "unit": self.unit,
            "published": self.reference,
            "ours": float(self.ours),
            "difference": float(self.ours - self.reference),
            "allowed": float(self.tolerance),
            "holds": bool(self.holds),
            "standing": self.standing,
            "source": self.key,
        }


def compare(
    law: str,
    what: str,
    key: str,
    unit: str,
    reference: float,
    ours: Any,
    share: float = 0.0,
    *,
    at_least: float = 0.0,
    standing: str = "seen",
) -> Check:
    """A check that allows a share of the published value, or `at_least` so much."""
    allowed = max(share * abs(reference), at_least)
    return Check(law, what, key, unit, reference, float(np.asarray(ours)), allowed, standing)


def drop_of(part: Part, volume: float, density: float = AIR, viscosity: float | None = None) -> float:
    """Drop [Pa] of a part with one path at a volume flow [m3/s]."""
    path: Any = part.paths()[0]
    air = LocalAir(density, NU * density if viscosity is None else viscosity, density)
    return float(path.law(density * volume, air, **path.coefficients)[0])


def volume_of(part: Part, pressure: float, density: float = AIR, viscosity: float = 1.81e-5) -> float:
    """Volume flow [m3/s] that a pressure drives through a part with one path."""
    path: Any = part.paths()[0]
    air = LocalAir(density, viscosity, density)
    low, high = 0.0, 1.0
    while path.law(high, air, **path.coefficients)[0] < pressure:
        high *= 2.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if path.law(middle, air, **path.coefficients)[0] < pressure:
            low = middle
        else:
            high = middle
    return high / density
