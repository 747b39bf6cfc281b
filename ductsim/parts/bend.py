"""Bends of ducts and hoses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..errors import InputError
from ..laws.bends import RADII, mitre_loss, round_bend_loss, square_bend_loss
from .declare import Fields, OptionalValue, Value, fields, number, word


@fields("bend")
class Bend(Fields):
    """One bend of a duct or hose.

    The duct's length runs along the centre line, through the bends: their coefficients hold no friction
    along the arc, so nothing is counted twice.
    """

    angle: Value = number(
        "rad",
        above=0,
        at_most=2 * math.pi,
        spread=0.05,
        doc="angle that the air is turned by",
        cure="write '90 deg'",
    )
    radius: OptionalValue = number(
        "m", above=0, default=None, spread=0.15, doc="radius of the centre line; none for a mitre"
    )
    style: str = word(
        "smooth",
        "five-piece",
        "four-piece",
        "three-piece",
        "mitre",
        default="smooth",
        doc="how the bend is made",
    )

    def check(self) -> None:
        """A curved bend needs its radius."""
        if self.radius is None and self.style != "mitre":
            raise InputError("radius is missing", place="bend", allowed="give the centre-line radius")

    def loss(self, width: Any, square: bool = False) -> Any:
        """Loss coefficient on the velocity in a duct of this diameter or width [-]."""
        if self.style == "mitre":
            return mitre_loss(self.angle)
        if square:
            return square_bend_loss(self.angle, self.radius / width)
        return round_bend_loss(self.angle, self.radius / width, self.style)

    def outside(self, width: Any, square: bool = False) -> list[tuple[Any, str]]:
        """Where the bend leaves the range of its table: (mask, sentence)."""
        if self.style == "mitre":
            wide = np.asarray(self.angle) > 0.5 * math.pi + 1e-9
            return [(wide, "a mitred bend is covered up to 90 degrees")]
        ratio = np.asarray(self.radius / width)
        low, high = (0.5, 2.0) if square else RADII[self.style]
        return [
            (
                (ratio < 0.999 * low) | (ratio > 1.001 * high),
                f"a {self.style} bend is covered from {low:g} to {high:g} of its radius over the diameter",
            ),
            (np.asarray(self.angle) > math.pi + 1e-9, "a bend is covered up to 180 degrees"),
        ]


def bends_loss(bends: Sequence[Bend], width: Any, square: bool = False) -> Any:
    """Sum of the bends' loss coefficients [-]."""
    return sum((bend.loss(width, square) for bend in bends), 0.0)
