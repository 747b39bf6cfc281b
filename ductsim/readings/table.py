"""Manometer readings from a CSV file or another table: what was read, where and how.

Columns: tapping, quantity, value, engine_speed, fan_speed, set, sd, resolution, blanked, temperature,
pressure, relative_humidity, note; only `tapping` and `value` are needed. A bare number is SI, a text
carries its measure. Separators are commas, semicolons or tabs; with semicolons and tabs a decimal comma is
understood.

A `vacuum` is the static pressure below that of the open air, positive; it is kept as a static reading. Who
reads the speed of a fan's shaft instead of the engine's writes `fan_speed`; where a belt drives the fans, the
engine's follows by the pulleys and the slip that the machine has.

`blanked` takes names, patterns ("front *"), and `all` for every opening of every unit.
Several blanked openings stand with " + " between them, or in a list where the table is one of Python. A plus
without spaces may belong to a name: the machine's own names win, the longest first ("front 4+R + rear 4").
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from ..description.look_alikes import look_alikes
from ..documents.spreadsheet import MOST_PROBLEMS, cells_of, columns_of, is_table, number_in, row_of
from ..errors import InputError, Problems, UnknownName
from ..quantity import RPM
from ..result import Note, Result
from ..size_limits import at_most, listed_at_most

# Quantity -> SI measure of its value.
QUANTITIES = {
    "static": "Pa",
    "total": "Pa",
    "velocity pressure": "Pa",
    "velocity": "m/s",
    "speed": "rad/s",
    "shaft power": "W",
}
OF_FANS = ("speed", "shaft power")
MEASURES = {
    "engine_speed": "rad/s",
    "fan_speed": "rad/s",
    "sd": "",
    "resolution": "",
    "temperature": "K",
    "pressure": "Pa",
    "relative_humidity": "",
}
WEATHER = ("temperature", "pressure", "relative_humidity")
COLUMNS = ("tapping", "quantity", "value", *MEASURES, "set", "blanked", "note")
CURES = {
    "engine_speed": (0.0, 1000.0, "write '2100 rpm'"),
    "fan_speed": (0.0, 1000.0, "write '3600 rpm'"),
    "temperature": (200.0, 350.0, "write '31 degC'"),
}
VACUUM = "vacuum"
"""A word for a static pressure below that of the open air, written positive."""
BETWEEN = " + "
"""What stands between the names of blanked openings."""
LARGEST_FILE = 5_000_000
ALLOWED = "a CSV file, a DataFrame, a mapping of columns or a list of mappings"
MOST_READINGS = 10_000
"""A whole season's; every condition among them is solved at once, which takes some 5 kB each."""


@dataclass(frozen=True)
class Reading:
    """One reading.

    Attributes
    ----------
    tapping : str
        The tapping, or the fan for its speed or shaft power.
    value : float
        What was read, SI; gauge pressures are negative where there is vacuum.
    quantity : str
        "static", "total", "velocity pressure", "velocity" (mean of a traverse), "speed" or "shaft power".
    minus : str
        The second tapping of a difference ("door 2 - door 4"), else empty.
    engine_speed : float or None
        As the tachometer showed it [rad/s]; None where it was not read: then only ratios count.
    set : str
        Readings of one set share the gauge's zero and scale and the tachometer.
    sd : float or None
        Standard deviation of this reading alone, SI; None for the usual one.
    resolution : float or None
        Smallest step of the display, SI.
    blanked : tuple of str
        The openings that were taped shut.
    weather : tuple of (str, float)
        Temperature [K], absolute pressure [Pa], relative humidity, where they were noted.
    note : str
    line : int
        Its line in the file, or its place in the table.
    fan_speed : float or None
        Speed of the fans' shaft [rad/s], where that was read instead of the engine's.
    """

    tapping: str
    value: float
    quantity: str = "static"
    minus: str = ""
    engine_speed: float | None = None
    set: str = ""
    sd: float | None = None
    resolution: float | None = None
    blanked: tuple[str, ...] = ()
    weather: tuple[tuple[str, float], ...] = ()
    note: str = ""
    line: int = 0
    fan_speed: float | None = None

    @property
    def measure(self) -> str:
        """The SI measure of its value."""
        return QUANTITIES[self.quantity]

    @property
    def place(self) -> str:
        """The tapping, or the two of a difference, as a file of readings has it."""
        return f"{self.tapping} - {self.minus}" if self.minus else self.tapping

    @property
    def where(self) -> str:
        """What was read, in words: "door 2", "total of door 2", "door 2 - door 4"."""
        return self.place if self.quantity == "static" else f"{self.quantity} of {self.place}"

    @property
    def how(self) -> str:
        """Under which conditions, in words; empty for none."""
        words = []
        if self.engine_speed is not None:
            words.append(f"{self.engine_speed * RPM:,.0f} rpm")
        if self.engine_speed is None and self.fan_speed is not None:
            words.append(f"{self.fan_speed * RPM:,.0f} rpm of the fan")
        if self.blanked:
            words.append(f"blanked: {BETWEEN.join(self.blanked)}")
        return ", ".join(words)


