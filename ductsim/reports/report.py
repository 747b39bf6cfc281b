"""The report: one page with everything that is known about a machine, to print or to hand on."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ..arguments import instance
from ..cautions import ALWAYS, cautions_for
from ..display import canvas as plots
from ..display.svg import inline
from ..display.tables import html_table
from ..documents.document import file_path
from ..errors import InputError, visible
from ..fixes.file import read_fixes
from ..machine.machine import Machine
from ..quantity import display_measure
from ..readings.table import read_readings
from ..speed.calibration import Calibration, crop_from
from ..writing import check, write_text
from .numbers import assumption_rows, part_rows

if TYPE_CHECKING:
    from jinja2 import Environment

MOST_ROWS = 60


def report(
    machine: Machine,
    path: str | os.PathLike[str],
    *,
    fixes: Any = None,
    readings: Any = None,
    crop: Any = None,
    of: str = "weakest vacuum",
    budget: float | str | None = None,
    measures: str = "metric",
) -> None:
    """Write a report: one HTML file that needs nothing else, for a screen, a phone or a printer.

    It holds the sections for which something was given; the answer in three sentences comes first.

    Parameters
    ----------
    machine : Machine
        A single one, without columns.
    path : path
        The file to write, whole or not at all.
    fixes : sequence of Fix, or a path to a file of them, optional
        Adds what each is worth, ranked.
    readings : DataFrame, what `read_readings` gives, or a path, optional
        Adds the fit and where to measure next; everything else then rests on the fitted machine.
    crop : Crop, or a path, optional
        Adds what limits the ground speed.
    of : str
        The question that fixes and measurements are judged by.
    budget : float or str, optional
        Working time there is for fixes: minutes, or a text with its measure.
    measures : str
        "metric" or "inch".

    Raises
    ------
    InputError
        For a machine with columns, whatever is wrong in what was given, and where nothing can be written.
    NoOperatingPoint
        When the machine has no answer.
    """
    display_measure("m", measures)
    instance(machine, Machine, "report", "a machine", "a machine, as ds.Machine.read gives")
    file_path(path)
    if getattr(machine, "columns", None) is not None:
        raise InputError(
            "the machine has columns", place="report", allowed="one of its scenarios: machine[0]"
        )
    check(path, [given for given in (fixes, readings, crop) if isinstance(given, (str, os.PathLike))])
    found = Findings(machine, fixes, readings, crop, of, budget, measures)
    write_text(path, page(found))


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


class Findings:
    """What was given, and what the studies make of it; each is worked out once."""

    def __init__(
        self, machine: Machine, fixes: Any, readings: Any, crop: Any, of: str, budget: Any, measures: str
    ) -> None:
        self.given = machine
        self.of, self.budget, self.measures = of, budget, measures
        self.fixes = None if fixes is None else read_fixes(fixes)
        self.readings = None if readings is None else read_readings(readings)
        self.crop = crop if isinstance(crop, Calibration) else crop_from(crop)

    @cached_property
    def fit(self) -> Any:
        """The fit to the readings; None without them."""
        if self.readings is None:
            return None
        from .. import fit

        return fit(self.given, self.readings)

    @cached_property
    def machine(self) -> Machine:
        """The machine that everything is said about: the fitted one where there are readings."""
        return self.given if self.fit is None else self.fit.machine

    @cached_property
    def state(self) -> Any:
        """Its solved state."""
        return self.machine.solve()

    @cached_property
    def comparison(self) -> Any:
        """The fixes compared; None without them."""
        if self.fixes is None:
            return None
        from .. import compare

        return compare(self.fit or self.machine, self.fixes, of=self.of, budget=self.budget)

    @cached_property
    def next_readings(self) -> Any:
        """Where to measure next; None without readings."""
        if self.fit is None:
            return None
        from .. import where_to_measure

        return where_to_measure(self.fit, of=self.of)

    @cached_property
    def has_crop(self) -> bool:
        """Whether a crop was given, by itself or in the machine file."""
        return self.crop is not None or getattr(self.given, "crop", None) is not None

    @cached_property
    def ground_speed(self) -> Any:
        """How fast the machine can drive; None without a crop."""
        if not self.has_crop:
            return None
        from .. import ground_speed

        return ground_speed(self.fit or self.machine, self.crop)

    @cached_property
    def fill(self) -> Any:
        """How the box fills; None without a crop and a box."""
        if not self.has_crop or not self.given.layout.free.get("fill"):
            return None
        from .. import fill

        return fill(self.fit or self.machine, self.crop)

    def said(self, result: Any) -> list[str]:
        """A result's sentences in the measures of the page; none of nothing."""
        if result is None:
            return []
        try:
            return list(result.sentences(self.measures))
        except TypeError:  # it has no measures to say
            return list(result.sentences())

    @cached_property
    def studies(self) -> list[Any]:
        """Everything that was found, in the order of the page."""
        found = [self.ground_speed, self.fill, self.comparison, self.fit, self.next_readings]
        return [result for result in found if result is not None]


# ---- the page


