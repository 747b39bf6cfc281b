"""A sheet of readings to take: rows to print, and a CSV file of readings whose values are to be filled in."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Sequence
from typing import Any

from ..description.layout import Layout
from ..documents.spreadsheet import on_one_line
from ..errors import InputError
from ..quantity import RPM
from ..readings.table import BETWEEN, WEATHER, Reading
from ..writing import write_text
from .candidates import taped_words

HEADER = ("tapping", "quantity", "value", "engine_speed", "set", "blanked", "note")
MORE = ("sd", "resolution", *WEATHER)
"""Columns that a sheet has only where some reading has them."""


def sheet_rows(layout: Layout, readings: Sequence[Reading]) -> list[dict[str, Any]]:
    """A row for each reading: where, at which speed, what is taped shut; `value` is blank."""
    return [
        {
            "step": i,
            "tape_shut": taped_words(layout, r.blanked) or "nothing",
            "engine_speed_rpm": None if r.engine_speed is None else r.engine_speed * RPM,
            "tapping": r.place,
            "quantity": r.quantity,
            "expected_Pa": r.value,
            "value": "",
        }
        for i, r in enumerate(readings, 1)
    ]


def sheet_text(readings: Sequence[Reading], taken: Sequence[Reading] = ()) -> str:
    """The readings taken so far and those to take, whose values are blank, as a CSV file."""
    own = [*((r, f"{r.value!r}") for r in taken), *((r, "") for r in readings)]
    more = [key for key in MORE if any(_more(r)[key] for r, _ in own)]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*HEADER, *more])
    for r, value in own:
        speed = "" if r.engine_speed is None else f"{r.engine_speed * RPM:.10g} rpm"
        cells = [r.place, r.quantity, value, speed, r.set, BETWEEN.join(r.blanked), r.note]
        writer.writerow([on_one_line(cell) for cell in (*cells, *(_more(r)[key] for key in more))])
    return text.getvalue()


def _more(reading: Reading) -> dict[str, str]:
    """What only some readings have, in SI."""
    known = {"sd": reading.sd, "resolution": reading.resolution, **dict(reading.weather)}
    return {key: "" if known.get(key) is None else f"{known[key]!r}" for key in MORE}


def write_sheet(path: str | os.PathLike[str], readings: Sequence[Reading]) -> None:
    """Write the readings to take as a CSV file.

    Raises
    ------
    InputError
        Where there is none, and for a place that cannot be written.
    """
    if not readings:
        raise InputError("there is no reading to take", place="sheet")
    write_text(path, sheet_text(readings))
