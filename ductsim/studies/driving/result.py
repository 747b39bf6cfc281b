"""What the study of the ground speed found, and how it is told."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import one_of, text
from ...cautions import cautions_for
from ...machine.crop.described import Crop
from ...machine.crop.margins import CONVEYING, RATIO, Place, places
from ...machine.crop.speed import margins_at, place_limits
from ...machine.crop.way import unit_flows
from ...machine.fixes import Fix
from ...machine.machine import Machine
from ...machine.saying import said
from ...machine.state import MachineState, solve
from ...quantity import convert, single
from ...result import Result
from .curves import by_engine_speed, by_front_share, by_yield

Array = NDArray[np.float64]

LOW, HIGH = 0.05, 0.95
FARTHEST = 3.0
"""How many times the limiting speed further limits are looked for."""
HECTARE = 1e4
HOUR = 3600.0


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
    unit, place, what : str
        What limits then.
    problem : str
        Why it could not be tried, or which of the makers' limits it passes; empty otherwise.
    """

    fix: Fix
    speed: float
    ratio: Array
    unit: str = ""
    place: str = ""
    what: str = ""
    problem: str = ""

    @property
    def change(self) -> float:
        """Relative change, the median of the draws [-]."""
        return _quantile(self.ratio, 0.5) - 1.0

    @property
    def band(self) -> tuple[float, float]:
        """Relative change that nine of ten draws lie within [-]."""
        return _quantile(self.ratio, LOW) - 1.0, _quantile(self.ratio, HIGH) - 1.0


