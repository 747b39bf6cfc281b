"""What a fit says, in sentences."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from ...machine.saying import gathered, listed, said

if TYPE_CHECKING:
    from ...inference.drawing import Draws
    from ...machine.layout import Layout
    from .explained import Fit

ALIKE = 0.8  # cosine between two effects from which the readings cannot tell them apart
FELT = 0.3  # effects smaller than this, in standard deviations of what is known, count as none
LOW_CHANCE = 0.01
MOST_NAMED = 4  # readings that stand out, named one by one
NOTICED = 0.05  # share of lost draws that is worth a word


def of_fit(fit: Fit, measures: str) -> list[str]:
    """The answer first; where the readings contradict each other, that is the answer."""
    if _contradicts(fit):
        return [*_test(fit, measures), *_found(fit, measures), *_few(fit)]
    return [*_found(fit, measures), *_told(fit), *_alike(fit), *_test(fit, measures), *_few(fit)]


def _contradicts(fit: Fit) -> bool:
    """Whether the readings are so much at odds that hardly a draw explains them."""
    return fit.draws.linear and fit.chance < LOW_CHANCE


def _found(fit: Fit, measures: str) -> list[str]:
    row = fit.unknowns[0]
    if row["told"] == "only by the prior":
        return ["The readings point to nothing: every unknown is as it was believed beforehand."]
    measure = handy(row["measure"], row["high"])
    ends = [said(row[key], measure, measures) for key in ("estimate", "low", "high")]
    text = f"{row['unknown']}: {ends[0]} (95 %: {ends[1]} to {ends[2]})"
    times = row["estimate"] / row["likely"]
    if _contradicts(fit):
        return [f"As they stand, which proves nothing, they are met best with {text}."]
    if row["low"] > row["likely"]:
        return [f"The readings point to {text}, {times:.1f} times what was likely."]
    return [f"No unknown stands out; the largest against what was likely: {text}."]


def handy(measure: str, value: float) -> str:
    """The measure in which a number of that size is said: small areas in cm2, small lengths in mm."""
    if measure == "m2" and abs(value) < 0.1:
        return "cm2"
    return "mm" if measure == "m" and abs(value) < 0.1 else measure


def _told(fit: Fit) -> list[str]:
    groups = {
        "by the readings": "Told by the readings: {}.",
        "in part": "Told in part: {}.",
        "only by the prior": "Only the prior speaks of {}: their intervals are what was believed before any "
        "reading.",
    }
    out = []
    for told, words in groups.items():
        names = [row["unknown"] for row in fit.unknowns if row["told"] == told]
        if names:
            out.append(words.format(gathered(_short(fit, name) for name in names)))
    return out


def _short(fit: Fit, address: str) -> str:
    """The thing's name where only one of its numbers is unknown, else the whole address."""
    own = [u for u in fit.wanted if _thing(u.address) == _thing(address)]
    return _thing(address) if len(own) == 1 else address


def _alike(fit: Fit) -> list[str]:
    """Pairs that the readings cannot tell apart, with what would; those of one kind of pair together."""
    told = {row["unknown"]: row["told"] for row in fit.unknowns}
    pairs = [
        (row["first"], row["second"])
        for row in fit.pairs
        if abs(row["likeness"]) > ALIKE and {told[row["first"]], told[row["second"]]} != {"by the readings"}
    ]
    groups: dict[Any, list[tuple[str, str]]] = {}
    for first, second in pairs:
        key = tuple(re.sub(r" \d+$", "", a.rpartition(".")[0]) for a in (first, second))
        groups.setdefault(key, []).append((first, second))
    out = []
    for members in groups.values():
        words = [f"{_short(fit, a)} from {_short(fit, b)}" for a, b in members]
        advice = _advice(fit, members)
        out.append(f"These readings cannot tell {listed(words, 'or')}: {advice}.")
    return out


def _thing(address: str) -> str:
    return address.rpartition(".")[0]


def _advice(fit: Fit, pairs: list[tuple[str, str]]) -> str:
    """What would tell two unknowns apart."""
    layout = fit.given.layout
    units = [unit_of(layout, _thing(a)) for pair in pairs for a in pair]
    blanked = {name for r in fit.taken for name in r.blanked}
    openings = {o for u in units if u for o in layout.unit[u].openings}
    if openings and all(units) and not openings <= blanked:
        return "tape the openings of these units shut and read once more"
    return "ask where_to_measure for the reading that would"


