"""A pass along a row in tables and sentences."""

from __future__ import annotations

from typing import Any

from ...cautions import cautions_for
from ...quantity import convert
from ...result import Note
from ...speed.summary import speed_text
from ...statistics import first_least
from .result import FieldPass

Row = dict[str, Any]


def about(found: FieldPass) -> str:
    """How long it is and where it would block first, in a few words."""
    where = "nothing blocks" if found.blocked_at is None else f"blocks at {_at(found.blocked_at, 'metric')}"
    return f"{_at(found.distance[-1], 'metric')}, {where}"


# ---- tables


def tables(found: FieldPass) -> dict[str, list[Row]]:
    """stretches, and blocked: where it would have blocked."""
    return {"stretches": _stretches(found), "blocked": _blocked(found)}


def _stretches(found: FieldPass) -> list[Row]:
    out = []
    for i, place in enumerate(found.places):
        row = {
            "distance_m": float(found.distance[i + 1]),
            "time_s": float(found.time[i + 1]),
            "crop_yield_kg_m2": float(found.crop_yield[i]),
            "ground_speed_km_h": 3.6 * float(found.speed[i]),
            "margin": float(found.margin[i]),
            "unit": place.unit,
            "place": str(place),
            "crop_kg": float(found.crop[i + 1]),
        }
        if found.level is not None:
            row["level_share"] = float(found.level[i + 1])
        out.append(row)
    return out


def _blocked(found: FieldPass) -> list[Row]:
    return [
        {
            "from_m": run.start,
            "to_m": run.end,
            "least_margin": run.margin,
            "unit": run.place.unit,
            "place": str(run.place),
        }
        for run in found.blocked
    ]


# ---- sentences


def sentences(found: FieldPass, measures: str) -> list[str]:
    """Whether and where it would have blocked, how long it took, how full the box is."""
    runs = found.blocked
    if runs:
        worst = min(runs, key=lambda run: run.margin)
        first = (
            f"It would block in {len(runs)} {'place' if len(runs) == 1 else 'places'}, first at "
            f"{_at(runs[0].start, measures)}; worst is unit {worst.place.unit} at {worst.place} with a "
            f"margin of {worst.margin:.2f}."
        )
    else:
        i = int(first_least(found.margin))  # where a margin is held several are alike
        first = (
            f"Nothing blocks: the smallest margin is {found.margin[i]:.2f}, unit {found.places[i].unit} at "
            f"{_at(found.distance[i], measures)}."
        )
    mean = (found.distance[-1] - found.distance[0]) / found.time[-1]
    out = [
        first,
        f"The pass takes {found.time[-1] / 60:.1f} min at {speed_text(mean, measures)} in the mean.",
    ]
    return out + _about_box(found, measures)


def _about_box(found: FieldPass, measures: str) -> list[str]:
    if found.level is None:
        return []
    full = found.full_at
    if full is None:
        return [f"The box is {found.level[-1]:.0%} full at its fullest place."]
    return [f"The box's first place is full at {_at(full, measures)}."]


def _at(distance: float, measures: str) -> str:
    length = "ft" if measures == "inch" else "m"
    return f"{convert(distance, 'm', length):,.0f} {length}"


# ---- notes and cautions


def notes(found: FieldPass) -> list[Note]:
    """What deserves a look: nothing beyond the sentences."""
    return []


def cautions(found: FieldPass) -> list[str]:
    """What to beware of."""
    return cautions_for("crop")
