"""Tables as people write them, in CSV files or handed over: separators, decimal commas, measures, remarks.

Separators are commas, semicolons or tabs; with semicolons and tabs a decimal comma is understood. Lines that
begin with # are remarks. A bare number is SI, a text carries its measure, and so may the name of a column.
"""

from __future__ import annotations

import csv
import math
import os
import re
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from ..errors import InputError, Problems, UnknownName, nearest_name, shown
from ..quantity import key_measure, si
from ..size_limits import at_most, listed_at_most
from .document import LARGEST_FILE, read_text

MOST_ROWS = 100_000
MOST_PROBLEMS = 100
"""Rows that are wrong before the rest is not looked at: then the table is another one."""
_DECIMAL_COMMA = re.compile(r"\s*([+-]?[0-9]+),([0-9]+)(\s*(?:[^0-9,.\s][^,.]*)?)")


def split_table(text: str, of: str, one: str) -> tuple[list[str], list[tuple[int, list[Any]]], bool]:
    """The header, the rows with their line numbers, and whether a comma is the decimal mark.

    `of` says what the table holds, `one` what a line is.

    Raises
    ------
    InputError
        For what is no table, and for one without rows.
    """
    lines = text.splitlines()
    first = next((i for i, line in enumerate(lines) if _says(line)), len(lines) - 1)
    separator = max(";\t,", key=lines[first].count)
    rows: list[tuple[int, list[Any]]] = []
    for number, line in enumerate(lines[first:], first + 1):
        if _says(line):
            cells = _cells(line, separator, f"line {number}")
            if any(cells):
                rows.append((number, cells))
    if len(rows) < 2:
        raise InputError(f"holds no {of}", allowed=f"a header, and a line for each {one} under it")
    return rows[0][1], rows[1:], separator != ","


def on_one_line(cell: Any) -> Any:
    """A cell as it is written to a table of text: its own lines side by side, for a row is one line."""
    return " ".join(cell.splitlines()) if isinstance(cell, str) else cell


def _cells(line: str, separator: str, place: str) -> list[str]:
    """The cells of one line, without room at their ends; what is quoted ends on its line.

    Else a stray quote, as for inches, would swallow the lines up to the next one.
    """
    shape: dict[str, Any] = {"delimiter": separator, "skipinitialspace": True}
    try:
        try:
            found = next(csv.reader([line], strict=True, **shape))
        except csv.Error as err:
            if "end of data" in str(err):
                raise InputError(
                    'a quote (") is opened and not closed', place=place, allowed="both on one line, or none"
                ) from None
            found = next(csv.reader([line], **shape))
    except csv.Error as err:
        raise InputError(f"is no table: {err}", place=place) from None
    return [cell.strip() for cell in found]


def _says(line: str) -> bool:
    return bool(line.strip(" ,;\t")) and not line.lstrip().startswith("#")


def blank(cell: Any) -> bool:
    """Whether nothing stands in a cell."""
    return cell is None or (isinstance(cell, float) and math.isnan(cell)) or not str(cell).strip()


def columns_of(header: Iterable[str], known: Iterable[str], needed: Iterable[str]) -> list[tuple[str, str]]:
    """Each column's name and the measure of its bare numbers ("" for the usual one).

    Raises
    ------
    InputError
        For unknown names, for a column that stands twice, and for one that is missing.
    """
    known, header = tuple(known), list(header)
    columns = [_column(name, known) for name in header]
    names = [name for name, _ in columns]
    for one in needed:
        if one not in names:
            raise InputError(
                f"the column {one!r} is missing",
                place="header",
                allowed=f"columns: {', '.join(known)}",
                nearest=nearest_name(one, header),
            )
    twice = next((name for name in names if name and names.count(name) > 1), "")
    if twice:
        raise InputError(f"the column {twice!r} stands twice", place="header", allowed="each column once")
    return columns


