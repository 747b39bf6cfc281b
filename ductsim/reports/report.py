"""The report: one page with everything that is known about a machine, to print or to hand on."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from ..arguments import instance, listed
from ..documents.document import file_path
from ..errors import InputError, visible
from ..machine.machine import Machine
from ..quantity import display_measure
from ..result import Result
from ..version import VERSION
from ..writing import check, write_text
from .findings import Findings
from .first import first_sheet
from .sections import folded_of, once, sheets_of

if TYPE_CHECKING:
    from jinja2 import Environment


def report(
    machine: Machine,
    path: str | os.PathLike[str],
    *,
    fixes: Any = None,
    readings: Any = None,
    crop: Any = None,
    seen: Any = None,
    field: Any = None,
    of: str = "weakest vacuum",
    budget: float | str | None = None,
    measures: str | None = None,
    sections: Result | Iterable[Result] = (),
    full: bool = False,
) -> None:
    """Write a report: one HTML file that needs nothing else, for a screen, a phone or a printer.

    Its first sheet says what was found, the jobs in their order, what each brings and the reading that proves
    it, the speed before and after, and the cautions. At most three sheets on units, limits, readings, fixes
    and fill follow. Everything else folds away on the screen and is not printed.

    Parameters
    ----------
    machine : Machine
        A single one, without columns.
    path : path
        The file to write, whole or not at all.
    fixes : sequence of Fix, or a path to a file of them, optional
        Adds the jobs that are worth doing, and what each fix is worth.
    readings : DataFrame, what `read_readings` gives, or a path, optional
        Adds the fit and where to measure next; everything else then rests on the fitted machine.
    crop : Crop, or a path, optional
        Adds what limits the ground speed, now and with the jobs done.
    seen : path, DataFrame or list of observations, optional
        At which speeds the machine ran or blocked; calibrates the speed, on the machine as the readings
        tell it.
    field : path, DataFrame, mapping or array, optional
        Yields along a row, see `field_pass`.
    of : str
        The question that fixes and measurements are judged by.
    budget : float or str, optional
        Working time there is for fixes: minutes, or a text with its measure.
    measures : str
        "metric" or "inch"; by default those that the machine is told in.
    sections : result, or sequence of results
        Adds a section of each: its sentences, pictures, tables, notes and cautions, under its heading. Any
        `Result` will do, one of a study of your own too.
    full : bool
        Print what folds away too, with every picture there is.

    Raises
    ------
    InputError
        For a machine with columns, whatever is wrong in what was given, and where nothing can be written.
    NoOperatingPoint
        When the machine has no answer.
    """
    instance(machine, Machine, "report", "a machine", "a machine, as ds.Machine.read gives")
    measures = machine.measures if measures is None else measures
    display_measure("m", measures)
    file_path(path)
    if machine.columns is not None:
        raise InputError(
            "the machine has columns", place="report", allowed="one of its scenarios: machine[0]"
        )
    check(
        path,
        [given for given in (fixes, readings, crop, seen, field) if isinstance(given, (str, os.PathLike))],
    )
    own = [sections] if isinstance(sections, Result) else listed(sections, "report, sections", "results")
    for result in own:
        instance(result, Result, "report, sections", "a result", "what a study returns")
    given = {"fixes": fixes, "readings": readings, "crop": crop, "seen": seen, "field": field}
    found = Findings(machine, **given, of=of, budget=budget, measures=measures, own=own, full=full)
    write_text(path, page(found))


# ---- the page


def page(found: Findings) -> str:
    """The whole page as HTML."""
    machine, first = found.given, first_sheet(found)
    sheets, folded = sheets_of(found), folded_of(found)
    once([*sheets, *folded], [*first.finding, *first.total, *first.remarks, *first.speed, *first.cautions])
    rendered: str = (
        environment()
        .get_template("report.html")
        .render(
            title=machine.layout.title or "A machine without a title",
            first=first,
            question=_question(found),
            sheets=sheets,
            folded=folded,
            full=found.full,
            file=os.path.basename(machine.file),
            sha256=machine.sha256,
            version=VERSION,
            date=datetime.date.today().isoformat(),
            measures=found.measures,
        )
    )
    return rendered


def _question(found: Findings) -> str:
    """What the jobs are judged by, as the head of a column."""
    return "" if found.comparison is None else found.comparison.question.label


def environment() -> Environment:
    """How the templates are filled in: everything escaped, nothing that hides."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("ductsim.reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_finished,
    )


def _finished(value: Any) -> Any:
    """What the page shows of a value: of a text nothing that hides; markup is finished already."""
    return visible(value) if isinstance(value, str) and not hasattr(value, "__html__") else value
