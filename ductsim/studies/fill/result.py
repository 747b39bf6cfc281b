"""How a box fills, as data."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ...crop.box import Box
from ...crop.crop import Crop
from ...result import Result

Array = NDArray[np.float64]


@dataclass
class Move:
    """The best place of one discharge while the others stay.

    Attributes
    ----------
    discharge : int
        Which one, counted from 0.
    place, lowest, highest : float
        The best place, and the ends of where it may be, from the left wall [m].
    profile : array (BINS,)
        What lands then, per width [kg/(s m)].
    """

    discharge: int
    place: float
    lowest: float
    highest: float
    profile: Array


@dataclass(repr=False, eq=False)
class Fill(Result):
    """How the box fills at today's speed; made by `fill`.

    Attributes
    ----------
    box : Box
    crop : Crop
    units : list of str
        The unit behind each discharge.
    flows : array (discharges,)
        Mean crop flow of each [kg/s].
    margin : float
        The carrying margin at this speed.
    places : array (BINS,)
        Middle of each strip, from the left wall [m].
    profile : array (BINS,)
        Crop that lands per width [kg/(s m)].
    best : array (discharges,)
        The best set of positions within the limits [m].
    best_profile : array (BINS,)
        What lands then.
    moves : list of Move
        For each discharge that can be moved, its best place by itself; what uses most of the box first.
    measures : str
        "metric" or "inch", as of the machine.
    """

    box: Box
    crop: Crop
    units: list[str]
    flows: Array
    margin: float
    places: Array
    profile: Array
    best: Array
    best_profile: Array
    moves: list[Move] = field(default_factory=list)
    measures: str = "metric"

    @property
    def positions(self) -> Array:
        """Where the ducts discharge at present [m]."""
        return np.array(self.box.positions, dtype=float)

    @property
    def improves(self) -> bool:
        """Whether the best set is another one than the present."""
        return not np.allclose(self.best, self.positions)

    # ---- of the present profile, or of another

    def evenness(self, profile: Array | None = None) -> float:
        """One less the mean deviation over the mean [-]: Christiansen's uniformity coefficient."""
        own = self.profile if profile is None else profile
        mean = own.mean()
        return float(1.0 - np.abs(own - mean).mean() / mean)

    def usable(self, profile: Array | None = None) -> float:
        """Share of the box in use when its first place is full [-]: mean over largest of the profile."""
        own = self.profile if profile is None else profile
        return float(own.mean() / own.max())

    def thirds(self, profile: Array | None = None) -> tuple[float, float, float]:
        """Share of the crop that lands in the left, the middle and the right third of the width [-]."""
        own = self.profile if profile is None else profile
        left, mid, right = own.reshape(3, -1).sum(axis=1) / own.sum()
        return float(left), float(mid), float(right)

    def time_to_full(self, profile: Array | None = None) -> float:
        """Time from empty until the first place is full [s], at today's speed."""
        own = self.profile if profile is None else profile
        return float(self.box.bulk_density * self.box.length * self.box.height / own.max())

    def unload_speed(self, profile: Array | None = None) -> float | None:
        """The fastest ground speed during an unload that does not overfill the box [m/s].

        The box takes all crop for `unload_time`; its fullest place is `level` full when that begins. None
        without an unload.
        """
        if self.box.unload_time is None:
            return None
        room = (1.0 - self.box.level) * self.time_to_full(profile)
        return float(self.crop.ground_speed * room / self.box.unload_time)

    @property
    def fullest(self) -> float:
        """Where the first place is full, from the left wall [m]."""
        top = np.flatnonzero(self.profile >= self.profile.max() * (1.0 - 1e-9))
        return float(self.places[top].mean())

    @property
    def mass_at_full(self) -> float:
        """Crop in the box when its first place is full [kg]."""
        return float(self.flows.sum() * self.time_to_full())
