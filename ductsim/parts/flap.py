"""Flaps that open with pressure."""

from __future__ import annotations

import numpy as np

from ..laws.constants import NOTHING
from ..laws.flaps import flap
from .choices import FLAP_GAPS, FLAP_LOSSES, FLAPS
from .declare import Part, Path, Value, number, part


@part("flap")
class Flap(Part):
    """A flap that a pressure difference from its first end to its second opens; backwards it stays shut.

    `opening_pressure` is the difference at which half of it is open: the stiffness of its spring or its own
    weight. `gap` is the share that stays open when it is shut.
    """

    sources = ("our_assumption",)
    sizes = ("area",)
    work = "part"
    symbol = "gate"

    area: Value = number("m2", at_least=0, spread=0.05, doc="open area when wide open; 0 = closed")
    opening_pressure: Value = number(
        "Pa",
        at_least=0.1,
        at_most=1e5,
        spread=0.3,
        doc="pressure difference that opens half of it",
        words=FLAPS,
    )
    loss_coefficient: Value = number(
        "", above=0, default=1.5, spread=0.3, doc="loss on the velocity in the open area", words=FLAP_LOSSES
    )
    gap: Value = number(
        "",
        at_least=1e-3,
        at_most=1,
        default=0.02,
        spread=0.5,
        doc="share that stays open when it is shut",
        words=FLAP_GAPS,
    )

    def paths(self) -> tuple[Path, ...]:
        """One path by the flap's law."""
        shut = np.less(self.area * self.gap, NOTHING)
        area = np.where(shut, 1.0, self.area)
        coefficients = {"area": area, "loss": self.loss_coefficient, "gap": self.gap}
        return (
            Path(
                flap,
                coefficients | {"opening": self.opening_pressure},
                area,
                start=1.2 * 5.0 * area * np.sqrt(self.gap),
                density="entering",
                shut=shut,
            ),
        )
