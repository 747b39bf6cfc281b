"""The numbers of a part in words, from their declarations: for its docstring and for the reference page."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

from ..quantity import from_si, suited
from .numbers import REQUIRED, Number, Word

HEADING = "Parameters\n----------"


def number_rows(kind: Any) -> list[dict[str, str]]:
    """A row for each field of a part: its key, measure, range, default, usual spread and meaning.

    `kind` is a class with declared fields. The default reads "required" where a value must be given, and
    "optional" where none is assumed; the spread is empty where the number is exact.
    """
    rows = []
    for given in dataclasses.fields(kind):
        declared = kind.declared[given.name]
        number = declared if isinstance(declared, Number) else None
        rows.append(
            {
                "key": given.name,
                "measure": "" if number is None else number.measure or "-",
                "range": _range(declared),
                "default": _default(declared, given.default),
                "spread": f"{100.0 * number.spread:g} %" if number and number.spread else "",
                "meaning": declared.doc + ("; a list" if number and number.points else "") + _words(number),
            }
        )
    return rows


def _words(number: Number | None) -> str:
    """The words that may stand in place of a number."""
    words = ", ".join(f'"{choice.word}"' for choice in number.words) if number else ""
    return f"; or a word: {words}" if words else ""


def alternatives(kind: Any) -> str:
    """Which sets of its numbers exclude each other, as a sentence; empty where none do."""
    if not kind.choices:
        return ""
    return f"Give exactly one set of {' or '.join(' and '.join(keys) for keys in kind.choices)}."


def docstring(kind: Any, own: str) -> str:
    """The docstring of a part, its own words followed by its numbers; unchanged if it lists them itself."""
    if re.search(r"^ *Parameters\n *-+$", own, re.M):
        return own
    lines = [own.rstrip(), ""] if own.strip() else []
    margin = _margin(own)
    for line in (*HEADING.split("\n"), *_parameters(kind)):
        lines.append(f"{margin}{line}".rstrip())
    return "\n".join(lines) + "\n"


def _margin(own: str) -> str:
    """How far the lines of a docstring after the first are indented, as `inspect.cleandoc` sees it."""
    rest = [line for line in own.splitlines()[1:] if line.strip()]
    return min((line[: len(line) - len(line.lstrip())] for line in rest), key=len, default="")


def _parameters(kind: Any) -> list[str]:
    out = []
    for row in number_rows(kind):
        plain = row["default"] in ("required", "optional")
        default = row["default"] if plain else f"default {row['default']}"
        words = [word for word in (row["measure"], row["range"], default) if word]
        spread = f"; usual spread {row['spread']}" if row["spread"] else ""
        out += [f"{row['key']} : {', '.join(words)}{spread}", f"    {row['meaning']}"]
    return out


def _range(declared: Any) -> str:
    if isinstance(declared, Word):
        return " or ".join(f'"{choice}"' for choice in declared.choices)
    if isinstance(declared, Number):
        return declared.allowed.removeprefix("allowed: ")
    return f"any number of {declared.name}s"


def _default(declared: Any, value: Any) -> str:
    """The default as people write it; a spelling that suits its size (mm for a roughness)."""
    if value is REQUIRED:
        return "required"
    if value is None or value == ():
        return "optional"
    if not isinstance(declared, Number):
        return f'"{value}"'
    if not isinstance(value, (int, float)):  # a text with its measure, or several points
        return str(value)
    label = suited(declared.measure, value)
    return f"{from_si(value, label):.6g} {label}".strip()
