"""Ducts: round, rectangular or flat-oval, with bends, local losses and a rise."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..errors import InputError
from ..laws.constants import NOTHING
from ..laws.friction import friction
from .bend import Bend, bends_loss, bends_outside
from .choices import DUCT_WALLS
from .declare import OptionalValue, Path, Value, nested, number, part, word
from .ends import OpenEnds
from .mishaps import GONE, Mishap


@part("duct")
class Duct(OpenEnds):
    """A straight or bent duct of constant section.

    Give `diameter`, or `width` and `height` (for a flat-oval one the long and the short axis). The length
    runs along the centre line, through the bends. Bends turn in the direction of `width`. `loss_coefficient`
    is what is lost besides: what its free ends and its bends take comes on top of it.
    """

    speeds_crop = True
    carries_on = True
    sources = ("ashrae2021ch21", "smacna_a7")
    mishaps = (
        Mishap(
            "is plugged",
            "crop lies at the mouth of its unit and none comes out of the duct",
            {"diameter": GONE, "height": GONE},
        ),
    )
    symbol = "duct"
    choices = (("diameter",), ("width", "height"))

    length: Value = number("m", above=0, spread=0.02, doc="length along the centre line")
    diameter: OptionalValue = number("m", above=0, default=None, spread=0.01, doc="inner diameter")
    width: OptionalValue = number("m", above=0, default=None, spread=0.01, doc="inner width or long axis")
    height: OptionalValue = number("m", above=0, default=None, spread=0.01, doc="inner height or short axis")
    shape: str = word(
        "rectangular", "flat oval", default="rectangular", doc="section that width and height describe"
    )
    roughness: Value = number(
        "m",
        at_least=0,
        at_most=0.02,
        default=0.09e-3,
        spread=0.3,
        doc="roughness; galvanised sheet",
        words=DUCT_WALLS,
    )
    loss_coefficient: Value = number(
        "", at_least=0, default=0.0, spread=0.2, doc="local losses but its ends' and bends'"
    )
    bends: Sequence[Bend] = nested(Bend, "bend", default=(), doc="its bends")
    rise: Value = number(
        "m",
        at_least=-1000,
        at_most=1000,
        default=0.0,
        spread=0.02,
        doc="how much higher the far end lies",
    )

    def check(self) -> None:
        """A flat oval is at least as wide as high."""
        if self.width is None:
            if self.shape == "flat oval":
                raise InputError("a flat oval by diameter", place="duct", allowed="give width and height")
        elif self.shape == "flat oval" and np.any(np.less(self.width, self.height)):
            raise InputError(
                "the long axis is shorter than the short one", place="duct: width", allowed="width >= height"
            )

    def section(self) -> tuple[Any, Any, Any]:
        """Area [m2], hydraulic diameter [m], and the width that the bends turn in [m]."""
        if self.diameter is not None:
            return (0.25 * math.pi) * self.diameter * self.diameter, self.diameter, self.diameter
        w, h = self.width, self.height
        if self.shape == "flat oval":
            area = (0.25 * math.pi) * h * h + h * (w - h)
            return area, 4.0 * area / (math.pi * h + 2.0 * (w - h)), w
        area = w * h
        return area, 2.0 * area / (w + h), w

    def _aspect(self) -> Any:
        """Height over width of a rectangular duct, None for others."""
        if self.diameter is not None or self.shape != "rectangular":
            return None
        shut = np.less(self.section()[0], NOTHING)
        return np.where(shut, 1.0, self.height) / np.where(shut, 1.0, self.width)

    def section_at(self, end: str) -> Any:
        """Its own, at either end."""
        return self.section()[0]

    def paths(self) -> tuple[Path, ...]:
        """One path by the friction law."""
        area, bore, width = self.section()
        shut = np.less(area, NOTHING)
        area, bore, width = (np.where(shut, 1.0, size) for size in (area, bore, width))
        bends = bends_loss(self.bends, width, self._aspect()) if self.bends else 0.0
        ends = self.end_losses(bore)
        return (
            Path(
                friction,
                {
                    "length": self.length,
                    "hydraulic_diameter": bore,
                    "area": area,
                    "roughness": self.roughness,
                    "loss": self.loss_coefficient,
                    "rise": self.rise,
                    "factor": 1.0,
                    "bends": bends,
                    "forward": ends.forward,
                    "backward": ends.backward,
                },
                area,
                shut=shut,
            ),
        )

    def outside(self) -> list[tuple[Any, str]]:
        """Where its bends leave the range of their tables, or stand too close."""
        _, _, width = self.section()
        return bends_outside(self.bends, self.length, width, self._aspect())
