"""Leaks in their published forms: gap, power law, crack and leakage class."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..errors import InputError
from ..laws.constants import MEAN_FREE_PATH, NOTHING
from ..laws.leaks import STANDARD, crack, leakage_coefficient, power_leak
from ..laws.losses import quadratic
from .choices import EXPONENTS, LEAKAGE_CLASSES
from .declare import OptionalValue, Part, Path, Value, number, part
from .mishaps import Mishap

_TYPICAL = 300.0  # pressure at which the cold start guesses a leak's flow [Pa]


@part("leak")
class Leak(Part):
    """A leak, given in one of four forms.

    - a gap: `area`, or `length` and `width`, with a discharge coefficient;
    - a crack: `length`, `width` and `depth`, with `bends`;
    - a power law: `coefficient` [m3/(s Pa^n)] and `exponent` n;
    - a leakage class [L/(s m2 Pa^0.65)] of a duct `surface`.

    A coefficient and a class belong to air of `reference_density`; in other air the volume flow goes with the
    power n - 1 of the density.
    """

    crop_ways = ()
    sources = ("ashrae2021ch21", "iso9972", "baker1987")
    is_leak = True
    sizes = ("area", "width", "coefficient", "leakage_class")
    # as large as a hand: our assumption
    mishaps = (Mishap("is torn open by 100 cm2", "it hisses, and lint gathers around it", opens=0.01),)
    work = "seal"
    symbol = "leak"
    choices = (("area",), ("length", "width"), ("coefficient", "exponent"), ("leakage_class", "surface"))

    area: OptionalValue = number(
        "m2", at_least=0, default=None, spread=0.3, doc="open area of a gap; 0 = sealed"
    )
    length: OptionalValue = number(
        "m", at_least=0, default=None, spread=0.1, doc="length of a gap; 0 = sealed"
    )
    width: OptionalValue = number("m", at_least=0, default=None, spread=0.3, doc="width of a gap; 0 = sealed")
    depth: OptionalValue = number(
        "m", above=0, default=None, spread=0.2, doc="way of the air through a crack"
    )
    bends: Value = number("", at_least=0, at_most=10, default=0.0, doc="right-angled bends of a crack")
    discharge_coefficient: Value = number(
        "", above=0, at_most=1, default=0.61, spread=0.1, doc="discharge coefficient of a gap"
    )
    coefficient: OptionalValue = number(
        "", at_least=0, default=None, spread=0.5, doc="flow [m3/s] at 1 Pa; 0 = sealed"
    )
    exponent: OptionalValue = number(
        "",
        at_least=0.4,
        at_most=1.1,
        default=None,
        spread=0.08,
        doc="exponent of the power law",
        words=EXPONENTS,
    )
    reference_density: Value = number(
        "kg/m3",
        at_least=0.1,
        at_most=10.0,
        default=STANDARD,
        doc="density of the air that coefficient or class were measured in",
    )
    leakage_class: OptionalValue = number(
        "",
        at_least=0,
        default=None,
        spread=0.3,
        doc="leakage class in L/(s m2 Pa^0.65)",
        words=LEAKAGE_CLASSES,
    )
    surface: OptionalValue = number("m2", at_least=0, default=None, spread=0.05, doc="surface of the duct")

    def check(self) -> None:
        """A depth belongs to a length and a width."""
        if self.depth is not None and self.length is None:
            raise InputError(
                "depth without length and width", place="leak", allowed="give length and width too"
            )

    def paths(self) -> tuple[Path, ...]:
        """One path by the law of the form that was given."""
        if self.coefficient is not None:
            return (self._power(self.coefficient, self.exponent),)
        if self.leakage_class is not None:
            return (self._power(leakage_coefficient(self.leakage_class, self.surface), 0.65),)
        if self.depth is not None:
            return (self._crack(),)
        return (self._gap(),)

    def _gap(self) -> Path:
        whole: Any = self.area if self.area is not None else self.length * self.width
        shut = np.less(whole * self.discharge_coefficient, NOTHING)
        coefficient = np.where(shut, 1.0, self.discharge_coefficient)
        area = np.where(shut, 1.0, whole)
        loss = 1.0 / (coefficient * coefficient)
        start = 1.2 * 22.0 * coefficient * area
        return Path(quadratic, {"area": area, "loss": loss}, area, start=start, density="entering", shut=shut)

    def _power(self, coefficient: Any, exponent: Any) -> Path:
        shut = np.less(coefficient, NOTHING)  # what the least area passes at 1 Pa, at about 1 m/s
        safe = np.where(shut, 1.0, coefficient)
        volume = safe * _TYPICAL**exponent
        return Path(
            power_leak,
            {"coefficient": safe, "exponent": exponent, "reference_density": self.reference_density},
            volume / 22.0,
            start=1.2 * volume,
            density="entering",
            shut=shut,
        )

    def _crack(self) -> Path:
        length: Any = self.length
        width: Any = self.width
        shut = np.less(length, MEAN_FREE_PATH) | np.less(width, MEAN_FREE_PATH)
        long, wide = np.where(shut, 1.0, length), np.where(shut, 1e-3, width)
        return Path(
            crack,
            {"length": long, "width": wide, "depth": self.depth, "bends": self.bends},
            long * wide,
            density="entering",
            shut=shut,
        )
