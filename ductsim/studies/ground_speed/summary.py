"""The ground speed in tables and sentences."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...cautions import cautions_for
from ...crop.crop import UNCERTAIN
from ...crop.margins import RATIO, Place
from ...display.presentation import Tables
from ...quantity import convert
from ...result import Note
from ...speed.conditioning import FEW
from ...speed.summary import AS_DESCRIBED, machine_said, speed_text
from ...wording import listed, percent, said
from .result import Gain, GroundSpeed

Row = dict[str, Any]

DECIDES = 0.1
"""The least share of the variance that is worth a word."""
WORTH_SEEING = 0.05
"""The least share of the spread that an observation must take away to be proposed."""
HECTARE = 1e4
HOUR = 3600.0
WORTH_SAYING = 0.005
"""The least relative change of speed for which a fix is called a gain."""


def about(found: GroundSpeed) -> str:
    """The limit and what limits, in a few words."""
    place = found.limiting
    where = f", unit {place.unit} at {place}" if place else ""
    return f"{speed_text(found.limit, 'metric')}{where}"


# ---- tables


def tables(found: GroundSpeed) -> Tables:
    """units, fixes, limits of all places, margins today, the curves, the crop with what it rests on."""
    out: dict[str, Any] = {"units": _units(found)}
    if found.gains:
        out["fixes"] = _fixes(found)
    out["limits"] = limit_rows(found)
    out["margins today"] = [margin.row() for margin in found.margins]
    out["speed against yield"] = lambda: found.by_yield
    out["speed against engine speed"] = lambda: found.by_engine_speed
    out["speed against front share"] = lambda: found.by_front_share
    out["crop"] = standing_rows(found)
    return out


def standing_rows(found: GroundSpeed) -> list[Row]:
    """What the crop's numbers rest on; after a calibration the uncertain ones rest on what was seen too."""
    rows = found.crop.standings()
    if found.calibrated:
        for row in rows:
            if row["number"].removeprefix("crop.") in UNCERTAIN:
                row |= {"standing": "calibrated", "source": ""}
    return rows


def _units(found: GroundSpeed) -> list[Row]:
    """A row for each unit: its own limit as a flow of crop and as a speed, where, and today's margin."""
    margins = found.margin_today
    out = []
    for unit in found.machine.layout.units:
        own = [i for i, p in enumerate(found.places) if unit.name in p.units]
        first = min(own, key=lambda i: found.place_limits[i])
        limit = float(found.place_limits[first])
        known = np.isfinite(limit)
        out.append(
            {
                "unit": unit.name,
                "crop_flow_kg_s": found.flow_at((unit.name,), limit) if known else None,
                "ground_speed_km_h": 3.6 * limit if known else None,
                "place": found.places[first].part if known else "",
                "what": found.places[first].what if known else "",
                "over_first_limit": limit / found.limit if known and found.limit > 0.0 else None,
                "margin_today": margins.get(unit.name),
                "duct_margin": found.duct_margins.get(unit.name),
            }
        )
    return sorted(out, key=lambda r: np.inf if r["ground_speed_km_h"] is None else r["ground_speed_km_h"])


def limit_rows(found: GroundSpeed) -> list[Row]:
    """A row for each place that limits within reach, the first first."""
    order = [i for i in np.argsort(found.place_limits, kind="stable") if np.isfinite(found.place_limits[i])]
    return [
        {
            "unit": found.places[i].unit,
            "place": found.places[i].part,
            "what": found.places[i].what,
            "crop_flow_kg_s": found.flow_at(found.places[i].units[:1], float(found.place_limits[i])),
            "ground_speed_km_h": 3.6 * float(found.place_limits[i]),
            "over_first_limit": float(found.place_limits[i]) / found.limit if found.limit > 0.0 else None,
        }
        for i in order
    ]


