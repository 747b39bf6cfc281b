"""Screens, such as a fan's inlet screen, and the share of them that lint blinds."""

from __future__ import annotations

import numpy as np

from ..laws.constants import NOTHING
from ..laws.losses import quadratic, screen_loss
from .declare import Part, Path, Value, number, part
from .mishaps import Mishap


@part("screen")
class Screen(Part):
    """A perforated plate or grid across the flow; lint blinds a share of its holes.

    The loss is that of a thin square-edged grid with the open share that is left (lint closing whole
    holes is our assumption).
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

    area: Value = number("m2", at_least=0, spread=0.02, doc="area of the whole screen; 0 = closed")
    open_fraction: Value = number("", at_least=0, at_most=1, spread=0.05, doc="open share when clean")
    blinded: Value = number(
        "", at_least=0, at_most=1, default=0.0, spread=0.3, doc="share of the holes blinded by lint"
    )

    def paths(self) -> tuple[Path, ...]:
        """One path by the square law."""
        share = self.open_fraction * (1.0 - self.blinded)
        shut = np.less(self.area * share, NOTHING)
        area = np.where(shut, 1.0, self.area)
        loss = screen_loss(np.where(shut, 1.0, share))
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
