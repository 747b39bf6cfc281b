"""A logbook on disk: a folder for a machine, and in it a folder for every visit.

    my-picker/machine.toml                  the machine as it was described
    my-picker/fixes.toml                    fixes there are, if any
    my-picker/visits/2026-09-14/visit.toml  what was done and seen, engine hours
    my-picker/visits/2026-09-14/readings.csv   what was read before anything was done, if anything
    my-picker/visits/2026-09-14/after.csv      what was read after it, if anything

A second visit on a day is `2026-09-14-2`. A visit is written once, whole, and never again: what is being
written has another name, which is hidden, and is not read.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np

from ..documents.document import check_format, file_path, read_document, refuse_unknown, texts
from ..errors import InputError, shown
from ..fixes.file import fixes_of
from ..fixes.fix import Fix
from ..machine.machine import Machine
from ..quantity import Times, si
from ..readings.naming import readings_of
from ..readings.table import Readings, read_readings
from ..result import Note

MACHINE, FIXES, VISITS = "machine.toml", "fixes.toml", "visits"
VISIT, READINGS, AFTER = "visit.toml", "readings.csv", "after.csv"
KEYS = ("format", "engine_hours", "seen", "fix")
MOST_VISITS = 1_000
_NAME = re.compile(r"(\d{4}-\d{2}-\d{2})(?:-([1-9]\d{0,2}))?")
DAY = "a date like 2026-09-14; the second visit of a day is 2026-09-14-2"


@dataclass(frozen=True)
class Visit:
    """One visit to a machine.

    Attributes
    ----------
    name : str
        Its date, with a number for the second and later ones of a day.
    engine_hours : float or None
        What the meter of the engine showed [s].
    seen : tuple of str
        What was seen.
    fixes : list of Fix
        What was done, in this order.
    readings, after : Readings or None
        What was read before and after it.
    """

    name: str
    engine_hours: float | None = None
    seen: tuple[str, ...] = ()
    fixes: list[Fix] = field(default_factory=list)
    readings: Readings | None = None
    after: Readings | None = None


@dataclass(frozen=True)
class Logbook:
    """A machine as it was described, its visits, the earliest first, and what was left out."""

    folder: str
    machine: Machine
    visits: list[Visit]
    seen: list[Note]

    @property
    def described(self) -> Machine:
        """The machine with every fix done that the logbook holds, nothing fitted."""
        machine = self.machine
        for visit in self.visits:
            machine = done(machine, visit)
        return machine


def done(machine: Machine, visit: Visit) -> Machine:
    """The machine after the fixes of a visit.

    Raises
    ------
    InputError
        For a fix that this machine cannot take, with the visit.
    """
    for fix in visit.fixes:
        try:
            machine = fix.on(machine)
        except InputError as err:
            raise err.at(place=f"visit {visit.name}") from None
    return machine


def order(name: str) -> tuple[str, int] | None:
    """Date and number of a visit by its name, to sort by; None where it is no such name."""
    found = _NAME.fullmatch(name)
    if found is None:
        return None
    try:
        date.fromisoformat(found[1])
    except ValueError:
        return None
    return found[1], int(found[2] or 1)


def read_logbook(folder: str | os.PathLike[str]) -> Logbook:
    """A logbook from its folder.

    Raises
    ------
    InputError
        One sentence with the file and the place, for whatever is missing or not understood.
    """
    place = file_path(folder, "folder")
    if not os.path.isdir(place):
        raise InputError(
            "no such folder" if not os.path.lexists(place) else "is no folder",
            file=str(folder),
            allowed=f"the folder of a machine, which holds {MACHINE} and {VISITS}",
        )
    machine = Machine.read(place / MACHINE)
    names, notes = _names(place / VISITS)
    return Logbook(str(place), machine, [_visit(place / VISITS / name) for name in names], notes)


def _names(place: Path) -> tuple[list[str], list[Note]]:
    """The names of the visits, the earliest first, and notes of what is none."""
    try:
        found = sorted(os.listdir(place)) if os.path.lexists(place) else []
    except OSError as err:
        raise InputError(f"cannot be read: {err.strerror or err}", file=str(place)) from None
    names, notes = [], []
    for name in found:
        if name.startswith("."):
            if name.endswith(".part"):
                text = f"{name} in {VISITS} was never finished and is not read; it may be deleted."
                notes.append(Note(text, "half written", name))
        elif not os.path.isdir(place / name):
            notes.append(Note(f"{name} in {VISITS} is no visit and is left out.", "left out", name))
        elif order(name) is None:
            raise InputError(f"{shown(name)} is no name of a visit", file=str(place), allowed=DAY)
        else:
            names.append(name)
    if len(names) > MOST_VISITS:
        raise InputError(f"holds {len(names):,} visits", file=str(place), allowed=f"at most {MOST_VISITS:,}")
    return sorted(names, key=lambda name: order(name) or ("", 0)), notes


def _visit(place: Path) -> Visit:
    file = place / VISIT

    def of(document: dict[str, Any]) -> Visit:
        check_format(document)
        refuse_unknown(document, KEYS, "")
        hours = document.get("engine_hours")
        return Visit(
            place.name,
            None if hours is None else hours_of(hours),
            texts(document, "seen", "visit"),
            fixes_of({"fix": document["fix"]}) if "fix" in document else [],
        )

    visit, _ = read_document(file, of, "visit file")
    for fix in visit.fixes:
        if fix.problem:
            raise InputError(fix.problem, file=str(file))
    read = {key: _readings(place / name) for key, name in (("readings", READINGS), ("after", AFTER))}
    return Visit(visit.name, visit.engine_hours, visit.seen, visit.fixes, **read)


def _readings(place: Path) -> Readings | None:
    return read_readings(place) if os.path.lexists(place) else None


def hours_of(value: Any) -> float:
    """What a meter shows [s]: a number of hours, or a text with its measure ("1250 h").

    Raises
    ------
    InputError
    """
    try:
        seconds = si(value, "h")
    except InputError as err:
        raise err.at(place="engine_hours") from None
    if not isinstance(seconds, float) or not 0.0 <= seconds < 3.6e9:
        raise InputError(
            f"{shown(value)} is out of range",
            place="engine_hours",
            allowed="0 to 1,000,000 hours, as in 1250",
        )
    return seconds


def named(machine: Machine, readings: Readings) -> Readings:
    """Readings by the machine's own names; what is wrong with them is said with their file."""
    try:
        return readings_of(machine, readings)
    except InputError as err:
        raise err.at(file=readings.file) from None


