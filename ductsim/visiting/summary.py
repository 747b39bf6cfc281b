"""A planned visit in tables and sentences."""

from __future__ import annotations

from typing import Any

from ..cautions import ALWAYS, cautions_for
from ..deciding.candidates import NEW_SPEED, TAPING, taped_words
from ..deciding.choices import CLEANING, SEALING
from ..deciding.sheet import place, sheet_rows
from ..quantity import RPM, measure_key
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
        "work": [
            {
                "fix": words_of(w.fixes),
                "minutes": w.minutes,
                measure_key("gain", found.measure): w.gain,
                measure_key("gain_low", found.measure): w.low,
                measure_key("gain_high", found.measure): w.high,
                "chance_best": w.chance,
            }
            for w in found.work[:MOST_SHOWN]
        ],
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
    return gathered([place(r) for r in step.readings]) + (
        "" if speed is None else f" at {speed * RPM:,.0f} rpm"
    )


def words_of(fixes: tuple[str, ...]) -> str:
    """Fixes in the order of the work; "nothing" for none."""
    return ", then ".join(fixes) or "nothing"


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
    word = "As far as is known now" if not found.enough else "This"
    verb = "that betters" if word == "This" else f"{words_of(now.fixes)} betters"
    lead = "This betters" if word == "This" else f"{word} {verb}"
    out.append(
        f"{lead} the {found.label} by {gain} on average ({low} to {high} in nine of ten cases); "
        f"with a chance of {found.right:.0%} nothing else betters it noticeably more."
    )
    if found.proved:
        out.append(f"If it works, the readings before and after show it with a chance of {found.proved:.0%}.")
    out.append(f"All of it ends after {found.end:.0f} of {found.minutes:.0f} minutes.")
    return out


def notes(found: VisitPlan) -> list[Note]:
    """What the plan rests on."""
    out = [
        Note(f"Weighed on {found.machines:,} possible machines.", "possible machines", value=found.machines),
        Note(f"Taping counts {TAPING:g} min an opening, another engine speed {NEW_SPEED:g} min.", "assumed"),
    ]
    if found.usual:
        text = f"No fixes were given: each leak may be sealed in {SEALING:g} min, or cleaned in {CLEANING:g}."
        out.append(Note(text, "assumed"))
    if found.taken:
        text = f"{len(found.taken)} readings so far, {found.spent:.0f} min of the visit."
        out.append(Note(text, "so far", value=found.spent))
    if found.left_out:
        names, why = listed(list(found.left_out)), next(iter(found.left_out.values()))
        out.append(Note(f"Not weighed: {names} ({why}).", "left out", names))
    return out + found.seen


def cautions(found: VisitPlan) -> list[str]:
    """The cautions that belong to reading and taping, then those of the fixes."""
    own = [*cautions_for(["measure", "blank", "lock_out", "guards"]), *found.work_cautions]
    return [*dict.fromkeys(c for c in own if c != ALWAYS), ALWAYS]
