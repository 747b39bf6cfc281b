"""What is grossly wrong among readings, in words: where, and what it looks like."""

from __future__ import annotations

import math
from typing import Any

from ...inference.gross import Group
from ...quantity import RPM, si
from ...readings.checks import CLEAR, first_sight
from ...readings.wholesale import likeness
from ...wording import listed, said
from .result import Fit

Row = dict[str, Any]

NEAR = 0.05
"""So near to a tenfold, another measure or another place a slip looks like that."""
INCH, MILLIMETRE = (float(si(f"1 {word}", "Pa")) for word in ("inH2O", "mmH2O"))
FACTORS = {
    10.0: "ten times as much",
    0.1: "a tenth",
    100.0: "a hundred times as much",
    0.01: "a hundredth",
    1.0 / INCH: "the number of inches of water",
    INCH: "inches of water twice over",
    1.0 / MILLIMETRE: "the number of millimetres of water",
    MILLIMETRE: "millimetres of water twice over",
}
TOTAL = 0.35  # so near to all of the velocity pressure, a tapping reads total pressure
MOST_SAID = 6
FAR = 3.5  # standard deviations at which a number or an instrument is worth a word
MOST_FAR = 3


def place(row: Row) -> str:
    """Line and place of a reading."""
    return f"line {row['line']}, {row['where']}" if row["line"] else str(row["where"])


def conditions(row: Row) -> str:
    """The conditions of a reading in brackets; empty for none."""
    return f" ({row['how']})" if row["how"] else ""


def slips(fit: Fit, measures: str) -> list[str]:
    """A sentence for each slip, the clearest first."""
    rows = fit.readings

    def size(group: Group) -> float:
        if group.column is not None:
            return abs(float(fit.estimate.x[group.column]))
        return max(abs(float(rows[i]["misfit"])) for i in group.rows)

    ordered = sorted(fit.slips, key=size, reverse=True)
    out = [_slip(fit, group, measures) for group in ordered[:MOST_SAID]]
    if len(ordered) > MOST_SAID:
        lines = ", ".join(str(rows[i]["line"]) for g in ordered[MOST_SAID:] for i in g.rows)
        out.append(
            f"{len(ordered) - MOST_SAID} more do not fit the others and are set aside (lines {lines})."
        )
    return out


def _slip(fit: Fit, group: Group, measures: str) -> str:
    rows = [fit.readings[i] for i in group.rows]
    if group.moved:
        return _exchanged(group, rows, measures)
    if group.column is not None:
        return _speed(fit, group) if group.kind == "tachometer" else _facing(fit, group)
    first = rows[0]
    if len(rows) == 1:
        ends = [said(first[key], first["measure"], measures) for key in ("measured", "fitted")]
        looks = _looks(first)
        return (
            f"{place(first)}{conditions(first)} stands out: {ends[0]} where the others make {ends[1]}"
            f"{looks}. It is set aside: read it again."
        )
    worst = max(rows, key=lambda row: abs(row["misfit"]))
    ends = [said(worst[key], worst["measure"], measures) for key in ("measured", "fitted")]
    lines = _lines(rows)
    if group.kind == "tapping":
        return (
            f"All {len(rows)} readings at {group.name} stand out (lines {lines}), most of all {place(worst)}"
            f"{conditions(worst)}: {ends[0]} where the others make {ends[1]}. They are set aside: the "
            "tapping may sit elsewhere, be blocked, or face the air. Before anybody drills, read it "
            "twice: with the machine at a stand, and with the openings before it taped shut, where "
            "hardly any air passes it."
        )
    how = worst["how"] or "as the machine is"
    return (
        f"All {len(rows)} readings under one condition ({how}) stand out (lines {lines}), most of all "
        f"{place(worst)}: {ends[0]} where the others make {ends[1]}. They are set aside: look at what was "
        "taped, at the engine speed, and at the measure."
    )


def _looks(row: Row) -> str:
    """What a slip looks like; empty where it looks like nothing known."""
    if not row["fitted"]:
        return ""
    ratio = row["measured"] / row["fitted"]
    if abs(ratio + 1.0) < NEAR:
        return ", the other sign"
    near = [words for factor, words in FACTORS.items() if abs(math.log(max(ratio, 1e-9) / factor)) < NEAR]
    return f", as if {near[0]} had been written" if near else ""


def _exchanged(group: Group, rows: list[Row], measures: str) -> str:
    """Two readings, or all readings of two tappings in a set, each as the other should be."""
    one, two = max(zip(rows[::2], rows[1::2], strict=True), key=lambda both: abs(both[0]["misfit"]))
    shown, fitted = (
        [said(row[key], row["measure"], measures) for row in (one, two)] for key in ("measured", "fitted")
    )
    where = f" in set {group.name}" if group.name else ""
    more = "" if len(rows) == 2 else f", with all that was read there (lines {_lines(rows)})"
    return (
        f"{place(one)} and {place(two)} look exchanged{where}{more}: {listed(shown)} where the others make "
        f"{listed(fitted)}. Each is taken for the other: look at the hoses and at the sheet."
    )


def _lines(rows: list[Row]) -> str:
    return ", ".join(str(row["line"]) for row in rows)


def _facing(fit: Fit, group: Group) -> str:
    """A tapping that reads velocity pressure along with the static, and what would show it."""
    assert group.column is not None
    share = fit.errors.facing * float(fit.estimate.x[group.column])
    if abs(share - 1.0) < TOTAL:
        what = "reads as if it showed total pressure"
    else:
        way = "too much" if share > 0.0 else "too little"
        what = f"reads as if its hole faced the air: {abs(share):.0%} of the velocity pressure {way}"
    return (
        f"{group.name} {what}. Its readings are taken so. Before anybody drills, take two more there: with "
        "the openings before it taped shut, where hardly any air passes and both pressures are one, and "
        "as the machine works, with the end of the hose turned square to the air."
    )


def _speed(fit: Fit, group: Group) -> str:
    """An engine speed that is not believed, and which one the pressures are those of."""
    assert group.column is not None
    factor = math.exp(fit.errors.tachometer * float(fit.estimate.x[group.column]))
    stated = list(dict.fromkeys(r.engine_speed or 0.0 for i, r in enumerate(fit.taken) if i in group.rows))
    words = listed([f"{s * factor * RPM:,.0f} rpm where {s * RPM:,.0f} was written" for s in stated])
    name = group.name.removeprefix("tachometer of ")
    return f"The engine speed of {name} stands out: the pressures are those of {words}. It is not believed."


def all_alike(fit: Fit) -> list[str]:
    """What all pressures together look like, where they are far too small."""
    words = likeness(fit.taken, first_sight(fit.given, fit.taken), CLEAR)
    return [text[0].upper() + text[1:] for text in words]


def far_off(fit: Fit) -> list[str]:
    """The numbers and instruments that would have to be far off, where no reading stands out."""
    rows = [
        *((r["number"], r["estimate"]) for r in fit.others),
        *((r["error"], r["estimate"]) for r in fit.instruments),
    ]
    far = sorted((row for row in rows if abs(row[1]) > FAR), key=lambda row: -abs(row[1]))[:MOST_FAR]
    if not far:
        return []
    words = listed([f"{name} ({value:+.1f})" for name, value in far])
    return [
        "No single reading stands out, but these would be farther off than usual [standard deviations]: "
        f"{words}."
    ]
