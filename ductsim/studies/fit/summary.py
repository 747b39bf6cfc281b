"""What a fit says, in tables and sentences."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from ...cautions import cautions_for
from ...description.layout import Layout
from ...inference.gross import exchanged
from ...inference.sampling import Draws
from ...machine.fitted import Fitted
from ...quantity import suited
from ...result import Note
from ...wording import counted, gathered, listed, said
from .costing import LEAST
from .result import Fit, excess
from .setting_aside import LOW_CHANCE
from .slips import all_alike, conditions, far_off, place, slips

Row = dict[str, Any]

ALIKE = 0.8  # cosine between two effects from which the readings cannot tell them apart
CONTRADICTED = 1e-6  # chance below which readings that count are no ground to stand on
MOST_NAMED = 4  # readings that stand out, named one by one
WORTH_NAMING = 0.05  # chance of being the costliest leak
MOST_OTHERS = 12
NOTICED = 0.05  # share of lost draws that is worth a word
FIRM = 50.0  # effective draws behind firm intervals


def about(fit: Fit) -> str:
    """What was fitted to what, in a few words."""
    return f"{len(fit.wanted)} unknowns, {len(fit.taken)} readings"


def cautions(fit: Fitted) -> list[str]:
    """The cautions that belong to taking readings."""
    blanked = any(r.blanked for r in fit.taken)
    return cautions_for(["measure", "blank"] if blanked else ["measure"])


# ---- tables


def tables(fit: Fit) -> dict[str, list[Row]]:
    """Unknowns, readings, pairs that look alike, errors of the instruments, other numbers."""
    return {
        "unknowns": fit.unknowns,
        "readings": fit.readings,
        "alike": [row for row in fit.pairs if abs(row["likeness"]) > ALIKE],
        "instruments": fit.instruments,
        "others": fit.others[:MOST_OTHERS],
    }


# ---- sentences


def sentences(fit: Fit, measures: str) -> list[str]:
    """The answer first; where the readings contradict each other, that is the answer."""
    if _contradicts(fit):
        return [*_test(fit, measures), *_found(fit, measures), *_few(fit)]
    return [*_found(fit, measures), *_told(fit), *_alike(fit), *_test(fit, measures), *_few(fit)]


def said_of(row: Row, keys: Sequence[str], measures: str) -> list[str]:
    """Numbers of a row with the measure that suits it."""
    return [said(row[key], measure_for(row), measures) for key in keys]


def measure_for(row: Mapping[str, Any]) -> str:
    """The measure of a row's numbers in text and picture, its table's too: what suits the largest."""
    own = ("estimate", "low", "high", "likely", "prior_low", "prior_high")
    return suited(row["measure"], max(abs(row[key]) for key in own if key in row))


def _contradicts(fit: Fit) -> bool:
    """Whether the readings are so much at odds that hardly a draw explains them."""
    return fit.chance_left < CONTRADICTED


def _found(fit: Fit, measures: str) -> list[str]:
    rows = fit.unknowns
    if all(row["told"] == "only by the prior" for row in rows):
        return ["The readings point to nothing: every unknown is as it was believed beforehand."]
    clear = [row for row in rows if row["low"] > row["likely"]]
    row = clear[0] if clear else max(rows, key=lambda row: (row["told"] != "only by the prior", excess(row)))
    ends = said_of(row, ("estimate", "low", "high"), measures)
    text = f"{row['unknown']}: {ends[0]} (95 %: {ends[1]} to {ends[2]})"
    times = row["estimate"] / row["likely"]
    if _contradicts(fit):
        return [f"As they stand, which proves nothing, they are met best with {text}."]
    if clear:
        out = [f"The readings point to {text}, {times:.1f} times what was likely."]
        if any(_own_number(r) == "slip" for r in clear) and all(r.quantity != "speed" for r in fit.taken):
            out.append(
                "Engine speeds that are read too high in every set look the same: read the speed of the fan "
                "itself."
            )
        if len(clear) > 1:
            out.append(f"Clearly larger than likely, too: {gathered(r['unknown'] for r in clear[1:])}.")
        return out + _costly(fit, measures)
    return [f"No unknown stands out; the largest against what was likely: {text}.", *_costly(fit, measures)]


def _own_number(row: Row) -> str:
    """The number key of an unknown."""
    return str(row["unknown"]).rpartition(".")[2]


def _costly(fit: Fit, measures: str) -> list[str]:
    """Which leak costs the weakest unit most, how surely, and which may instead."""
    rows = [row for row in fit.priced if row["chance_costliest"] >= WORTH_NAMING]
    if not fit.priced:
        return []
    none = 1.0 - sum(row["chance_costliest"] for row in fit.priced)
    if not rows or none > max(row["chance_costliest"] for row in rows):
        return [f"Most probably no leak costs the weakest unit {said(LEAST, 'Pa', measures)} ({none:.0%})."]
    first = rows[0]
    ends = [said(first[key], "Pa", measures) for key in ("cost", "low", "high")]
    out = (
        f"What costs the weakest unit most is {first['leak']} ({first['chance_costliest']:.0%}): {ends[0]} "
        f"(95 %: {ends[1]} to {ends[2]}) against a leak as large as was likely"
    )
    others = [f"{row['leak']} ({row['chance_costliest']:.0%})" for row in rows[1:MOST_NAMED]]
    return [out + (f"; else {listed(others, 'or')}." if others else ".")]


def _told(fit: Fit) -> list[str]:
    groups = {
        "by the readings": "Told by the readings: {}.",
        "in part": "Told in part: {}.",
        "only by the prior": "Only the prior speaks of {}: their intervals are about what was "
        "believed before any reading ({} of the width).",
    }
    out = []
    for told, words in groups.items():
        names = [row["unknown"] for row in fit.unknowns if row["told"] == told]
        if names:
            ratios = sorted({f"{row['ratio']:.2f}" for row in fit.unknowns if row["told"] == told})
            ends = " to ".join(dict.fromkeys((ratios[0], ratios[-1])))
            out.append(words.format(gathered(_short(fit, name) for name in names), ends))
    return out


def _short(fit: Fit, address: str) -> str:
    """The thing's name where only one of its numbers is unknown, else the whole address."""
    own = [u for u in fit.wanted if _owner_name(u.address) == _owner_name(address)]
    return _owner_name(address) if len(own) == 1 else address


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