def unit_of(layout: Layout, part: str) -> str:
    """The unit that a part belongs to: it shares a node with its openings or its duct; else empty."""
    own = {node for node in layout.part[part].ends if node != "outside"} if part in layout.part else set()
    for unit in layout.units:
        nodes = {n for name in (*unit.openings, unit.duct) for n in layout.part[name].ends}
        if own & (nodes - {"outside"}):
            return unit.name
    return ""


def _test(fit: Fit, measures: str) -> list[str]:
    count = len(fit.taken)
    text = f"chi-square {fit.chi_square:.1f} for {count} reading{'s' if count > 1 else ''}"
    out = []
    if fit.chance < LOW_CHANCE:
        out.append(
            f"The readings do not fit together ({text}; sound ones do worse in {_share(fit.chance)} of "
            "cases): look at the machine file, the signs and what was taped."
        )
    else:
        out.append(f"The readings fit together ({text}).")
    outliers = sorted(fit.outliers, key=lambda row: -abs(row["misfit"]))
    for row in outliers[:MOST_NAMED]:
        how = f" ({row['how']})" if row["how"] else ""
        out.append(
            f"{_place(row)}{how} stands out: {said(row['measured'], row['measure'], measures)} "
            f"where the others make {said(row['fitted'], row['measure'], measures)}. Read it again."
        )
    if len(outliers) > MOST_NAMED:
        rest = ", ".join(str(row["line"]) for row in outliers[MOST_NAMED:] if row["line"])
        out.append(
            f"{len(outliers) - MOST_NAMED} more readings stand out less{f' (lines {rest})' if rest else ''}: "
            "one wrong reading, speed or taped opening pulls others along, so begin with the first."
        )
    return out


def _place(row: dict[str, Any]) -> str:
    return f"line {row['line']}, {row['where']}" if row["line"] else str(row["where"])


def about_draws(draws: Draws) -> list[str]:
    """What the draws behind the intervals are worth, where that is less than usual."""
    share = draws.lost / draws.asked
    if draws.linear:
        return [
            "The intervals are rough, those of the linear approximation at the estimate: most draws found no "
            "way to explain these readings."
        ]
    if share > NOTICED:
        return [
            f"The intervals leave out {share:.0%} of the draws, which found no way to explain the readings."
        ]
    return []


def _share(chance: float) -> str:
    return f"{chance:.2%}" if chance >= 1e-4 else "less than 0.01 %"


def _few(fit: Fit) -> list[str]:
    count, wanted = len(fit.taken), len(fit.wanted)
    if count >= wanted:
        return []
    number = "One reading is" if count == 1 else f"{count} readings are"
    return [f"{number} fewer than the {wanted} unknowns: most of the answer is what was believed before."]


def notes(fit: Fit) -> list[str]:
    """What was left out and assumed, and how much was worked out."""
    out = list(fit.taken.notes)
    unread = fit.relative or any(c.engine_speed is None for c in fit.model.configurations)
    if unread:
        out.append("Where no engine speed counts, only ratios between readings do.")
    if any(r.blanked for r in fit.taken):
        out.append("A blanked opening is taken as tight.")
    draws = fit.draws
    out += about_draws(draws)
    if _contradicts(fit):
        worst = sorted(fit.readings, key=lambda row: -abs(row["misfit"]))[:MOST_NAMED]
        words = listed([f"{_place(row)} ({row['misfit']:+.1f})" for row in worst])
        out.append(
            f"Trust none of it before the readings agree. Farthest off in standard deviations: {words}."
        )
    if draws.effective < 50.0:
        out.append(
            f"The intervals rest on {draws.effective:.0f} effective draws only: more draws make them firmer."
        )
    out.append(
        f"{len(fit.model.names)} numbers were fitted to {len(fit.taken)} readings under "
        f"{len(fit.model.configurations)} conditions: {fit.solves:,} operating points, "
        f"{fit.problem.jacobians} Jacobians, {fit.seconds:.1f} s."
    )
    return out
