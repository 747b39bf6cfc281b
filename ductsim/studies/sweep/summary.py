"""A sweep in tables and sentences."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...cautions import cautions_for
from ...fixes.fix import work_on
from ...quantity import from_si, measure_key
from ...questions.vocabulary import Question
from ...result import Note
from ...statistics import quantile
from ...wording import said
from .result import Array, Sweep

Row = dict[str, Any]

ELSEWHERE = 0.01
"""The least relative change of another unit's vacuum that is worth a word."""


def about(found: Sweep) -> str:
    """What was swept, in a few words."""
    return f"{found.name}, {len(found.values):,} values"


# ---- tables


def tables(found: Sweep) -> dict[str, list[Row]]:
    """sweep, changes (of the weakest unit), units (vacuum and air of every unit at every value)."""
    out = {"sweep": [_row(found, v, value) for v, value in enumerate(found.values.tolist())]}
    if found.changes:
        out["changes"] = [
            {**found.cell(c.value), "weakest_below": c.before, "weakest_above": c.after}
            for c in found.changes
        ]
    units = [
        {**found.cell(value), "unit": unit, **_air(found, v, unit)}
        for v, value in enumerate(found.values.tolist())
        for unit in found.vacuum
    ]
    return out | ({"units": units} if units else {})


def _row(found: Sweep, v: int, value: float) -> Row:
    """The answers at a value, the weakest unit and its air, power, fuel, limits passed.

    With possible machines the medians, and the middle 90 % of every answer.
    """
    row = found.cell(value)
    for asked, words in zip(found.questions, _columns(found), strict=True):
        answer = found.answers[asked.of][v]
        row[measure_key(words, asked.measure)] = quantile(answer, 0.5)
        if found.machines > 1:
            row[measure_key(f"{words} low", asked.measure)] = quantile(answer, 0.05)
            row[measure_key(f"{words} high", asked.measure)] = quantile(answer, 0.95)
    if found.vacuum:
        unit = found.weakest[v]
        row |= {"weakest_unit": unit, **(_air(found, v, unit) if unit else {})}
    if found.power.any():
        row["shaft_power_W"] = quantile(found.power[v], 0.5)
        row["fuel_kg_h"] = 3600.0 * quantile(found.fuel[v], 0.5)
    not_allowed = f"not allowed: {found.passed[v]}" if found.passed[v] else ""
    row["note"] = "no answer" if v in found.unsolved else not_allowed
    return row


def _columns(found: Sweep) -> list[str]:
    """The words of each question's column, numbered where they would be those of another ("a b", "a_b")."""
    out: dict[str, str] = {}
    for asked in found.questions:
        words, number = asked.of, 1
        while measure_key(words, "") in out:
            number += 1
            words = f"{asked.of} ({number})"
        out[measure_key(words, "")] = words
    return list(out.values())


def _air(found: Sweep, v: int, unit: str) -> Row:
    return {
        "vacuum_Pa": quantile(found.vacuum[unit][v], 0.5),
        "opening_air_kg_s": quantile(found.opening_air[unit][v], 0.5),
        "duct_air_kg_s": quantile(found.duct_air[unit][v], 0.5),
    }


# ---- sentences


def sentences(found: Sweep, measures: str) -> list[str]:
    """The answer in plain sentences."""
    first, last = int(found.values.argmin()), int(found.values.argmax())
    low, high = (found.shown_value(found.values[v], measures) for v in (first, last))
    out = []
    for asked in found.questions:
        answer = found.answers[asked.of]
        ends = [said(quantile(answer[v], 0.5), asked.measure, measures) for v in (first, last)]
        out.append(
            f"While {found.name} {'go' if len(found.addresses) > 1 else 'goes'} from {low} to {high}, "
            f"the {asked.label} goes from {ends[0]} to {ends[1]}."
        )
        out += _best(found, asked, measures)
    out += _elsewhere(found, measures)
    out += _about_weakest(found, measures)
    if found.power.any():
        power, fuel = (
            " to ".join(said(quantile(values[v], 0.5), measure, measures) for v in (first, last))
            for values, measure in ((found.power, "W"), (found.fuel, "kg/h"))
        )
        out.append(f"The fans take {power} at the shaft, {fuel} of fuel.")
    return out + _about_limits(found, measures)


