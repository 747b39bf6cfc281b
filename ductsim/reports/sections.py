"""The sections of a report, each made of what was found."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from ..display.canvas import figure_of
from ..display.svg import inline
from ..display.tables import html_table
from ..errors import InputError
from ..result import Result
from .findings import Findings
from .numbers import assumption_rows, part_rows

MOST_ROWS = 60


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
    cautions : list of str
    """

    key: str
    title: str
    sentences: list[str] = field(default_factory=list)
    blocks: list[tuple[str, str, str]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    cautions: list[str] = field(default_factory=list)


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
    rows: Sequence[Mapping[str, Any]],
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


def _whole_table(found: Findings, heading: str, rows: Sequence[Mapping[str, Any]]) -> tuple[str, str, str]:
    return "table", heading, html_table(rows, found.measures)


# ---- sections


def units(found: Findings) -> Section:
    """Vacuum and air of every unit, and where the fans work."""
    state = found.state
    out = Section("units", "Vacuum and air at every unit", found.said(state), notes=list(state.notes))
    if state.machine.layout.units:
        out.blocks.append(_figure(found, state, "units", "units"))
        out.blocks.append(_table(found, "Units", state.rows()))
    if state.fan_rows():
        out.blocks.append(_figure(found, state, "fans", "fans"))
        out.blocks.append(_table(found, "Fans", state.fan_rows()))
    return out


def speed(found: Findings) -> Section | None:
    """What limits the ground speed."""
    result = found.ground_speed
    if result is None:
        return None
    out = Section("speed", "What limits the speed", found.said(result))
    return _with_everything(found, out, result, TABLES[out.key])


def box(found: Findings) -> Section | None:
    """How the box behind the ducts fills."""
    if found.fill is None:
        return None
    out = Section("fill", "How the box fills", found.said(found.fill))
    return _with_everything(found, out, found.fill, TABLES[out.key])


def fixes(found: Findings) -> Section | None:
    """What each fix is worth."""
    result = found.comparison
    if result is None:
        return None
    out = Section("fixes", "What each fix is worth", found.said(result))
    out.blocks.append(_figure(found, result, "gains", "gains"))
    tables = result.tables()
    keys: tuple[str, ...] = ("fix", "time", "cost", "gain", "worth", "unit", "vacuum_change")
    keys += ("opening_air_change", "duct_air_change", "shaft_power_change", "remark")
    out.blocks.append(_table(found, "Fixes, the most worth in company first", tables["fixes"], keys))
    if "order" in tables:
        keys = ("step", "fix", "time_so_far", "gain_so_far", "weakest_unit", "shaft_power_change")
        out.blocks.append(_table(found, "In this order", tables["order"], keys))
    if "units" in tables:
        out.blocks.append(_figure(found, result, "units", "after"))
        out.blocks.append(_table(found, "Every unit before and after", tables["units"]))
    out.blocks.append(_figure(found, result, "front", "front"))
    if tables.get("best_sets"):
        keys = ("budget", "place", "fixes", "time", "cost", "gain", "chance_best", "weakest_unit")
        out.blocks.append(_table(found, "The best sets of fixes", tables["best_sets"], keys))
    for name, heading in (("together", "Fixes that act on each other"), ("refused", "Not to be done")):
        if tables.get(name):
            out.blocks.append(_table(found, heading, tables[name]))
    out.notes = list(result.notes)
    out.cautions = list(result.cautions)
    return out


def readings(found: Findings) -> Section | None:
    """The readings against the fit."""
    if found.fit is None:
        return None
    out = Section("readings", "The readings and what explains them", found.said(found.fit))
    return _with_everything(found, out, found.fit, TABLES[out.key])


def measure_next(found: Findings) -> Section | None:
    """What to measure next."""
    if found.next_readings is None:
        return None
    out = Section("next", "What to measure next", found.said(found.next_readings))
    return _with_everything(found, out, found.next_readings, TABLES[out.key])


def _with_everything(
    found: Findings, out: Section, result: Result, shown: Mapping[str, Shown] | None = None
) -> Section:
    """All plots of a result, its tables as `TABLES` names them or else all, its notes and cautions."""
    for place, what in enumerate(result.plots()):
        try:
            out.blocks.append(_figure(found, result, what, f"{out.key}-plot-{place}"))
        except InputError:
            continue  # this plot needs something that this result does not have
    tables = result.tables()
    if shown is None:
        shown = {name: (_heading(name), None, MOST_ROWS) for name in tables}
    for name, (heading, keys, most) in shown.items():
        if tables.get(name):
            out.blocks.append(_table(found, heading, tables[name], keys, most))
    out.notes = list(result.notes)
    out.cautions = list(result.cautions)
    return out


def _heading(name: str) -> str:
    """What stands over a table; nothing over a result's only one."""
    words = name.replace("_", " ")
    return "" if name == "table" else words[:1].upper() + words[1:]


def any_result(found: Findings, result: Result, place: int) -> Section:
    """A section of any result whatever, a user's own among them: all that it has to show."""
    out = Section(f"study-{place}", result.heading(), found.said(result))
    return _with_everything(found, out, result)


# What stands on the page of each result: table -> (heading, columns, most rows). Curves stand in the plots.
Shown = tuple[str, tuple[str, ...] | None, int]
TABLES: dict[str, dict[str, Shown]] = {
    "speed": {
        "fixes": ("What each fix makes of it", None, 30),
        "units": ("Units, the first to limit first", None, MOST_ROWS),
        "limits": ("What limits, and what comes behind", None, 12),
        "margins today": ("Margins at today's speed", None, MOST_ROWS),
        "crop": (
            "The crop's numbers",
            ("number", "value", "measure", "spread", "standing", "doc"),
            MOST_ROWS,
        ),
    },
    "fill": {
        "fill": ("The fill now, and with the best positions", None, 10),
        "discharges": ("Discharges", None, MOST_ROWS),
        "moves": ("Moving one discharge", None, MOST_ROWS),
    },
    "readings": {
        "unknowns": (
            "Unknowns: estimate, 95 % interval, what told it",
            ("unknown", "estimate", "low", "high", "measure", "likely", "told"),
            MOST_ROWS,
        ),
        "alike": ("What these readings cannot tell apart", None, 20),
        "readings": (
            "Readings against the fit",
            ("line", "where", "how", "measured", "fitted", "sd", "measure", "misfit", "outlier"),
            200,
        ),
        "instruments": ("Errors of gauge and tachometer, in usual ones", None, 20),
    },
    "next": {
        "sheet": ("The sheet to take along", None, 20),
        "questions": ("What would be known then", None, MOST_ROWS),
        "candidates": ("Single readings, the most telling first", None, 12),
    },
}


def described(found: Findings) -> Section:
    """The machine as described, with its drawing."""
    machine, state = found.machine, found.state
    out = Section("machine", "The machine as described", found.given.describe().sentences(found.measures))
    if found.fit is not None:
        out.sentences.append("The drawing and the tappings are those of the machine as the readings tell it.")
    try:
        out.blocks.append(_figure(found, state, "drawing", "drawing"))
    except InputError as err:
        out.sentences.append(f"The air path is not drawn: {err}")
    out.blocks.append(_whole_table(found, "Parts", part_rows(machine)))
    if state.tapping_rows():
        out.blocks.append(
            _whole_table(found, "Tappings, and what a manometer should read", state.tapping_rows())
        )
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
            out.blocks.append(_whole_table(found, heading, own))
    return out


def sources(found: Findings) -> Section:
    """What the laws rest on."""
    listed = found.machine.sources()
    out = Section("sources", "Sources", listed.sentences(found.measures))
    out.blocks.append(_whole_table(found, "", listed.rows()))
    return out


STUDIED = (units, speed, box, fixes, readings, measure_next)
RESTING_ON = (described, assumptions, sources)


def sections_of(found: Findings) -> list[Section]:
    """Every section of the page in its order: what was found, what was handed over, what it rests on."""
    studied = [section for make in STUDIED if (section := make(found)) is not None]
    own = [any_result(found, result, place) for place, result in enumerate(found.own, 1)]
    return [*studied, *own, *(make(found) for make in RESTING_ON)]
