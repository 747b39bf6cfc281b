"""Numbers as tables show them: so many digits as count, aligned in a column."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

BLANK = "-"
LONGEST_WHOLE = 10**15
"""Numbers below it are written out."""


def is_number(value: Any) -> bool:
    """Whether it is a number, which a truth value is not."""
    return isinstance(value, (int, float)) and not isinstance(value, bool)


def figure(value: float | None, digits: int = 4) -> str:
    """A single number with so many digits that count, without an exponent where it can be helped.

    Examples
    --------
    >>> figure(2100.0), figure(0.000412345), figure(-1.5), figure(None)
    ('2,100', '0.0004123', '-1.5', '-')
    """
    if value is None or not math.isfinite(value):
        return BLANK
    if value == 0.0:
        return "0"
    places = digits - 1 - math.floor(math.log10(abs(value)))
    if places > digits + 6 or places < digits - 10:
        return f"{value:.{digits - 1}e}"
    text = f"{value:,.{max(places, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def figures(values: list[Any], measure: str) -> list[str]:
    """The numbers of one column with the same decimals, so that they align.

    Numbers without a measure may be of unlike kinds: each then gets its own decimals where they differ much.
    """
    known = [v for v in values if is_number(v)]
    if all(isinstance(v, int) for v in known):
        return [_whole(v) if is_number(v) else BLANK for v in values]
    sizes = [abs(v) for v in known if v]
    if not sizes:
        return ["0" if is_number(v) else BLANK for v in values]
    places = _places(min(sizes), max(sizes), measure)
    whole = all(v == round(v) for v in known) and max(sizes) < 1e6
    long = abs(places) > 6 or max(sizes) >= LONGEST_WHOLE
    if long or (not measure and min(sizes) < 1e-3 * max(sizes)):
        return [figure(v, 3) if is_number(v) else BLANK for v in values]
    places = 0 if whole else max(places, 0)
    texts = [f"{v:,.{places}f}" if is_number(v) else BLANK for v in values]
    return [f"{0.0:.{places}f}" if _is_zero(text) else text for text in texts]


def _whole(value: int) -> str:
    """A whole number; one that no page holds with an exponent."""
    return f"{value:,d}" if abs(value) < LONGEST_WHOLE else f"{Decimal(value):.2e}"


def _places(smallest: float, largest: float, measure: str) -> int:
    """The decimals of a column: three digits that count for the largest, one more if others need it.

    What is 1 but for the rounding of a search is 1.
    """
    if measure == "%":
        return 0 if smallest >= 1.0 else 1
    small, large = (math.floor(math.log10(size) + 1e-7) for size in (smallest, largest))
    return max(2 - large, min(2 - small, 3 - large))


def _is_zero(text: str) -> bool:
    """Whether a number's text shows nothing but zeros, perhaps with a sign to take away."""
    return text != BLANK and not text.lstrip("-").strip("0.")
