"""A comparison in sentences."""

from __future__ import annotations

from ...fixes.fix import all_cautions
from ...fixes.sets import CONTRADICTION, NOT_ALLOWED, NOTICED, Reason
from ...result import Note
from ...statistics import quantile
from ...wording import counted, listed, percent, said
from .result import Comparison
from .rows import OPPOSITE
from .sets import SolvedSets

MOST_CONFLICTS = 10
"""So many contradictions are told one by one."""


def about(found: Comparison) -> str:
    """What was compared, in a few words."""
    within = "" if found.budget is None else f", {_time(found.budget)}"
    return f"{len(found.fixes)} fix{'es' if len(found.fixes) > 1 else ''}, {found.of}{within}"


# ---- sentences


def sentences(found: Comparison, measures: str) -> list[str]:
    """What to do, what it brings, what else is worth knowing."""
    return [*_advice(found, measures), *_single(found, measures), *beside_advice(found, measures)]


def beside_advice(found: Comparison, measures: str) -> list[str]:
    """What is refused and why, what acts on each other, what moves vacuum and air opposite ways."""
    return [*_refusals(found), *_about_together(found, measures), *_about_opposite(found, measures)]


def _advice(found: Comparison, measures: str) -> list[str]:
    sure, mask = found.sure, found.recommended
    stands_now = sure.reason(sure.row(0))
    if stands_now is not None and not mask:
        return [f"As it is, the machine is not allowed to run: {stands_now.words}."]
    if not mask and found.errors and len(found.errors) == len(found.fixes):
        return ["None of the fixes can be computed."]
    if not mask:
        time = "" if found.budget is None else f" in {_time(found.budget)}"
        gain = " by half a per cent or more" if found.left_out else ""
        return [f"Nothing that can be done{time} makes the {found.question.label} better{gain}."]
    solved, row = found.holding(mask)
    within = None if found.budget is None else f"Within {_time(found.budget)} the best is"
    head = within or "The best of all that is allowed is"
    price = f", cost {solved.cost[row]:,.10g}" if solved.cost[row] else ""
    measure = found.question.measure
    before, after = solved.base, quantile(solved.answers.answer[row], 0.5)
    share = f" ({_percent(after - before, before)})" if before else ""
    out = [
        f"{head} to do {', then '.join(found.order)}: {_time(solved.minutes[row])} of work{price}.",
        f"The {found.question.label} goes from {said(before, measure, measures)} "
        f"to {said(after, measure, measures)}{share}{_still_weakest(found, solved, row)}.",
    ]
    if found.machines > 1:
        low, high = (quantile(solved.gains_of(row), share) for share in (0.05, 0.95))
        chance = found.chances.get(mask, 0.0)
        out.append(
            f"On {found.machines:,} possible machines the gain is "
            f"from {said(low, measure, measures)} to {said(high, measure, measures)} in nine of ten; "
            f"the chance that no other set is better is {chance:.0%}."
        )
    out += _beside(solved, row, measures)
    if found.left_out:
        adds = "adds" if len(found.left_out) == 1 else "add"
        out.append(f"{listed(found.left_out)} {adds} less than half a per cent to it: not worth the work.")
    return out


def _still_weakest(found: Comparison, solved: SolvedSets, row: int) -> str:
    if not found.question.of.startswith("weakest") or not solved.combining.units:
        return ""
    before, after = solved.weakest(solved.row(0)), solved.weakest(row)
    if before == after:
        return f"; unit {after} stays weakest"
    return f"; unit {after} is weakest then, no longer unit {before}"


def _beside(solved: SolvedSets, row: int, measures: str) -> list[str]:
    """Vacuum and air at the unit that was weakest, and the power."""
    answers, base = solved.answers, solved.row(0)
    out = []
    name = solved.weakest(base)
    if name:
        u = solved.combining.units.index(name)
        words = [
            f"{what} {said(quantile(values[base, u], 0.5), measure, measures)} -> "
            f"{said(quantile(values[row, u], 0.5), measure, measures)}"
            for what, values, measure in (
                ("vacuum", answers.vacuum, "Pa"),
                ("opening air", answers.opening_air, "kg/s"),
                ("duct air", answers.duct_air, "kg/s"),
            )
        ]
        out.append(f"At unit {name}: {', '.join(words)}.")
    power = quantile(answers.power[base], 0.5)
    if power:
        change = float(solved.power[row])
        more = f"{said(abs(change), 'W', measures)} {'more' if change >= 0.0 else 'less'}"
        out.append(f"The fans take {said(power, 'W', measures)} at the shaft now and {more} then.")
    return out


