"""A visit added to a logbook: whole or not at all, and never over another."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date as Day
from itertools import pairwise
from pathlib import Path
from typing import Any

from ..arguments import listed as listed_of
from ..arguments import texts
from ..documents.document import FORMAT, read_text
from ..documents.spreadsheet import on_one_line
from ..errors import InputError, UnknownName, shown
from ..fixes.file import read_fixes
from ..fixes.fix import Fix
from ..readings.table import BETWEEN, LARGEST_FILE, WEATHER, Reading, Readings, read_readings
from ..result import Note, Result
from ..wording import listed
from ..writing import write_folder
from .visit import (
    AFTER,
    FIXES,
    READINGS,
    VISIT,
    VISITS,
    Logbook,
    Visit,
    done,
    hours_of,
    named,
    order,
    plain_fix,
    read_logbook,
)

HEAD = (
    "tapping",
    "quantity",
    "value",
    "measure",
    "engine_speed",
    "set",
    "sd",
    "resolution",
    *("blanked", *WEATHER, "note"),
)


@dataclass(repr=False, eq=False)
class Logged(Result):
    """A visit that was written down; made by `log_visit`.

    Attributes
    ----------
    place : str
        The folder of the visit.
    files : list of str
        What it holds.
    visit : Visit
    seen : list of Note
        What was left out of the readings, and what is odd.
    """

    place: str
    files: list[str]
    visit: Visit
    seen: list[Note]


def log_visit(
    folder: str | os.PathLike[str],
    date: str | Day | None = None,
    *,
    readings: Any = None,
    after: Any = None,
    fixes: Any = (),
    seen: str | Sequence[str] = (),
    engine_hours: float | str | None = None,
) -> Logged:
    """Write down a visit in the logbook of a machine.

    Everything is checked against the machine first. The visit is written aside and takes its name when it is
    whole; an earlier visit is never touched.

    Parameters
    ----------
    folder : path
        The machine's folder, which holds its `machine.toml`.
    date : str or date, optional
        The day of the visit, like "2026-09-14"; today if not given. A second visit of a day gets a number.
    readings : path, DataFrame, list or Readings, optional
        What was read before anything was done; a file is copied as it is.
    after : path, DataFrame, list or Readings, optional
        What was read after it.
    fixes : str, Fix or a list of these, optional
        What was done, in this order; a name is that of a fix in the folder's `fixes.toml`.
    seen : str or list of str, optional
        What was seen.
    engine_hours : float or str, optional
        What the meter of the engine shows: a number of hours, or a text with its measure.

    Raises
    ------
    InputError
        One sentence for whatever is wrong; nothing is written then.
    """
    book = read_logbook(folder)
    words = texts(seen, "seen", "a text, or a list of them") if seen else []
    visit = Visit(
        _name(book, date),
        None if engine_hours is None else hours_of(engine_hours),
        tuple(word for word in words if word.strip()),
        _fixes(book, fixes),
        None if readings is None else read_readings(readings),
        None if after is None else read_readings(after),
    )
    if not (visit.fixes or visit.readings or visit.after or visit.seen or visit.engine_hours is not None):
        raise InputError(
            "there is nothing to write down", place="visit", allowed="readings, fixes, what was seen, hours"
        )
    _fits(book, visit)
    files = {VISIT: _document(visit)}
    for name, source, found in ((READINGS, readings, visit.readings), (AFTER, after, visit.after)):
        if found is not None:
            files[name] = _bytes(source, found)
    place = Path(book.folder) / VISITS / visit.name
    write_folder(place, files)
    return Logged(str(place), list(files), visit, _odd(book, visit))


def _name(book: Logbook, given: Any) -> str:
    """The name of a new visit: its date, with a number where the day has one already."""
    text = Day.today().isoformat() if given is None else str(given)
    found = order(text) if isinstance(given, (str, Day, type(None))) else None
    if found is None or found[0] != text:
        raise InputError(f"{shown(given)} is no date", place="date", allowed="a date like 2026-09-14")
    numbers = [n for visit in book.visits for day, n in [order(visit.name) or ("", 0)] if day == text]
    return f"{text}-{max(numbers) + 1}" if numbers else text


def _fixes(book: Logbook, given: Any) -> list[Fix]:
    """The fixes that were done; names are looked up beside the machine."""
    items = [given] if isinstance(given, (str, Fix)) else listed_of(given, "fixes", "names, or ds.Fix")
    known: dict[str, Fix] = {}
    if any(isinstance(item, str) for item in items):
        place = Path(book.folder) / FIXES
        if not os.path.lexists(place):
            raise InputError(
                f"there is no {FIXES} that says what {shown(items[0])} is",
                file=str(place),
                allowed=f"write a [[fix]] in {FIXES}",
            )
        known = {fix.name: fix for fix in read_fixes(place)}
    out = []
    for item in items:
        if isinstance(item, str):
            if item not in known:
                raise UnknownName.of("fix", item, known, place="fixes")
            item = known[item]
        out += [item] if isinstance(item, Fix) else read_fixes([item])
    names = [fix.name for fix in out]
    twice = next((name for name in names if names.count(name) > 1), "")
    if twice:
        raise InputError(f"{twice!r} is named twice", place="fixes", allowed="each fix once")
    return out


def _fits(book: Logbook, visit: Visit) -> None:
    """Refuse what the machine of that day does not have."""
    machine = book.machine
    for earlier in book.visits:
        if (order(earlier.name) or ("", 0)) < (order(visit.name) or ("", 0)):
            machine = done(machine, earlier)
    if visit.readings is not None:
        named(machine, visit.readings)
    machine = done(machine, visit)
    if visit.after is not None:
        named(machine, visit.after)


def _document(visit: Visit) -> bytes:
    import tomli_w

    out: dict[str, Any] = {"format": FORMAT}
    if visit.engine_hours is not None:
        out["engine_hours"] = f"{visit.engine_hours / 3600.0:.10g} h"
    if visit.seen:
        out["seen"] = list(visit.seen)
    if visit.fixes:
        out["fix"] = [dict(plain_fix(fix)) for fix in visit.fixes]
    return f"# Visit of {visit.name}.\n\n{tomli_w.dumps(out)}".encode()


def _bytes(source: Any, found: Readings) -> bytes:
    """A file of readings as it was, others as a table of their own."""
    if isinstance(source, (str, os.PathLike)):
        text, _ = read_text(source, LARGEST_FILE, "readings file")
        return text.encode()
    stream = io.StringIO()
    table = csv.writer(stream, lineterminator="\n")
    table.writerow(HEAD)
    table.writerows(_row(reading) for reading in found)
    return stream.getvalue().encode()


def _row(r: Reading) -> list[Any]:
    weather = dict(r.weather)
    cells = [
        f"{r.tapping} - {r.minus}" if r.minus else r.tapping,
        *(r.quantity, repr(r.value), r.measure, r.engine_speed, r.set, r.sd, r.resolution),
        *(BETWEEN.join(r.blanked), *(weather.get(key) for key in WEATHER), r.note),
    ]
    return ["" if cell is None else on_one_line(cell) for cell in cells]


def _odd(book: Logbook, visit: Visit) -> list[Note]:
    """What was left out of the readings, and hours that run backwards."""
    notes = [*(visit.readings.notes if visit.readings else []), *(visit.after.notes if visit.after else [])]
    visits = sorted([*book.visits, visit], key=lambda v: order(v.name) or ("", 0))
    return notes + backwards(visits)


def backwards(visits: Sequence[Visit]) -> list[Note]:
    """Where the engine's meter shows less than at an earlier visit."""
    known = [(v.name, v.engine_hours) for v in visits if v.engine_hours is not None]
    return [
        Note(
            f"The engine's meter shows {hours / 3600:,.0f} h at visit {name}, less than the "
            f"{before / 3600:,.0f} h of {earlier}.",
            "hours backwards",
            name,
            hours,
        )
        for (earlier, before), (name, hours) in pairwise(known)
        if hours < before
    ]


def _rows(found: Logged) -> dict[str, list[dict[str, Any]]]:
    return {"files": [{"file": name, "in": found.place} for name in found.files]}


def _sentences(found: Logged, measures: str) -> list[str]:
    visit = found.visit
    what = [
        *([f"{len(visit.readings)} readings before"] if visit.readings else []),
        *([f"{len(visit.after)} readings after"] if visit.after else []),
        *([f"done: {listed([fix.name for fix in visit.fixes])}"] if visit.fixes else []),
        *([f"seen: {'; '.join(visit.seen)}"] if visit.seen else []),
    ]
    return [f"Visit {visit.name} is written to {found.place}{': ' * bool(what)}{', '.join(what)}."]


Logged.show_by(
    tables=_rows,
    sentences=_sentences,
    notes=lambda found: found.seen,
    about=lambda found: f"visit {found.visit.name}",
)
