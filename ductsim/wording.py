"""Numbers in sentences."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence

from .errors import UnknownName
from .quantity import show, suited

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


def within(
    value: float, ends: Sequence[float], measure: str = "", measures: str = "metric", sign: bool = False
) -> tuple[str, str]:
    """A value and its range, with no digit that the range does not support: ("330 cm2", "220 to 430 cm2").

    The last digit shown is that of half the range's width, one more where that begins with 1 or 2. A range
    without width, or that is not known, supports three digits.

    Parameters
    ----------
    value : float
        In SI.
    ends : (low, high)
        In SI.
    measure : str
        Their SI measure; a coefficient's own, of which no list knows, stays as it is.
    measures : str
        "metric" or "inch".
    sign : bool
        Write a plus before what is above zero, as for a difference.

    Examples
    --------
    >>> within(0.0333, (0.0221, 0.0432), "m2")
    ('330 cm2', '220 to 430 cm2')
    >>> within(80.6, (71.9, 89.3), "Pa", sign=True)
    ('+81 Pa', '+72 to +89 Pa')
    """
    low, high = ends
    try:
        spelled = suited(measure, max(abs(value), abs(low), abs(high)))
        (own, label), (first, _), (last, _) = (show(v, spelled, measures) for v in (value, low, high))
    except UnknownName:
        own, first, last, label = value, low, high, measure
    if not math.isfinite(own):
        return "unknown", "unknown"
    half = 0.5 * abs(last - first)
    if math.isfinite(half) and half > 1e-9 * abs(own):
        places = -math.floor(math.log10(half / 3.0))
    else:
        places = 2 - math.floor(math.log10(abs(own))) if own else 0
    texts = [_to_place(number, places, sign) for number in (own, first, last)]
    return f"{texts[0]} {label}".rstrip(), f"{texts[1]} to {texts[2]} {label}".rstrip()


def _to_place(number: float, places: int, sign: bool) -> str:
    """A number rounded to so many decimals; below zero to tens, hundreds and so on."""
    if not math.isfinite(number):
        return "unknown"
    rounded = round(number, places) + 0.0  # no zero below zero
    return f"{rounded:{'+' if sign and rounded else ''},.{min(max(places, 0), 6)}f}"


def percent(share: float, sign: bool = False) -> str:
    """A share in whole percent, as a sentence says it: "81%", "+6%"; what rounds to nothing has no minus."""
    text = f"{share:{'+' if sign else ''}.0%}"
    return "0%" if text == "-0%" else text


def counted(count: int, word: str) -> str:
    """So many of something: "1 reading", "1,200 readings"."""
    return f"{count:,} {word}{'' if count == 1 else 's'}"


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
