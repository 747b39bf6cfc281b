"""Tables in CSV files as people write them: separators, decimal commas, measures, remarks.

Separators are commas, semicolons or tabs; with semicolons and tabs a decimal comma is understood. Lines that
begin with # are remarks. A bare number is SI, a text carries its measure, and so may the name of a column.
"""

from __future__ import annotations

import csv
import io
import math
import os
import re
from collections.abc import Iterable, Mapping
from typing import Any

from ..errors import InputError, UnknownName, nearest_name, shown
from ..quantity import key_measure, si
from .document import read_text

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
    reader = csv.reader(io.StringIO("\n".join(lines[first:])), delimiter=separator, skipinitialspace=True)
    try:
        for cells in reader:
            number = first + reader.line_num
            if any(cell.strip() for cell in cells) and not cells[0].lstrip().startswith("#"):
                rows.append((number, [cell.strip() for cell in cells]))
    except csv.Error as err:
        raise InputError(f"is no table: {err}", place=f"line {first + reader.line_num}") from None
    if len(rows) < 2:
        raise InputError(f"holds no {of}", allowed=f"a header, and a line for each {one} under it")
    return rows[0][1], rows[1:], separator != ","


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


def read_rows(
    path: str | os.PathLike[str], measures: Mapping[str, str | None], needed: Iterable[str], of: str, one: str
) -> list[tuple[int, dict[str, Any]]]:
    """The lines of a file of numbers and words: (line, {column: SI number or text}).

    Parameters
    ----------
    path : str or path
        The file.
    measures : mapping
        Column -> SI measure of its numbers; None for words.
    needed : iterable of str
        The columns in which every line must say something.
    of, one : str
        What the table holds, and what a line is.

    Raises
    ------
    InputError
        One sentence with the file, the line and the column, for whatever is not understood.
    """
    needed = tuple(needed)
    text, _ = read_text(path, what=f"file of {of}")
    out: list[tuple[int, dict[str, Any]]] = []
    try:
        header, rows, comma = split_table(text, of, one)
        columns = columns_of(header, measures, needed)
        for name, _ in columns:
            if name and name not in measures:
                raise UnknownName.of("column", name, measures, place="header")
        for line, cells in rows:
            place = f"line {line}"
            given = row_of(columns, cells, place)
            for name in needed:
                if name not in given:
                    raise InputError(f"has no {name}", place=place, allowed=f"one for each {one}")
            values: dict[str, Any] = {}
            for name, cell in given.items():
                measure = measures[name]
                where = f"{place}, {name}"
                values[name] = (
                    str(cell[0]) if measure is None else number_in(cell, measure, measure, comma, where)
                )
            out.append((line, values))
    except InputError as err:
        raise err.at(file=str(path)) from None
    return out
