"""Every number that a machine rests on, on few lines: what is alike in several parts stands together."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from ..display import style
from ..errors import UnknownName
from ..quantity import display_measure, from_si, suited
from ..wording import listed

if TYPE_CHECKING:
    from ..machine.machine import Machine

_POINT = re.compile(r"\[\d+\]$")
_NUMBERED = re.compile(r"(.*\S) ([1-9]\d{0,5})")


def assumption_rows(machine: Machine, measures: str = "metric") -> list[dict[str, Any]]:
    """A row for each number of each kind of part: whose it is, its value, where it comes from, its spread.

    Parts of a kind whose number is the same share a row; the points of a fan's curve are one row.
    """
    groups: dict[tuple[Any, ...], list[str]] = {}
    for owner, number_key, values, row in _numbers(machine):
        shown = _values(values, row["measure"], measures)
        spread = (
            f"±\N{NO-BREAK SPACE}{100.0 * row['spread']:.2g}\N{NO-BREAK SPACE}%" if row["spread"] else "-"
        )
        key = (_kind(machine, owner), number_key, shown, row["origin"], spread, row["doc"])
        groups.setdefault(key, []).append(owner)
    return [
        {
            "of": together(owners),
            "number": number_key.replace("_", " "),
            "taken_as": shown,
            "origin": origin,
            "spread": spread,
            "meaning": doc,
        }
        for (_, number_key, shown, origin, spread, doc), owners in groups.items()
    ]


def together(names: Iterable[str]) -> str:
    """Names as a sentence lists them, numbered ones together: "hose 1 to 5", "fan and jet 1 and 4"."""
    groups: dict[str, list[str]] = {}
    for name in names:
        found = _NUMBERED.fullmatch(name)
        base, number = found.groups() if found else (name, "")
        groups.setdefault(base, []).append(number)
    words = []
    for base, numbers in groups.items():
        own = [int(n) for n in numbers if n]
        run = len(own) > 2 and own == list(range(own[0], own[0] + len(own)))
        text = f"{own[0]} to {own[-1]}" if run else listed([n for n in numbers if n]) if own else ""
        words += [base] * ("" in numbers) + [f"{base} {text}"] * bool(own)
    return listed(words)


def _numbers(machine: Machine) -> list[tuple[str, str, list[Any], Mapping[str, Any]]]:
    """(owner, number, values, row) of everything that `describe` lists, points of one curve together."""
    out: dict[tuple[str, str], tuple[list[Any], Mapping[str, Any]]] = {}
    for row in machine.describe().rows():
        owner, _, number_key = row["address"].partition(".")
        values, _ = out.setdefault((owner, _POINT.sub("", number_key)), ([], row))
        values.append(machine.numbers[row["address"]])
    return [(owner, number_key, values, row) for (owner, number_key), (values, row) in out.items()]


def _kind(machine: Machine, owner: str) -> str:
    part = machine.layout.part.get(owner)
    if part is not None:
        return part.schema.part.kind
    return "tapping" if owner in machine.layout.tapping else owner


def _values(values: list[Any], measure: str, measures: str) -> str:
    """The values of a number, or of the points of a curve, with their measure; of a column its range too."""
    middles = [style.middle(value) for value in values]
    try:
        spelled = display_measure(suited(measure, max(map(abs, middles))), measures)
        own = [from_si(value, spelled) for value in values]
    except UnknownName:  # a coefficient's own measure
        spelled, own = measure, values
    text = f"{', '.join(_plain(style.middle(value)) for value in own)} {spelled}".strip()
    if len(values) == 1 and np.ndim(own[0]):
        low, high = _plain(float(np.min(own[0]))), _plain(float(np.max(own[0])))
        text += f" (the middle of {low} to {f'{high} {spelled}'.strip()})"
    return text


def _plain(value: float) -> str:
    """A number as it was written, more or less: four digits that count, no zeros behind them."""
    if value and math.isfinite(value) and abs(value) < 1e5:
        text = style.number(value, 4)
        return text.rstrip("0").rstrip(".") if "." in text and "e" not in text else text
    return style.number(value, 4)


def part_rows(machine: Machine) -> list[dict[str, Any]]:
    """A row for each part: its kind, between which nodes it stands, what turns it, remarks."""
    out = []
    for part in machine.layout.parts:
        ends = getattr(part.schema.part, "ends", ("from", "to"))
        if len(ends) == 2:
            way = f"{part.ends[0]} to {part.ends[1]}"
        else:
            way = ", ".join(f"{word}: {node}" for word, node in zip(ends, part.ends, strict=True))
        out.append(
            {
                "part": part.name,
                "kind": part.schema.part.kind,
                "between": way,
                "turned_by": part.drive,
                "note": part.note,
            }
        )
    return out
