"""A bare number is SI; a text carries its measure.

Texts are read by one regular expression and a list of known measures, never by a general expression
reader: such a reader takes "1,2 m" for 12 m and hangs on "9**9**9**9 m".
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from numbers import Real
from typing import Any, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from .errors import InputError, UnknownName, nearest_name, shown
from .measures import (
    CHARACTERS,
    ENDINGS,
    INCH,
    MEASURES,
    METRIC,
    SYSTEMS,
    WORDS,
    Measure,
    allowed_measures,
    example_text,
    find_measure,
    measure_of,
    spellings,
)


class HasArray(Protocol):
    """Anything that gives itself as an array: a column of a DataFrame."""

    def __array__(self) -> NDArray[Any]: ...


class Convertible(Protocol):
    """A quantity of a measures library: it converts itself."""

    def m_as(self, units: Any, /) -> Any:
        """Its numbers in these measures."""


Quantity: TypeAlias = float | str | Sequence[float | str] | NDArray[Any] | HasArray | Convertible
"""What may be given for a number: a float in SI, a text with its measure, or a column of either."""

_NUMBER = re.compile(r"([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*)", re.DOTALL)
_OPERATORS = ("*", "+", "-", "(", ")", "=", "_")
_FRACTION = re.compile(r"([+-]?)(?:([0-9]+)(?:\s+|\s?-\s?))?([0-9]+)/([0-9]+)(?![0-9./])\s*(.*)", re.DOTALL)
_FEET_INCHES = re.compile(r"([+-]?)(.*?[0-9])\s*(?:ft\.?|feet|foot|')\s*-?\s*([0-9.].*)", re.DOTALL)
_BALES = re.compile(r"(.*?[0-9.])\s*bales?\s*/\s*(acre|ha|m2)(?:\s+of\s+(.*))?", re.DOTALL)
_BY = re.compile(
    "(.*?[0-9].*?)\\s*(?:\\s[xX*]\\s|(?<=[0-9])x(?=[0-9])|\N{MULTIPLICATION SIGN}|\\sby\\s)\\s*(.*)",
    re.DOTALL,
)
_TIMES = re.compile("[xX\N{MULTIPLICATION SIGN}](.*)", re.DOTALL)


def si(value: Quantity | Any, measure: str) -> Any:
    """A quantity as an SI float, or a new float array for a list or an array.

    Parameters
    ----------
    value : number, text, array, or a list of numbers and texts
        A text carries its own measure ("6 in"). A bare number is in `measure`. Anything that converts
        itself by `.m_as(measure)`, as a quantity of a measures library does, is asked to.
    measure : str
        Which kind of quantity is wanted, by any known spelling.

    Returns
    -------
    float or ndarray
        In SI. With an SI `measure` bare numbers come back unchanged.

    Raises
    ------
    InputError
        For truth values, complex numbers, anything not finite, a text without its measure, with another
        kind of measure or with a decimal comma.
    UnknownName
        For an unknown `measure`.

    Examples
    --------
    >>> si("6 in", "m"), si(2.0, "m")
    (0.1524, 2.0)
    >>> si([0, 30], "rpm")
    array([0.        , 3.14159265])
    """
    wanted = measure_of(measure)
    if isinstance(value, str):
        return _read(value, wanted)
    if _plain(value):
        return _finite(_float(value), wanted, value)
    if hasattr(value, "m_as"):
        return _from_library(value, wanted)
    return _array(value, wanted)


def single(value: Any, measure: str, place: str = "") -> float:
    """One quantity as an SI float; an InputError that names `place` for a column and for what is none."""
    try:
        out = si(value, measure)
    except InputError as err:
        raise err.at(place=place) from None
    if not isinstance(out, float):
        raise InputError(
            f"{shown(value)} is not one number",
            place=place,
            allowed=f"one, like {example_text(measure_of(measure))}",
        )
    return out


def column(value: Any, measure: str, place: str) -> Any:
    """A quantity as an SI float, or a column as a 1-D array; else an InputError that names `place`."""
    try:
        out = si(value, measure)
    except InputError as err:
        raise err.at(place=place) from None
    if np.ndim(out) > 1 or np.size(out) == 0:
        raise InputError(f"a column of shape {np.shape(out)}", place=place, allowed="a number or a 1-D array")
    return out


def _plain(value: Any) -> bool:
    """A number of any kind; Python counts truth values and NumPy counts spans of time among them."""
    return isinstance(value, (Real, Decimal)) and not isinstance(value, (bool, np.bool_, np.timedelta64))


def _float(value: Any) -> float:
    try:
        return float(value)
    except (OverflowError, ValueError):  # too large; a decimal that signals
        return math.inf


def _finite(number: float, measure: Measure, given: Any) -> float:
    out = (number + measure.shift) * measure.times / measure.over
    if not math.isfinite(out):
        given = given.item() if isinstance(given, np.generic) else given
        raise InputError(f"{shown(given)} is no finite number", allowed="write a finite number")
    return out


def _array(value: Any, wanted: Measure) -> Any:
    if isinstance(value, (list, tuple, range)):
        if any(isinstance(item, (str, bool, np.bool_)) or hasattr(item, "m_as") for item in value):
            return np.array([_item(item, wanted) for item in value])
    elif not hasattr(value, "__array__") or isinstance(value, np.generic):
        raise _no_quantity(value, wanted)
    if np.ma.isMaskedArray(value) and np.ma.getmaskarray(value).any():
        raise InputError("a masked value is no number", allowed="finite numbers only")
    try:
        raw = np.asarray(value)
    except ValueError:
        raise _no_quantity(value, wanted) from None
    if raw.dtype.kind in "OUT":
        return np.array([_item(item, wanted) for item in raw.ravel()]).reshape(raw.shape)
    if raw.dtype.kind not in "iuf":
        raise _no_quantity(value, wanted)
    with np.errstate(over="ignore"):
        out = raw.astype(float) + wanted.shift
        if wanted.times != 1.0 or wanted.over != 1.0:
            out = out * wanted.times / wanted.over
    if not np.isfinite(out).all():
        raise InputError(
            f"{raw[~np.isfinite(out)].flat[0]:g} is no finite number", allowed="finite numbers only"
        )
    return out if out.ndim else float(out)


def _item(item: Any, wanted: Measure) -> float:
    out = si(item, wanted.dimension) if isinstance(item, str) or hasattr(item, "m_as") else None
    if out is None and _plain(item):
        out = _finite(_float(item), wanted, item)
    if not isinstance(out, float):
        raise _no_quantity(item, wanted)
    return out


def _from_library(value: Any, wanted: Measure) -> Any:
    name = {"": "dimensionless", "Pa s": "Pa*s", "J/kg K": "J/kg/K", "kg m2": "kg*m**2"}.get(
        wanted.dimension, re.sub(r"([a-z])([23])", r"\1**\2", wanted.dimension)
    )
    try:
        return si(value.m_as(name), wanted.dimension)
    except InputError:
        raise
    except (TypeError, ValueError, AttributeError) as err:  # what such libraries raise
        raise InputError(
            f"{shown(value)} does not convert to {name}: {err}", allowed=allowed_measures(wanted)
        ) from None


def _no_quantity(value: Any, wanted: Measure) -> InputError:
    kind = type(value).__name__
    return InputError(
        f"{shown(value)} ({kind}) is no number", allowed=f"a number, or a text like {example_text(wanted)}"
    )


def _read(text: str, wanted: Measure) -> float:
    """The SI value of a text; the order of the checks gives each slip its own sentence."""
    plain = text.translate(CHARACTERS).strip()
    joined = _joined(plain, text, wanted) if len(plain) <= 80 else None
    if joined is not None:
        return joined
    number, spelling = _number(plain, text, wanted)
    measure = find_measure(spelling)
    if spelling[:1].isdigit() and measure is None:
        raise InputError(f"{shown(text)} has a gap in its number", allowed="write its digits together")
    if not spelling and wanted.dimension:
        raise InputError(
            f"{shown(text)} lacks its measure",
            allowed=f"a text needs one, like {example_text(wanted)}; a bare number is SI",
        )
    if measure is None:
        known = spellings(wanted.dimension)
        nearest = nearest_name(spelling, known) or nearest_name(spelling, MEASURES)
        raise InputError(
            f"unknown measure {shown(spelling)} in {shown(text)}",
            allowed=allowed_measures(wanted),
            nearest=nearest,
        )
    if measure.dimension != wanted.dimension:
        what = WORDS.get(wanted.dimension, "a number")
        raise InputError(
            f"{what} given in {spelling or 'no measure'}: {shown(text)}", allowed=allowed_measures(wanted)
        )
    return _finite(number, measure, text)


def _number(plain: str, text: str, wanted: Measure) -> tuple[float, str]:
    """The number of a text, decimal or with a fraction ("2 1/4 in"), and what is left as its measure."""
    found = _FRACTION.fullmatch(plain) if len(plain) <= 80 else None
    if found is not None:
        sign, whole, above, below, spelling = found.groups()
        if int(below) == 0 or (whole is not None and int(above) >= int(below)):
            raise InputError(f"{shown(text)} has no proper fraction", allowed="a text like '2 1/4 in'")
        size = int(whole or 0) + Fraction(int(above), int(below))
        return float(-size if sign == "-" else size), spelling
    found = _NUMBER.fullmatch(plain) if len(plain) <= 80 else None
    if found is None or found.group(2).startswith(_OPERATORS):
        raise InputError(
            f"{shown(text)} is no number with its measure", allowed=f"a text like {example_text(wanted)}"
        )
    number, spelling = found.groups()
    if spelling.startswith(","):
        raise InputError(
            f"{shown(text)} has a comma in its number", allowed="write a decimal point, no commas"
        )
    return float(number), spelling


def _joined(plain: str, text: str, wanted: Measure) -> float | None:
    """Feet with inches ("5 ft 6 in"), width by height, bales of a stated mass; None for any other text."""
    sides = _BY.fullmatch(plain) if wanted.dimension == "m2" else None
    if sides is not None:
        width, height = sides.groups()
        spelling = "" if _number(width, text, wanted)[1] else f" {_number(height, text, wanted)[1]}"
        return _read(width + spelling, MEASURES["m"]) * _read(height, MEASURES["m"])
    feet = _FEET_INCHES.fullmatch(plain) if wanted.dimension == "m" else None
    if feet is not None:
        sign, first, second = feet.groups()
        try:
            inches = _read(second, wanted)
        except InputError:
            inches = math.inf
        if (
            inches == math.inf
            or find_measure(_number(second, text, wanted)[1]) is not MEASURES["in"]
            or inches >= _FOOT
        ):
            raise InputError(f"{shown(text)} is no length in feet and inches", allowed="like '5 ft 6 in'")
        size = _read(f"{first} ft", wanted) + inches
        return -size if sign == "-" else size
    bales = _BALES.fullmatch(plain) if wanted.dimension == "kg/m2" else None
    if bales is None:
        return None
    number, area, mass = bales.groups()
    if mass is None:
        raise InputError(
            f"{shown(text)} does not say what a bale is",
            allowed="the picked crop that makes one, seed and trash included, as in "
            "'2 bales/acre of 1260 lb'; or in [crop] the keys bales, bale_mass and turnout",
        )
    return _read(number, MEASURES[""]) * _read(mass, MEASURES["kg"]) / _read(f"1 {area}", MEASURES["m2"])


_FOOT = 0.3048

# ---- numbers that scale


@dataclass(frozen=True, eq=False)
class Times:
    """A factor on a number: "x0.8" in a file, `times(array)` in Python."""

    factor: Any

    def __repr__(self) -> str:
        return (
            f"x{self.factor:g}" if isinstance(self.factor, float) else f"x<column of {np.size(self.factor)}>"
        )

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Times) and np.array_equal(self.factor, other.factor)

    def __hash__(self) -> int:
        return hash(np.asarray(self.factor).tobytes())


def times(factor: Any) -> Times:
    """Scale a number instead of setting it, in `Machine.change`.

    Parameters
    ----------
    factor : float or array of shape (S,)
        Zero or more [-].

    Raises
    ------
    InputError
        For a negative factor, or one that is no finite number.
    """
    out = si(factor, "")
    if np.any(np.less(out, 0.0)):
        raise InputError(f"a factor of {np.min(out):g}", allowed="a factor of zero or more")
    return Times(out)


def parse_change(value: Any, measure: str) -> tuple[str, Any]:
    """What a change asks: ("set", SI float or array) or ("times", factor).

    `value` is a number, a text with its measure, a text "x0.8", an array or `times(...)`.
    """
    if isinstance(value, Times):
        return "times", value.factor
    scaled = _TIMES.fullmatch(value.strip()) if isinstance(value, str) else None
    if scaled is None:
        return "set", si(value, measure)
    try:
        return "times", times(_read(scaled.group(1), MEASURES[""])).factor
    except InputError as err:
        raise InputError(
            f"{shown(value)} is no factor: {err.problem}", allowed="a text like 'x0.8'"
        ) from None


# ---- numbers shown


def display_measure(measure: str, system: str = "metric") -> str:
    """The spelling in which tables and plots show a quantity.

    `measure` is SI, or the metric spelling that suits the number better ("mm" for a gap, "km/h" for a
    driving speed).
    """
    if not isinstance(system, str) or system not in SYSTEMS:
        raise UnknownName.of("system of measures", system, SYSTEMS)
    metric = METRIC.get(measure, measure)
    return metric if system == "metric" else INCH.get(metric, metric)


RPM = 60.0 / (2.0 * math.pi)
"""Revolutions per minute in 1 rad/s."""

SUITED = {"m": (1.0, "mm"), "m2": (0.1, "cm2")}
"""SI measure -> (limit, the smaller measure in which numbers below it read better)."""


def suited(measure: str, largest: float) -> str:
    """The metric spelling that suits numbers whose largest is `largest` (SI): mm for a gap, cm2 for a leak.

    Examples
    --------
    >>> suited("m", 0.165), suited("m", 3.2), suited("Pa", 0.1)
    ('mm', 'm', 'Pa')
    """
    limit, smaller = SUITED.get(measure, (0.0, ""))
    return smaller if 0.0 < abs(largest) < limit else display_measure(measure)


def show(value: Any, measure: str, system: str = "metric") -> tuple[Any, str]:
    """An SI value as a number to show, and the spelling of its measure.

    Examples
    --------
    >>> show(304.15, "K")
    (31.0, 'degC')
    """
    label = display_measure(measure, system)
    return from_si(value, label), label


def from_si(value: Any, measure: str) -> Any:
    """An SI value (number or array; None and NaN pass) as a number in `measure`."""
    if value is None:
        return None
    to = measure_of(measure)
    if type(value) is float:  # most often, and many times faster
        return value * to.over / to.times - to.shift
    with np.errstate(over="ignore"):
        out = np.multiply(value, to.over) / to.times - to.shift
    return out if np.ndim(out) else float(out)


def convert(value: Any, measure: str, to: str) -> Any:
    """A number in one measure as a number in another of the same kind (None and NaN pass).

    Raises
    ------
    InputError
        If the two measure different things.
    """
    if value is None or measure == to:
        return value
    source, target = measure_of(measure), measure_of(to)
    if source.dimension != target.dimension:
        raise InputError(f"{measure!r} does not convert to {to!r}", allowed=allowed_measures(source))
    return from_si((np.asarray(value, float) + source.shift) * source.times / source.over, to)


def key_measure(key: str) -> tuple[str, str]:
    """The name and the measure of a row's key: "duct_velocity_m_s" -> ("duct_velocity", "m/s").

    The measure is empty for a key that names none.
    """
    parts = key.split("_")
    for start in range(1, len(parts)):
        ending = "_".join(parts[start:])
        if ending in ENDINGS:
            return "_".join(parts[:start]), ENDINGS[ending]
    return key, ""


def measure_key(name: str, measure: str) -> str:
    """The row key for a name, or words, and a measure: ("vacuum 4", "Pa") -> "vacuum_4_Pa".

    Signs stay, so that "vacuum 4+R" and "vacuum 4-R" are two.
    """
    name = "_".join(name.split())
    ending = measure.replace("/", "_").replace(" ", "_")
    return f"{name}_{ending}" if ending else name


def measure_text(value: float, measure: str) -> str:
    """A text that `si` reads back to exactly the same float.

    `value` is in `measure`, as a bare number is. The text uses the usual measure ("2100 rpm", "31 degC")
    where that reads back exactly, else SI.

    Raises
    ------
    InputError
        For a column; a text holds one number.
    """
    if np.ndim(value):
        raise InputError(f"a column of {np.size(value)} values", allowed="one number; a text holds no column")
    number = si(float(value), measure)
    dimension = measure_of(measure).dimension
    usual = METRIC.get(dimension, dimension)
    easy = from_si(number, usual)
    text = f"{easy:.12g} {usual}".strip()
    if math.isfinite(easy) and _read(text, measure_of(dimension)) == number:
        return text
    return f"{number!r} {dimension}".strip()