def _column(name: str, known: tuple[str, ...]) -> tuple[str, str]:
    plain = name.strip().replace(" ", "_")
    plain = plain if plain in known else plain.casefold()
    if plain in known or plain in ("", "measure"):
        return plain, ""
    base, measure = key_measure(name.strip())
    if measure and base in known:
        return base, measure
    raise UnknownName.of("column", name, known, place="header")


def row_of(columns: list[tuple[str, str]], cells: list[Any], place: str) -> dict[str, tuple[Any, str]]:
    """Column -> (cell, measure of the column), of the cells that hold something.

    Raises
    ------
    InputError
        For more cells than columns.
    """
    if len(cells) > len(columns) and any(not blank(cell) for cell in cells[len(columns) :]):
        raise InputError(
            f"{len(cells)} cells under {len(columns)} columns",
            place=place,
            allowed="one cell for each column; a decimal comma needs semicolons between the cells",
        )
    return {
        name: (cell, measure)
        for (name, measure), cell in zip(columns, cells, strict=False)
        if name and not blank(cell)
    }


def number_in(cell: tuple[Any, str], measure: str, wanted: str, comma: bool, place: str) -> float:
    """An SI number from a cell; a bare number is in the measure of its column.

    Raises
    ------
    InputError
        For what is not one number, or of another kind of measure.
    """
    value, own = cell
    if isinstance(value, str):
        value = value.replace("\N{MINUS SIGN}", "-")
        found = _DECIMAL_COMMA.fullmatch(value) if comma else None
        text = "".join((found.group(1), ".", *found.groups()[1:])) if found else value
        try:
            value = float(text)
        except ValueError:
            value = text
    try:
        out = si(value, own or measure)
        if own or measure != wanted:
            si(f"1 {own or measure}", wanted)  # the column's measure must be of the quantity's kind
    except InputError as err:
        raise err.at(place=place) from None
    if not isinstance(out, float):
        raise InputError(f"{shown(value)} is not one number", place=place, allowed="one number in each cell")
    return out


class Cells(NamedTuple):
    """A table as it was given.

    Attributes
    ----------
    header : list of str
    rows : list of (int, list)
        The line in the file, or the place in the table from 1; and the cells.
    comma : bool
        Whether a comma is the decimal mark.
    file, sha256 : str
        Where it was read from; empty for a table that was handed over.
    """

    header: list[str]
    rows: list[tuple[int, list[Any]]]
    comma: bool = False
    file: str = ""
    sha256: str = ""


def is_table(source: Any) -> bool:
    """Whether `cells_of` takes it, but for a list: a path, a DataFrame, a mapping."""
    return isinstance(source, (str, os.PathLike, Mapping)) or _is_frame(source)


def _is_frame(source: Any) -> bool:
    return hasattr(source, "columns") and hasattr(source, "itertuples")


def cells_of(
    source: Any,
    of: str,
    one: str,
    most: int = MOST_ROWS,
    *,
    largest: int = LARGEST_FILE,
    what: str = "",
    allowed: str = "",
) -> Cells:
    """The rows of a CSV file, a DataFrame, a mapping of columns, or a list of mappings.

    Parameters
    ----------
    source : path, DataFrame, mapping or list of mappings
        A text is the path of a file. A mapping holds its columns as lists; one whose values are all single is
        one row.
    of, one : str
        What the table holds, and what a row is.
    most : int
        How many rows there may be.
    largest : int
        How large the file may be [bytes].
    what, allowed : str
        What the file is called, and what is allowed, for messages.

    Raises
    ------
    InputError
        For anything else, a file that is none, and too many rows.
    """
    if isinstance(source, (str, os.PathLike)):
        text, digest = read_text(source, largest, what or f"file of {of}")
        try:
            header, rows, comma = split_table(text, of, one)
        except InputError as err:
            raise err.at(file=str(source)) from None
        return Cells(header, rows, comma, str(source), digest)
    if _is_frame(source):
        at_most(len(source), most, of, of)
        found = [(i + 1, list(row)) for i, row in enumerate(source.itertuples(index=False, name=None))]
        return Cells([str(name) for name in source.columns], found)
    if isinstance(source, Mapping):
        return _of_columns(source, of, most)
    items = None
    if isinstance(source, Iterable) and getattr(source, "shape", (1,)) != ():
        items = listed_at_most(source, most, of, of)
    if not items or not all(isinstance(item, Mapping) for item in items):
        raise InputError(
            f"{shown(source)} is no table of {of}",
            allowed=allowed or "a CSV file, a DataFrame, a mapping of columns or a list of mappings",
        )
    header = list(dict.fromkeys(str(key) for item in items for key in item))
    return Cells(header, [(i + 1, [item.get(key) for key in header]) for i, item in enumerate(items)])