@dataclass(repr=False, eq=False)
class Readings(Result):
    """Readings in the order in which they were taken.

    Attributes
    ----------
    items : tuple of Reading
    seen : list of Note
        What was left out or understood, a sentence each; `notes` are these.
    file, sha256 : str
        The file they came from and the SHA-256 of its bytes; empty if from none.
    measures : str
        "metric" or "inch", as of the machine that they belong to.
    """

    items: Sequence[Reading]
    seen: Sequence[str] = ()
    file: str = ""
    sha256: str = ""
    measures: str = "metric"

    def __post_init__(self) -> None:
        self.items = tuple(self.items)

    def __len__(self) -> int:
        return len(self.items)

    def __iter__(self) -> Iterator[Reading]:
        return iter(self.items)

    def __add__(self, other: Readings) -> Readings:
        items, seen = (*self.items, *other.items), [*self.seen, *other.seen]
        return Readings(items, seen, measures=self.measures)

    @cached_property
    def notes(self) -> list[Note]:
        """What was left out or understood."""
        return [note if isinstance(note, Note) else Note(note) for note in self.seen]

    def about(self) -> str:
        """How many readings there are, under how many conditions."""
        ways = len({(r.engine_speed, r.blanked, r.weather) for r in self.items})
        return f"{len(self)} readings under {ways} conditions"

    def rows(self) -> list[dict[str, Any]]:
        """A row for each reading; `read_readings` takes such rows back."""
        return [
            {
                "tapping": f"{r.tapping} - {r.minus}" if r.minus else r.tapping,
                "quantity": r.quantity,
                "value": r.value,
                "measure": r.measure,
                "engine_speed_rpm": None if r.engine_speed is None else r.engine_speed * RPM,
                **({} if r.fan_speed is None else {"fan_speed_rpm": r.fan_speed * RPM}),
                "set": r.set,
                "blanked": BETWEEN.join(r.blanked),
                "note": r.note,
            }
            for r in self.items
        ]

    def sentences(self, measures: str = "metric") -> list[str]:
        """How many readings there are, under how many conditions."""
        sets = len({r.set for r in self.items})
        return [f"{self.about()}, in {sets} sets.", *self.notes]


def read_readings(source: Any) -> Readings:
    """Readings from a CSV file, a DataFrame, a mapping of columns, or a list of mappings or of `Reading`.

    Parameters
    ----------
    source : path, DataFrame, mapping, list, Reading or Readings
        A text is the path of a file.

    Raises
    ------
    InputError
        One sentence with the file, the line and the column, for whatever is not understood. Rows without a
        value and rows that stand twice are left out, and `notes` says so.
    """
    if isinstance(source, Readings):
        return source
    if isinstance(source, Reading):
        return Readings([source])
    if isinstance(source, Iterable) and not is_table(source) and getattr(source, "shape", (1,)) != ():
        source = listed_at_most(source, MOST_READINGS, "readings", "readings")
        if source and all(isinstance(item, Reading) for item in source):
            return Readings(source)
    given = cells_of(
        source,
        "readings",
        "reading",
        MOST_READINGS,
        largest=LARGEST_FILE,
        what="readings file",
        allowed=ALLOWED,
    )
    try:
        found = _collect(given.header, given.rows, given.comma)
    except InputError as err:
        raise err.at(file=given.file) from None
    return Readings(found.items, found.seen, given.file, given.sha256)


def _collect(header: Sequence[str], rows: Sequence[tuple[int, list[Any]]], comma: bool) -> Readings:
    columns = columns_of(header, COLUMNS, ("tapping", "value"))
    at_most(len(rows), MOST_READINGS, "readings", "readings")
    items: list[Reading] = []
    notes: list[Note] = []
    seen: dict[Reading, int] = {}
    problems = Problems()
    for line, cells in rows:
        found = None
        with problems.noting():
            found = _row(columns, cells, line, comma)
        if len(problems.found) >= MOST_PROBLEMS:
            break
        if found is None:
            continue
        if isinstance(found, Note):
            notes.append(found)
            continue
        bare = replace(found, line=0)
        if bare in seen:
            text = (
                f"Lines {seen[bare]} and {line} are the same reading ({found.where}); it counts once. "
                "Give them different notes to count both."
            )
            notes.append(Note(text, "twice", found.where, line))
            continue
        seen[bare] = line
        items.append(found)
    problems.refuse()
    if not items:
        raise InputError("no row has a value", allowed="a value for each reading", place="value")
    twins = [Note(text, "alike") for text in look_alikes([item.set for item in items], "sets")]
    return Readings(items, [*notes, *twins])


