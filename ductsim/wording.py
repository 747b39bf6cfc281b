"""Numbers in sentences."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

from .quantity import show

LEAST_SAID = 5e-7
"""Below this a number shows as nothing at the six decimals that sentences have."""


def said(value: float, measure: str, measures: str = "metric", digits: int = 3, sign: bool = False) -> str:
    """An SI value with its measure, as a sentence says it: "305 Pa", "+0.028 kg/s".

    Parameters
    ----------
    value : float
        In SI.
    measure : str
        Its SI measure.
    measures : str
        "metric" or "inch".
    digits : int
        How many digits count.
    sign : bool
        Write a plus before what is above zero, as for a difference.
    """
    number, label = show(value, measure, measures)
    if not math.isfinite(number):
        return "unknown"
    if abs(number) < LEAST_SAID:
        return f"0 {label}".rstrip()
    places = digits - 1 - math.floor(math.log10(abs(number))) if number else 0
    plus = "+" if sign else ""
    return f"{number:{plus},.{min(max(places, 0), 6)}f} {label}".rstrip()


def percent(share: float, sign: bool = False) -> str:
    """A share in whole percent, as a sentence says it: "81%", "+6%"; what rounds to nothing has no minus."""
    text = f"{share:{'+' if sign else ''}.0%}"
    return "0%" if text == "-0%" else text


def listed(words: Sequence[str], joint: str = "and") -> str:
    """Words as a sentence lists them: "a, b and c"."""
    *most, last = words or [""]
    return f"{', '.join(most)} {joint} {last}" if most else last


def gathered(names: Iterable[str]) -> str:
    """Names as a sentence lists them, numbered ones together: "hatch leak 1, 2 and 5, box leak"."""
    groups: dict[str, list[str]] = {}
    for name in names:
        found = re.fullmatch(r"(.*\S) (\d+)", name)
        base, number = found.groups() if found else (name, "")
        groups.setdefault(base, []).append(number)
    words = []
    for base, numbers in groups.items():
        known = sorted((n for n in numbers if n), key=int)
        words.append(f"{base} {listed(known)}" if known else base)
    return ", ".join(words)
