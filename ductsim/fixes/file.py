"""Fixes from a file, a mapping, a table or a list."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from typing import Any

from ..documents.building import one_value
from ..documents.document import check_format, read_document, refuse_unknown, tables, text, unique
from ..documents.spreadsheet import blank, cells_of
from ..errors import InputError, Problems, shown
from ..size_limits import listed_at_most
from .fix import Fix

TOP = ("format", "ductsim", "input_sha256", "title", "note", "fix")
KEYS = ("name", "change", "replace", "minutes", "cost", "caution", "note")
COLUMNS = ("name", "address", "value", "minutes", "cost", "caution", "note")
ALLOWED = "ds.read_fixes(file), or a list of ds.Fix"
MOST_READ = 10_000


def read_fixes(source: Any) -> list[Fix]:
    """Fixes from a file, a mapping, a DataFrame or a list.

    Parameters
    ----------
    source : path, mapping, DataFrame, Fix, or list of Fix and mappings
        The path of a TOML file of format 1: `[[fix]]` with name, change, replace, minutes, cost, caution; a
        mapping with that file's tables, name -> change, or one fix's keys; a DataFrame with the columns
        name, address, value, minutes, cost, caution, note: a row for each number that a fix changes, those of
        one name being one fix.

    Returns
    -------
    list of Fix
        A fix whose minutes, cost or caution make no sense is there all the same; its `problem` says what is
        wrong, and a comparison shows it and goes on with the others.

    Raises
    ------
    InputError
        One sentence with the file, the place, what was wrong and what is allowed.
    """
    if isinstance(source, Fix):
        return [source]
    if isinstance(source, (str, os.PathLike)):
        return read_document(source, _of_file, "file of fixes")[0]
    if isinstance(source, Mapping):
        return _of_mapping(source)
    if hasattr(source, "columns") and hasattr(source, "itertuples"):
        return _of_rows(source)
    if isinstance(source, (bytes, bytearray, memoryview)) or not isinstance(source, Iterable):
        raise InputError(f"{shown(source)} is no list of fixes", allowed=ALLOWED)
    if getattr(source, "shape", (1,)) == ():
        raise InputError(f"{shown(source)} is no list of fixes", allowed=ALLOWED)
    return [_of_item(item) for item in listed_at_most(source, MOST_READ, "fixes", "fixes")]


def _of_file(document: Mapping[str, Any]) -> list[Fix]:
    check_format(document)
    return fixes_of(document)


def _of_item(item: Any) -> Fix:
    if isinstance(item, Fix):
        return item
    if not isinstance(item, Mapping):
        raise InputError(f"{shown(item)} is no fix", place="fixes", allowed="ds.Fix(name, change={...})")
    return _fix(item)


def _of_mapping(source: Mapping[str, Any]) -> list[Fix]:
    if "fix" in source and isinstance(source["fix"], (list, tuple)):
        if "format" in source:
            check_format(source)
        return fixes_of(source)
    if "name" in source and isinstance(source["name"], str):
        return [_fix(source)]
    return [Fix(name, change=change) for name, change in source.items()]


def _of_rows(source: Any) -> list[Fix]:
    """A row for each number that a fix changes."""
    given = cells_of(source, "fixes", "change", MOST_READ)
    refuse_unknown(dict.fromkeys(given.header), COLUMNS, "header")
    found: dict[str, dict[str, Any]] = {}
    for place, cells in given.rows:
        row = {key: cell for key, cell in zip(given.header, cells, strict=True) if not blank(cell)}
        missing = next((key for key in ("name", "address", "value") if key not in row), "")
        if missing:
            raise InputError(f"has no {missing}", place=f"row {place}", allowed="one for each change")
        own = found.setdefault(str(row["name"]), {"change": {}})
        address = str(row["address"])
        if address in own["change"]:
            raise InputError(f"changes {address!r} twice", place=f"fix {row['name']!r}")
        own["change"][address] = row["value"]
        for key in ("minutes", "cost", "caution", "note"):
            if key in row:
                own.setdefault(key, row[key])
    return [Fix(name, **values) for name, values in found.items()]


def fixes_of(document: Mapping[str, Any]) -> list[Fix]:
    """The fixes in a mapping with the tables and keys of a file of fixes."""
    found = Problems()
    with found.noting():
        refuse_unknown(document, TOP, "")
    out = []
    for i, table in enumerate(tables(document.get("fix"), "fix")):
        with found.noting("fix", i):
            out.append(_fix(table))
    found.refuse()
    if not out:
        raise InputError("there is no fix", place="fix", allowed="write a [[fix]] for each piece of work")
    unique([fix.name for fix in out], "fix")
    return out


def _fix(table: Mapping[str, Any]) -> Fix:
    """One fix from its keys."""
    name = text(table, "name", "fix")
    place = f"fix {name!r}"
    refuse_unknown(table, KEYS, place)
    values = {key: value for key, value in table.items() if key not in ("change", "replace")}
    change = table.get("change", {})
    if isinstance(change, Mapping):
        change = _flat(change)
        for address, value in change.items():
            one_value(value, address, f"{place}, change")
    note = text(table, "note", place, default="")
    return Fix(**values | {"change": change, "replace": table.get("replace", {}), "note": note})


def _flat(table: Mapping[str, Any], start: str = "") -> dict[str, Any]:
    """Addresses written without quotes are tables within tables: `belt.slip = 0` means "belt.slip"."""
    out: dict[str, Any] = {}
    for key, value in table.items():
        if isinstance(value, Mapping):
            out.update(_flat(value, f"{start}{key}."))
        else:
            out[f"{start}{key}"] = value
    return out
