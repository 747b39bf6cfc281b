"""Entrances, contractions and diffusers: losses that differ with the direction of the flow."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ..laws.constants import NOTHING
from ..laws.losses import contraction_loss, diffuser_loss, two_way
from .declare import Part, Path, Value, number, part, word
from .ends import PLAIN, OpenEnds, round_bore

ENTRY = {"plain": PLAIN, "flanged": 0.49, "bellmouth": 0.04, "tapered": 0.40}
"""Entry loss coefficient by the shape of the mouth [-]; flow the other way dumps its velocity pressure."""


@part("entrance")
class Entrance(Part):
    """The mouth of a duct, entered from open air or a box; flow the other way loses all its velocity.

    "plain" is the bare duct end, "tapered" a grinding hood's tapered take-off.
    """

    sources = ("acgih2001", "borda_carnot")
    sizes = ("area",)
    symbol = "opening"
    legend = "opening"

    area: Value = number(
        "m2", at_least=0, spread=0.02, doc="section of the duct behind the mouth; 0 = closed"
    )
    style: str = word(*ENTRY, default="plain", doc="shape of the mouth")

    def paths(self) -> tuple[Path, ...]:
        """One path by the two-way square law."""
        shut = np.less(self.area, NOTHING)
        area = np.where(shut, 1.0, self.area)
        return (
            Path(
                two_way,
                {"area": area, "forward": ENTRY[self.style], "backward": 1.0},
                area,
                density="entering",
                shut=shut,
            ),
        )


@part("transition")
class Transition(OpenEnds):
    """A change of section: a contraction one way, a diffuser the other; round, full angle 0 to 180 degrees.

    180 degrees is a step.
    """

    carries_on = True
    sources = ("borda_carnot", "rennels", "our_assumption")
    symbol = "change of section"
    legend = "change of section"

    first_area: Value = number("m2", above=0, spread=0.02, doc="section at the first end")
    second_area: Value = number("m2", above=0, spread=0.02, doc="section at the second end")
    angle: Value = number(
        "rad",
        above=0,
        at_most=math.pi + 1e-9,
        default=math.pi,
        spread=0.1,
        doc="full angle between the walls; 180 degrees = a step",
        cure="write '30 deg'",
    )

    def section_at(self, end: str) -> Any:
        """That of the end."""
        return self.first_area if end == self.ends[0] else self.second_area

    def paths(self) -> tuple[Path, ...]:
        """One path by the two-way square law."""
        small = np.minimum(self.first_area, self.second_area)
        shut = np.less(small, NOTHING)
        small = np.where(shut, 1.0, small)
        share = np.where(shut, 1.0, small / np.maximum(self.first_area, self.second_area))
        inward = contraction_loss(share, self.angle)
        outward = diffuser_loss(share, self.angle)
        narrows = np.greater(self.first_area, self.second_area)
        ends = self.end_losses(round_bore(np.where(shut, 1.0, self.first_area)))
        first, second = (np.where(shut, 1.0, small / a) ** 2 for a in (self.first_area, self.second_area))
        # the least loss keeps the slope of a change of nothing above zero
        forward = np.maximum(np.where(narrows, inward, outward), 1e-3)
        forward = forward + ends.first[0] * first + ends.second[0] * second
        backward = np.maximum(np.where(narrows, outward, inward), 1e-3)
        backward = backward + ends.first[1] * first + ends.second[1] * second
        return (
            Path(
                two_way,
                {"area": small, "forward": forward, "backward": backward},
                small,
                density="mean",
                shut=shut,
            ),
        )