def _fixes(found: GroundSpeed) -> list[Row]:
    """A row for each fix, relative change first; with a price also what it brings."""
    out = []
    for gain in sorted(found.gains, key=lambda g: -g.change if np.isfinite(g.change) else np.inf):
        low, high = gain.band
        row: Row = {
            "fix": gain.fix.name,
            "speed_change_share": gain.change,
            "change_low_share": low,
            "change_high_share": high,
            "ground_speed_km_h": 3.6 * gain.speed,
            "area_rate_ha_h": _area_rate(found, gain.speed) * HOUR / HECTARE,
            "then_unit": gain.unit,
            "then_place": gain.place.part if gain.place else "",
            "then_what": gain.place.what if gain.place else "",
            "time_min": gain.fix.minutes,
            "cost": gain.fix.cost,
            "remark": gain.problem,
        }
        out.append({**row, **_money(found, gain)})
    return out


def _area_rate(found: GroundSpeed, speed: float) -> float:
    """Area per hour of work [m2/s]; NaN and infinity as the speed that is driven."""
    driven = found.capped(speed)
    return found.area_rate(driven) if np.isfinite(driven) else driven


def _money(found: GroundSpeed, gain: Gain) -> Row:
    """Hours and money that a fix saves in a season, and after how many hours of work it is paid."""
    before, after = _area_rate(found, found.limit), _area_rate(found, gain.speed)
    out: Row = {}
    if not np.isfinite(after) or before <= 0.0 or after <= 0.0:
        return out
    if found.season_area is not None:
        hours = found.season_area / before / HOUR - found.season_area / after / HOUR
        out["season_saved_h"] = hours
        if found.price_per_hour is not None:
            out["season_saved_money"] = hours * found.price_per_hour
    if found.price_per_hour is not None:
        hourly = (after / before - 1.0) * found.price_per_hour
        out["pay_back_h"] = gain.fix.cost / hourly if hourly > 0.0 else None
    return out


# ---- sentences


def sentences(found: GroundSpeed, measures: str) -> list[str]:
    """The answer: what limits, at which flow of crop and which speed, and what comes next."""
    if found.limit == 0.0:
        place = found.limiting
        where = f" at {place.part} of unit {place.unit}" if place else ""
        return [f"Even without crop the air does not suffice{where}."]
    if not np.isfinite(found.limit):
        return ["Nothing limits the ground speed within reason: the margins stay above one."]
    out = _about_limit(found, measures)
    out += _about_band(found, measures)
    best = found.best
    if best is not None and best.change > WORTH_SAYING:
        low, high, gained = (percent(share, True) for share in (*best.band, best.change))
        band = f"{low} to {high}" if np.isfinite(best.band[1]) else f"{low} and more"  # from a standstill
        first = f"{best.fix.name}: {gained} of speed ({band} in nine of ten)"
        out.insert(0, f"{first}, then unit {best.unit} limits.")
    elif best is not None:
        out.append("None of the fixes makes it faster.")
    return out


def _what_limits(found: GroundSpeed, place: Place, measures: str) -> str:
    why = "the air for each kilogram of crop" if place.what == RATIO else f"the {place.what}"
    flow = said(found.crop_flow, "kg/s", measures)
    return f"Unit {place.unit} limits, at {place.part} by {why}: {flow} of crop a unit"


def _which_speed(found: GroundSpeed, measures: str) -> str:
    """As it goes on after "In"."""
    low, high = found.band
    width = said(float(found.crop.row_spacing), "m", measures)
    mass = said(float(found.crop.mass_yield), "kg/m2", measures)
    return (
        f"{mass} on rows {width} apart that is {speed_text(found.limit, measures)} "
        f"({speed_text(low, measures)} to {speed_text(high, measures)} in nine of ten"
        f"{_standing(found)}), "
        f"{_area_text(_area_rate(found, found.limit), measures)}"
    )


def _standing(found: GroundSpeed) -> str:
    """What the absolute speed rests on, as it goes on after a comma."""
    return f", calibrated on {machine_said(found.fitted)}" if found.calibrated else ", not calibrated"


def _about_limit(found: GroundSpeed, measures: str) -> list[str]:
    place = found.limiting
    assert place is not None
    out = [f"{_what_limits(found, place, measures)}.", f"In {_which_speed(found, measures)}."]
    highest = found.crop.highest_speed
    if highest is not None and found.limit > highest:
        out.append(f"The machine's own top speed of {speed_text(float(highest), measures)} comes first.")
    out += _about_next(found, place.units)
    today = found.margin_today
    if today:
        least = min(today.values())
        speed = speed_text(float(found.crop.ground_speed), measures)
        word = "is below one: it is too fast" if least < 1.0 else f"is {least:.2f}"
        out.append(f"Today, at {speed}, the smallest margin {word}.")
    return out


