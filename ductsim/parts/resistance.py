"""A plain resistance: coefficient times mass flow to a power."""

from __future__ import annotations

import numpy as np

from ..laws.constants import NOTHING
from ..laws.leaks import power_resistance
from .declare import Part, Path, Value, number, part


@part("resistance")
class Resistance(Part):
    """Total-pressure drop [Pa] = coefficient |m|^exponent with the sign of the flow, m in kg/s.

    It has no section of its own: velocities are given for 12 m/s at a drop of 100 Pa.
    """

    sources = ("common_practice",)
    work = "restrictor"

    coefficient: Value = number("", above=0, spread=0.2, doc="drop [Pa] at 1 kg/s")
    exponent: Value = number(
        "", at_least=1, at_most=3, default=2.0, spread=0.03, doc="exponent of the mass flow"
    )

    def paths(self) -> tuple[Path, ...]:
        """One path by the power law."""
        area = (100.0 / self.coefficient) ** (1.0 / self.exponent) / 14.4
        shut = np.less(area, NOTHING)
        return (
            Path(
                power_resistance,
                {"coefficient": np.where(shut, 1.0, self.coefficient), "exponent": self.exponent},
                area,
                start=14.4 * area,
                shut=shut,
            ),
        )