def _single(found: Comparison, measures: str) -> list[str]:
    """The best fix alone."""
    solved = found.sure
    rows = {i: solved.row(1 << i) for i in range(found.n)}
    gains = {i: float(solved.gain[row]) for i, row in rows.items() if solved.allowed[row]}
    best = max(gains, key=lambda i: gains[i], default=None)
    if best is None or gains[best] < solved.noticed or found.recommended.bit_count() == 1:
        return []
    task = found.tasks[best]
    gain = said(gains[best], found.question.measure, measures, sign=True)
    return [f"Alone, {task.fix.name} gains most: {gain} in {_time(task.fix.minutes)}."]


def _refusals(found: Comparison) -> list[str]:
    sure, out = found.sure, []
    for i, task in enumerate(found.tasks):
        reason = sure.reason(sure.row(1 << i))
        if reason is not None and sure.allowed[sure.row(0)]:
            alone = " by itself" if found.recommended >> i & 1 else ""
            out.append(f"{task.fix.name}{alone} is {_refused(reason)}.")
    return out + [f"Not computed: {sentence}" for sentence in found.errors.values()]


def _refused(reason: Reason) -> str:
    how = "not allowed" if reason.verdict == NOT_ALLOWED else "without an answer"
    return f"{how}: {reason.words}"


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
    out, sure = [], found.sure
    for i, task in enumerate(found.tasks):
        row = sure.row(1 << i)
        u = sure.opposite(row)
        if u is not None:
            vacuum, opening, duct = sure.changes(row)
            out.append(
                f"{task.fix.name} {OPPOSITE}: at unit {sure.combining.units[u]} vacuum "
                f"{said(float(vacuum[u]), 'Pa', measures, sign=True)}, opening air "
                f"{said(float(opening[u]), 'kg/s', measures, 2, sign=True)}, duct air "
                f"{said(float(duct[u]), 'kg/s', measures, 2, sign=True)}."
            )
    return out


def _time(minutes: float) -> str:
    return f"{minutes:,.4g} minute{'' if minutes == 1.0 else 's'}"


def _percent(change: float, before: float) -> str:
    return percent(change / abs(before), sign=True)


# ---- notes and cautions


def notes(found: Comparison) -> list[Note]:
    """How the answer was found, and what deserves a look on the machine as advised."""
    out = [_about_search(found)]
    if found.checked is not None:
        small = "single fixes and pairs" if found.solved.pairs else "single fixes"
        text = (
            f"The sets were solved on 1 of the {found.machines:,} possible machines, near the middle, the "
            f"best also on all of them; {small} tell what the others come to there."
        )
        out.append(Note(text, "possible machines", value=1))
    out += _about_contradictions(found)
    never = [task.fix.name for i, task in enumerate(found.tasks) if i not in found.usable]
    if never:
        text = f"The worths are reckoned without {listed(never)}: no set that is allowed holds it."
        out.append(Note(text, "not allowed", listed(never)))
    if found.n:
        out.append(Note("Changes below half a per cent are taken as none.", "assumed", value=NOTICED))
    return out + found.seen


def _about_search(found: Comparison) -> Note:
    if found.exact:
        return Note(f"All {2**found.n:,} sets of {found.n} fixes were solved.", "search", value=2**found.n)
    known = len(found.solved.masks)
    text = (
        f"Of {found.n} fixes there are too many sets to solve them all: {known:,} were "
        "solved, all single fixes and pairs, and those found by adding, taking away and swapping fixes. "
        f"A better set may exist. The worths are estimates from {found.orders} orders, with standard "
        f"errors up to {found.worth_errors.max():.2g} {found.question.measure}."
    )
    return Note(text, "search", value=known)


def _about_contradictions(found: Comparison) -> list[Note]:
    conflicts, tasks = found.combining.conflicts, found.tasks
    out = [
        Note(f"{c.words}.", "contradiction", listed([tasks[i].fix.name for i in (c.first, c.second)]))
        for c in conflicts[:MOST_CONFLICTS]
    ]
    more = len(conflicts) - MOST_CONFLICTS
    if more > 0:
        text = f"{counted(more, 'more pair')} of fixes contradict each other."
        out.append(Note(text, "contradiction", value=more))
    if any(reason and reason.verdict == CONTRADICTION for reason in found.solved.answers.reasons):
        text = "In the worths, of fixes that contradict each other the best that can be done counts."
        out.append(Note(text, "contradiction"))
    return out


def cautions(found: Comparison) -> list[str]:
    """What to beware of when the recommended fixes are done; of every fix where none is recommended."""
    return all_cautions(
        [task for i, task in enumerate(found.tasks) if found.recommended >> i & 1] or found.tasks
    )