def _best(found: Sweep, asked: Question, measures: str) -> list[str]:
    """The value that is best among those allowed, where it is not the one at the better end."""
    middle = np.array([quantile(row, 0.5) for row in found.answers[asked.of]])
    fine = np.array([not words for words in found.passed]) & ~np.isnan(middle)
    if not fine.any():
        return ["None of the values is allowed."] if any(found.passed) else []
    sign = 1.0 if asked.more_is_better else -1.0
    best = int(np.where(fine, sign * middle, -np.inf).argmax())
    if best in (int(found.values.argmin()), int(found.values.argmax())) and not any(found.passed):
        return []
    among = "Among the allowed values" if any(found.passed) else "Among these values"
    answer = said(float(middle[best]), asked.measure, measures)
    return [f"{among} {found.shown_value(found.values[best], measures)} is best: {answer}."]


def _elsewhere(found: Sweep, measures: str) -> list[str]:
    """Where the number matters, if that is another unit than the first question is about."""
    ends = [int(found.values.argmin()), int(found.values.argmax())]

    def moved(values: Array) -> tuple[float, float, float]:
        """By what share it changes between the ends, and what it is there."""
        low, high = (quantile(values[v], 0.5) for v in ends)
        return abs(high - low) / max(abs(low), abs(high), 1e-12), low, high

    own = moved(found.answers[found.of[0]])[0]
    others = {unit: moved(values) for unit, values in found.vacuum.items()}
    unit = max(others, key=lambda name: np.nan_to_num(others[name][0]), default=None)
    if unit is None or not others[unit][0] > max(ELSEWHERE, 3.0 * np.nan_to_num(own)):
        return []
    before, after = (said(value, "Pa", measures) for value in others[unit][1:])
    return [f"It matters at unit {unit}: the vacuum there goes from {before} to {after}."]


def _about_weakest(found: Sweep, measures: str) -> list[str]:
    names = [name for name in found.weakest if name]
    if not names or len(found.vacuum) < 2:
        return []
    if not found.changes:
        return [f"Unit {names[0]} is weakest throughout."]
    first, *rest = (
        f"nit {c.before} is weakest up to {found.shown_value(c.value, measures)}" for c in found.changes
    )
    words = [f"U{first}", *(f"u{other}" for other in rest), f"unit {found.changes[-1].after} beyond"]
    return [f"{', '.join(words)}."]


def _about_limits(found: Sweep, measures: str) -> list[str]:
    bad = [v for v in np.argsort(found.values, kind="stable") if found.passed[v]]
    if not bad:
        return []
    values = [found.shown_value(found.values[v], measures) for v in bad]
    where = values[0] if len(bad) == 1 else f"{values[0]} and at {len(bad) - 1} more of the values"
    return [f"Not allowed at {where}: {found.passed[bad[0]]}."]


# ---- notes and cautions


def notes(found: Sweep) -> list[Note]:
    """How the answer was found and what deserves a look."""
    out = []
    if found.power.any():
        amount = float(from_si(found.specific_consumption, "g/kWh"))
        source = ", a diesel engine at part load, from memory" if found.consumption_assumed else ""
        text = f"Fuel is that of the fans alone, at {amount:.4g} g/kWh{source}."
        out.append(Note(text, "assumed", "specific_consumption", found.specific_consumption))
    if found.unsolved:
        text = f"{len(found.unsolved):,} of {len(found.values):,} values have no answer."
        out.append(Note(text, "no answer", value=len(found.unsolved)))
    if found.machines > 1:
        out.append(Note(f"Medians of {found.machines:,} possible machines.", "possible machines"))
    return out + found.seen


def cautions(found: Sweep) -> list[str]:
    """What to beware of when the number is changed."""
    layout = found.machine.layout
    return cautions_for({tag for address in found.addresses for tag in work_on(layout, address)})
