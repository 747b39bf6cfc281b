"""A balance in tables and sentences."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ...answers.limits import limits_of
from ...cautions import cautions_for
from ...fixes.fix import work_on
from ...machine.machine import MachineState
from ...quantity import measure_key, suited
from ...result import Note
from ...statistics import quantile
from ...wording import counted, listed, percent, said
from .result import Balance

Row = dict[str, Any]
MOST_SET = 6
"""So many values that are set are told one by one."""


def about(found: Balance) -> str:
    """What was evened by what, in a few words."""
    numbers = f"{counted(len(found.variables), 'number')} set"
    return f"{found.whole or found.label}, {numbers}"


# ---- tables


def tables(found: Balance) -> dict[str, list[Row]]:
    """Units (or answers), trims, cost: name -> rows."""
    first = {"units": unit_rows(found)} if found.whole else {"answers": answer_rows(found)}
    return {**first, "trims": trim_rows(found), "cost": cost_rows(found)}


def unit_rows(found: Balance) -> list[Row]:
    """A row for each unit: vacuum, opening air and duct air before and after."""
    out = []
    for old, new in zip(found.before.rows(), found.after.rows(), strict=True):
        row: Row = {"unit": old["unit"]}
        for key, ending in (("vacuum", "Pa"), ("opening_air", "kg_s"), ("duct_air", "kg_s")):
            row[f"{key}_before_{ending}"] = old[f"{key}_{ending}"]
            row[f"{key}_after_{ending}"] = new[f"{key}_{ending}"]
        out.append(row)
    return out


def answer_rows(found: Balance) -> list[Row]:
    """A row for each question: the answer before and after."""
    return [
        {
            "of": asked.of,
            measure_key("before", asked.measure): float(found.before.ask(asked.of)),
            measure_key("after", asked.measure): float(found.after.ask(asked.of)),
        }
        for asked in found.questions
    ]


def trim_rows(found: Balance) -> list[Row]:
    """A row for each setting: before, now, its limits, whether it is at one, what 1 % more would do."""
    at = {"low": "its low limit", "high": "its high limit", "": ""}
    key = measure_key("weakest_by_1_percent", found.measure)
    return [
        {
            "number": variable.address,
            "before": found.start[variable.address],
            "value": found.settings[variable.address],
            "measure": found.machine.layout.declared[variable.address].measure,
            "low": variable.low,
            "high": variable.high,
            "at": at[variable.end(found.settings[variable.address])],
            key: pull,
        }
        for variable, pull in zip(found.variables, found.pull.tolist(), strict=True)
    ]


def cost_rows(found: Balance) -> list[Row]:
    """What evenness costs: the totals as it was, with the weakest lifted only, and evened."""
    states = {"now": found.before, "weakest lifted": found.between, "evened": found.after}
    return [
        {
            "setting": name,
            measure_key("lowest", found.measure): found.lowest(state),
            measure_key("spread", found.measure): found.spread(state),
            **_totals(state),
        }
        for name, state in states.items()
        if state is not None
    ]


def _totals(state: MachineState) -> dict[str, float]:
    units = state.machine.layout.units
    return {
        "opening_air_kg_s": float(sum(state.ask(f"opening air {unit.name}") for unit in units)),
        "duct_air_kg_s": float(sum(state.ask(f"duct air {unit.name}") for unit in units)),
        "shaft_power_W": float(sum(state.power[name] for name in state.power)),
    }


# ---- sentences


def sentences(found: Balance, measures: str) -> list[str]:
    """The settings and what they bring, in plain sentences."""
    out = [_lifted(found, measures)]
    if len(found.of) > 1:
        old, new = (
            said(found.spread(state), found.measure, measures) for state in (found.before, found.after)
        )
        between = "units" if found.whole else "answers"
        out.append(f"The spread between {between} goes from {old} to {new}.")
    return out + _about_cost(found, measures) + _about_limits(found) + _about_sizes(found, measures)


def _lifted(found: Balance, measures: str) -> str:
    measure = found.measure
    before, after = found.lowest(found.before), found.lowest(found.after)
    if found.better * (after - before) <= 1e-6 * abs(before):
        stays = said(before, measure, measures)
        return f"The {found.label} cannot be lifted by these trims; it stays at {stays}."
    words = [
        f"{listed(names)} {_value(found, names[0], value, measures)}"
        for value, names in _grouped(found.settings).items()
    ]
    more = f" and {len(words) - MOST_SET} more values" if len(words) > MOST_SET else ""
    share = f" ({percent((after - before) / abs(before), sign=True)})" if before else ""
    return (
        f"The {found.label} goes from {said(before, measure, measures)} to "
        f"{said(after, measure, measures)}{share}, with {'; '.join(words[:MOST_SET])}{more}."
    )


def _value(found: Balance, address: str, value: float, measures: str) -> str:
    return said(value, suited(found.machine.layout.declared[address].measure, value), measures, 4)


def _grouped(settings: Mapping[str, float]) -> dict[float, list[str]]:
    """Value -> the addresses that have it, but for differences that nobody could make."""
    out: dict[float, list[str]] = {}
    for address, value in settings.items():
        out.setdefault(float(f"{value:.5g}"), []).append(address)
    return out


def _about_cost(found: Balance, measures: str) -> list[str]:
    first, last = _totals(found.before), _totals(found.after)
    words = []
    for key, measure, what in (
        ("opening_air_kg_s", "kg/s", "air through the openings"),
        ("duct_air_kg_s", "kg/s", "air in the ducts"),
        ("shaft_power_W", "W", "shaft power"),
    ):
        if first[key]:
            change = said(last[key] - first[key], measure, measures, 2, sign=True)
            words.append(f"{change} of {what} ({said(first[key], measure, measures)} before)")
    return [f"In all it comes to {listed(words)}."] if words else []


def _about_limits(found: Balance) -> list[str]:
    """The limits that hold the weakest back."""
    held: dict[str, list[str]] = {}
    for variable, pull in zip(found.variables, found.better * found.pull, strict=True):
        end = variable.end(found.settings[variable.address])
        if (end == "high" and pull > 0) or (end == "low" and pull < 0):
            held.setdefault(end, []).append(variable.address)
    out = []
    for end, names in held.items():
        where = f"is at its {end} limit" if len(names) == 1 else f"are at their {end} limit"
        out.append(f"{listed(names)} {where}: more room there would lift it further.")
    for limit in limits_of(found.after):
        if limit.reached[0]:
            what = "at its highest speed" if limit.kind == "speed" else "giving all the power it has"
            out.append(f"{limit.name} is {what}: that holds it back.")
    return out


def _about_sizes(found: Balance, measures: str) -> list[str]:
    if found.counted:
        return [f"All {found.counted:,} settings of the sizes were solved: there is none better."]
    if all(variable.sizes is None for variable in found.variables):
        return []
    gap = said(found.gap, found.measure, measures, 2)
    return [
        "There are too many settings of the sizes to solve them all: these were found by search. "
        f"With every size to be had it would be {gap} more."
    ]


# ---- notes and cautions


def notes(found: Balance) -> list[Note]:
    """How the answer was found and what deserves a look."""
    out = []
    if not np.isnan(found.optimality):
        text = (
            f"The first-order conditions of the lifted setting hold to {found.optimality:.1e} of the mean "
            "answer per full range of a trim."
        )
        out.append(Note(text, "optimality", value=found.optimality))
    if found.gains.size:
        out.append(_about_possible(found))
    return out + found.after.notes


def _about_possible(found: Balance) -> Note:
    low, mid, high = (quantile(found.gains, share) for share in (0.05, 0.5, 0.95))
    text = (
        f"On {len(found.gains):,} possible machines the same settings gain {said(mid, found.measure)} "
        f"(from {said(low, found.measure)} to {said(high, found.measure)} in nine of ten); "
        f"on {float(np.mean(found.gains > 0)):.0%} of them they gain something."
    )
    return Note(text, "possible machines", value=mid)


def cautions(found: Balance) -> list[str]:
    """What to beware of when the trims are set."""
    layout = found.machine.layout
    return cautions_for({tag for variable in found.variables for tag in work_on(layout, variable.address)})