def _of_columns(source: Mapping[Any, Any], of: str, most: int) -> Cells:
    """The rows of a mapping of columns, where a single value stands in every row."""
    columns = {str(key): _column_of(value, of, most) for key, value in source.items()}
    sizes = {key: len(value) for key, value in columns.items() if isinstance(value, list)}
    count = max(sizes.values(), default=1)
    for key, size in sizes.items():
        if size != count:
            raise InputError(
                f"the column {key!r} has {size} rows and another {count}", place=of, allowed="as many in each"
            )
    filled = [value if isinstance(value, list) else [value] * count for value in columns.values()]
    return Cells(list(columns), [(i + 1, [column[i] for column in filled]) for i in range(count)])


def _column_of(value: Any, of: str, most: int) -> Any:
    """A column as a list; a single value as it is."""
    if isinstance(value, (str, bytes, Mapping)) or not isinstance(value, Iterable):
        return value
    return value if getattr(value, "shape", (1,)) == () else listed_at_most(value, most, of, of)


def read_rows(
    source: Any, measures: Mapping[str, str | None], needed: Iterable[str], of: str, one: str, most: int
) -> list[tuple[int, dict[str, Any]]]:
    """The rows of a table of numbers and words: (line or place, {column: SI number or text}).

    Parameters
    ----------
    source : path, DataFrame, mapping or list of mappings
        See `cells_of`.
    measures : mapping
        Column -> SI measure of its numbers; None for words.
    needed : iterable of str
        The columns in which every row must say something.
    of, one : str
        What the table holds, and what a row is.
    most : int
        How many rows there may be.

    Raises
    ------
    InputError
        One sentence with the file, the line and the column, for whatever is not understood.
    """
    needed = tuple(needed)
    given = cells_of(source, of, one, most)
    try:
        at_most(len(given.rows), most, of)
        columns = columns_of(given.header, measures, needed)
        for name, _ in columns:
            if name and name not in measures:
                raise UnknownName.of("column", name, measures, place="header")
        word = "line" if given.file else one
        problems, out = Problems(), []
        for line, cells in given.rows:
            with problems.noting():
                place = f"{word} {line}"
                out.append((line, _values(columns, cells, measures, needed, one, given.comma, place)))
            if len(problems.found) >= MOST_PROBLEMS:
                break
        problems.refuse()
        return out
    except InputError as err:
        raise err.at(file=given.file) from None


def _values(
    columns: list[tuple[str, str]],
    cells: list[Any],
    measures: Mapping[str, str | None],
    needed: Iterable[str],
    one: str,
    comma: bool,
    place: str,
) -> dict[str, Any]:
    """Column -> SI number or text of one row."""
    given = row_of(columns, cells, place)
    for name in needed:
        if name not in given:
            raise InputError(f"has no {name}", place=place, allowed=f"one for each {one}")
    out: dict[str, Any] = {}
    for name, cell in given.items():
        measure = measures[name]
        where = f"{place}, {name}"
        out[name] = str(cell[0]) if measure is None else number_in(cell, measure, measure, comma, where)
    return out
