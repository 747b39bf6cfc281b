"""A crop from a file, a mapping or a table."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import Any

from ..documents.building import build
from ..documents.document import MACHINE_FORMAT, check_format, read_document, refuse_unknown, table
from ..documents.spreadsheet import Cells, blank, cells_of
from ..errors import InputError, shown
from .crop import Crop

TOP = ("format", "ductsim", "input_sha256", "title", "note", "crop")


def read_crop(source: Any) -> Crop:
    """The crop in a file, a mapping or a DataFrame.

    Parameters
    ----------
    source : path, mapping, DataFrame or Crop
        The path of a TOML file of format 1 with one table, `[crop]`, or of a machine file with that table; a
        mapping with the keys of that table, or with the table under "crop"; a DataFrame with one row and a
        column for each key, or with the columns `number` (a key, or its address) and `value`.

    Raises
    ------
    InputError
        One sentence with the file, the place, what was wrong and what is allowed.
    """
    if isinstance(source, Crop):
        return source
    if isinstance(source, (str, os.PathLike)):
        return read_document(source, _of_file, "crop file")[0]
    if isinstance(source, Mapping):
        return _of_document(source) if "crop" in source else _of_keys(source)
    if hasattr(source, "columns") and hasattr(source, "itertuples"):
        return _of_keys(_keys_of(cells_of(source, "a crop", "number")))
    raise InputError(
        f"{shown(source)} is not a crop",
        place="crop",
        allowed="ds.Crop(...), a file, a mapping of its numbers or a DataFrame",
    )


def _of_file(document: Mapping[str, Any]) -> Crop:
    check_format(document, MACHINE_FORMAT)  # a machine file holds a crop too
    return _of_document(document)


def _of_document(document: Mapping[str, Any]) -> Crop:
    if "part" not in document:  # a machine file has other tables, which are its own business
        refuse_unknown(document, TOP, "")
    if "crop" not in document:
        raise InputError("the table [crop] is missing", allowed="write [crop] and its numbers")
    try:
        crop: Crop = build(Crop, table(document["crop"], "crop"), "crop")
    except InputError as err:
        raise err.at(key=("crop",)) from None
    return crop


def _of_keys(values: Mapping[str, Any]) -> Crop:
    """From the keys of the table; Python may give columns."""
    crop: Crop = Crop.of(dict(values))
    return crop


def _keys_of(given: Cells) -> dict[str, Any]:
    """Key -> value from one row of numbers, or from rows with a number's name and its value."""
    if {"number", "value"} <= set(given.header):
        name, value = given.header.index("number"), given.header.index("value")
        pairs = [(str(cells[name]).removeprefix("crop."), cells[value]) for _, cells in given.rows]
    elif len(given.rows) == 1:
        pairs = list(zip(given.header, given.rows[0][1], strict=True))
    else:
        raise InputError(
            f"a table of {len(given.rows)} rows is not a crop",
            place="crop",
            allowed="one row, or the columns 'number' and 'value'",
        )
    return {key: value for key, value in pairs if not blank(value)}
