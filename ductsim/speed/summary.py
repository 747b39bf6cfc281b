"""A calibration in tables and sentences, and a ground speed in words."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..cautions import cautions_for
from ..quantity import convert
from ..result import Note
from ..wording import counted
from .calibration import Calibration
from .runs import Run

Row = dict[str, Any]

RANGE = ("low", "likely", "high")
NINE_IN_TEN = (-1.645, 0.0, 1.645)
"""Standard deviations of a normal distribution that nine in ten lie between, and its middle."""
AS_DESCRIBED = (
    "Calibrated on the machine as described. Where readings were taken, calibrate it on the machine as they "
    "tell it, as a report does (--readings FILE at the command line): its air, and so its least values, are "
    "others."
)
"""What is to be said of a calibration without readings."""
ODD = 0.05
"""An observation less likely than this hardly fits."""


def speed_text(speed: float, measures: str) -> str:
    """A ground speed [m/s] as it is said: "5.2 km/h"."""
    unit = "mph" if measures == "inch" else "km/h"
    return f"{convert(speed, 'm/s', unit):.1f} {unit}" if np.isfinite(speed) else "any speed"


def about(found: Calibration) -> str:
    """The number and where it lies, in a few words."""
    return f"{_words(found)} {found.median:.3g}{_unit(found)} from {_count(found)}"


# ---- tables


def tables(found: Calibration) -> dict[str, list[Row]]:
    """The observations, and what is known of the number before and after."""
    middle, spread = found.prior
    low, high = found.interval()
    before = [float(middle * np.exp(k * spread)) for k in NINE_IN_TEN]
    known: list[Row] = [
        {"when": when, "measure": found.measure, **dict(zip(RANGE, ends, strict=True))}
        for when, ends in (("before", before), ("after", [low, found.median, high]))
    ]
    return {"observations": _observations(found), found.number: known}


def _observations(found: Calibration) -> list[Row]:
    """A row for each observation: the unit that tells most by the calculation, and how likely it was."""
    return [
        {
            "ground_speed_km_h": 3.6 * run.ground_speed,
            "crop_yield_kg_m2": run.crop_yield,
            "seen": seen(run),
            "unit": unit,
            "value": float(air),
            "measure": found.measure,
            "chance": float(chance),
        }
        for run, unit, air, chance in zip(found.runs, found.critical, found.air, found.chance, strict=True)
    ]


def seen(run: Run) -> str:
    """What was seen, in a word or a few."""
    return f"unit {'+'.join(run.units)} blocked" if run.units else "ran"


# ---- sentences


def sentences(found: Calibration, measures: str) -> list[str]:
    """The calibrated number with its interval, and what it was before."""
    low, high = found.interval()
    unit = _unit(found)
    out = [
        f"From {_count(found)} the least {_words(found)} is {found.median:.3g}{unit} "
        f"({low:.3g} to {high:.3g} in nine of ten), before them {found.prior[0]:.3g}{unit}; "
        f"taken on {machine_said(found.fitted)}."
    ]
    if found.spread > 0.9 * found.prior[1]:
        out.append("They hardly tell: an observation close to the limit, or a blocked unit, would.")
    odd = _odd(found)
    if odd:
        expected = "to run" if found.runs[odd[0]].units else "to block"
        out.append(
            f"{len(odd)} of them hardly fit: unit {found.critical[odd[0]]} was expected {expected}; look for "
            "another cause first."
        )
    return out


def machine_said(fitted: bool) -> str:
    """Which machine observations are explained on."""
    return "the machine as its readings tell it" if fitted else "the machine as described"


def _odd(found: Calibration) -> list[int]:
    """The places of the observations that hardly fit."""
    return [int(i) for i in np.flatnonzero(found.chance < ODD)]


def _count(found: Calibration) -> str:
    return counted(len(found.runs), "observation")


def _words(found: Calibration) -> str:
    return found.number.replace("_", " ")


def _unit(found: Calibration) -> str:
    return f" {found.measure}" if found.measure else ""


# ---- notes and cautions


def notes(found: Calibration) -> list[Note]:
    """What the interval does not hold."""
    text = (
        "The other numbers of the crop are taken as they are here. The ground speed weighs all of them by "
        "the same observations."
    )
    out = [Note(text, "given the others", found.number)]
    if not found.fitted:
        out.append(Note(AS_DESCRIBED, "as described", found.number))
    return out


def cautions(found: Calibration) -> list[str]:
    """What to beware of."""
    return cautions_for("crop")
