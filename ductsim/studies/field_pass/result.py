"""What a pass along a row has found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...crop.margins import Place
from ...machine.machine import Machine
from ...result import Result

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Blocked:
    """A run of stretches in which the crop stays behind.

    Attributes
    ----------
    start, end : float
        Its ends along the row [m].
    margin : float
        The smallest margin in it.
    place : Place
        Where that is.
    """

    start: float
    end: float
    margin: float
    place: Place


@dataclass(repr=False, eq=False)
class FieldPass(Result):
    """One pass along a row; made by `field_pass`.

    Attributes
    ----------
    machine : Machine
        With its crop.
    distance : array (n + 1,)
        Ends of the stretches [m].
    crop_yield : array (n,)
        [kg/m2]
    speed : array (n,)
        [m/s]
    margin : array (n,)
        Smallest carrying margin.
    places : list of Place (n,)
        Where it is smallest.
    time : array (n + 1,)
        [s]
    crop : array (n + 1,)
        Crop picked up to there [kg].
    level : array (n + 1,) or None
        How full the box's fullest place is at the ends of the stretches [-]; may pass 1.
    """

    machine: Machine
    distance: Array
    crop_yield: Array
    speed: Array
    margin: Array
    places: list[Place]
    time: Array
    crop: Array
    level: Array | None = None

    @property
    def blocked_at(self) -> float | None:
        """The first distance at which the crop stays behind [m]; None where it nowhere does."""
        short = np.flatnonzero(self.margin < 1.0)
        return float(self.distance[short[0]]) if len(short) else None

    @property
    def full_at(self) -> float | None:
        """The distance at which the box's first place is full [m]; None where it is not."""
        if self.level is None or self.level[-1] < 1.0:
            return None
        return float(np.interp(1.0, self.level, self.distance))

    @property
    def blocked(self) -> list[Blocked]:
        """Every run of stretches in which the crop stays behind, in order."""
        short = np.concatenate([[False], self.margin < 1.0, [False]]).astype(int)
        out = []
        for first, end in zip(*(np.flatnonzero(np.diff(short) == step) for step in (1, -1)), strict=True):
            worst = int(first + self.margin[first:end].argmin())
            ends = float(self.distance[first]), float(self.distance[end])
            out.append(Blocked(*ends, float(self.margin[worst]), self.places[worst]))
        return out
