"""The report: one page with everything that is known about a machine, to print or to hand on."""

from __future__ import annotations

import datetime
import os
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from ..arguments import instance, listed
from ..cautions import ALWAYS, cautions_for
from ..documents.document import file_path
from ..errors import InputError, visible
from ..machine.machine import Machine
from ..quantity import display_measure
from ..result import Result
from ..studies.ground_speed.summary import in_one_sentence
from ..version import VERSION
from ..writing import check, write_text
from .findings import Findings
from .sections import sections_of

if TYPE_CHECKING:
    from jinja2 import Environment


def report(
    machine: Machine,
    path: str | os.PathLike[str],
    *,
    fixes: Any = None,
    readings: Any = None,
    crop: Any = None,
    of: str = "weakest vacuum",
    budget: float | str | None = None,
    measures: str | None = None,
    sections: Result | Iterable[Result] = (),
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
        "metric" or "inch"; by default those that the machine is told in.
    sections : result, or sequence of results
        Adds a section of each: its sentences, pictures, tables, notes and cautions, under its heading. Any
        `Result` will do, one of a study of your own too.

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
    check(path, [given for given in (fixes, readings, crop) if isinstance(given, (str, os.PathLike))])
    own = [sections] if isinstance(sections, Result) else listed(sections, "report, sections", "results")
    for result in own:
        instance(result, Result, "report, sections", "a result", "what a study returns")
    given = {"fixes": fixes, "readings": readings, "crop": crop}
    found = Findings(machine, **given, of=of, budget=budget, measures=measures, own=own)
    write_text(path, page(found))


# ---- the page


def page(found: Findings) -> str:
    """The whole page as HTML."""
    machine = found.given
    rendered: str = (
        environment()
        .get_template("report.html")
        .render(
            title=machine.layout.title or "A machine without a title",
            answer=answer(found),
            sections=sections_of(found),
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


def answer(found: Findings) -> list[str]:
    """Three sentences: which unit is weakest, what to do about it, and the next thing worth knowing."""
    state = found.said(found.state)
    work, fit, following = (found.said(r) for r in (found.comparison, found.fit, found.next_readings))
    drive = [] if found.ground_speed is None else [in_one_sentence(found.ground_speed, found.measures)]
    out = [*state[:1], *work[:1], *drive, *fit[:1]]
    return [*out, *work[1:2], *following[:1], *state[1:]][:3]


def all_cautions(found: Findings) -> list[str]:
    """Every caution that belongs to what the page advises, each once, the constant one last."""
    tags = ["crop"] if found.has_crop else []
    tags += ["measure", "blank"] if found.readings is not None else []
    texts = [text for result in found.studies for text in result.cautions]
    texts += [*cautions_for(tags), *cautions_for(["lock_out", "guards", "noise", "lint"])]
    return [*dict.fromkeys(text for text in texts if text != ALWAYS), ALWAYS]
