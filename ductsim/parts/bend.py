"""Bends of ducts and hoses."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from ..errors import InputError
from ..laws.bends import ASPECTS, RADII, mitre_loss, round_bend_loss, square_bend_loss
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
            raise InputError(
                "radius is missing", place="bend", allowed="give the centre-line radius, or style = 'mitre'"
            )

    def loss(self, width: Any, aspect: Any = None) -> Any:
        """Loss coefficient on the velocity in a duct of this diameter or width [-].

        `aspect` is height over width of a rectangular one, None for a round one.
        """
        if self.style == "mitre":
            return mitre_loss(self.angle)
        if aspect is not None:
            return square_bend_loss(self.angle, self.radius / width, aspect)
        return round_bend_loss(self.angle, self.radius / width, self.style)

    def outside(self, width: Any, aspect: Any = None) -> list[tuple[Any, str]]:
        """Where the bend leaves the range of its table: (mask, sentence)."""
        if self.style == "mitre":
            wide = np.asarray(self.angle) > 0.5 * math.pi + 1e-9
            return [(wide, "a mitred bend is covered up to 90 degrees")]
        ratio = np.asarray(self.radius / width)
        low, high = RADII[self.style] if aspect is None else (0.5, 2.0)
        flat: list[tuple[Any, str]] = []
        if aspect is not None:
            flat = [
                (
                    (np.asarray(aspect) < 0.999 * ASPECTS[0]) | (np.asarray(aspect) > 1.001 * ASPECTS[1]),
                    f"a rectangular bend is covered from {ASPECTS[0]:g} to {ASPECTS[1]:g} of its height over "
                    "its width",
                )
            ]
        return [
            *flat,
            (
                (ratio < 0.999 * low) | (ratio > 1.001 * high),
                f"a {self.style} bend is covered from {low:g} to {high:g} of its radius over the diameter",
            ),
            (np.asarray(self.angle) > math.pi + 1e-9, "a bend is covered up to 180 degrees"),
        ]


def bends_loss(bends: Sequence[Bend], width: Any, aspect: Any = None) -> Any:
    """Sum of the bends' loss coefficients [-]."""
    return sum((bend.loss(width, aspect) for bend in bends), 0.0)


STRAIGHT = 4.0
"""Diameters of straight duct between two bends below which they act on each other: common practice."""


def bends_outside(
    bends: Sequence[Bend], length: Any, width: Any, aspect: Any = None
) -> list[tuple[Any, str]]:
    """Where bends leave the range of their tables, or stand so close that each spoils the other's flow.

    The most straight duct that there can be between two is what the arcs leave of the length. The
    coefficients are those of bends with straight duct behind them; the same bend is published with 0.150
    before a long duct and with 0.093 before two diameters of it (Miller, Internal Flow Systems, example
    9.12). Swirl of bends in two planes may raise the loss: no value was found.
    """
    found = [own for bend in bends for own in bend.outside(width, aspect)]
    if len(bends) < 2:
        return found
    arcs = sum((bend.angle * (0.0 if bend.radius is None else bend.radius) for bend in bends), 0.0)
    between = np.asarray((length - arcs) / (len(bends) - 1))
    words = (
        f"its bends stand closer than {STRAIGHT:g} diameters, where each changes the other's loss "
        "(published: 0.150 before a long duct, 0.093 before two diameters of one)"
    )
    return [*found, (between < STRAIGHT * width, words)]
