"""Gates: a sliding plate that leaves a share of the duct open."""

from __future__ import annotations

import numpy as np

from ..laws.constants import NOTHING
from ..laws.losses import plate_loss, quadratic
from .declare import Part, Path, Value, number, part
from .mishaps import Mishap


@part("gate")
class Gate(Part):
    """A sliding plate across a duct, by the share of the section that it leaves open.

    The loss is that of a thin sharp-edged plate with a hole of that share, wherever the hole lies (our
    assumption); fully open, only `open_loss` is left.
    """

    carries_on = True
    sources = ("borda_carnot", "our_assumption")
    sizes = ("area",)
    mishaps = (Mishap("has slipped shut", "its handle is out of place", {"opening": 0.0}),)
    work = "restrictor"
    symbol = "gate"

    area: Value = number("m2", at_least=0, spread=0.02, doc="section of the duct; 0 = closed")
    opening: Value = number("", at_least=0, at_most=1, spread=0.03, doc="share that is open; 0 = closed")
    open_loss: Value = number(
        "", at_least=1e-3, at_most=100, default=0.05, spread=0.5, doc="loss of the fully open gate"
    )

    def paths(self) -> tuple[Path, ...]:
        """One path by the square law."""
        shut = np.less(self.area * self.opening, NOTHING)
        area = np.where(shut, 1.0, self.area)
        share = np.where(shut, 1.0, self.opening)
        return (
            Path(
                quadratic,
                {"area": area, "loss": plate_loss(share) + self.open_loss},
                area,
                start=1.2 * 10.0 * area * share,
                density="entering",
                shut=shut,
            ),
        )
