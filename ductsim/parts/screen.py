"""Screens, such as a fan's inlet screen, and the share of them that lint blinds."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ..errors import InputError
from ..laws.constants import NOTHING
from ..laws.losses import grille_loss, quadratic, thin_plate_loss, wire_mesh_loss
from .choices import OPEN_SHARES
from .declare import OptionalValue, Part, Path, Value, number, part, word
from .mishaps import Mishap

STYLES = {"thin plate": thin_plate_loss, "wire mesh": wire_mesh_loss, "grille": grille_loss}
"""Loss coefficient by what the screen is made of: a function of its open share."""

LEAST_OPEN = 0.05
"""The smallest open share that the published losses cover [-]."""


@part("screen")
class Screen(Part):
    """A perforated plate, a mesh or a grille across the flow; lint blinds a share of its holes.

    A "thin plate" is thinner than its holes are wide, a "grille" thicker; a "wire mesh" is of round wires.
    Give its `open_fraction`, or `hole` and `pitch`: round holes in a thin plate (staggered: in
    triangles), square ones between the wires of a mesh, slots between the bars of a grille.

    The loss is that of the same screen with the open share that is left (lint closing whole holes is our
    assumption).
    """

    sources = ("blevins", "our_assumption")
    sizes = ("area",)
    faults = ("blinded",)
    mishaps = (
        Mishap("is blinded to 80 %", "a mat of lint on it, and the fan's note changes", {"blinded": 0.8}),
        Mishap("is blinded by half", "a mat of lint on parts of it", {"blinded": 0.5}),
    )
    work = "clean"
    symbol = "screen"
    choices = (("open_fraction",), ("hole", "pitch"))

    area: Value = number("m2", at_least=0, spread=0.02, doc="area of the whole screen; 0 = closed")
    open_fraction: OptionalValue = number(
        "", at_least=0, at_most=1, default=None, spread=0.05, doc="open share when clean", words=OPEN_SHARES
    )
    blinded: Value = number(
        "", at_least=0, at_most=1, default=0.0, spread=0.3, doc="share of the holes blinded by lint"
    )
    hole: OptionalValue = number(
        "m",
        above=0,
        default=None,
        spread=0.02,
        doc="diameter of its holes, or the clear width between wires or bars",
    )
    pitch: OptionalValue = number(
        "m", above=0, default=None, spread=0.02, doc="distance from one hole, wire or bar to the next"
    )
    pattern: str = word("staggered", "square", default="staggered", doc="how the holes of a thin plate stand")
    style: str = word(*STYLES, default="thin plate", doc="what it is made of")

    @classmethod
    def examples(cls) -> list[Screen]:
        """Screens for `check_part`, whose holes must be smaller than their pitch."""
        made = [
            cls(area=0.3, open_fraction=share, blinded=blinded, style=style)
            for style in STYLES
            for share, blinded in ((0.6, 0.0), (0.4, 0.3), (1.0, 0.0))
        ]
        return made + [
            cls(area=0.3, hole=3e-3, pitch=5e-3, pattern=pattern, style=style)
            for style in STYLES
            for pattern in ("staggered", "square")
        ]

    def check(self) -> None:
        """Holes are smaller than their distance."""
        if self.hole is not None and np.any(np.greater_equal(self.hole, self.pitch)):
            raise InputError(
                "the hole is not smaller than the pitch", place="screen: hole", allowed="hole < pitch"
            )

    @property
    def clean(self) -> Any:
        """Open share when clean [-]: as given, or by hole and pitch."""
        if self.open_fraction is not None:
            return self.open_fraction
        ratio: Any = self.hole / self.pitch
        if self.style == "grille":
            return ratio
        if self.style == "wire mesh":
            return ratio * ratio
        whole = 2.0 * math.sqrt(3.0) if self.pattern == "staggered" else 4.0
        return math.pi / whole * ratio * ratio

    def paths(self) -> tuple[Path, ...]:
        """One path by the square law."""
        share = self.clean * (1.0 - self.blinded)
        shut = np.less(self.area * share, NOTHING)
        area = np.where(shut, 1.0, self.area)
        loss = STYLES[self.style](np.where(shut, 1.0, share))
        # a wide-open screen loses nothing; the least loss keeps its slope above zero
        start = 1.2 * 10.0 * area * np.where(shut, 1.0, share)
        return (
            Path(
                quadratic,
                {"area": area, "loss": np.maximum(loss, 1e-3)},
                area,
                start=start,
                density="entering",
                shut=shut,
            ),
        )

    def outside(self) -> list[tuple[Any, str]]:
        """Where the open share that is left lies outside what was published."""
        share = self.clean * (1.0 - self.blinded)
        least = (share > 0.0) & np.less(share, LEAST_OPEN)
        return [(least, f"less than {LEAST_OPEN:.0%} of the screen is open, beyond the published losses")]