def page(found: Findings) -> str:
    """The whole page as HTML."""
    from ..version import VERSION

    machine = found.given
    sections = [section for make in SECTIONS if (section := make(found)) is not None]
    rendered: str = (
        environment()
        .get_template("report.html")
        .render(
            title=machine.layout.title or "A machine without a title",
            answer=answer(found),
            sections=sections,
            cautions=all_cautions(found),
            file=os.path.basename(machine.file),
            sha256=machine.sha256,
            version=VERSION,
            date=datetime.date.today().isoformat(),
            measures=found.measures,
        )
    )
    return rendered


def environment() -> Environment:
    """How the templates are filled in: everything escaped, nothing that hides."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("ductsim.show", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finished,
    )


def _finished(value: Any) -> Any:
    """What the page shows of a value: of a text nothing that hides; markup is finished already."""
    return visible(value) if isinstance(value, str) and not hasattr(value, "__html__") else value


def answer(found: Findings) -> list[str]:
    """Three sentences: which unit is weakest, what to do about it, and the next thing worth knowing."""
    state = found.said(found.state)
    work, fit, drive = (found.said(r) for r in (found.comparison, found.fit, found.ground_speed))
    following = found.said(found.next_readings)
    if len(drive) > 1 and drive[1].startswith("In "):  # which crop flow, and which speed that is
        drive = [f"{drive[0].rstrip('.')}; i{drive[1][1:]}", *drive[2:]]
    out = [*state[:1], *work[:1], *drive[:1], *fit[:1]]
    return [*out, *work[1:2], *following[:1], *state[1:]][:3]


def all_cautions(found: Findings) -> list[str]:
    """Every caution that belongs to what the page advises, each once, the constant one last."""
    tags = ["crop"] if found.has_crop else []
    tags += ["measure", "blank"] if found.readings is not None else []
    texts = [text for result in found.studies for text in getattr(result, "cautions", ())]
    texts += [*cautions_for(tags), *cautions_for(["lock_out", "guards", "noise", "lint"])]
    return [*dict.fromkeys(text for text in texts if text != ALWAYS), ALWAYS]


# ---- figures and tables


def _figure(found: Findings, result: Any, what: str, key: str) -> tuple[str, str, str]:
    words = result.picture(what).words
    figure = plots.figure_of(result, what, found.measures)
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
    return "table", heading + more, html_table(kept[:most], found.measures)


def _whole_table(found: Findings, heading: str, rows: Sequence[Mapping[str, Any]]) -> tuple[str, str, str]:
    return "table", heading, html_table(rows, found.measures)


# ---- sections


def units(found: Findings) -> Section:
    """Vacuum and air of every unit, and where the fans work."""
    state = found.state
    out = Section("units", "Vacuum and air at every unit", found.said(state), notes=state.notes)
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
    return _with_everything(found, out, result)


def box(found: Findings) -> Section | None:
    """How the box behind the ducts fills."""
    if found.fill is None:
        return None
    out = Section("fill", "How the box fills", found.said(found.fill))
    return _with_everything(found, out, found.fill)


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
    out.notes = list(getattr(result, "notes", ()))
    out.cautions = list(result.cautions)
    return out


def readings(found: Findings) -> Section | None:
    """The readings against the fit."""
    if found.fit is None:
        return None
    out = Section("readings", "The readings and what explains them", found.said(found.fit))
    return _with_everything(found, out, found.fit)


def measure_next(found: Findings) -> Section | None:
    """What to measure next."""
    if found.next_readings is None:
        return None
    out = Section("next", "What to measure next", found.said(found.next_readings))
    return _with_everything(found, out, found.next_readings)


def _with_everything(found: Findings, out: Section, result: Any) -> Section:
    """All plots of a result, its tables as `TABLES` names them, its notes and cautions."""
    for what in plots.kinds(result):
        try:
            out.blocks.append(_figure(found, result, what, f"{out.key}-{what}".replace(" ", "-")))
        except InputError:
            continue  # this plot needs something that this result does not have
    tables = result.tables()
    for name, (heading, keys, most) in TABLES[type(result).__name__].items():
        if tables.get(name):
            out.blocks.append(_table(found, heading, tables[name], keys, most))
    out.notes = list(getattr(result, "notes", ()))
    out.cautions = list(getattr(result, "cautions", ()))
    return out


# What stands on the page of each result: table -> (heading, columns, most rows). Curves stand in the plots.
TABLES: dict[str, dict[str, tuple[str, tuple[str, ...] | None, int]]] = {
    "GroundSpeed": {
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
    "Fill": {
        "fill": ("The fill now, and with the best positions", None, 10),
        "discharges": ("Discharges", None, MOST_ROWS),
        "moves": ("Moving one discharge", None, MOST_ROWS),
    },
    "Fit": {
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
    "NextReadings": {
        "sheet": ("The sheet to take along", None, 20),
        "questions": ("What would be known then", None, MOST_ROWS),
        "candidates": ("Single readings, the most telling first", None, 12),
    },
}


def described(found: Findings) -> Section:
    """The machine as described, with its drawing."""
    machine, state = found.machine, found.state
    out = Section("machine", "The machine as described", found.given.describe().sentences())
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
    out = Section("sources", "Sources", listed.sentences())
    out.blocks.append(_whole_table(found, "", listed.rows()))
    return out


SECTIONS = (units, speed, box, fixes, readings, measure_next, described, assumptions, sources)
