"""A proof in tables and sentences."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ...cautions import cautions_for
from ...result import Note
from ...statistics import quantile
from ...wording import said
from .result import SURE, UNTOLD, Proof

Row = dict[str, Any]

ODD = 0.01  # chance of a pattern below which something else moved


def about(found: Proof) -> str:
    """The fix, and whether it is proved."""
    return f"{found.fix.name}, {'planned' if found.planned else found.verdict}"


def tables(found: Proof) -> dict[str, list[Row]]:
    """A row for each place: before and after at one speed and density, measured and expected change."""
    return {"table": rows(found)}


def rows(found: Proof) -> list[Row]:
    """A row for each place that was read before and after."""
    sd = np.sqrt(np.diag(found.covariance))
    expected, change = found.expected, found.change
    out = []
    for k, point in enumerate(found.points):
        row: Row = {"where": point.where, "how": point.how, "measure": point.measure}
        if not found.planned:
            row |= {"before": float(found.means[0, k]), "after": float(found.means[1, k])}
            row |= {"change": float(change[k])}
        row |= {"change_sd": float(sd[k]), "expected": float(expected[k])}
        row |= {"expected_low": quantile(found.changes[k], 0.025)}
        row |= {"expected_high": quantile(found.changes[k], 0.975)}
        row |= {"readings_before": int(found.counts[0, k]), "readings_after": int(found.counts[1, k])}
        out.append(row)
    return out


def sentences(found: Proof, measures: str) -> list[str]:
    """The verdict first, then the change measured and expected, then what it would take."""
    name = found.fix.name
    if found.planned:
        return [_plan(found), _largest(found, measures)]
    words = f"{name}: {found.verdict}"
    if math.isfinite(found.effect_sd):
        low, high = (found.effect + sign * SURE * found.effect_sd for sign in (-1.0, 1.0))
        words += (
            f"; the change is {found.effect:.0%} of the expected one (95 % by the readings: {low:.0%} to "
            f"{high:.0%}; expected to within {SURE * found.expected_sd:.0%})"
        )
    out = [words + ".", _largest(found, measures)]
    if found.verdict == UNTOLD:
        out.append(_more(found))
    if found.pattern_chance < ODD:
        out.append(
            "The changes differ from place to place more than these errors explain: something else moved."
        )
    return out


def _largest(found: Proof, measures: str) -> str:
    """The place where most was expected."""
    row = max(rows(found), key=lambda r: abs(r["expected"]) / r["change_sd"])
    expected = said(row["expected"], row["measure"], measures, sign=True)
    sd = said(row["change_sd"], row["measure"], measures)
    if found.planned:
        return f"At {row['where']} {expected} is expected; one change there is known to {sd}."
    change = said(row["change"], row["measure"], measures, sign=True)
    return (
        f"At {row['where']} it is {change} (standard deviation {sd}), {expected} expected, both at "
        "the same speed and density."
    )


def _plan(found: Proof) -> str:
    name, needed = found.fix.name, found.readings_needed
    if needed is not None:
        times = "one reading" if needed == 1 else f"{needed} readings"
        return f"To prove {name}, {times} at each of {len(found.points)} places before and after will do."
    return f"To prove {name}: {_sets(found)}"


def _more(found: Proof) -> str:
    needed, have = found.readings_needed, int(found.counts.min())
    if needed is not None and needed > have:
        return f"{needed - have} more readings at each place, before and after, would tell."
    if needed is not None:
        return "Readings like these tell nine of ten working fixes: read once more."
    return _sets(found)


def _sets(found: Proof) -> str:
    sets = found.sets_needed
    if sets is None:
        return "no number of readings with this gauge will tell: the expected change is too small."
    return (
        "the errors common to a set hide the change however often it is read; "
        f"{sets} sets before and after would tell, each with the gauge zeroed and the speed read anew."
    )


def notes(found: Proof) -> list[Note]:
    """What was left out, and how much the readings can tell."""
    text = (
        f"With these readings a fix that works as expected shows in {found.power:.0%} of cases, one "
        "without any effect passes in 2.5 %."
    )
    return [*found.seen, Note(text, "power", found.fix.name, found.power)]


def cautions(found: Proof) -> list[str]:
    """The cautions that belong to taking readings."""
    return cautions_for(["measure"])
