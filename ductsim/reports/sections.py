"""The sheets of a report behind the first, and what folds away below them; each made of what was found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from ..answers.limits import limits_of
from ..display.canvas import figure_of
from ..display.svg import inline
from ..display.tables import html_table
from ..errors import InputError
from ..quantity import RPM, single
from ..result import Result
from ..studies.compare.summary import beside_advice
from ..studies.ground_speed import GroundSpeed
from ..studies.ground_speed.summary import limit_rows, standing_rows
from ..wording import percent, said, within
from .findings import Findings
from .numbers import assumption_rows, part_rows

MOST_ROWS = 60
MOST_LIMITS = 6
Rows = Sequence[Mapping[str, Any]]


@dataclass
class Section:
    """One section of the page.

    Attributes
    ----------
    key : str
        Its anchor.
    title : str
    sentences : list of str
    blocks : list
        Figures and tables in their order, as (kind, heading, markup).
    notes : list of str
        How it was found, and what deserves a look.
    """

    key: str
    title: str
    sentences: list[str] = field(default_factory=list)
    blocks: list[tuple[str, str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


# ---- figures and tables


def _figure(found: Findings, result: Result, what: str, key: str) -> tuple[str, str, str]:
    words = result.picture(what).words
    figure = figure_of(result, what, found.measures)
    width, height = figure.get_size_inches()
    kind = "figure" if width < 6.0 else "wide broad" if width > 1.2 * height else "wide"
    return kind, words, inline(figure, key, words)


def _table(
    found: Findings,
    heading: str,
    rows: Rows,
    keys: Iterable[str] | None = None,
    most: int = MOST_ROWS,
) -> tuple[str, str, str]:
    """A table of the first rows; `keys` chooses the columns by how their keys begin, in that order."""
    kept: list[Any] = list(rows)
    if keys is not None:
        every = list(dict.fromkeys(k for row in kept for k in row))
        chosen = [k for start in keys for k in every if k == start or k.startswith(f"{start}_")]
        kept = [{k: row.get(k) for k in dict.fromkeys(chosen)} for row in kept]
    more = f" (the first {most} of {len(kept):,})" if len(kept) > most else ""
    return "table", (heading + more).strip(), html_table(kept[:most], found.measures)


# ---- the sheets


def units(found: Findings) -> Section:
    """Vacuum and air of every unit, before and after the jobs."""
    state = found.state
    out = Section("units", "Units", notes=list(state.notes))
    if not state.machine.layout.units:
        out.sentences = found.said(state)
        return out
    comparison = found.comparison
    if comparison is not None and found.order:
        out.blocks.append(_figure(found, comparison, "units", "units"))
        out.blocks.append(_table(found, "Before and after the jobs", comparison.units()))
    else:
        out.blocks.append(_figure(found, state, "units", "units"))
        out.blocks.append(_table(found, "", state.rows()))
    return out


def limits(found: Findings) -> Section | None:
    """What the makers allow, how much of it is used, and what limits the ground speed."""
    out = Section("limits", "Limits")
    rows = _limit_rows(found)
    if rows:
        out.blocks.append(_table(found, "What the makers allow", rows))
    result = found.ground_speed
    if result is not None:
        # what the jobs make of the speed stands on the first sheet
        out.sentences += found.said(replace(result, gains=[]))
        out.notes += list(result.notes)
        first = _first_limits(found, result)
        if first:
            out.blocks.append(_table(found, "What limits the ground speed first", first))
    return out if out.blocks or out.sentences else None


def _first_limits(found: Findings, result: GroundSpeed) -> list[dict[str, str]]:
    """The places that limit first, their speeds with no more digits than the band supports."""
    out = []
    for row in limit_rows(result)[:MOST_LIMITS]:
        speed = single(f"{row['ground_speed_km_h']!r} km/h", "m/s")
        own = {"unit": row["unit"], "place": row["place"], "what": row["what"]}
        own["ground_speed"] = within(speed, result.band, "km/h", found.measures)[0]
        over = row["over_first_limit"]
        out.append(own | {"over_the_first": "" if over is None else percent(over - 1.0, sign=True)})
    return out


def _limit_rows(found: Findings) -> list[dict[str, Any]]:
    """A row for each limit that the machine states: today, with the jobs done, allowed."""
    after = {} if found.done is None else {(own.name, own.kind): own for own in limits_of(found.done)}
    out = []
    for own in limits_of(found.state):
        row: dict[str, Any] = {"of": own.name, "what": own.kind, "now": _limit(own, own.value[0], found)}
        then = after.get((own.name, own.kind))
        if then is not None:
            row["with_all_jobs"] = _limit(own, then.value[0], found)
        row["allowed"] = _limit(own, own.allowed[0], found)
        worst = max(own.value[0], 0.0 if then is None else then.value[0]) / own.allowed[0]
        out.append(row | {"used": percent(worst), "remark": "passed" if worst > 1.0 + 1e-9 else ""})
    return out


def _limit(own: Any, value: float, found: Findings) -> str:
    if own.kind == "speed":
        return f"{value * RPM:,.0f} rpm"
    return said(value, "W", found.measures)


def readings(found: Findings) -> Section | None:
    """The readings against the fit."""
    fit = found.fit
    if fit is None:
        return None
    out = Section("readings", "Readings against fit", found.said(fit)[1:], notes=list(fit.notes))
    out.blocks.append(_figure(found, fit, "readings", "readings"))
    told = [row for row in fit.unknowns if row["told"] != "only by the prior"]
    out.blocks.append(_table(found, "What the readings tell", _unknown_rows(found, told), most=8))
    return out


def _unknown_rows(found: Findings, rows: Rows) -> list[dict[str, str]]:
    """Unknowns with their 95 %, each with no more digits than that supports."""
    out = []
    for row in rows:
        both, measure = (row["low"], row["high"]), row["measure"]
        value, ends = within(row["estimate"], both, measure, found.measures)
        own = {"unknown": row["unknown"], "estimate": value, "95 %": ends}
        own["likely"] = within(row["likely"], both, measure, found.measures)[0]
        out.append(own | {"told": row["told"]})
    return out


def fixes(found: Findings) -> Section | None:
    """What each fix is worth."""
    result = found.comparison
    if result is None:
        return None
    out = Section("fixes", "Fixes", beside_advice(result, found.measures))
    out.notes = list(result.notes)
    if result.tasks:
        out.blocks.append(_figure(found, result, "gains", "gains"))
    return out


def box(found: Findings) -> Section | None:
    """How the box behind the ducts fills."""
    if found.fill is None:
        return None
    out = Section("fill", "Fill", found.said(found.fill), notes=list(found.fill.notes))
    out.blocks.append(_figure(found, found.fill, "profile", "fill"))
    return out


def along(found: Findings) -> Section | None:
    """A pass along a row of known yields."""
    result = found.along_a_row
    if result is None:
        return None
    out = Section("row", "Along the row", found.said(result)[1:], notes=list(result.notes))
    out.blocks.append(_figure(found, result, "margins", "row"))
    return out


SHEETS = (units, limits, readings, fixes, box, along)


# ---- what folds away

Shown = tuple[str, tuple[str, ...] | None, int]
FIXES: dict[str, Shown] = {
    "fixes": (
        "Fixes, the most worth in company first",
        ("fix", "time", "cost", "gain", "worth", "unit", "vacuum_change", "shaft_power_change", "remark"),
        MOST_ROWS,
    ),
    "order": ("In this order", None, MOST_ROWS),
    "best_sets": (
        "The best sets of fixes",
        ("budget", "place", "fixes", "time", "cost", "gain", "chance_best", "weakest_unit"),
        MOST_ROWS,
    ),
    "together": ("Fixes that act on each other", None, MOST_ROWS),
    "refused": ("Not to be done", None, MOST_ROWS),
}
FIT: dict[str, Shown] = {
    "readings": (
        "Every reading against the fit",
        ("line", "where", "how", "measured", "fitted", "sd", "measure", "misfit", "outlier"),
        200,
    ),
    "alike": ("What these readings cannot tell apart", None, 20),
    "instruments": ("Errors of gauge and tachometer, in usual ones", None, 20),
}
FILL: dict[str, Shown] = {
    "fill": ("The fill now, and with the best positions", None, 10),
    "discharges": ("Discharges", None, MOST_ROWS),
    "moves": ("Moving one discharge", None, MOST_ROWS),
}
NEXT: dict[str, Shown] = {
    "sheet": ("The sheet to take along", None, 20),
    "questions": ("What would be known then", None, MOST_ROWS),
    "candidates": ("Single readings, the most telling first", None, 12),
}


def _tables(found: Findings, out: Section, tables: Mapping[str, Rows], shown: Mapping[str, Shown]) -> None:
    for name, (heading, keys, most) in shown.items():
        if tables.get(name):
            out.blocks.append(_table(found, heading, tables[name], keys, most))


def _pictures(found: Findings, out: Section, result: Result, leave: Iterable[str] = ()) -> None:
    """The pictures of a result that do not stand on a sheet: only where everything is wanted."""
    for what in result.plots() if found.full else ():
        if what not in leave:
            try:
                out.blocks.append(_figure(found, result, what, f"{out.key}-{what.replace(' ', '-')}"))
            except InputError:
                continue  # this plot needs something that this result does not have


def all_fixes(found: Findings) -> Section | None:
    """Every fix and every set of them in tables."""
    result = found.comparison
    if result is None:
        return None
    out = Section("all-fixes", "Fixes, one by one and together")
    _pictures(found, out, result, ("gains", "units"))
    _tables(found, out, result.tables(), FIXES)
    return out


def all_readings(found: Findings) -> Section | None:
    """Every reading and every unknown."""
    fit = found.fit
    if fit is None:
        return None
    out = Section("all-readings", "Readings and unknowns, one by one")
    _pictures(found, out, fit, ("readings",))
    out.blocks.append(_table(found, "Every unknown", _unknown_rows(found, fit.unknowns)))
    _tables(found, out, fit.tables(), FIT)
    return out


def measure_next(found: Findings) -> Section | None:
    """What to measure next."""
    result = found.next_readings
    if result is None:
        return None
    out = Section("next", "What to measure next", found.said(result), notes=list(result.notes))
    _pictures(found, out, result)
    _tables(found, out, result.tables(), NEXT)
    return out


def margins(found: Findings) -> Section | None:
    """Margins, the crop and what its numbers rest on, the box in tables."""
    result = found.ground_speed
    if result is None:
        return None
    out = Section("margins", "Margins, crop and box")
    _pictures(found, out, result, ("fixes",))
    out.blocks.append(_table(found, "Margins at today's speed", [margin.row() for margin in result.margins]))
    crop = [{k: v for k, v in row.items() if k != "source"} for row in standing_rows(result)]
    out.blocks.append(_table(found, "The crop's numbers", crop))
    if found.crop is not None and isinstance(found.crop, Result):
        out.sentences += found.said(found.crop)
        out.blocks.append(_table(found, "What was seen", found.crop.rows()))
    if found.fill is not None:
        _tables(found, out, found.fill.tables(), FILL)
    return out


def described(found: Findings) -> Section:
    """The machine as described, with its drawing."""
    machine, state = found.machine, found.state
    words = [*found.said(state), *found.given.describe().sentences(found.measures)]
    out = Section("machine", "The machine as described", words)
    if found.fit is not None:
        out.sentences.append("The drawing and the tappings are those of the machine as the readings tell it.")
    try:
        out.blocks.append(_figure(found, state, "drawing", "drawing"))
    except InputError as err:
        out.sentences.append(f"The air path is not drawn: {err}")
    if state.fan_rows():
        if found.full:
            out.blocks.append(_figure(found, state, "fans", "fans"))
        out.blocks.append(_table(found, "Fans", state.fan_rows()))
    every = max(MOST_ROWS, len(machine.layout.parts), len(machine.layout.tapping))
    out.blocks.append(_table(found, "Parts", part_rows(machine), most=every))
    if state.tapping_rows():
        rows = state.tapping_rows()
        out.blocks.append(_table(found, "Tappings, and what a manometer should read", rows, most=every))
    return out


def assumptions(found: Findings) -> Section:
    """Every number, its origin and its spread."""
    words = [
        "Every number that the answers rest on. A spread is the standard deviation that such a number "
        "usually has; a default is used where nothing was given.",
    ]
    if found.fit is not None:
        words.append("They are as described; what the readings made of them stands with the readings.")
    rows = assumption_rows(found.given, found.measures)
    defaults = [row for row in rows if row["origin"] == "default"]
    given = [row for row in rows if row["origin"] != "default"]
    out = Section("numbers", "Every assumption, default and spread", words)
    for heading, own in (("Assumed: the defaults", defaults), ("Given", given)):
        if own:
            own = [{k: v for k, v in row.items() if k != "origin"} for row in own]
            out.blocks.append(_table(found, heading, own, most=len(own)))
    return out


def sources(found: Findings) -> Section:
    """What the laws rest on."""
    listed = found.machine.sources()
    out = Section("sources", "Sources", listed.sentences(found.measures))
    out.blocks.append(_table(found, "", listed.rows(), most=len(listed.rows())))
    return out


FOLDED = (all_fixes, all_readings, measure_next, margins, described, assumptions, sources)


# ---- a user's own


def any_result(found: Findings, result: Result, place: int) -> Section:
    """A section of any result whatever, a user's own among them: all that it has to show."""
    out = Section(f"study-{place}", result.heading(), found.said(result), notes=list(result.notes))
    for number, what in enumerate(result.plots()):
        try:
            out.blocks.append(_figure(found, result, what, f"{out.key}-plot-{number}"))
        except InputError:
            continue  # this plot needs something that this result does not have
    for name, rows in result.tables().items():
        if rows:
            out.blocks.append(_table(found, _heading(name), rows))
    return out


def _heading(name: str) -> str:
    """What stands over a table; nothing over a result's only one."""
    words = name.replace("_", " ")
    return "" if name == "table" else words[:1].upper() + words[1:]


# ---- all of them


def sheets_of(found: Findings) -> list[Section]:
    """What is printed behind the first sheet, what was handed over at its end."""
    made = [section for make in SHEETS if (section := make(found)) is not None]
    return [*made, *(any_result(found, result, place) for place, result in enumerate(found.own, 1))]


def folded_of(found: Findings) -> list[Section]:
    """What folds away."""
    return [section for make in FOLDED if (section := make(found)) is not None]


def once(sections: Iterable[Section], already: Iterable[str]) -> None:
    """Take every sentence away that has been said before, on the first sheet or in a section above."""
    told = set(already)
    for section in sections:
        for words in (section.sentences, section.notes):
            fresh = [text for text in dict.fromkeys(words) if text not in told]
            told.update(fresh)
            words[:] = fresh
