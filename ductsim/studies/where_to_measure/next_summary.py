"""What to do next, in tables and sentences."""

from __future__ import annotations

from typing import Any

from ...deciding.candidates import taped_words
from ...deciding.sheet import sheet_rows
from ...deciding.summary import cautions_of, left_out_notes, machines_note, times_note, words_of, work_row
from ...deciding.weighing import Option, Work
from ...quantity import measure_key
from ...result import Note
from ...wording import said
from .next_step import NextStep

Row = dict[str, Any]
MOST_SHOWN = 60


def about(found: NextStep) -> str:
    """How many readings were weighed for which answer, in a few words."""
    return f"{len(found.options):,} readings weighed for the {found.label}"


def tables(found: NextStep) -> dict[str, list[Row]]:
    """The readings first, then what can be done, then the sheet of the best readings."""
    best = found.best
    out = {
        "candidates": candidates(found),
        "work": [work_row(w, found.measure) for w in found.work[:MOST_SHOWN]],
    }
    return out | ({"sheet": sheet_rows(found.given.layout, best.readings)} if best else {})


def candidates(found: NextStep) -> list[Row]:
    """A row for each reading or round of readings, the best first.

    `worth` is what deciding after it gains over deciding now, `saved_min` the work in vain that this saves.
    """
    layout = found.given.layout
    return [
        {
            "where": o.where,
            "engine_speed_rpm": o.speed_rpm,
            "blanked": taped_words(layout, o.readings[0].blanked),
            "minutes": o.minutes,
            measure_key("worth", found.measure): max(o.worth, 0.0) if found.minutes is None else o.worth,
            measure_key("worth_error", found.measure): o.error,
            "saved_min": o.saved,
            "pays": "yes" if o.pays else "no",
        }
        for o in found.options[:MOST_SHOWN]
    ]


def sentences(found: NextStep, measures: str) -> list[str]:
    """What to read, or that it is enough; what to do without it."""
    layout, best, quick = found.given.layout, found.best, found.quickest
    now = found.work[0]
    if best is None or quick is None:
        least = said(found.noticed, found.measure, measures)
        return [
            f"Enough: do {words_of(now.fixes)}.",
            _gain(found, now, measures),
            f"No reading would better that choice by more than {least} of the {found.label}, which counts as "
            "none, or save more work in vain than it takes.",
        ]
    out = [
        f"Read {best.words(layout)} ({best.minutes:.0f} min): deciding after it gains "
        f"{_worth(found, best, measures)} more of the {found.label} than deciding now"
        + (f", and saves {best.saved:.0f} min of work in vain." if best.saved >= 1.0 else ".")
    ]
    if quick is not best:
        out.append(
            f"Most for its time: {quick.words(layout)}, {_worth(found, quick, measures)} in "
            f"{quick.minutes:.0f} min."
        )
    knowing = said(found.worth_of_knowing, found.measure, measures)
    return [
        *out,
        f"Without a reading: do {words_of(now.fixes)}.",
        _gain(found, now, measures),
        f"To know the machine exactly would be worth {knowing}: no reading is worth more.",
    ]


def _worth(found: NextStep, option: Option, measures: str) -> str:
    return said(option.worth, found.measure, measures)


def _gain(found: NextStep, work: Work, measures: str) -> str:
    gain, low, high = (said(v, found.measure, measures, sign=True) for v in (work.gain, work.low, work.high))
    return (
        f"It betters the {found.label} by {gain} on average ({low} to {high} in nine of ten possible "
        f"machines), and is the best choice on {work.chance:.0%} of them."
    )


def notes(found: NextStep) -> list[Note]:
    """What the numbers rest on."""
    out = [machines_note(found.machines), times_note()]
    if found.minutes is None:
        text = "One fix is to be chosen, the next one; with a time (minutes) it is all that fits into it."
        out.append(Note(text, "assumed"))
    return out + left_out_notes(found.left_out)


def cautions(found: NextStep) -> list[str]:
    """The cautions that belong to reading and taping, then those of the fixes."""
    return cautions_of(["measure", "blank"], found.work_cautions)