def _about_band(found: GroundSpeed, measures: str) -> list[str]:
    """What decides most about the band, and which observation would narrow it most."""
    most = [(a, share) for a, share in found.deciding.items() if share >= DECIDES][:2]
    out = []
    if most:
        words = listed([f"{a.removeprefix('crop.').replace('_', ' ')} ({share:.0%})" for a, share in most])
        out.append(
            f"Of what is not known of the crop, {words} {'decide' if len(most) > 1 else 'decides'} most."
        )
    if found.telling is not None and found.telling.left < 1.0 - WORTH_SEEING:
        out.append(
            "What would narrow the band most: work with care at about "
            f"{speed_text(found.telling.speed, measures)}, and note whether a unit blocks (calibrate); "
            f"that is expected to leave {found.telling.left:.0%} of the spread."
        )
    return out


def _about_next(found: GroundSpeed, first: tuple[str, ...]) -> list[str]:
    """The unit that would limit next."""
    behind = [row for row in _units(found) if row["unit"] not in first and row["crop_flow_kg_s"]]
    if not behind:
        return []
    row = behind[0]
    return [
        f"Next comes unit {row['unit']} at {row['place']}, at {row['over_first_limit'] - 1.0:+.0%} of that."
    ]


def _area_text(rate: float, measures: str) -> str:
    """An area per time [m2/s] as it is said: "2.6 ha/h"."""
    unit = "acre/h" if measures == "inch" else "ha/h"
    return f"{convert(rate, 'm2/s', unit):.1f} {unit}"


# ---- notes and cautions


def notes(found: GroundSpeed) -> list[Note]:
    """What deserves a look."""
    out = [
        Note(f"{gain.fix.name}: {gain.problem}", "fix", gain.fix.name) for gain in found.gains if gain.problem
    ]
    out += _about_ducts(found)
    if found.raising is not None:
        text = found.raising.sentence()
        out.append(Note(text, "highest speed", value=found.raising.factor))
    if not found.calibrated:
        text = "The least values are assumed: tell what you have seen (calibrate) before you trust the "
        out.append(Note(f"{text}absolute speed.", "assumed"))
    elif not found.fitted:
        out.append(Note(AS_DESCRIBED, "as described"))
    if found.effective < FEW:
        text = f"Only {found.effective:.0f} draws of the crop explain what was seen: the band is rough."
        out.append(Note(text, "few draws", value=found.effective))
    place = found.limiting
    if place is not None and place.what == RATIO:
        need = float(found.crop.opening_ratio)
        text = (
            f"The least air-to-crop ratio of {need:.2g} is what an opening needs while a wad passes. Gins "
            "move about 1.5 kg of air for each kilogram of all they handle (Journal of Cotton Science 23(2), "
            "2019, abstract): all the air of their pipes, so not the same quantity."
        )
        out.append(Note(text, "set beside", "crop.opening_ratio", need))
    if found.efficiency == 1.0:
        text = "Areas per hour are while picking: turning and unloading are not counted."
        out.append(Note(text, "assumed", "efficiency", found.efficiency))
    return out


def _about_ducts(found: GroundSpeed) -> list[Note]:
    """That the air in the ducts alone would name another unit."""
    ducts = found.duct_margins
    place = found.limiting
    if place is None or len(place.units) != 1 or place.units[0] not in ducts:
        return []
    (unit,) = place.units
    if not ducts[unit] > 1.02 * min(ducts.values()):
        return []
    slowest = min(ducts, key=lambda name: ducts[name])
    fastest = ducts[unit] == max(ducts.values())
    own = "has the fastest air of all in its duct" if fastest else "has faster air in its duct"
    text = (
        f"The air in the ducts alone would name unit {slowest}: unit {unit} {own}, "
        "since air that leaks in behind the openings never passes them."
    )
    return [Note(text, "ducts mislead", unit, ducts[unit])]


def cautions(found: GroundSpeed) -> list[str]:
    """What to beware of."""
    own = [word for gain in found.gains for word in gain.fix.caution if " " not in word]
    return cautions_for(["crop", *own])
