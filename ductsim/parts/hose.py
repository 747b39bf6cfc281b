"""Flexible hose: corrugated wall, pulled out or compressed, bends and a kink."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..laws.constants import NOTHING
from ..laws.friction import compression_correction, friction
from ..laws.losses import plate_loss
from .bend import Bend, bends_loss, bends_outside
from .choices import BEND_FACTORS, HOSE_WALLS
from .declare import Path, Value, nested, number, part
from .ends import OpenEnds
from .mishaps import Mishap


@part("hose")
class Hose(OpenEnds):
    """A round flexible hose.

    `length` is the installed length along the centre line; `stretch` is that over the length of the same
    hose pulled out. Its bends lose `bend_factor` times what smooth ones lose. A kink counts as a plate that
    leaves the rest of the section open (our assumption).
    """

    speeds_crop = True
    carries_on = True
    sources = ("ashrae2021ch21", "smacna_a7", "hose_bends", "our_assumption")
    faults = ("kink",)
    mishaps = (
        Mishap("has come off", "air rushes from or into its open ends", {"kink": 1.0}, comes_off=True),
        Mishap("is plugged", "it is stiff and cool, and no air passes", {"kink": 1.0}),
        Mishap("is kinked to half its section", "it whistles, and trembles behind the kink", {"kink": 0.5}),
    )
    mixed_up = True
    work = "hose"
    symbol = "hose"

    length: Value = number("m", above=0, spread=0.03, doc="installed length along the centre line")
    diameter: Value = number("m", above=0, spread=0.01, doc="inner diameter")
    roughness: Value = number(
        "m",
        at_least=0,
        at_most=0.02,
        default=0.9e-3,
        spread=0.4,
        doc="effective roughness of the corrugated wall",
        words=HOSE_WALLS,
    )
    stretch: Value = number(
        "",
        at_least=0.5,
        at_most=1,
        default=1.0,
        spread=0.02,
        doc="installed over pulled-out length; 1 = pulled out",
    )
    loss_coefficient: Value = number(
        "", at_least=0, default=0.0, spread=0.2, doc="local losses but its ends' and bends'"
    )
    bends: Sequence[Bend] = nested(Bend, "bend", default=(), doc="its bends")
    bend_factor: Value = number(
        "",
        at_least=0.5,
        at_most=10,
        default=2.0,
        spread=0.3,
        doc="loss of its bends over that of smooth ones; 1 for a smooth elbow at its end",
        words=BEND_FACTORS,
    )
    kink: Value = number(
        "",
        at_least=0,
        at_most=1,
        default=0.0,
        spread=0.2,
        doc="share of the section closed by a kink; 1 = shut",
    )

    def section_at(self, end: str) -> Any:
        """Its own, at either end."""
        return 0.25 * math.pi * self.diameter**2

    def paths(self) -> tuple[Path, ...]:
        """One path by the friction law."""
        shut = np.less((0.25 * math.pi) * self.diameter * self.diameter * (1.0 - self.kink), NOTHING)
        diameter = np.where(shut, 1.0, self.diameter)
        area = (0.25 * math.pi) * diameter * diameter
        bends = self.bend_factor * bends_loss(self.bends, diameter) if self.bends else 0.0
        ends = self.end_losses(diameter)
        loss = self.loss_coefficient + plate_loss(np.where(shut, 1.0, 1.0 - self.kink))
        return (
            Path(
                friction,
                {
                    "length": self.length,
                    "hydraulic_diameter": diameter,
                    "area": area,
                    "roughness": self.roughness,
                    "loss": loss,
                    "rise": 0.0,
                    "factor": compression_correction(self.stretch, diameter),
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
        return bends_outside(self.bends, self.length, self.diameter)
