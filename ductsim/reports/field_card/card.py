"""A page that thinks in the field: everything it needs is worked out here, before anyone drives out."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any

from ...arguments import instance, text
from ...cautions import cautions_for
from ...documents.document import file_path
from ...errors import InputError
from ...fixes.fix import all_cautions
from ...machine.machine import Machine
from ...machine.network import Network
from ...machine.possible import as_machine
from ...quantity import display_measure
from ...questions.vocabulary import question
from ...readings.naming import readings_of
from ...speed import calibrate, crop_from
from ...studies.fit import fit
from ...writing import check
from .result import FieldCard
from .solving import solved_fixes, tasks_of
from .weighing import entered, sheets_of, weighing_of


def field_card(
    machine: Machine | Network,
    path: str | os.PathLike[str] | None = None,
    *,
    fixes: Any = None,
    readings: Any = None,
    crop: Any = None,
    seen: Any = None,
    of: str = "weakest vacuum",
    speeds: str | Sequence[str] | None = None,
    measures: str | None = None,
) -> FieldCard:
    """One HTML file for a phone, without network or Python: what fixes bring, what readings point at.

    On it fixes are ticked and the engine speed is chosen: vacuum, air and ground speed of every unit, power
    and limits follow from a table of all sets of fixes, each solved beforehand. Gauge readings are typed in:
    what is out of line is marked, and the leaks, screens and fans that may be at fault are ranked. The page
    writes the CSV file that `fit` reads, and reads one.

    Parameters
    ----------
    machine : Machine or Network
        A single one, without columns.
    path : path, optional
        The file to write, whole or not at all.
    fixes : sequence of Fix, or a path to a file of them, optional
        The fixes to tick, 40 at most. Every set of them is solved where 8192 sets or fewer can be done, as of
        13 fixes; else single fixes and pairs, and more are put together from these: the page says so.
    readings : DataFrame, what `read_readings` gives, or a path, optional
        Readings that stand on the page from the start. Fixes then start from the machine as these tell it, as
        in a report.
    crop : Crop, Calibration, or a path, optional
        Gives the ground speeds; the machine's own crop if not given.
    seen : path, DataFrame or list of observations, optional
        At which speeds the machine ran or blocked; calibrates the crop on the machine that fixes start from.
    of : str
        The question that fixes are judged by.
    speeds : str or sequence of str, optional
        Engine speeds to choose from, like "1900 rpm", beside today's and those that fixes set. By default two
        steps of about 5 % either way, fewer where the page would grow too large.
    measures : str
        "metric" or "inch", for the file; by default those that the machine is told in.

    Returns
    -------
    FieldCard
        Its `write` writes the page once more.

    Raises
    ------
    InputError
        For a machine with columns, one without tappings where no fixes are given, whatever is wrong in what
        was given, and where nothing can be written.
    NoOperatingPoint
        When the machine has no answer.
    """
    own = as_machine(machine, "field_card")
    if own.columns is not None:
        raise InputError("the machine has columns", place="field_card", allowed="one of them: machine[0]")
    measures = own.measures if measures is None else measures
    display_measure("m", measures)
    asked = question(own.layout, text(of, "field_card, of", "a question, like 'weakest vacuum'")).of
    if path is not None:
        file_path(path)
        check(
            path, [given for given in (fixes, readings, crop, seen) if isinstance(given, (str, os.PathLike))]
        )
    empty = own.without_crop() if own.carries else own  # readings are taken with empty ducts
    typed = [] if readings is None else entered(readings_of(own, readings))
    fitted = bool(typed) and fixes is not None
    start = fit(own, readings_of(own, readings)).machine if fitted else own
    grown = crop_from(crop)
    if seen is not None:
        grown = crop_from(calibrate(start, seen, crop=grown, fitted=fitted))
    solved = None if fixes is None else solved_fixes(start, fixes, asked, grown, speeds)
    sheets = sheets_of(empty)
    if solved is None and not sheets:
        raise InputError(
            "there is nothing to put on the page: no fixes, and no tapping to read",
            place="field_card",
            allowed="fixes, or a machine with a [[tapping]]",
        )
    state = start.solve()
    card = FieldCard(
        machine=own,
        of=asked,
        fixes=solved,
        sheets=sheets,
        weighing=weighing_of(empty, sheets),
        entered=typed,
        beware={
            "fixes": [] if solved is None else all_cautions(tasks_of(start, solved)),
            "readings": cautions_for(["measure", "blank", "lock_out", "guards", "lint"]),
        },
        first=str(state.weakest) if own.layout.units else "",
        seen=list(state.notes),
        fitted=fitted,
    )
    if path is not None:
        card.write(path, instance(measures, str, "field_card", "a system of measures"))
    return card