def _row(columns: list[tuple[str, str]], cells: list[Any], line: int, comma: bool) -> Reading | Note:
    """One reading, or a note that says why the row was left out."""
    place = f"line {line}"
    given = row_of(columns, cells, place)
    if "tapping" not in given:
        raise InputError("has no tapping", place=place, allowed="the tapping, or the fan, that was read")
    name = str(given["tapping"][0]).strip()
    if "value" not in given:
        return Note(f"Line {line} ({name}) has no value and is left out.", "left out", name, line)
    word = given.get("quantity", ("static", ""))[0]
    vacuum = str(word).strip().casefold() == VACUUM
    quantity = "static" if vacuum else _quantity(word, place)
    tapping, minus = _places(name, quantity, place)
    own = given.get("measure", ("", ""))[0]
    measure = QUANTITIES[quantity]
    value = number_in(given["value"], str(own) or measure, measure, comma, f"{place}, value")
    if vacuum and value < 0.0:
        raise InputError(
            f"{given['value'][0]} is a vacuum below zero",
            place=f"{place}, value",
            allowed="a vacuum is positive; write a pressure below outside as static, negative",
        )
    value = -value if vacuum else value
    numbers: dict[str, float] = {}
    for key, wanted in MEASURES.items():
        if key in given:
            kind = measure if key in ("sd", "resolution") else wanted
            numbers[key] = number_in(given[key], kind, kind, comma, f"{place}, {key}")
            _check_range(key, numbers[key], place)
    if "fan_speed" in numbers and "engine_speed" in numbers:
        raise InputError("has both engine_speed and fan_speed", place=place, allowed="one of them")
    return Reading(
        tapping=tapping,
        minus=minus,
        value=value,
        quantity=quantity,
        engine_speed=numbers.get("engine_speed"),
        fan_speed=numbers.get("fan_speed"),
        set=_text(given.get("set", ("", ""))[0]),
        sd=numbers.get("sd"),
        resolution=numbers.get("resolution"),
        blanked=_names(given.get("blanked", ("", ""))[0]),
        weather=tuple((key, numbers[key]) for key in WEATHER if key in numbers),
        note=_text(given.get("note", ("", ""))[0]),
        line=line,
    )


def _check_range(key: str, value: float, place: str) -> None:
    """Ranges that catch a missing measure or a slip."""
    low, high, cure = CURES.get(key, (0.0, math.inf, ""))
    if key == "sd" and value <= 0.0:
        raise InputError(f"{value:g} is no standard deviation", place=f"{place}, sd", allowed="above 0")
    if not low <= value <= high:
        allowed = f"{low:g} to {high:g}" + (f"; {cure}" if cure else "")
        raise InputError(f"{value:g} is out of range", place=f"{place}, {key}", allowed=allowed)


def _text(cell: Any) -> str:
    """A name or a remark; a table may hold a set's number as a float."""
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    return str(cell).strip()


def _names(cell: Any) -> tuple[str, ...]:
    """Names from a list, or from a text with " + " between them.

    A plus without spaces may belong to a name: which it is, the machine's own names say (`named`).
    """
    words = cell if isinstance(cell, (list, tuple)) else re.split(r"\s+\+\s+", str(cell))
    return tuple(dict.fromkeys(str(word).strip() for word in words if str(word).strip()))


def _quantity(cell: Any, place: str) -> str:
    word = " ".join(str(cell).replace("_", " ").casefold().split())
    word = word.removesuffix(" pressure") if word in ("static pressure", "total pressure") else word
    word = "static" if word == "difference" else word
    if word not in QUANTITIES:
        raise UnknownName.of("quantity", str(cell), [*QUANTITIES, VACUUM], place=f"{place}, quantity")
    return word


def _places(name: str, quantity: str, place: str) -> tuple[str, str]:
    """The two tappings of a difference, or one and an empty text."""
    first, minus, second = (
        part.strip() for part in re.sub(r"\s+[-\N{MINUS SIGN}\N{EN DASH}]\s+", " \0 ", name).partition("\0")
    )
    if not minus:
        return first, ""
    if quantity in OF_FANS or quantity == "velocity" or not first or not second or "\0" in second:
        raise InputError(
            f"{name!r} is no difference of two pressures",
            place=f"{place}, tapping",
            allowed="'door 2 - door 4'",
        )
    if first == second:
        raise InputError(f"{name!r} is always 0", place=f"{place}, tapping", allowed="two different tappings")
    return first, second
