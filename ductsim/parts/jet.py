"""The jet pump that drags air (and crop) along: motive, suction and discharge."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ..errors import InputError
from ..laws.constants import NOTHING
from ..laws.jets import jet, mixing_share
from .choices import MIXED, NOZZLES
from .declare import OptionalValue, Pair, Part, Value, number, part
from .mishaps import Mishap


@part("jet")
class Jet(Part):
    """A nozzle that blows into a mixing section and drags air from its suction side along.

    Full mixing takes 5 to 8 diameters of length (from memory). `mixing_length` says how long the section is:
    the pressure rise then follows its length over its diameter (our assumption). Without it the section is
    taken as long enough, which the spread of `mixing_effectiveness` doubts. With both, the length brings what
    `mixing_effectiveness` has beyond one half. A nozzle area of 0 is a closed nozzle.
    """

    ends = ("motive", "suction", "discharge")
    path_names = ("motive", "suction")
    crop_ways = ((1, 2),)
    speeds_crop = True
    carries_on = True
    sources = ("esdu85032", "from_memory_mixing_length", "our_assumption")
    sizes = ("nozzle_area",)
    mishaps = (Mishap("has its nozzle plugged", "its jet no longer roars in the duct", {"nozzle_area": 0.0}),)
    mixed_up = True
    work = "jet"
    symbol = "jet"

    nozzle_area: Value = number("m2", at_least=0, spread=0.03, doc="open area of the nozzle; 0 = closed")
    mixing_area: Value = number("m2", above=0, spread=0.03, doc="section in which the streams mix")
    nozzle_loss: Value = number(
        "", at_least=0, default=0.05, spread=0.4, doc="loss on the nozzle's velocity", words=NOZZLES
    )
    suction_loss: Value = number(
        "", at_least=0, default=0.10, spread=0.4, doc="loss on the suction's velocity beside the nozzle"
    )
    mixing_loss: Value = number(
        "", at_least=0, default=0.10, spread=0.4, doc="loss on the mixed stream's velocity"
    )
    angle: Value = number(
        "rad",
        at_least=0,
        at_most=math.pi / 2,
        default=0.0,
        spread=0.1,
        doc="angle between nozzle and mixing section",
        cure="write '30 deg'",
    )
    suction_angle: Value = number(
        "rad",
        at_least=0,
        at_most=math.pi / 2,
        default=0.0,
        spread=0.1,
        doc="angle between the suction stream and the mixing section",
        cure="write '30 deg'",
    )
    mixing_effectiveness: Value = number(
        "",
        at_least=0.5,
        at_most=1,
        default=1.0,
        spread=0.1,
        doc="share of the pressure rise of full mixing",
        words=MIXED,
    )
    mixing_length: OptionalValue = number(
        "m",
        at_least=0,
        default=None,
        spread=0.1,
        doc="length of the mixing section behind the nozzle; long enough if not given",
    )

    @classmethod
    def examples(cls) -> list[Jet]:
        """Jets for `check_part`, whose nozzle must be smaller than the mixing section."""
        return [
            cls(nozzle_area=0.0075, mixing_area=0.06, nozzle_loss=0.08, suction_loss=0.12, mixing_loss=0.08),
            cls(nozzle_area=0.001, mixing_area=0.06, angle=0.44),
            cls(nozzle_area=0.025, mixing_area=0.06, nozzle_loss=0.02, suction_loss=0.0, mixing_loss=0.0),
            cls(nozzle_area=0.0075, mixing_area=0.06, mixing_effectiveness=0.8),
            cls(nozzle_area=0.0075, mixing_area=0.06, mixing_length=0.8, suction_angle=0.5),
        ]

    def check(self) -> None:
        """The nozzle is smaller than the mixing section, and something is lost."""
        if np.any(np.greater_equal(self.nozzle_area, self.mixing_area)):
            raise InputError(
                "the nozzle is not smaller than the mixing section",
                place="jet: nozzle_area",
                allowed="nozzle_area < mixing_area",
            )
        if np.any(np.equal(self.nozzle_loss + self.suction_loss + self.mixing_loss, 0.0)):
            raise InputError(
                "a jet without any loss has no definite flow",
                place="jet: nozzle_loss",
                allowed="at least one of nozzle_loss, suction_loss and mixing_loss above 0",
            )

    def section_at(self, end: str) -> Any:
        """Beside the nozzle, and where the streams have mixed; before the nozzle it is not known."""
        if end == "discharge":
            return self.mixing_area
        return self.mixing_area - self.nozzle_area if end == "suction" else None

    def paths(self) -> tuple[Pair, ...]:
        """The motive and the suction path, which act on each other."""
        shut, none = np.less(self.nozzle_area, NOTHING), np.less(self.mixing_area - self.nozzle_area, NOTHING)
        mixing = np.where(none & shut, 1.0, self.mixing_area)
        nozzle = np.where(shut, 0.01 * mixing, self.nozzle_area)
        effectiveness = self.mixing_effectiveness
        if self.mixing_length is not None:
            effectiveness = 0.5 + (effectiveness - 0.5) * mixing_share(self.mixing_length, mixing)
        suction = np.where(none, 0.01 * mixing, self.mixing_area - self.nozzle_area)
        return (
            Pair(
                jet,
                {
                    "nozzle_area": nozzle,
                    "suction_area": suction,
                    "mixing_area": mixing,
                    "nozzle_loss": self.nozzle_loss,
                    "suction_loss": self.suction_loss,
                    "mixing_loss": self.mixing_loss,
                    "cosine": np.cos(self.angle),
                    "effectiveness": effectiveness,
                    "suction_cosine": np.cos(self.suction_angle),
                },
                (nozzle, suction),
                ((0, 2), (1, 2)),
                ((0, 1), (1, 1), (2, 2)),
                start=(72.0 * nozzle, 15.0 * suction),
                shut=(shut, none),
            ),
        )