class GroundSpeed(Result):
    """How fast a machine can drive, and what limits it.

    Attributes
    ----------
    machine : Machine
        With its crop in the ducts; of possible machines the middle one.
    limit : float
        Ground speed at which the crop begins to stay behind [m/s]; 0 where the air does not suffice even
        without crop, infinity where nothing limits.
    speeds : array (N,)
        The same for every draw of the uncertain numbers.
    places : tuple of Place
        Everything that is judged.
    reach : float
        How far limits were looked for [m/s].
    gains : list of Gain
    calibrated : bool
    efficiency, season_area, price_per_hour : as given
    """

    def __init__(
        self,
        machine: Machine,
        limit: float,
        speeds: Array,
        efficiency: float,
        season_area: float | None,
        price_per_hour: float | None,
    ) -> None:
        self.machine = machine
        self.limit = limit
        self.speeds = speeds
        self.efficiency = efficiency
        self.season_area = season_area
        self.price_per_hour = price_per_hour
        self.calibrated = False
        self.places: tuple[Place, ...] = places(machine.layout)
        self.reach = FARTHEST * usable_guess(limit)
        self.gains: list[Gain] = []

    # ---- worked out when first asked for

    @cached_property
    def place_limits(self) -> Array:
        """The speed at which each of `places` would limit by itself [m/s]; infinity beyond `reach`."""
        return place_limits(self.machine, usable_guess(self.limit), self.reach)

    @cached_property
    def today(self) -> MachineState:
        """The machine at `crop.ground_speed`."""
        return solve(self.machine, raise_error=False)

    @cached_property
    def duct_margins(self) -> dict[str, float]:
        """Unit -> air velocity in its own duct over the conveying velocity, at the limiting speed."""
        own = margins_at(self.machine, [usable_guess(self.limit)])[:, 0]
        out: dict[str, float] = {}
        for place, margin in zip(self.places, own, strict=True):
            if place.what == CONVEYING and len(place.units) == 1:
                out[place.unit] = min(out.get(place.unit, np.inf), float(margin))
        return out

    @cached_property
    def by_yield(self) -> list[dict[str, Any]]:
        """Rows of the limiting speed against yield, capped by the machine's own top speed."""
        return by_yield(self.crop, self.limit) if self.limited else []

    @cached_property
    def by_engine_speed(self) -> list[dict[str, Any]]:
        """Rows of the limiting speed against the speed of all fans."""
        return by_engine_speed(self.machine, usable_guess(self.limit))

    @cached_property
    def by_front_share(self) -> list[dict[str, Any]]:
        """Rows of the limiting speed against the share of the first of two openings."""
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
        return self._capped(self.limit)

    @property
    def limiting(self) -> Place | None:
        """The place that limits first; None where nothing does."""
        if not np.isfinite(self.place_limits).any():
            return None
        return self.places[int(np.argmin(self.place_limits))]

    @property
    def unit(self) -> str:
        """The unit that limits."""
        place = self.limiting
        return place.unit if place else ""

    @property
    def band(self) -> tuple[float, float]:
        """The limiting speed that nine of ten draws lie within [m/s]."""
        return _quantile(self.speeds, LOW), _quantile(self.speeds, HIGH)

    @property
    def crop_flow(self) -> float:
        """Mean crop flow of the limiting unit at the limiting speed [kg/s]."""
        return self.flow_at(self.unit, self.limit)

    def flow_at(self, unit: str, speed: float) -> float:
        """Mean crop flow of a unit at a speed [kg/s]."""
        names = [u.name for u in self.machine.layout.units]
        speed = speed if isinstance(speed, float) else single(speed, "m/s", "speed")
        for name in text(unit, "flow_at", "a unit").split("+") if not isinstance(unit, str) or unit else ():
            one_of(name, names, "flow_at", "unit")
        flows = unit_flows(len(names), self.crop)
        own = [float(f) for n, f in zip(names, flows, strict=True) if not unit or n in unit.split("+")]
        today = float(self.crop.ground_speed)
        return max(own) / today * speed if today > 0.0 else float(self.crop.flow(speed))

    def area_rate(self, speed: float) -> float:
        """Area per hour of work at a speed [m/s], capped by the machine's top speed [m2/s]."""
        units = len(self.machine.layout.units)
        speed = speed if isinstance(speed, float) else single(speed, "m/s", "speed")
        return float(self.crop.area_rate(self._capped(speed), units, self.efficiency))

    def _capped(self, speed: float) -> float:
        highest = self.crop.highest_speed
        return speed if highest is None else min(speed, float(highest))

    # ---- rows

    def rows(self) -> list[dict[str, Any]]:
        """A row for each unit: its own limit as a flow of crop and as a speed, where, and today's margin."""
        margins = self._today_margins()
        out = []
        for unit in self.machine.layout.units:
            own = [i for i, p in enumerate(self.places) if unit.name in p.units]
            first = min(own, key=lambda i: self.place_limits[i])
            limit = float(self.place_limits[first])
            found = np.isfinite(limit)
            out.append(
                {
                    "unit": unit.name,
                    "crop_flow_kg_s": self.flow_at(unit.name, limit) if found else None,
                    "ground_speed_km_h": 3.6 * limit if found else None,
                    "place": self.places[first].part if found else "",
                    "what": self.places[first].what if found else "",
                    "over_first_limit": limit / self.limit if found and self.limit > 0.0 else None,
                    "margin_today": margins.get(unit.name),
                    "duct_margin": self.duct_margins.get(unit.name),
                }
            )
        return sorted(out, key=lambda r: np.inf if r["ground_speed_km_h"] is None else r["ground_speed_km_h"])

    def _today_margins(self) -> dict[str, float]:
        out: dict[str, float] = {}
        for row in self.margin_rows():
            for unit in row["unit"].split("+"):
                out[unit] = min(out.get(unit, np.inf), row["margin"])
        return out

    def margin_rows(self) -> list[dict[str, Any]]:
        """A row for each place at today's speed: what is there, what is needed, the margin."""
        return self.today.margin_rows()

    def limit_rows(self) -> list[dict[str, Any]]:
        """A row for each place that limits within reach, the first first."""
        out = []
        for i in np.argsort(self.place_limits, kind="stable"):
            limit = float(self.place_limits[i])
            if not np.isfinite(limit):
                continue
            place = self.places[i]
            out.append(
                {
                    "unit": place.unit,
                    "place": place.part,
                    "what": place.what,
                    "crop_flow_kg_s": self.flow_at(place.units[0], limit),
                    "ground_speed_km_h": 3.6 * limit,
                    "over_first_limit": limit / self.limit if self.limit > 0.0 else None,
                }
            )
        return out

    def gain_rows(self) -> list[dict[str, Any]]:
        """A row for each fix, relative change first; with a price also what it brings."""
        out = []
        for gain in sorted(self.gains, key=lambda g: -g.change if np.isfinite(g.change) else np.inf):
            low, high = gain.band
            row: dict[str, Any] = {
                "fix": gain.fix.name,
                "speed_change_share": gain.change,
                "change_low_share": low,
                "change_high_share": high,
                "ground_speed_km_h": 3.6 * gain.speed,
                "area_rate_ha_h": self.area_rate(gain.speed) * HOUR / HECTARE,
                "then_unit": gain.unit,
                "then_place": gain.place,
                "then_what": gain.what,
                "time_min": gain.fix.minutes,
                "cost": gain.fix.cost,
                "remark": gain.problem,
            }
            out.append({**row, **self._money(gain)})
        return out

    def _money(self, gain: Gain) -> dict[str, Any]:
        """Hours and money that a fix saves in a season, and after how many hours of work it is paid."""
        before, after = self.area_rate(self.limit), self.area_rate(gain.speed)
        out: dict[str, Any] = {}
        if not np.isfinite(after) or before <= 0.0 or after <= 0.0:
            return out
        if self.season_area is not None:
            hours = self.season_area / before / HOUR - self.season_area / after / HOUR
            out["season_saved_h"] = hours
            if self.price_per_hour is not None:
                out["season_saved_money"] = hours * self.price_per_hour
        if self.price_per_hour is not None:
            hourly = (after / before - 1.0) * self.price_per_hour
            out["pay_back_h"] = gain.fix.cost / hourly if hourly > 0.0 else None
        return out

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """Everything found, by name."""
        out = {"fixes": self.gain_rows()} if self.gains else {}
        out["units"] = self.rows()
        out["limits"] = self.limit_rows()
        out["margins today"] = self.margin_rows()
        for name, rows in (
            ("speed against yield", self.by_yield),
            ("speed against engine speed", self.by_engine_speed),
            ("speed against front share", self.by_front_share),
        ):
            if rows:
                out[name] = rows
        out["crop"] = self.crop.standings()
        return out

    # ---- words

    @property
    def cautions(self) -> list[str]:
        """What to beware of."""
        kinds = ["crop"] + [word for gain in self.gains for word in gain.fix.caution if " " not in word]
        return cautions_for(kinds)

    @property
    def notes(self) -> list[str]:
        """What deserves a look."""
        out = [f"{gain.fix.name}: {gain.problem}" for gain in self.gains if gain.problem]
        ducts = self.duct_margins
        if self.unit in ducts and ducts[self.unit] > 1.02 * min(ducts.values()):
            slowest = min(ducts, key=lambda unit: ducts[unit])
            fastest = ducts[self.unit] == max(ducts.values())
            own = "has the fastest air of all in its duct" if fastest else "has faster air in its duct"
            out.append(
                f"The air in the ducts alone would name unit {slowest}: unit {self.unit} {own}, "
                "since air that leaks in behind the openings never passes them."
            )
        beyond = [row for row in self.by_engine_speed if row["beyond_limit_of"]]
        if beyond:
            names = beyond[0]["beyond_limit_of"]
            out.append(
                f"Above {beyond[0]['factor']:.2f} of today's engine speed a limit of {names} is passed."
            )
        if not self.calibrated:
            out.append(
                "The least values are assumed: tell what you have seen (calibrate) before you trust the "
                "absolute speed."
            )
        if self.efficiency == 1.0:
            out.append("Areas per hour are while picking: turning and unloading are not counted.")
        return out

    def sentences(self, measures: str = "metric") -> list[str]:
        """The answer: what limits, at which flow of crop and which speed, and what comes next."""
        if self.limit == 0.0:
            place = self.limiting
            where = f" at {place.part} of unit {place.unit}" if place else ""
            return [f"Even without crop the air does not suffice{where}."]
        if not np.isfinite(self.limit):
            return ["Nothing limits the ground speed within reason: the margins stay above one."]
        out = self._about_limit(measures)
        gains = [gain for gain in self.gains if not gain.problem]
        best = max(gains, key=lambda g: g.change) if gains else None
        if best is not None and best.change > 0.005:
            low, high = best.band
            first = f"{best.fix.name}: {best.change:+.0%} of speed ({low:+.0%} to {high:+.0%} in nine of ten)"
            out.insert(0, f"{first}, then unit {best.unit} limits.")
        elif gains:
            out.append("None of the fixes makes it faster.")
        return out

    def _about_limit(self, measures: str) -> list[str]:
        place = self.limiting
        assert place is not None
        why = "the air for each kilogram of crop" if place.what == RATIO else f"the {place.what}"
        out = [
            f"Unit {place.unit} limits, at {place.part} by {why}: "
            f"{said(self.crop_flow, 'kg/s', measures)} of crop a unit."
        ]
        low, high = self.band
        width = said(float(self.crop.row_spacing), "m", measures)
        mass = said(float(self.crop.mass_yield), "kg/m2", measures)
        rate = self.area_rate(self.limit)
        out.append(
            f"In {mass} on rows {width} apart that is {speed_text(self.limit, measures)} "
            f"({speed_text(low, measures)} to {speed_text(high, measures)} in nine of ten"
            f"{'' if self.calibrated else ', not calibrated'}), {area_text(rate, measures)}."
        )
        highest = self.crop.highest_speed
        if highest is not None and self.limit > highest:
            top = speed_text(float(highest), measures)
            out.append(f"The machine's own top speed of {top} comes first.")
        behind = [row for row in self.rows() if row["unit"] not in place.units and row["crop_flow_kg_s"]]
        if behind:
            row = behind[0]
            farther = f"{row['over_first_limit'] - 1.0:+.0%} of that"
            out.append(f"Next comes unit {row['unit']} at {row['place']}, at {farther}.")
        today = self._today_margins()
        if today:
            least = min(today.values())
            speed = speed_text(float(self.crop.ground_speed), measures)
            word = "is below one: it is too fast" if least < 1.0 else f"is {least:.2f}"
            out.append(f"Today, at {speed}, the smallest margin {word}.")
        return out


def usable_guess(limit: float) -> float:
    """A speed to start from [m/s]: the limit, or 1 m/s where there is none."""
    return limit if np.isfinite(limit) and limit > 0.0 else 1.0


def speed_text(speed: float, measures: str) -> str:
    """A ground speed [m/s] as it is said: "5.2 km/h"."""
    unit = "mph" if measures == "inch" else "km/h"
    return f"{convert(speed, 'm/s', unit):.1f} {unit}" if np.isfinite(speed) else "any speed"


def area_text(rate: float, measures: str) -> str:
    """An area per time [m2/s] as it is said: "2.6 ha/h"."""
    unit = "acre/h" if measures == "inch" else "ha/h"
    return f"{convert(rate, 'm2/s', unit):.1f} {unit}"


def _quantile(values: Array, share: float) -> float:
    known = np.asarray(values, dtype=float)
    known = known[~np.isnan(known)]
    if not known.size:
        return float("nan")
    return float(np.quantile(np.minimum(known, 1e9), share))
