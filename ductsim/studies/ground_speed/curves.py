"""The limiting speed against yield, fan speed and the share of the front opening."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...answers.limits import limits_of
from ...answers.state import solve
from ...crop.crop import Crop, with_crop
from ...crop.margins import limiting
from ...crop.solving import calm_point
from ...machine.machine import Machine
from ...quantity import RPM
from ...speed.limit import speed_limit

Array = NDArray[np.float64]

YIELDS = np.linspace(0.3, 2.5, 45)
SPEEDS = np.linspace(0.80, 1.20, 9)
SHARES = np.linspace(0.0, 1.0, 21)


def by_yield(crop: Crop, limit: float) -> list[dict[str, Any]]:
    """The limiting speed against yield.

    What limits is a flow of crop, so speed times yield is constant: nothing is solved again. The machine's
    own top speed caps the curve.
    """
    out = []
    for factor in YIELDS:
        mass = float(crop.mass_yield * factor)
        speed = limit / float(factor)
        capped = _capped(crop, speed)
        out.append(
            {
                "crop_yield_kg_m2": mass,
                "ground_speed_km_h": 3.6 * capped,
                "limited_by": "crop" if capped == speed else "top speed",
            }
        )
    return out


def _capped(crop: Crop, speed: float) -> float:
    return speed if crop.highest_speed is None else min(speed, float(crop.highest_speed))


def _told(machine: Machine, speeds: Array) -> list[Any]:
    """What limits in each scenario at its own limiting speed."""
    known = np.where(
        np.isfinite(speeds) & (speeds > 0.0), speeds, float(machine.numbers["crop.ground_speed"])
    )
    many = machine.rebuilt({**machine.numbers, "crop.ground_speed": known})
    found = limiting(many, solve(many, raise_error=False, start=calm_point(machine)))
    return list(zip(found.unit, found.place, found.what, strict=True))


def _fan_speeds(machine: Machine) -> dict[str, Array]:
    """The speeds of all engines, and of fans without a drive, each by all of the factors `SPEEDS`."""
    layout = machine.layout
    names = [f"{drive.name}.engine_speed" for drive in layout.drives]
    names += [f"{p.name}.speed" for p in layout.parts if f"{p.name}.speed" in machine.numbers]
    return {a: machine.numbers[a] * SPEEDS for a in names}


def beyond_limits(machine: Machine) -> list[tuple[str, ...]]:
    """Whose limits are passed, without crop, with all fans at each of the factors `SPEEDS`."""
    speeds = _fan_speeds(machine)
    if not speeds:
        return []
    many = machine.rebuilt({**machine.numbers, **speeds})
    state = many.without_crop().solve(raise_error=False)
    passed = [(limit.name, np.broadcast_to(limit.passed, len(SPEEDS))) for limit in limits_of(state)]
    return [tuple(sorted({name for name, over in passed if over[i]})) for i in range(len(SPEEDS))]


def by_engine_speed(machine: Machine, limit: float) -> list[dict[str, Any]]:
    """The limiting speed with all fans faster or slower by one factor; passed limits are marked."""
    speeds = _fan_speeds(machine)
    if not speeds:
        return []
    many = machine.rebuilt({**machine.numbers, **speeds})
    found = speed_limit(many, limit)
    told = _told(many, found)
    first = next(iter(speeds.values()))
    return [
        {
            "factor": float(factor),
            "engine_speed_rpm": float(first[i] * RPM),
            "ground_speed_km_h": 3.6 * float(found[i]),
            "unit": told[i][0],
            "place": told[i][1],
            "what": told[i][2],
            "beyond_limit_of": ", ".join(names),
        }
        for i, (factor, names) in enumerate(zip(SPEEDS, beyond_limits(machine), strict=True))
    ]


def by_front_share(machine: Machine, limit: float) -> list[dict[str, Any]]:
    """The limiting speed against the share of the crop that enters by the first opening of each unit.

    Empty unless every unit has two openings.
    """
    crop = machine.crop
    if crop is None or any(len(unit.openings) != 2 for unit in machine.layout.units):
        return []
    shared = with_crop(machine, dataclasses.replace(crop, shares=(0.5, 0.5)))
    own = {"crop.shares[0]": SHARES, "crop.shares[1]": 1.0 - SHARES}
    many = shared.rebuilt({**shared.numbers, **own})
    found = speed_limit(many, limit)
    told = _told(many, found)
    return [
        {
            "front_share": float(share),
            "ground_speed_km_h": 3.6 * float(found[i]),
            "unit": told[i][0],
            "place": told[i][1],
            "what": told[i][2],
        }
        for i, share in enumerate(SHARES)
    ]
