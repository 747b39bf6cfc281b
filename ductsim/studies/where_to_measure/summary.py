"""What is worth reading next, in tables and sentences."""

from __future__ import annotations

import math
from typing import Any

from ...cautions import cautions_for
from ...deciding.candidates import taped_words
from ...deciding.summary import times_note
from ...quantity import suited
from ...result import Note
from ...wording import listed, said
from .result import Candidate, Expected, NextReadings

Row = dict[str, Any]

MOST_SHOWN = 60
ENOUGH = 0.01
"""An answer known to this share, or an uncertainty that shrinks by no more, is worth no further reading."""


def about(found: NextReadings) -> str:
    """How many readings were weighed for what, in a few words."""
    what = found.of[0] if len(found.of) == 1 else f"{len(found.of)} questions"
    return f"{len(found.candidates):,} readings weighed for {what}"


def tables(found: NextReadings) -> dict[str, list[Row]]:
    """The candidates first, then the reading sheet and the questions."""
    return {"candidates": candidates(found), "sheet": found.sheet(), "questions": found.questions()}


def candidates(found: NextReadings) -> list[Row]:
    """A row for each candidate, the most telling first.

    `shrinks_to` is the standard deviation after it over that now, averaged over the questions (root mean
    square); `gain_per_minute` the share of variance that it takes away in a minute.
    """
    return [
        {
            "where": c.reading.where,
            "engine_speed_rpm": c.speed_rpm,
            "blanked": taped_words(found.given.layout, c.reading.blanked),
            "expected": c.reading.value,
            "measure": c.reading.measure,
            "minutes": c.minutes,
            "shrinks_to": math.sqrt(c.left),
            "gain_per_minute": c.gain_per_minute,
        }
        for c in found.candidates[:MOST_SHOWN]
    ]


def sentences(found: NextReadings, measures: str) -> list[str]:
    """The best single reading, the best few, and what they leave."""
    what = found.of[0] if len(found.of) == 1 else f"these {len(found.of)}"
    what = what if found.asked else f"all {len(found.of)} unknowns"
    best = found.best
    enough = _enough(found)
    if enough:
        return [enough, *([_expected(known, measures) for known in found.expected] if found.asked else [])]
    out = [
        f"Read {_words(found, best)}: it makes the uncertainty of {what} {_smaller(best.left)} smaller "
        f"({best.minutes:.0f} min)."
    ]
    quick = max(found.candidates, key=lambda c: c.gain_per_minute)
    if quick is not best:
        out.append(
            f"Most for its time: {_words(found, quick)}, {_smaller(quick.left)} smaller in "
            f"{quick.minutes:.0f} min."
        )
    if len(found.together) > 1:
        words = listed([_words(found, c) for c in found.together])
        out.append(
            f"The best {len(found.together)} together: {words}; {_smaller(found.left_together)} smaller in "
            f"{found.minutes_together:.0f} min."
        )
    return out + ([_expected(known, measures) for known in found.expected] if found.asked else [])


def _enough(found: NextReadings) -> str:
    """That enough is measured, and why; an empty text where more readings are worth their time."""
    widths = [_half_width(known) for known in found.expected]
    if found.asked and max(widths) <= ENOUGH:
        what = found.of[0] if len(found.of) == 1 else f"each of these {len(found.of)}"
        return f"Enough is measured: {what} is known to {max(widths):.1%} (95 %)."
    if math.sqrt(found.left_together) >= 1.0 - ENOUGH:
        count = len(found.together)
        return (
            f"Enough is measured: {'another reading' if count == 1 else f'the best {count} readings more'} "
            f"would make the uncertainty less than {ENOUGH:.0%} smaller."
        )
    return ""


def _half_width(known: Expected) -> float:
    """Half the present interval over its middle [-]; infinite where that is nothing."""
    low, high = known.now
    middle = abs(low + high) / 2.0
    return (high - low) / 2.0 / middle if middle > 0.0 else math.inf


def _smaller(left: float) -> str:
    """By how much the uncertainty shrinks where this share of variance is left."""
    return f"{1.0 - math.sqrt(left):.0%}"


def _expected(known: Expected, measures: str) -> str:
    measure = suited(known.measure, max(map(abs, known.now)))
    ends = [
        f"{said(low, measure, measures)} to {said(high, measure, measures)}"
        for low, high in (known.now, known.after_one, known.together)
    ]
    return (
        f"{known.question} lies from {ends[0]} now (95 %), from {ends[1]} after the best reading, "
        f"from {ends[2]} after the best set."
    )


def _words(found: NextReadings, c: Candidate) -> str:
    speed = "" if c.speed_rpm is None else f" at {c.speed_rpm:,.0f} rpm"
    taped = taped_words(found.given.layout, c.reading.blanked)
    return f"{c.reading.where}{speed}" + (f" with {taped} taped shut" if taped else "")


def notes(found: NextReadings) -> list[Note]:
    """What the numbers rest on."""
    return [
        Note(
            "Expected intervals are the fit's own, drawn together as a regression of its draws says.",
            "approximation",
        ),
        times_note(),
    ]


def cautions(found: NextReadings) -> list[str]:
    """The cautions that belong to reading and taping."""
    return cautions_for(["measure", "blank"])
