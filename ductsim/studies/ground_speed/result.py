"""What the study of the ground speed has found."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import listed, one_of
from ...crop.crop import Crop
from ...crop.margins import Margin, Place
from ...description.crop_way import unit_flows
from ...fixes.fix import Fix
from ...machine.machine import Machine
from ...quantity import single
from ...result import Result
from ...speed.raising import Raising
from ...speed.roots import SLOWEST
from ...statistics import first_least, quantile
from .curves import by_engine_speed, by_front_share, by_yield
from .narrowing import Telling

Array = NDArray[np.float64]
Row = dict[str, Any]

LOW, HIGH = 0.05, 0.95


@dataclass
class Gain:
    """What one fix makes of the limiting speed.

    Attributes
    ----------
    fix : Fix
    speed : float
        The limiting speed with it [m/s].
    ratio : array (N,)
        Limiting speed after over before, in every draw.
    place : Place or None
        What limits then; None where that is not known.
    problem : str
        Why it could not be tried, or which of the makers' limits it passes; empty otherwise.
    """

    fix: Fix
    speed: float
    ratio: Array
    place: Place | None = None
    problem: str = ""

    @property
    def unit(self) -> str:
        """The unit that limits then, to be read."""
        return self.place.unit if self.place else ""

    @property
    def change(self) -> float:
        """Relative change, the median of the draws [-]."""
        return quantile(self.ratio, 0.5) - 1.0

    @property
    def band(self) -> tuple[float, float]:
        """Relative change that nine of ten draws lie within [-]."""
        return quantile(self.ratio, LOW) - 1.0, quantile(self.ratio, HIGH) - 1.0


@dataclass(repr=False, eq=False)
class GroundSpeed(Result):
    """How fast a machine can drive, and what limits it; made by `ground_speed`.

    Attributes
    ----------
    machine : Machine
        With its crop in the ducts; of possible machines the middle one.
    limit : float
        Ground speed at which the crop begins to stay behind [m/s]; 0 where the air does not suffice even
        without crop, infinity where nothing limits.
    speeds : array (N,)
        The same for every draw of the uncertain numbers.
    calibrated : bool
        Whether the least values rest on what was seen.
    effective : float
        How many draws tell as much as those weighed by what was seen; infinity where none was.
    deciding : dict
        Address of a crop's number -> the share of the limit's variance over the draws that goes along with
        it, the largest first.
    telling : Telling or None
        The observation that would narrow the band most.
    efficiency : float
        Share of the time that the machine picks [-].
    season_area : float or None
        Area of a season [m2].
    price_per_hour : float or None
        What an hour of the machine costs, in any currency.
    reach : float
        How far limits were looked for [m/s].
    places : tuple of Place
        Everything that is judged.
    place_limits : array (places,)
        The speed at which each of them would limit by itself [m/s]; infinity beyond `reach`.
    margins : list of Margin
        At `crop.ground_speed`, one for each of the places.
    duct_margins : dict
        Unit -> air velocity in its own duct over the conveying velocity, at the limiting speed.
    raising : Raising or None
        How far the speed of all fans may be raised; None where it cannot be changed or no limit is stated.
    gains : list of Gain
    fitted : bool
        Whether what was seen was explained on the machine as its readings tell it; else as it is described.
    """

    machine: Machine
    limit: float
    speeds: Array
    calibrated: bool
    effective: float
    deciding: dict[str, float]
    telling: Telling | None
    efficiency: float
    season_area: float | None
    price_per_hour: float | None
    reach: float
    places: tuple[Place, ...]
    place_limits: Array
    margins: list[Margin]
    duct_margins: dict[str, float]
    raising: Raising | None
    gains: list[Gain] = field(default_factory=list)
    fitted: bool = False

    # ---- curves: worked out when they are asked for, since each takes as long as the rest together

    @cached_property
    def by_yield(self) -> list[Row]:
        """The limiting speed against yield, capped by the machine's own top speed."""
        return by_yield(self.crop, self.limit) if self.limited else []

    @cached_property
    def by_engine_speed(self) -> list[Row]:
        """The limiting speed against the speed of all fans."""
        return by_engine_speed(self.machine, usable_guess(self.limit))

    @cached_property
    def by_front_share(self) -> list[Row]:
        """The limiting speed against the share of the first of two openings."""
        return by_front_share(self.machine, usable_guess(self.limit))

    # ---- single values

    @property
    def crop(self) -> Crop:
        """The crop."""
        crop = self.machine.crop
        assert crop is not None
        return crop

    @property
    def limited(self) -> bool:
        """True where some crop flow is too much, and none is not."""
        return bool(np.isfinite(self.limit) and self.limit > 0.0)

    @property
    def speed(self) -> float:
        """The limiting speed, capped by the machine's own top speed [m/s]."""
        return self.capped(self.limit)

    @property
    def limiting(self) -> Place | None:
        """The place that limits first; None where nothing does."""
        if not np.isfinite(self.place_limits).any():
            return None
        return self.places[int(first_least(self.place_limits))]

    @property
    def unit(self) -> str:
        """The unit that limits, to be read."""
        place = self.limiting
        return place.unit if place else ""

    @property
    def band(self) -> tuple[float, float]:
        """The limiting speed that nine of ten draws lie within [m/s]."""
        return quantile(self.speeds, LOW), quantile(self.speeds, HIGH)

    @property
    def crop_flow(self) -> float:
        """Mean crop flow of the limiting unit at the limiting speed [kg/s]."""
        place = self.limiting
        return self.flow_at(place.units if place else (), self.limit)

    @property
    def margin_today(self) -> dict[str, float]:
        """Unit -> its smallest margin at `crop.ground_speed`."""
        out: dict[str, float] = {}
        for found in self.margins:
            for unit in found.place.units:
                out[unit] = min(out.get(unit, np.inf), found.margin)
        return out

    @property
    def best(self) -> Gain | None:
        """The fix that makes it fastest, of those that are allowed; None without one."""
        fine = [gain for gain in self.gains if not gain.problem]
        return max(fine, key=lambda gain: gain.change) if fine else None

    def flow_at(self, units: str | Sequence[str], speed: float) -> float:
        """Mean crop flow [kg/s] at a speed [m/s] of that of the units which has most; of all if none."""
        names = [u.name for u in self.machine.layout.units]
        speed = speed if isinstance(speed, float) else single(speed, "m/s", "speed")
        wanted = (
            [units] * bool(units) if isinstance(units, str) else listed(units, "flow_at", "names of units")
        )
        for name in wanted:
            one_of(name, names, "flow_at", "unit")
        flows = unit_flows(len(names), self.crop)
        own = [float(f) for n, f in zip(names, flows, strict=True) if not wanted or n in wanted]
        today = float(self.crop.ground_speed)
        return max(own) / today * speed if today > 0.0 else float(self.crop.flow(speed))

    def area_rate(self, speed: float) -> float:
        """Area per hour of work at a speed [m/s], capped by the machine's top speed [m2/s]."""
        units = len(self.machine.layout.units)
        speed = speed if isinstance(speed, float) else single(speed, "m/s", "speed")
        return float(self.crop.area_rate(self.capped(speed), units, self.efficiency))

    def capped(self, speed: float) -> float:
        """A speed, or the machine's own top speed where that is lower [m/s]."""
        highest = self.crop.highest_speed
        return speed if highest is None else min(speed, float(highest))


def usable_guess(limit: float) -> float:
    """A speed to start from [m/s]: the limit, or 1 m/s where there is none."""
    return limit if np.isfinite(limit) and limit > 0.0 else 1.0


def near_limit(limit: float) -> float:
    """Where to look for a limit that may be like this one [m/s]: at the slowest where not even that is met.

    Faster, such a machine has blocked ducts, and each of them takes long to solve.
    """
    return SLOWEST if limit == 0.0 else usable_guess(limit)
