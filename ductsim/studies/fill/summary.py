"""How a box fills, in tables and sentences."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...cautions import cautions_for
from ...result import Note
from ...speed.summary import speed_text
from ...wording import listed, said
from .result import Fill

Array = NDArray[np.float64]
Row = dict[str, Any]

STRIPS = 30
"""How many strips of the width the table of the profile has."""


def about(found: Fill) -> str:
    """When the first place is full and how much is used then, in a few words."""
    return (
        f"{found.usable():.0%} used when its first place is full, after {found.time_to_full() / 60:.1f} min"
    )


# ---- tables


def tables(found: Fill) -> dict[str, list[Row]]:
    """Present and best positions, discharges, moves (each by itself), profile (across the width)."""
    sets = [_set(found, "present", found.profile)]
    if found.improves:
        sets.append(_set(found, "best", found.best_profile))
    out = {"fill": sets, "discharges": _discharges(found)}
    if found.moves:
        out["moves"] = _moves(found)
    return out | {"profile": _profile(found)}


def _set(found: Fill, name: str, profile: Array) -> Row:
    left, mid, right = found.thirds(profile)
    row: Row = {
        "positions": name,
        "usable_share": found.usable(profile),
        "evenness_share": found.evenness(profile),
        "left_share": left,
        "middle_share": mid,
        "right_share": right,
        "full_after_min": found.time_to_full(profile) / 60.0,
        "crop_then_kg": float(found.flows.sum() * found.time_to_full(profile)),
    }
    speed = found.unload_speed(profile)
    return row if speed is None else row | {"unload_speed_km_h": 3.6 * speed}


def _discharges(found: Fill) -> list[Row]:
    """A row for each discharge: unit, place, crop flow and its share."""
    whole = float(found.flows.sum())
    return [
        {
            "unit": unit,
            "position_m": float(place),
            "best_in_set_m": float(best),
            "crop_flow_kg_s": float(flow),
            "crop_share": float(flow) / whole,
        }
        for unit, place, best, flow in zip(
            found.units, found.box.positions, found.best, found.flows, strict=True
        )
    ]


def _moves(found: Fill) -> list[Row]:
    """A row for each discharge that can be moved: its best place by itself, and what that gives."""
    return [
        {
            "unit": found.units[move.discharge],
            "position_m": float(found.positions[move.discharge]),
            "lowest_m": move.lowest,
            "highest_m": move.highest,
            "best_alone_m": move.place,
            "usable_share": found.usable(move.profile),
            "evenness_share": found.evenness(move.profile),
            "best_in_set_m": float(found.best[move.discharge]),
        }
        for move in found.moves
    ]


def _profile(found: Fill) -> list[Row]:
    """Strips across the width: how full each is when the first place is full."""
    places, now, best = (
        values.reshape(STRIPS, -1).mean(axis=1)
        for values in (
            found.places,
            found.profile / found.profile.max(),
            found.best_profile / found.best_profile.max(),
        )
    )
    return [
        {"place_m": float(place), "level_share": float(level), "best_level_share": float(after)}
        for place, level, after in zip(places, now, best, strict=True)
    ]


# ---- sentences


def sentences(found: Fill, measures: str) -> list[str]:
    """When the first place is full and how much of the box is used then; what other positions give."""
    left, mid, right = found.thirds()
    speed = speed_text(float(found.crop.ground_speed), measures)
    out = [
        f"The box's first place, {said(found.fullest, 'm', measures)} from the left wall, is full after "
        f"{found.time_to_full() / 60:.1f} min at {speed}; {found.usable():.0%} of the box is used then "
        f"({said(found.mass_at_full, 'kg', measures)}).",
        f"{left:.0%} of the crop lands in the left third of the width, {mid:.0%} in the middle one, "
        f"{right:.0%} in the right one.",
        *_about_best(found, measures),
    ]
    during = found.unload_speed()
    if during is not None:
        wait = f"{float(found.box.unload_time or 0.0):g} s"
        out.append(f"During an unload of {wait} it may drive {speed_text(during, measures)} at most.")
    return out


def _about_best(found: Fill, measures: str) -> list[str]:
    """Where to discharge instead."""
    usable, evenness = found.usable(found.best_profile), found.evenness(found.best_profile)
    if usable - found.usable() > 0.005 or evenness - found.evenness() > 0.02:
        moved = [
            f"unit {unit} to {said(float(best), 'm', measures)}"
            for unit, place, best in zip(found.units, found.box.positions, found.best, strict=True)
            if abs(best - place) > 1e-6
        ]
        return [
            f"Within the limits {usable:.0%} can be used, with an evenness of {evenness:.0%} instead of "
            f"{found.evenness():.0%}: {listed(moved)}."
        ]
    return ["No other positions within the limits are better."] if found.moves else []


# ---- notes and cautions


def notes(found: Fill) -> list[Note]:
    """What deserves a look."""
    spreading = said(float(found.box.spreading), "m", found.measures)
    text = (
        f"Crop is taken to land up to {spreading} to either side of its discharge and to "
        "stay there: both our assumption."
    )
    out = [Note(text, "assumed", "spreading", float(found.box.spreading))]
    if found.margin < 1.0:
        text = "At this speed crop stays behind at the units (carrying margin below one)."
        out.append(Note(text, "crop stays behind", value=found.margin))
    return out


def cautions(found: Fill) -> list[str]:
    """What to beware of."""
    return cautions_for(["crop", "part"])
