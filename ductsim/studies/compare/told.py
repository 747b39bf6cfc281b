"""A comparison in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...fixes.combining import CONTRADICTION, FINE, NOT_ALLOWED
from ...wording import listed, percent, said
from .rows import NOTICED, OPPOSITE, changes, opposite, range_of, weakest
from .table import Table, medians

if TYPE_CHECKING:
    from .comparison import Comparison

MOST_CONFLICTS = 10
"""So many contradictions are told one by one."""


def sentences(found: Comparison, measures: str) -> list[str]:
    """What to do, what it brings, what else is worth knowing."""
    out = _advice(found, measures)
    out += _single(found, measures)
    out += _refusals(found)
    out += _about_together(found, measures)
    out += _about_opposite(found, measures)
    return out


def _advice(found: Comparison, measures: str) -> list[str]:
    table, mask = found.sure, found.recommended
    time = f" in {_time(found.budget)}" if found.budget is not None else ""
    if not table.allowed[table.row(0)] and not mask:
        row = table.row(0)
        return [f"As it is, the machine is not allowed to run: {table.answers.reason[row]}"]
    if not mask:
        return [f"Nothing that can be done{time} makes the {found.question.label} better."]
    table = table if table.has(mask) else found.solved
    row = table.row(mask)
    steps = ", then ".join(found.order)
    price = f", cost {table.cost[row]:,.10g}" if table.cost[row] else ""
    head = f"Within {_time(found.budget)} the best is" if time else "The best of all that is allowed is"
    measure = found.question.measure
    before, after = table.base, float(medians(table.answers.answer[[row]])[0])
    share = f" ({_percent(after - before, before)})" if before else ""
    out = [
        f"{head} to do {steps}: {_time(table.minutes[row])} of work{price}.",
        f"The {found.question.label} goes from {said(before, measure, measures)} "
        f"to {said(after, measure, measures)}{share}{_still_weakest(found, table, row)}.",
    ]
    if found.combining.machines > 1:
        low, high = range_of(table.gains[row], "", "").values()
        chance = found.chances.get(mask, 0.0)
        out.append(
            f"On {found.combining.machines:,} possible machines the gain is "
            f"from {said(low, measure, measures)} to {said(high, measure, measures)} in nine of ten; "
            f"the chance that no other set is better is {chance:.0%}."
        )
    out += _beside(table, row, measures)
    out += _spared(found, table, mask, measures)
    return out


def _still_weakest(found: Comparison, table: Table, row: int) -> str:
    if not found.question.of.startswith("weakest") or not table.combining.units:
        return ""
    before, after = weakest(table, table.row(0)), weakest(table, row)
    if before == after:
        return f"; unit {after} stays weakest"
    return f"; unit {after} is weakest then, no longer unit {before}"


def _beside(table: Table, row: int, measures: str) -> list[str]:
    """Vacuum and air at the unit that was weakest, and the power."""
    answers, base = table.answers, table.row(0)
    out = []
    name = weakest(table, base) if table.combining.units else ""
    if name:
        u = table.combining.units.index(name)
        words = [
            f"{what} {said(float(medians(values[base])[u]), measure, measures)} -> "
            f"{said(float(medians(values[row])[u]), measure, measures)}"
            for what, values, measure in (
                ("vacuum", answers.vacuum, "Pa"),
                ("opening air", answers.opening_air, "kg/s"),
                ("duct air", answers.duct_air, "kg/s"),
            )
        ]
        out.append(f"At unit {name}: {', '.join(words)}.")
    power = float(medians(answers.power[[base]])[0])
    if power:
        change = float(table.power[row])
        more = f"{said(abs(change), 'W', measures)} {'more' if change >= 0.0 else 'less'}"
        out.append(f"The fans take {said(power, 'W', measures)} at the shaft now and {more} then.")
    return out


def _spared(found: Comparison, table: Table, mask: int, measures: str) -> list[str]:
    """The longest work of the set that brings next to nothing."""
    row = table.row(mask)
    idle = []
    for i in range(found.n):
        if not mask >> i & 1 or not table.time[i] or not table.has(mask & ~(1 << i)):
            continue
        without = table.row(mask & ~(1 << i))
        lost = float(table.gain[row] - table.gain[without])
        if table.allowed[without] and lost < NOTICED * abs(table.base):
            idle.append((float(table.time[i]), lost, found.tasks[i].fix.name))
    if not idle:
        return []
    minutes, lost, name = max(idle)
    little = said(lost, found.question.measure, measures, 2)
    return [f"{name} adds only {little} to it and takes {_time(minutes)}."]


def _single(found: Comparison, measures: str) -> list[str]:
    """The best fix alone."""
    table = found.sure
    rows = {i: table.row(1 << i) for i in range(found.n)}
    gains = {i: float(table.gain[row]) for i, row in rows.items() if table.allowed[row]}
    best = max(gains, key=lambda i: gains[i], default=None)
    if best is None or gains[best] <= table.tie or found.recommended.bit_count() == 1:
        return []
    task = found.tasks[best]
    gain = said(gains[best], found.question.measure, measures, sign=True)
    return [f"Alone, {task.fix.name} gains most: {gain} in {_time(task.fix.minutes)}."]


def _refusals(found: Comparison) -> list[str]:
    out = []
    table = found.sure
    for i, task in enumerate(found.tasks):
        row = table.row(1 << i)
        if table.answers.verdict[row] != FINE and table.allowed[table.row(0)]:
            out.append(f"{task.fix.name} is {_refused(table, row)}")
    out += [f"Not computed: {sentence}" for sentence in found.errors.values()]
    return out


def _refused(table: Table, row: int) -> str:
    verdict, reason = table.answers.verdict[row], table.answers.reason[row]
    return f"not allowed: {reason}" if verdict == NOT_ALLOWED else f"without an answer: {reason}"


def _about_together(found: Comparison, measures: str) -> list[str]:
    out = []
    for kind, most in (("only together", 3), ("cancel", 2)):
        for pair in [p for p in found.together if p.kind == kind][:most]:
            name, *others = [found.tasks[i].fix.name for i in pair.fixes]
            measure = found.question.measure
            alone, marginal = said(pair.alone, measure, measures), said(pair.marginal, measure, measures)
            if kind == "only together":
                out.append(
                    f"{name} helps only together with {listed(others)}: {alone} alone, {marginal} in company."
                )
            else:
                out.append(f"{name} and {listed(others)} cancel each other.")
    return out


def _about_opposite(found: Comparison, measures: str) -> list[str]:
    out = []
    table = found.sure
    for i, task in enumerate(found.tasks):
        row = table.row(1 << i)
        unit = opposite(table, row)
        if unit:
            u = table.combining.units.index(unit)
            vacuum, opening, duct = changes(table, row)
            out.append(
                f"{task.fix.name} {OPPOSITE}: at unit {unit} vacuum "
                f"{said(float(vacuum[u]), 'Pa', measures, sign=True)}, opening air "
                f"{said(float(opening[u]), 'kg/s', measures, 2, sign=True)}, duct air "
                f"{said(float(duct[u]), 'kg/s', measures, 2, sign=True)}."
            )
    return out


def _time(minutes: float | None) -> str:
    if minutes is None:
        return ""
    return f"{minutes:,.4g} minute{'' if minutes == 1.0 else 's'}"


def _percent(change: float, before: float) -> str:
    return percent(change / abs(before), sign=True)


def notes(found: Comparison) -> list[str]:
    """How the answer was found, and what deserves a look on the machine as advised."""
    out = []
    if found.exact:
        out.append(f"All {2**found.n:,} sets of {found.n} fixes were solved.")
    else:
        out.append(
            f"Of {found.n} fixes there are too many sets to solve them all: {len(found.solved.masks):,} were "
            "solved, all single fixes and pairs, and those found by adding, taking away and swapping fixes. "
            f"A better set may exist. The worths are estimates from {found.orders} orders, with standard "
            f"errors up to {np.max(found.worth_errors):.2g} {found.question.measure}."
        )
    if found.solved is not found.sure:
        out.append(
            f"The sets were solved on {found.solved.machines} of the {found.combining.machines:,} possible "
            "machines; single fixes and the best sets on all of them."
        )
    out += found.contradictions[:MOST_CONFLICTS]
    more = len(found.contradictions) - MOST_CONFLICTS
    if more > 0:
        out.append(f"{more:,} more pair{'s' if more > 1 else ''} of fixes contradict each other.")
    if any(v == CONTRADICTION for v in found.solved.answers.verdict):
        out.append("In the worths, of fixes that contradict each other the best that can be done counts.")
    never = [task.fix.name for i, task in enumerate(found.tasks) if i not in found.usable]
    if never:
        out.append(f"The worths are reckoned without {listed(never)}: no set that is allowed holds it.")
    if found.n:
        out.append("Changes below half a per cent are taken as none.")
    if found.recommended and found.machine.columns is None:
        out += found.done().solve(raise_error=False).notes
    return out
