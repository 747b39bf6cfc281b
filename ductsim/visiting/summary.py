"""A planned visit in tables and sentences."""

from __future__ import annotations

from typing import Any

from ..deciding.candidates import taped_words
from ..deciding.choices import CLEANING, SEALING
from ..deciding.sheet import sheet_rows
from ..deciding.summary import cautions_of, left_out_notes, machines_note, times_note, words_of, work_row
from ..quantity import RPM
from ..result import Note
from ..wording import gathered, listed, said
from .result import VisitPlan
from .steps import FIX, READ, Step

Row = dict[str, Any]
MOST_SHOWN = 12


def about(found: VisitPlan) -> str:
    """The time of the visit and what it is for, in a few words."""
    return f"a visit of {found.minutes:g} minutes for the {found.label}"


def tables(found: VisitPlan) -> dict[str, list[Row]]:
    """Plan (the steps), sheet (what to read and write down), decisions, work."""
    out = {"plan": [_step(found, i, step) for i, step in enumerate(found.steps, 1)]}
    readings = [*found.readings(), *found.readings(after=True)]
    if readings:
        out["sheet"] = sheet_rows(found.given.layout, readings)
    return out | {
        "decisions": [{"fix": words_of(fixes), "chance": share} for fixes, share in found.decisions],
        "work": [work_row(w, found.measure) for w in found.work[:MOST_SHOWN]],
    }


def _step(found: VisitPlan, number: int, step: Step) -> Row:
    return {
        "step": number,
        "from_min": step.start,
        "to_min": step.start + step.minutes,
        "do": step.kind,
        "what": what_of(found, step),
        "tape_shut": taped_words(found.given.layout, step.readings[0].blanked) if step.readings else "",
    }


def what_of(found: VisitPlan, step: Step) -> str:
    """What is read and at which speed, or what is done."""
    if step.kind == FIX:
        sure = found.enough or found.decisions[0][1] >= 0.99
        return words_of(step.fixes) + ("" if sure else ", unless the readings say otherwise")
    speed = step.readings[0].engine_speed
    return gathered([r.place for r in step.readings]) + (
        "" if speed is None else f" at {speed * RPM:,.0f} rpm"
    )


def sentences(found: VisitPlan, measures: str) -> list[str]:
    """What to do next, what for, and what the whole visit comes to."""
    out, step, now = [], found.next, found.work[0]
    if step is None:
        return [
            f"Nothing fits into the {found.minutes - found.spent:.0f} minutes that are left, or betters the "
            f"{found.label} by more than what counts as none."
        ]
    if step.kind == READ:
        taped = taped_words(found.given.layout, step.readings[0].blanked)
        shut = f" with {taped} taped shut" if taped else ""
        out.append(f"Read {what_of(found, step)}{shut} ({step.minutes:.0f} min), then plan anew.")
        worth = said(found.worth, found.measure, measures)
        out.append(f"Deciding after all planned readings gains {worth} more of the {found.label}.")
        likely = [
            f"{words_of(fixes)} ({share:.0%})" for fixes, share in found.decisions[:3] if share >= 0.005
        ]
        out.append(f"What will probably be done then: {listed(likely)}.")
    else:
        out.append(f"Enough: do {words_of(now.fixes)} ({now.minutes:.0f} min).")
    gain, low, high = (said(v, found.measure, measures, sign=True) for v in (now.gain, now.low, now.high))
    lead = "This" if found.enough else f"As far as is known now {words_of(now.fixes)}"
    out.append(
        f"{lead} betters the {found.label} by {gain} on average ({low} to {high} in nine of ten cases); "
        f"with a chance of {found.right:.0%} nothing else betters it noticeably more."
    )
    if found.proved:
        out.append(f"If it works, the readings before and after show it with a chance of {found.proved:.0%}.")
    out.append(f"All of it ends after {found.end:.0f} of {found.minutes:.0f} minutes.")
    return out


def notes(found: VisitPlan) -> list[Note]:
    """What the plan rests on."""
    out = [machines_note(found.machines), times_note()]
    if found.usual:
        text = f"No fixes were given: each leak may be sealed in {SEALING:g} min, or cleaned in {CLEANING:g}."
        out.append(Note(text, "assumed"))
    if found.taken:
        text = f"{len(found.taken)} readings so far, {found.spent:.0f} min of the visit."
        out.append(Note(text, "so far", value=found.spent))
    return [*out, *left_out_notes(found.left_out), *found.seen]


def cautions(found: VisitPlan) -> list[str]:
    """The cautions that belong to reading and taping, then those of the fixes."""
    return cautions_of(["measure", "blank", "lock_out", "guards"], found.work_cautions)