def _owner_name(address: str) -> str:
    return address.rpartition(".")[0]


def _advice(fit: Fit, pairs: list[tuple[str, str]]) -> str:
    """What would tell two unknowns apart."""
    layout = fit.given.layout
    units = [unit_of(layout, _owner_name(a)) for pair in pairs for a in pair]
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
    text = f"chi-square {fit.chi_square:.1f} for {counted(count, 'reading')}"
    out = []
    if fit.chance < LOW_CHANCE:
        out.append(
            f"The readings do not fit together ({text}; sound ones do worse in {_share(fit.chance)} of "
            "cases): look at the machine file, the signs and what was taped."
        )
    else:
        out.append(f"The readings fit together ({text}).")
    out += slips(fit, measures)
    outliers = sorted(_beside_slips(fit), key=lambda row: -abs(row["misfit"]))
    for row in outliers[:MOST_NAMED]:
        out.append(
            f"{place(row)}{conditions(row)} stands out: {said(row['measured'], row['measure'], measures)} "
            f"where the others make {said(row['fitted'], row['measure'], measures)}. Read it again."
        )
    if len(outliers) > MOST_NAMED:
        rest = ", ".join(str(row["line"]) for row in outliers[MOST_NAMED:] if row["line"])
        out.append(
            f"{len(outliers) - MOST_NAMED} more readings stand out less{f' (lines {rest})' if rest else ''}: "
            "one wrong reading, speed or taped opening pulls others along, so begin with the first."
        )
    if fit.chance < LOW_CHANCE and not fit.slips and not outliers:
        out += all_alike(fit) or far_off(fit)
    if fit.slips:
        left = count - len(fit.aside)
        words = "fit together" if fit.chance_left >= LOW_CHANCE else "do not fit together either"
        out.append(f"The other {left} {words} (chi-square {fit.estimate.chi_square:.1f}).")
    return out


def _beside_slips(fit: Fit) -> list[Row]:
    """Readings that do not fit the others, without those of which a slip tells."""
    told = fit.aside | set(exchanged(fit.slips))
    return [row for i, row in enumerate(fit.readings) if row["outlier"] and i not in told]


def _share(chance: float) -> str:
    return f"{chance:.2%}" if chance >= 1e-4 else "less than 0.01 %"


def _few(fit: Fit) -> list[str]:
    count, wanted = len(fit.taken), len(fit.wanted)
    if count >= wanted:
        return []
    number = "One reading is" if count == 1 else f"{count} readings are"
    return [f"{number} fewer than the {wanted} unknowns: most of the answer is what was believed before."]


# ---- notes


def notes(fit: Fit) -> list[Note]:
    """What was left out and assumed, and how much was worked out."""
    out = list(fit.taken.notes)
    if fit.relative or any(r.engine_speed is None for r in fit.taken):
        out.append(Note("Where no engine speed counts, only ratios between readings do.", "ratios only"))
    if len({r.tapping for r in fit.taken}) > 1:
        text = (
            "What is wrong alike in every set shows in no reading: two doors exchanged throughout are two "
            "units exchanged, engine speeds all too high a belt that slips. Look at both before a fix."
        )
        out.append(Note(text, "not to be told"))
    if any(r.blanked for r in fit.taken):
        out.append(Note("A blanked opening is taken as tight.", "assumed"))
    out += of_draws(fit.draws)
    if _contradicts(fit):
        worst = sorted(fit.readings, key=lambda row: -abs(row["misfit"]))[:MOST_NAMED]
        words = listed([f"{place(row)} ({row['misfit']:+.1f})" for row in worst])
        text = f"Trust none of it before the readings agree. Farthest off in standard deviations: {words}."
        out.append(Note(text, "contradiction", worst[0]["where"], worst[0]["misfit"]))
    effective = fit.draws.effective
    if effective < FIRM:
        text = f"The intervals rest on {effective:.0f} effective draws only: more draws make them firmer."
        out.append(Note(text, "few draws", value=effective))
    text = (
        f"{counted(len(fit.names), 'number')} fitted to {counted(len(fit.taken), 'reading')} under "
        f"{counted(fit.conditions, 'condition')}: {fit.solves:,} operating points, "
        f"{counted(fit.jacobians, 'Jacobian')}, {fit.seconds:.1f} s."
    )
    return [*out, Note(text, "effort", value=fit.seconds)]


def of_draws(draws: Draws) -> list[Note]:
    """What the draws behind the intervals are worth, where that is less than usual."""
    share = draws.lost / draws.asked
    if draws.linear and not draws.lost:
        text = "The intervals are those of the linear approximation at the estimate: no draws were asked for."
        return [Note(text, "rough intervals", value=0.0)]
    if draws.linear:
        text = (
            "The intervals are rough, those of the linear approximation at the estimate: most draws found no "
            "way to explain these readings."
        )
        return [Note(text, "rough intervals", value=share)]
    if share > NOTICED:
        text = (
            f"The intervals leave out {share:.0%} of the draws, which found no way to explain the readings."
        )
        return [Note(text, "lost draws", value=share)]
    return []