def plain_fix(fix: Fix) -> Mapping[str, Any]:
    """A fix with the keys of a file of fixes.

    Raises
    ------
    InputError
        For a fix that no file can hold: parts and values made in Python.
    """
    if fix.problem:
        raise InputError(fix.problem)
    change = {address: _written(value) for address, value in fix.change.items()}
    own: dict[str, Any] = {"name": fix.name, "change": change, "replace": dict(fix.replace)}
    own |= {"minutes": fix.minutes, "cost": fix.cost, "caution": list(fix.caution), "note": fix.note}
    for key in ("change", "replace"):
        for name, value in own[key].items():
            if not _plain(value, key == "replace"):
                raise InputError(
                    f"{shown(value)} cannot be written down",
                    place=f"{fix.place}, {key} {name!r}",
                    allowed="numbers and texts"
                    if key == "change"
                    else "a table with the keys of a machine file",
                )
    return {key: value for key, value in own.items() if value}


def _written(value: Any) -> Any:
    """A factor as a file writes it; anything else as it is."""
    single = isinstance(value, Times) and np.ndim(value.factor) == 0
    return f"x{float(value.factor)!r}" if single else value


def _plain(value: Any, table: bool) -> bool:
    if isinstance(value, Mapping) and table:
        return all(isinstance(key, str) and _plain(inner, True) for key, inner in value.items())
    if isinstance(value, list) and table:
        return all(_plain(inner, True) for inner in value)
    return type(value) in (bool, int, float, str)
