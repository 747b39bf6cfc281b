"""Openings: holes, grilles, entries and outlets with a loss coefficient on an area."""

from __future__ import annotations

import numpy as np

from ..laws.constants import NOTHING
from ..laws.losses import quadratic
from .choices import OPENING_EDGES
from .declare import Part, Path, Value, number, part


@part("opening")
class Opening(Part):
    """An opening that loses a multiple of the velocity pressure in its area, either way."""

    sources = ("borda_carnot",)
    sizes = ("area",)
    work = "restrictor"
    symbol = "opening"

    area: Value = number("m2", at_least=0, spread=0.03, doc="open area; 0 = closed")
    loss_coefficient: Value = number(
        "", above=0, spread=0.15, doc="loss on the velocity in that area", words=OPENING_EDGES
    )

    def paths(self) -> tuple[Path, ...]:
        """One path by the square law."""
        shut = np.less(self.area, NOTHING)
        area = np.where(shut, 1.0, self.area)
        return (
            Path(
                quadratic,
                {"area": area, "loss": self.loss_coefficient},
                area,
                density="entering",
                shut=shut,
            ),
        )
