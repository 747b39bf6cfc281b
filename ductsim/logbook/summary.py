"""A history in tables and sentences."""

from __future__ import annotations

import math
from typing import Any

from ..cautions import cautions_for
from ..quantity import suited
from ..result import Note
from ..statistics import quantile
from ..studies.proof.result import SURE
from ..wording import listed, said
from .result import Brought, History, Look, Moved

Row = dict[str, Any]


def about(found: History) -> str:
    """How many visits, and how many looks at the machine they hold."""
    count, looks = len(found.visits), len(found.looks)
    return f"{count} visit{'s' * (count != 1)}, {looks} set{'s' * (looks != 1)} of readings"


# ---- tables


def tables(found: History) -> dict[str, list[Row]]:
    """visits, leaks (every unknown at every look), fixes (what each brought), moved."""
    out = {"visits": [row for visit in found.visits for row in _visit_rows(found, visit)]}
    if found.looks:
        out["leaks"] = _leaks(found)
    if found.brought:
        out["fixes"] = [_brought(b) for b in found.brought]
    if found.moved:
        out["moved"] = [_moved(m) for m in found.moved]
    return out


def _visit_rows(found: History, visit: Any) -> list[Row]:
    row = {
        "visit": visit.name,
        "engine_hours_h": None if visit.engine_hours is None else visit.engine_hours / 3600.0,
        "done": ", ".join(fix.name for fix in visit.fixes),
        "seen": "; ".join(visit.seen),
    }
    looks = [appearance for appearance in found.looks if appearance.visit == visit.name]
    rows = [
        row
        | {
            "read": f"{len(appearance.fit.taken)} readings {appearance.when}",
            "weakest_unit": appearance.weakest_unit,
        }
        | _weakest(appearance)
        for appearance in looks
    ]
    none = {"weakest_vacuum_Pa": None, "low_Pa": None, "high_Pa": None}
    return rows or [row | {"read": "", "weakest_unit": ""} | none]


def _weakest(appearance: Look) -> Row:
    if not len(appearance.weakest):
        return {"weakest_vacuum_Pa": None, "low_Pa": None, "high_Pa": None}
    middle, low, high = (quantile(appearance.weakest, share) for share in (0.5, 0.025, 0.975))
    return {"weakest_vacuum_Pa": middle, "low_Pa": low, "high_Pa": high}


def _leaks(found: History) -> list[Row]:
    by_look = [
        (appearance, {row["unknown"]: row for row in appearance.fit.unknowns}) for appearance in found.looks
    ]
    names = list(dict.fromkeys(name for appearance, _ in by_look for name in appearance.values))
    keys = ("estimate", "low", "high", "measure", "told")
    return [
        {
            "unknown": name,
            "visit": appearance.visit,
            "when": appearance.when,
            **{key: rows[name][key] for key in keys},
        }
        for name in names
        for appearance, rows in by_look
        if name in rows
    ]


def _brought(b: Brought) -> Row:
    row: Row = {"done": listed(b.fixes), "visit": ", ".join(b.visits)}
    row |= {"read_before": _moment(b.before), "read_after": _moment(b.after)}
    row |= {"verdict": "not proved", "effect": None, "effect_low": None, "effect_high": None}
    if b.proof is not None:
        row["verdict"] = b.proof.verdict
        if math.isfinite(b.proof.effect_sd):
            effect, sd = b.proof.effect, b.proof.effect_sd
            row |= {"effect": effect, "effect_low": effect - SURE * sd, "effect_high": effect + SURE * sd}
    row["vacuum_before_Pa"] = _weakest(b.before)["weakest_vacuum_Pa"]
    row["vacuum_after_Pa"] = _weakest(b.after)["weakest_vacuum_Pa"]
    return row


def _moved(m: Moved) -> Row:
    return {
        "unknown": m.unknown,
        "from": m.start,
        "to": m.end,
        "engine_hours_h": None if m.hours is None else m.hours / 3600.0,
        "before": m.before,
        "now": m.now,
        "measure": m.measure,
        "chance_larger": m.chance,
    }


def _moment(appearance: Look) -> str:
    return f"{appearance.visit}, {appearance.when}"


# ---- sentences


def sentences(found: History, measures: str) -> list[str]:
    """The machine today first, then what each fix brought, then what moved by itself."""
    out = _today(found, measures)
    out += [_said_brought(b, measures) for b in found.brought]
    out += [_said_moved(m, measures) for m in found.moved]
    if len(found.looks) > 1 and not found.worn:
        out.append("Nothing has clearly worn.")
    return out


def _today(found: History, measures: str) -> list[str]:
    if not found.looks:
        count = sum(len(visit.fixes) for visit in found.visits)
        done = f"with {count} fix{'es' * (count != 1)} done" if count else "nothing was done to it"
        out = [f"No visit has readings: the machine today is taken as described, {done}."]
    else:
        out = []
    if found.weakest_unit:
        appearance = found.looks[-1] if found.looks else None
        ends = ""
        if appearance is not None and len(appearance.weakest) and not found.since:
            low, high = (
                said(quantile(appearance.weakest, share), "Pa", measures) for share in (0.025, 0.975)
            )
            ends = f" (95 %: {low} to {high})"
        by = f", by the readings of {_moment(appearance)}" if appearance else ""
        since = f", with {listed(found.since)} since, which is computed and not read" if found.since else ""
        value = said(found.weakest_vacuum, "Pa", measures)
        text = f"Today unit {found.weakest_unit} is weakest with {value}{ends}{by}"
        out.append(f"{text}{since if appearance else ''}.")
    return out or [f"{about(found)[0].upper()}{about(found)[1:]}."]


def _said_brought(b: Brought, measures: str) -> str:
    row = _brought(b)
    text = f"{row['done']} ({row['visit']}): {row['verdict']}"
    if row["effect"] is not None:
        text += (
            f", {row['effect']:.0%} of what was expected (95 %: {row['effect_low']:.0%} to "
            f"{row['effect_high']:.0%})"
        )
    if row["vacuum_before_Pa"] is not None and row["vacuum_after_Pa"] is not None:
        before, after = (said(row[f"vacuum_{word}_Pa"], "Pa", measures) for word in ("before", "after"))
        text += f"; the weakest unit went from {before} to {after}"
    return f"{text}."


def _said_moved(m: Moved, measures: str) -> str:
    measure = suited(m.measure, max(abs(m.before), abs(m.now)))
    before, now = (said(value, measure, measures) for value in (m.before, m.now))
    hours = "" if m.hours is None else f" in {m.hours / 3600.0:,.0f} engine hours"
    if m.chance > 0.5:
        return f"{m.unknown} has grown from {before} on {m.start} to {now} on {m.end}{hours}."
    return (
        f"{m.unknown} fell from {before} on {m.start} to {now} on {m.end}{hours}, though nothing that is "
        "written down was done to it."
    )


# ---- notes and cautions


def notes(found: History) -> list[Note]:
    """How the looks were made, and what deserves a look in the folder."""
    out = list(found.seen)
    if found.looks:
        out.append(
            Note(
                "The readings of each visit are fitted by themselves; a sealed leak is not taken for tight.",
                "each by itself",
            )
        )
    for b in found.brought:
        if b.before.visit != b.after.visit and b.visits != [b.after.visit]:
            text = (
                f"{listed(b.fixes)}: the readings after are of {b.after.visit}; what wore until then "
                "counts along."
            )
            out.append(Note(text, "between visits", listed(b.visits)))
    return out


def cautions(found: History) -> list[str]:
    """The cautions that belong to taking readings."""
    return cautions_for(["measure"])
