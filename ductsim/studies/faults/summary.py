"""The mishaps in tables and sentences."""

from __future__ import annotations

from typing import Any

from ...cautions import cautions_for
from ...quantity import measure_key
from ...result import Note
from ...wording import said
from .mishaps import DOOR, LATCH
from .result import Faults, Seen

Row = dict[str, Any]

WORTH_SAYING = 0.02
"""Share of air or power that has to change before anybody notices it [-]; our assumption."""
LOUD = 0.1
"""Share of the fans' power whose change is heard beside a blocked unit [-]; our assumption."""
FIRST = 3
"""How many kinds of mishaps the sentences tell the worst of."""


def about(found: Faults) -> str:
    """How many mishaps, and which is the worst."""
    worst = f", the worst: {found.after[0].words}" if found.after else ""
    return f"{len(found.after)} mishaps{worst}"


# ---- tables


def tables(found: Faults) -> dict[str, list[Row]]:
    """Faults (the worst first), signs (what gives each away), gauges and units (each, before and after)."""
    return {
        "faults": [_row(found, own) for own in found.after],
        "signs": [_sign(found, own) for own in found.after],
        "gauges": [
            {"mishap": own.words, "tapping": name, **_change(found.before.gauges[name], value, "Pa")}
            for own in found.after
            for name, value in own.gauges.items()
        ],
        "units": [
            {
                "mishap": own.words,
                "unit": unit,
                "vacuum_before_Pa": found.before.vacuum[unit],
                "vacuum_after_Pa": own.vacuum[unit],
                "opening_air_before_kg_s": found.before.opening_air[unit],
                "opening_air_after_kg_s": own.opening_air[unit],
            }
            for own in found.after
            for unit in own.vacuum
        ],
    }


def _row(found: Faults, own: Seen) -> Row:
    asked = found.question
    return {
        "mishap": own.words,
        measure_key(asked.of, asked.measure): own.answer,
        measure_key("change", asked.measure): own.answer - found.before.answer,
        "weakest_unit": own.weakest,
        "driver_notices": noticed(found, own),
        "note": "no answer" if not own.solved else f"not allowed: {own.passed}" if own.passed else "",
    }


def _sign(found: Faults, own: Seen) -> Row:
    gauge = found.gauge(own)
    pressures = (found.before.gauges[gauge], own.gauges[gauge]) if gauge else (None, None)
    return {
        "mishap": own.words,
        "seen_or_heard": own.sign,
        "gauge": gauge,
        "before_Pa": pressures[0],
        "after_Pa": pressures[1],
        "shaft_power_W": own.power,
    }


def _change(before: float, after: float, measure: str) -> Row:
    return {
        measure_key("before", measure): before,
        measure_key("after", measure): after,
        measure_key("change", measure): after - before,
    }


def noticed(found: Faults, own: Seen) -> str:
    """What the driver would notice first: a unit that blocks, one that takes less air, the fans' power."""
    if not own.solved:
        return ""
    words = []
    if own.place is not None and own.margin < 1.0:
        also = "as before, " if found.before.margin < 1.0 and own.place == found.before.place else ""
        words.append(f"{also}unit {own.place.unit} blocks first, at {own.place}")
    unit, share = found.air_lost(own)
    if share > 1.0 + WORTH_SAYING:
        words.append(f"air blows out of unit {unit}")
    elif share > 1.0 - WORTH_SAYING:
        words.append(f"unit {unit} draws hardly any air")
    elif share > WORTH_SAYING:
        words.append(f"unit {unit} draws {share:.0%} less air")
    if found.before.power > 0.0:
        power = own.power / found.before.power - 1.0
        if abs(power) > (LOUD if words else WORTH_SAYING):
            words.append(f"the fans take {abs(power):.0%} {'more' if power > 0.0 else 'less'} power")
    return "; ".join(words) or "hardly anything"


# ---- sentences


def sentences(found: Faults, measures: str) -> list[str]:
    """The worst mishaps, what they would do, and what gives them away."""
    known = [own for own in found.after if own.solved and found.damage(own) > 0.0]
    if not known:
        return [f"None of {len(found.after)} mishaps would make the {found.question.label} worse."]
    out = [
        f"Of {len(found.after)} usual mishaps, each by itself, this would be the worst: "
        f"{_told(found, known[0], measures)}"
    ]
    later = [own for own in found.worst_of_each_kind if found.damage(own) > 0.0][1:FIRST]
    out += [f"The worst of another kind: {_told(found, own, measures)}" for own in later]
    blocked = [own for own in found.after if own.margin < 1.0]
    if found.before.margin >= 1.0:
        out.append(f"{len(blocked)} of them would block a unit at the present ground speed.")
    elif found.before.place is not None:
        out.append("The crop stays behind even as the machine is: see its ground speed first.")
    return out


def _told(found: Faults, own: Seen, measures: str) -> str:
    asked, gauge = found.question, found.gauge(own)
    before, after = (said(value, asked.measure, measures) for value in (found.before.answer, own.answer))
    out = f"{own.words}. The {asked.label} goes from {before} to {after}; the driver notices: "
    out += noticed(found, own)
    if gauge:
        ends = (said(seen.gauges[gauge], "Pa", measures) for seen in (found.before, own))
        out += f"; the gauge at {gauge} moves most, from {' to '.join(ends)}"
    return f"{out}."


# ---- notes and cautions


def notes(found: Faults) -> list[Note]:
    """What is assumed, and how the answer was found."""
    out = [
        Note(
            f"An open door counts as a hole of {DOOR:.0%} of its unit's openings, one with its latch open as "
            f"{LATCH:.0%} of them; these and the sizes of the other mishaps are our assumption.",
            "assumed",
        )
    ]
    if found.before.place is None:
        out.append(Note("Without a crop nothing can be said of units that block.", "no crop"))
    without = sum(not own.solved for own in found.after)
    if without:
        text = f"{without} of {len(found.after)} mishaps have no answer; they stand last."
        out.append(Note(text, "no answer", value=without))
    return out + found.seen


def cautions(found: Faults) -> list[str]:
    """What to beware of when a mishap is looked for; none is to be brought about."""
    layout = found.machine.layout
    work = {layout.part[name].kind.work for own in found.after for name in own.parts}
    return [
        "These are computed: never bring a mishap about to try it.",
        *cautions_for({"lock_out", "guards", "blockage", *work}),
    ]
