"""A comparison in rows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import whole
from ...machine.combining import FINE
from ...machine.saying import listed
from ...quantity import measure_key
from .choice import front
from .table import Table, medians

if TYPE_CHECKING:
    from .comparison import Comparison
    from .worth import Together

Row = dict[str, Any]
Array = NDArray[np.float64]
NOTICED = 0.005
"""Changes below this share of the answer, the vacuum or the duct air count as none [-]: less than a
manometer shows; our assumption."""
BUDGETS = (30.0, 60.0, 120.0)
"""Working times that are looked at when no budget is given [min]."""
BEST = 3
"""How many of the best sets are shown for each budget."""
MOST_REFUSED = 20
OPPOSITE = "moves vacuum and duct air opposite ways"


def fix_rows(found: Comparison) -> list[Row]:
    """A row for each fix alone, the one with the largest worth in company first, those in error last.

    `gain` is what the fix alone gains, `worth` its mean marginal gain over all orders (both positive when
    better). `unit` is the unit whose vacuum it moves most, followed by what happens there to vacuum,
    opening air and duct air. With possible machines `gain_low` and `gain_high` hold the middle 90 %.
    """
    measure = found.question.measure
    rows = []
    for i, task in enumerate(found.tasks):
        sure = found.sure
        row = sure.row(1 << i)
        gain = float(sure.gain[row])
        own: Row = {
            "fix": task.fix.name,
            "time_min": task.fix.minutes,
            "cost": task.fix.cost,
            measure_key("gain", measure): gain,
            measure_key("worth", measure): float(found.worths[i]) if i in found.usable else None,
        }
        if found.combining.machines > 1:
            own |= range_of(sure.gains[row], "gain", measure)
        rows.append(own | _moved(sure, row) | {"remark": "; ".join(_remarks(found, i))})
    rows.sort(key=lambda row: -_or_least(row[measure_key("worth", measure)]))
    for fix in found.fixes:
        if fix.name in found.errors:
            rows.append(
                {
                    "fix": fix.name,
                    "time_min": fix.minutes,
                    "cost": fix.cost,
                    "remark": "not computed: " + found.errors[fix.name],
                }
            )
    return rows


def _or_least(value: float | None) -> float:
    return -math.inf if value is None or math.isnan(value) else value


def range_of(gains: Array, name: str, measure: str) -> Row:
    """The 5 and 95 % quantiles of some gains, under the keys of a row."""
    known = gains[~np.isnan(gains)]
    low, high = np.quantile(known, (0.05, 0.95)) if known.size else (math.nan, math.nan)
    return {
        measure_key(f"{name}_low", measure): float(low),
        measure_key(f"{name}_high", measure): float(high),
    }


def changes(table: Table, row: int) -> tuple[Array, Array, Array]:
    """Median change of vacuum, opening air and duct air of every unit, (U,) each."""
    answers, base = table.answers, table.row(0)
    return tuple(  # type: ignore[return-value]
        medians(values[row] - values[base])
        for values in (answers.vacuum, answers.opening_air, answers.duct_air)
    )


def _moved(table: Table, row: int) -> Row:
    """What a set does at the unit whose vacuum it moves most, and to the power."""
    units = table.combining.units
    out: Row = {}
    if units:
        vacuum, opening, duct = changes(table, row)
        if not np.isnan(vacuum).all():
            u = int(np.nanargmax(np.abs(vacuum)))
            out = {
                "unit": units[u],
                "vacuum_change_Pa": float(vacuum[u]),
                "opening_air_change_kg_s": float(opening[u]),
                "duct_air_change_kg_s": float(duct[u]),
            }
        out["weakest_after"] = weakest(table, row)
    out["shaft_power_change_W"] = float(table.power[row])
    return out


def weakest(table: Table, row: int) -> str:
    """The unit with the lowest vacuum, with possible machines the one that is it most often."""
    vacuum = table.answers.vacuum[row]
    if np.isnan(vacuum).all():
        return ""
    known = vacuum[:, ~np.isnan(vacuum).all(axis=0)]
    lowest = np.where(np.isnan(known), np.inf, known).argmin(axis=0)
    return table.combining.units[int(np.bincount(lowest).argmax())]


def opposite(table: Table, row: int) -> str:
    """The unit at which a set moves vacuum and duct air opposite ways, empty when it does not.

    Only at the unit whose vacuum it moves most: sealing one unit takes a little from all others.
    """
    if not table.combining.units:
        return ""
    vacuum, _, duct = changes(table, row)
    if np.isnan(vacuum).all():
        return ""
    u = int(np.nanargmax(np.abs(vacuum)))
    base = table.row(0)
    own_vacuum = abs(float(medians(table.answers.vacuum[base])[u]))
    own_duct = abs(float(medians(table.answers.duct_air[base])[u]))
    seen = abs(vacuum[u]) > NOTICED * own_vacuum and abs(duct[u]) > NOTICED * own_duct
    return table.combining.units[u] if seen and vacuum[u] * duct[u] < 0.0 else ""


def _remarks(found: Comparison, i: int) -> list[str]:
    table = found.sure
    row = table.row(1 << i)
    out = []
    verdict, reason = table.answers.verdict[row], table.answers.reason[row]
    if verdict != FINE:
        out.append(f"{verdict}: {reason.rstrip('.')}")
    unit = opposite(table, row)
    if unit:
        out.append(f"{OPPOSITE} at unit {unit}")
    gain, noticed = float(table.gain[row]), NOTICED * abs(table.base)
    if gain < -noticed:
        out.append(f"makes the {found.question.label} worse")
    for pair in found.together:
        if pair.kind == "only together" and pair.fixes[0] == i:
            others = listed([found.tasks[j].fix.name for j in pair.fixes[1:]])
            out.append(f"helps only together with {others}")
    return out


def set_row(found: Comparison, mask: int) -> Row:
    """What there is to say of a set of fixes."""
    table = found.sure if found.sure.has(mask) else found.solved
    measure = found.question.measure
    row = table.row(mask)
    out: Row = {
        "fixes": " + ".join(found.names(mask)) or "nothing",
        "time_min": float(table.minutes[row]),
        "cost": float(table.cost[row]),
        measure_key("gain", measure): float(table.gain[row]),
    }
    if found.combining.machines > 1:
        out |= range_of(table.gains[row], "gain", measure)
        out["chance_best"] = found.chances.get(mask, 0.0)
    out |= at_weakest(table, row)
    out["shaft_power_change_W"] = float(table.power[row])
    verdict = str(table.answers.verdict[row])
    return out | {"verdict": verdict, "reason": str(table.answers.reason[row])}


def at_weakest(table: Table, row: int) -> Row:
    """Vacuum, opening air and duct air of the unit that is weakest then."""
    name = weakest(table, row) if table.combining.units else ""
    if not name:
        return {}
    u = table.combining.units.index(name)
    answers = table.answers
    return {
        "weakest_unit": name,
        "vacuum_Pa": float(medians(answers.vacuum[row])[u]),
        "opening_air_kg_s": float(medians(answers.opening_air[row])[u]),
        "duct_air_kg_s": float(medians(answers.duct_air[row])[u]),
    }


def unit_rows(found: Comparison, mask: int) -> list[Row]:
    """A row for each unit: vacuum, opening air and duct air before and after a set of fixes."""
    table = found.sure if found.sure.has(mask) else found.solved
    table.need([mask])
    answers, before, after = table.answers, table.row(0), table.row(mask)
    columns = (("vacuum", "Pa"), ("opening_air", "kg/s"), ("duct_air", "kg/s"))
    out = []
    for u, unit in enumerate(table.combining.units):
        row: Row = {"unit": unit}
        for name, measure in columns:
            values = getattr(answers, name)
            row[measure_key(f"{name}_before", measure)] = float(medians(values[before])[u])
            row[measure_key(f"{name}_after", measure)] = float(medians(values[after])[u])
        out.append(row)
    return out


def tables(found: Comparison) -> dict[str, list[Row]]:
    """Every table there is to show."""
    out = {"fixes": fix_rows(found), "best_sets": _best_rows(found)}
    if found.recommended:
        out["order"] = _order_rows(found)
        out["units"] = unit_rows(found, found.recommended)
    rows = front(found.solved, ("minutes",))
    out["front"] = [_short(set_row(found, found.solved.masks[row])) for row in rows]
    out["together"] = [_together_row(found, pair) for pair in found.together]
    out["refused"] = _refused_rows(found)
    return {name: rows for name, rows in out.items() if rows or name == "fixes"}


def _short(row: Row) -> Row:
    return {key: value for key, value in row.items() if key not in ("verdict", "reason")}


def _best_rows(found: Comparison) -> list[Row]:
    """The best sets within the budget, or within each of the usual ones."""
    out = []
    for within in BUDGETS if found.budget is None else (found.budget,):
        for place, mask in enumerate(found.ranked(within)[:BEST], 1):
            out.append({"budget_min": within, "place": place} | _short(set_row(found, mask)))
    return out


def _order_rows(found: Comparison) -> list[Row]:
    """The recommended fixes one after the other, with the time and the gain so far."""
    measure = found.question.measure
    out, mask = [], 0
    for step, name in enumerate(found.order, 1):
        mask |= found.mask([name])
        found.solved.need([mask])
        row = found.solved.row(mask)
        own: Row = {"step": step, "fix": name, "time_so_far_min": float(found.solved.minutes[row])}
        own[measure_key("gain_so_far", measure)] = float(found.solved.gain[row])
        own |= at_weakest(found.solved, row)
        out.append(own | {"shaft_power_change_W": float(found.solved.power[row])})
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
    answers, masks = found.solved.answers, found.solved.masks
    bad = [k for k in range(len(masks)) if answers.verdict[k] != FINE]
    bad.sort(key=lambda k: (masks[k].bit_count(), k))
    out: list[Row] = []
    kept: list[int] = []
    for k in bad:
        if len(kept) == MOST_REFUSED:
            break
        if not any(mask & masks[k] == mask for mask in kept):
            kept.append(masks[k])
            out.append(
                {
                    "fixes": " + ".join(found.names(masks[k])) or "nothing",
                    "verdict": str(answers.verdict[k]),
                    "reason": str(answers.reason[k]),
                }
            )
    out += [
        {"fixes": name, "verdict": "not computed", "reason": sentence}
        for name, sentence in found.errors.items()
    ]
    return out


def combination_rows(found: Comparison, count: int | None) -> list[Row]:
    """A row for every solved set: the allowed ones by gain, then the others."""
    if count is not None:
        count = whole(count, "combinations", "count")
    table = found.solved
    ranked = table.ranked()
    rest = np.flatnonzero(~table.allowed)
    rest = rest[np.lexsort((rest, -np.nan_to_num(table.gain[rest], nan=-np.inf)))]
    rows = [*ranked, *rest][:count]
    return [set_row(found, table.masks[row]) for row in rows]
