"""What the gauges should show, in tables and sentences."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ...cautions import cautions_for
from ...quantity import RPM
from ...result import Note
from ...wording import gathered, listed, said
from .result import Gauges

Row = dict[str, Any]

TO_WRITE = "________"
NEAR = 0.005
"""Air of two units closer than this share counts as the same."""
MOST_MENDED = 8
ROUNDED = 1e-3
"""Of a speed: the highest one that is told is rounded down by as much."""


def about(found: Gauges) -> str:
    """How many tappings, and at how many speeds."""
    speeds = "one speed" if len(found.speeds) == 1 else f"{len(found.speeds)} speeds"
    return f"{len(found.shown)} tappings at {speeds}"


def tables(found: Gauges) -> dict[str, list[Row]]:
    """A row for each speed and tapping with a place to write in; what a healthy machine has otherwise."""
    taps = found.machine.layout.tapping
    rows = [
        {
            "speed_rpm": None if np.isnan(speed) else float(speed * RPM),
            "tapping": name,
            "lowest_Pa": float(shown[v, 0]),
            "expected_Pa": float(shown[v, 1]),
            "highest_Pa": float(shown[v, 2]),
            "read": TO_WRITE,
            "access": taps[name].access,
        }
        for v, speed in enumerate(found.speeds)
        for name, shown in found.shown.items()
    ]
    return {"gauges": rows}


# ---- sentences


def sentences(found: Gauges, measures: str) -> list[str]:
    """What to expect, whether the fans are normal, which unit comes first, how far the speed may go."""
    out = [*_too_fast(found), *(_expected(found, v, measures) for v in range(len(found.speeds)))]
    out += _fans(found, measures)
    out += _first(found, measures)
    if found.raising is not None:
        out.append(found.raising.sentence())
    elif found.machine.layout.fans:
        out.append(
            "How far the speed may be raised cannot be told: the machine states no highest_speed of a fan "
            "and no available_power of a drive. Ask the maker."
        )
    return out


def _too_fast(found: Gauges) -> list[str]:
    """The speeds asked for that the machine's stated limits do not allow."""
    own = found.raising
    if own is None or own.several or not np.isfinite(own.factor):
        return []
    highest = own.factor * own.speed
    over = [f"{speed * RPM:,.0f} rpm" for speed in found.speeds if speed > highest * (1.0 + ROUNDED)]
    if not over:
        return []
    limit = f"{math.floor(highest * RPM):,} rpm"
    return [f"Never turn it at {listed(over)}: the limits that the machine states end at {limit}."]


def _expected(found: Gauges, v: int, measures: str) -> str:
    middle = {name: float(shown[v, 1]) for name, shown in found.shown.items()}
    ends = [min(middle, key=middle.__getitem__), max(middle, key=middle.__getitem__)]
    words = [f"{_shows(middle[name], measures)} at {name}" for name in dict.fromkeys(ends)]
    speed = "" if np.isnan(found.speeds[v]) else f" at {found.speeds[v] * RPM:,.0f} rpm"
    return f"On a healthy machine{speed} the gauge shows from {' to '.join(words)}."


def _shows(value: float, measures: str) -> str:
    """What a gauge shows, as people say it: a vacuum has no sign."""
    return f"{said(abs(value), 'Pa', measures)} of {'vacuum' if value < 0.0 else 'pressure'}"


def _span(low: float, high: float, measures: str) -> str:
    """A range of what a gauge shows, the nearer to nothing first."""
    if low < 0.0 < high:
        return f"{_shows(low, measures)} to {_shows(high, measures)}"
    first, last = sorted((low, high), key=abs)
    return f"{said(abs(first), 'Pa', measures)} to {_shows(last, measures)}"


def _fans(found: Gauges, measures: str) -> list[str]:
    """Within what a gauge beside a fan shows it is normal, and whether what was read is."""
    out = []
    known = found.fan_tappings()
    for name, fans in known.items():
        verb = "is" if len(fans) == 1 else "are"
        low, high = (float(found.shown[name][0, k]) for k in (0, 2))
        speed = found.speeds[0]
        span = _span(low, high, measures)
        words = f"{listed(fans)} {verb} normal while {name} shows {span} at {speed * RPM:,.0f} rpm"
        if found.machine.layout.tapping[name].access == "unsafe":
            words += ": read it only by a hose led to a safe place before anything turns"
        out.append(f"{words}.")
        for reading in found.readings:
            if reading.tapping == name and reading.engine_speed:
                value = reading.value * (speed / reading.engine_speed) ** 2
                out.append(_verdict(name, fans, value, (low, high), measures))
                break
    without = [fan for fan in found.machine.layout.fans if not any(fan in fans for fans in known.values())]
    if without:
        verb = "is" if len(without) == 1 else "are"
        out.append(f"No gauge tells whether {gathered(without)} {verb} normal: there is no tapping beside.")
    return out


def _verdict(name: str, fans: list[str], value: float, span: tuple[float, float], measures: str) -> str:
    """Whether a reading, brought to that speed, is normal; the weaker it is the nearer to nothing."""
    read = f"{name} was read as {_shows(value, measures)}, brought to that speed"
    if span[0] <= value <= span[1]:
        return f"{read}: normal."
    weak = abs(value) < min(abs(end) for end in span)
    if weak:
        return (
            f"{read}: too little. Look at the belts and the screens of {listed(fans)}, and for a large leak."
        )
    return f"{read}: too much. Look for what is shut or blocked beyond {listed(fans)}, and at the speed."


def _first(found: Gauges, measures: str) -> list[str]:
    """Which unit to begin with: the rule is vacuum, since a gauge shows it; the other is named."""
    if len(found.vacuum) < 2 or not found.first:
        return []
    vacuum = said(found.vacuum[found.first], "Pa", measures)
    first, other = found.first, found.least_air
    air, least = found.opening_air[first], found.opening_air[other]
    if other == first or air - least <= NEAR * abs(air):
        return [
            f"Begin with unit {first}: as described it has the least vacuum, {vacuum}, and the least air "
            "through its openings."
        ]
    return [
        f"Begin with unit {first}, which as described has the least vacuum, {vacuum}: vacuum goes first, "
        f"since a gauge shows it. Unit {other} has the least air through its openings, "
        f"{said(least, 'kg/s', measures)}: look at it next."
    ]


# ---- notes and cautions


def notes(found: Gauges) -> list[Note]:
    """What healthy means, and what the ranges are."""
    out = []
    if found.mended:
        some = list(found.mended)[:MOST_MENDED]
        more = len(found.mended) - len(some)
        names = f"{', '.join(some)} and {more} more" if more > 0 else listed(some)
        text = f"Healthy means with the usual values of {names}, instead of those described."
        out.append(Note(text, "healthy", some[0] if len(found.mended) == 1 else "", float(len(found.mended))))
    text = "Nine of ten healthy machines read between lowest and highest: their numbers and the gauge are "
    text += "off by what is usual. In the table a vacuum is below zero."
    out.append(Note(text, "range"))
    unsafe = [t.name for t in found.machine.layout.tappings if t.access == "unsafe"]
    if unsafe:
        text = f"Do not read {listed(unsafe)} while anything turns: access there is unsafe."
        out.append(Note(text, "unsafe", unsafe[0]))
    return out


def cautions(found: Gauges) -> list[str]:
    """The cautions that belong to taking readings."""
    return cautions_for(["measure"])
