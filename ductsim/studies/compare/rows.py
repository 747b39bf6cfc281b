"""A comparison in rows."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ...quantity import measure_key
from ...wording import listed
from .result import Comparison
from .sets import SolvedSets, range_of
from .study import BUDGETS
from .worth import Together

Row = dict[str, Any]
BEST = 3
"""How many of the best sets are shown for each budget."""
MOST_REFUSED = 20
OPPOSITE = "moves vacuum and duct air opposite ways"


def tables(found: Comparison) -> dict[str, list[Row]]:
    """fixes, best_sets, order, units (before and after), front, together, refused: name -> rows."""
    out = {"fixes": fix_rows(found), "best_sets": _best_rows(found)}
    if found.recommended:
        out["order"] = _order_rows(found)
        out["units"] = found.units()
    out["front"] = front_rows(found)
    out["together"] = [_together_row(found, pair) for pair in found.together]
    out["refused"] = _refused_rows(found)
    return {name: rows for name, rows in out.items() if rows or name == "fixes"}


def fix_rows(found: Comparison) -> list[Row]:
    """A row for each fix alone, the one with the largest worth in company first, those in error last.

    `gain` is what the fix alone gains, `worth` its mean marginal gain over all orders (both positive when
    better). `unit` is the unit whose vacuum it moves most, followed by what happens there to vacuum,
    opening air and duct air. With possible machines `gain_low` and `gain_high` hold the middle 90 %.
    """
    rows = [_fix_row(found, i) for i in by_worth(found)]
    for fix in found.fixes:
        if fix.name in found.errors:
            own = {"fix": fix.name, "time_min": fix.minutes, "cost": fix.cost}
            rows.append(own | {"remark": f"not computed: {found.errors[fix.name]}"})
    return rows


def by_worth(found: Comparison) -> list[int]:
    """The places of the fixes that could be computed, the one with the largest worth first."""
    worths = found.worths.tolist()
    return sorted(range(found.n), key=lambda i: math.inf if math.isnan(worths[i]) else -worths[i])


def _fix_row(found: Comparison, i: int) -> Row:
    measure, fix, sure = found.question.measure, found.tasks[i].fix, found.sure
    row = sure.row(1 << i)
    own: Row = {
        "fix": fix.name,
        "time_min": fix.minutes,
        "cost": fix.cost,
        measure_key("gain", measure): float(sure.gain[row]),
        measure_key("worth", measure): float(found.worths[i]) if i in found.usable else None,
    }
    if found.machines > 1:
        own |= range_of(sure.gains_of(row), "gain", measure)
    return own | sure.also(row) | _moved(sure, row) | {"remark": "; ".join(_remarks(found, i))}


def _moved(solved: SolvedSets, row: int) -> Row:
    """What a set does at the unit whose vacuum it moves most, and to the power."""
    units = solved.combining.units
    out: Row = {}
    u = solved.most_moved(row)
    if u is not None:
        vacuum, opening, duct = solved.changes(row)
        out = {
            "unit": units[u],
            "vacuum_change_Pa": float(vacuum[u]),
            "opening_air_change_kg_s": float(opening[u]),
            "duct_air_change_kg_s": float(duct[u]),
        }
    if units:
        out["weakest_after"] = solved.weakest(row)
    out["shaft_power_change_W"] = float(solved.power[row])
    return out


def _remarks(found: Comparison, i: int) -> list[str]:
    sure = found.sure
    row = sure.row(1 << i)
    out = []
    reason = sure.reason(row)
    if reason is not None:
        out.append(f"{reason.verdict}: {reason.words}")
    u = sure.opposite(row)
    if u is not None:
        out.append(f"{OPPOSITE} at unit {sure.combining.units[u]}")
    if sure.gain[row] < -sure.noticed:
        out.append(f"makes the {found.question.label} worse")
    for pair in found.together:
        if pair.kind == "only together" and pair.fixes[0] == i:
            others = listed([found.tasks[j].fix.name for j in pair.fixes[1:]])
            out.append(f"helps only together with {others}")
    return out


def _advised(found: Comparison, mask: int) -> Row:
    """The row of a set that may be done."""
    row = found.set_row(mask)
    del row["verdict"], row["reason"]
    return row


def front_rows(found: Comparison) -> list[Row]:
    """The sets that no other beats in gain and working time."""
    return [_advised(found, mask) for mask in found.on_front(("minutes",))]


def _best_rows(found: Comparison) -> list[Row]:
    """The best sets within the budget, or within each of the usual ones."""
    out = []
    for within in BUDGETS if found.budget is None else (found.budget,):
        for place, mask in enumerate(found.ranked(within)[:BEST], 1):
            out.append({"budget_min": within, "place": place} | _advised(found, mask))
    return out


def _order_rows(found: Comparison) -> list[Row]:
    """The recommended fixes one after the other, with the time and the gain so far."""
    measure = found.question.measure
    out, mask = [], 0
    for step, name in enumerate(found.order, 1):
        mask |= found.mask([name])
        solved, row = found.holding(mask)
        own: Row = {"step": step, "fix": name, "time_so_far_min": float(solved.minutes[row])}
        own[measure_key("gain_so_far", measure)] = float(solved.gain[row])
        own |= solved.also(row) | solved.at_weakest(row)
        out.append(own | {"shaft_power_change_W": float(solved.power[row])})
    return out


def _together_row(found: Comparison, pair: Together) -> Row:
    names = [found.tasks[i].fix.name for i in pair.fixes]
    measure = found.question.measure
    return {
        "fix": names[0],
        "with": listed(names[1:]),
        "effect": pair.kind,
        measure_key("gain_alone", measure): pair.alone,
        measure_key("gain_in_company", measure): pair.marginal,
    }


def _refused_rows(found: Comparison) -> list[Row]:
    """The smallest sets that cannot be done or are not allowed: whatever contains one of them is refused too.

    A set that is not allowed may become allowed by more fixes; it is listed all the same.
    """
    masks = found.solved.masks
    bad = np.flatnonzero(~found.solved.allowed).tolist()
    bad.sort(key=lambda k: (masks[k].bit_count(), k))
    out: list[Row] = []
    kept: list[int] = []
    for k in bad:
        if len(kept) == MOST_REFUSED:
            break
        if not any(mask & masks[k] == mask for mask in kept):
            kept.append(masks[k])
            name = " + ".join(found.names(masks[k])) or "nothing"
            solved, row = found.holding(masks[k])
            out.append({"fixes": name, "verdict": solved.verdict(row), "reason": solved.why(row)})
    out += [
        {"fixes": name, "verdict": "not computed", "reason": sentence}
        for name, sentence in found.errors.items()
    ]
    return out
