"""The measures that a text may carry: spellings, factors, kinds of quantity.

The factors stand in this file because loading a measures library takes about a second (measured: 0.6 s
for the import and 0.35 s for its registry), longer than the first answer at a command line may take; the
tests hold every factor against that library.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from fractions import Fraction

from .errors import UnknownName


@dataclass(frozen=True, slots=True)
class Measure:
    """What a spelling means: SI value = (number + shift) * times / over.

    `dimension` is the SI spelling of the same kind of quantity. Two factors instead of one keep decimal
    texts exact: 165 / 1000 is the float 0.165, 165 * 0.001 may not be.
    """

    dimension: str
    times: float = 1.0
    over: float = 1.0
    shift: float = 0.0


_MILLI = Fraction(1, 1000)
_INCH = Fraction(254, 10_000)
_FOOT = 12 * _INCH
_ACRE = 43_560 * _FOOT**2  # the international acre
_POUND = Fraction(45_359_237, 100_000_000)
_GRAVITY = Fraction(980_665, 100_000)
_MERCURY = Fraction(135_951, 10) * _GRAVITY  # conventional mercury, 13 595.1 kg/m3
_HORSEPOWER = 550 * _FOOT * _POUND * _GRAVITY
_KWH = 3_600_000

# SI spelling: (words, {spelling: factor}), the SI spelling first. Water columns are conventional
# (1000 kg/m3, 9.80665 m/s2), hp is 550 ft lbf/s, PS is 75 m kgf/s; volumes of air are at its own state.
_GROUPS: dict[str, tuple[str, dict[str, Fraction | int]]] = {
    "": ("a ratio", {"": 1, "%": Fraction(1, 100)}),
    "m": (
        "a length",
        {
            "m": 1,
            "cm": 10 * _MILLI,
            "mm": _MILLI,
            "um": _MILLI**2,
            "km": 1000,
            "in": _INCH,
            "ft": _FOOT,
            "mi": 5280 * _FOOT,
        },
    ),
    "m2": (
        "an area",
        {
            "m2": 1,
            "cm2": _MILLI / 10,
            "mm2": _MILLI**2,
            "in2": _INCH**2,
            "ft2": _FOOT**2,
            "ha": 10_000,
            "acre": _ACRE,
        },
    ),
    "m3": ("a volume", {"m3": 1, "L": _MILLI, "cm3": _MILLI**2, "ft3": _FOOT**3}),
    "kg": ("a mass", {"kg": 1, "g": _MILLI, "t": 1000, "lb": _POUND}),
    "s": ("a time", {"s": 1, "min": 60, "h": 3600}),
    "m/s": (
        "a velocity",
        {
            "m/s": 1,
            "km/h": Fraction(1000, 3600),
            "ft/min": _FOOT / 60,
            "ft/s": _FOOT,
            "mph": 5280 * _FOOT / 3600,
        },
    ),
    "m3/s": (
        "a volume flow",
        {
            "m3/s": 1,
            "m3/min": Fraction(1, 60),
            "m3/h": Fraction(1, 3600),
            "L/s": _MILLI,
            "L/min": _MILLI / 60,
            "L/h": _MILLI / 3600,
            "CFM": _FOOT**3 / 60,
        },
    ),
    "kg/s": (
        "a mass flow",
        {
            "kg/s": 1,
            "g/s": _MILLI,
            "kg/min": Fraction(1, 60),
            "kg/h": Fraction(1, 3600),
            "t/h": Fraction(1000, 3600),
            "lb/s": _POUND,
            "lb/min": _POUND / 60,
            "lb/h": _POUND / 3600,
        },
    ),
    "Pa": (
        "a pressure",
        {
            "Pa": 1,
            "hPa": 100,
            "kPa": 1000,
            "MPa": 1_000_000,
            "mbar": 100,
            "bar": 100_000,
            "inH2O": 1000 * _GRAVITY * _INCH,
            "mmH2O": _GRAVITY,
            "inHg": _MERCURY * _INCH,
            "mmHg": _MERCURY * _MILLI,
            "psi": _POUND * _GRAVITY / _INCH**2,
        },
    ),
    "kg/m3": ("a density", {"kg/m3": 1, "g/L": 1, "lb/ft3": _POUND / _FOOT**3}),
    "kg/m2": (
        "a mass per area",
        {
            "kg/m2": 1,
            "g/m2": _MILLI,
            "kg/ha": _MILLI / 10,
            "t/ha": Fraction(1, 10),
            "lb/acre": _POUND / _ACRE,
        },
    ),
    "1/m2": ("a number per area", {"1/m2": 1, "1/ha": Fraction(1, 10_000), "1/acre": 1 / _ACRE}),
    "m2/s": ("an area per time", {"m2/s": 1, "ha/h": Fraction(100, 36), "acre/h": _ACRE / 3600}),
    "m3/kg": ("a volume per mass", {"m3/kg": 1, "L/kg": _MILLI, "ft3/lb": _FOOT**3 / _POUND}),
    "W": ("a power", {"W": 1, "kW": 1000, "hp": _HORSEPOWER, "PS": 75 * _GRAVITY}),
    "J": ("an energy", {"J": 1, "kJ": 1000, "MJ": 1_000_000, "kWh": _KWH}),
    "kg/J": (
        "a mass per energy",
        {
            "kg/J": 1,
            "g/kWh": _MILLI / _KWH,
            "kg/kWh": Fraction(1, _KWH),
            "lb/hp h": _POUND / (3600 * _HORSEPOWER),
        },
    ),
    "Pa s": ("a viscosity", {"Pa s": 1, "mPa s": _MILLI, "uPa s": _MILLI**2}),
    "J/kg K": ("a heat capacity", {"J/kg K": 1, "kJ/kg K": 1000}),
    "kg m2": ("a moment of inertia", {"kg m2": 1, "lb ft2": _POUND * _FOOT**2}),
}

MEASURES: dict[str, Measure] = {
    spelling: Measure(dimension, float(Fraction(factor).numerator), float(Fraction(factor).denominator))
    for dimension, (_, spellings) in _GROUPS.items()
    for spelling, factor in spellings.items()
} | {
    "rad": Measure("rad"),
    "deg": Measure("rad", math.pi, 180.0),
    "rad/s": Measure("rad/s"),
    "rpm": Measure("rad/s", math.pi, 30.0),
    "rev/s": Measure("rad/s", 2 * math.pi),
    "K": Measure("K"),
    "degC": Measure("K", shift=273.15),
    "degF": Measure("K", 5.0, 9.0, shift=459.67),
}
"""Every spelling of a measure that a text may carry."""

WORDS: dict[str, str] = {dimension: words for dimension, (words, _) in _GROUPS.items()} | {
    "rad": "an angle",
    "rad/s": "a speed of rotation",
    "K": "a temperature",
}
"""What each SI measure measures, in words."""

_EXAMPLES = {"": "0.35", "rad": "90 deg", "rad/s": "2100 rpm", "K": "31 degC", "Pa": "250 Pa", "W": "12 kW"}
OTHER_SPELLINGS = {
    "-": "",
    "1": "",
    "m^2": "m2",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "feet": "ft",
    "meter": "m",
    "meters": "m",
    "metre": "m",
    "metres": "m",
    "acres": "acre",
    "sq m": "m2",
    "sq cm": "cm2",
    "sq mm": "mm2",
    "lbs": "lb",
    "lbs/h": "lb/h",
    "lb/hr": "lb/h",
    "lbs/hr": "lb/h",
    "lbs/min": "lb/min",
    "lbs/acre": "lb/acre",
    "lb/ac": "lb/acre",
    "hr": "h",
    "hours": "h",
    "minutes": "min",
    "seconds": "s",
    "RPM": "rpm",
    "MPH": "mph",
    "HP": "hp",
    "PSI": "psi",
    "foot": "ft",
    "'": "ft",
    "sq ft": "ft2",
    "sq in": "in2",
    "l": "L",
    "l/s": "L/s",
    "l/min": "L/min",
    "l/h": "L/h",
    "sec": "s",
    "kph": "km/h",
    "kmh": "km/h",
    "fpm": "ft/min",
    "cfm": "CFM",
    "ft3/min": "CFM",
    "in wg": "inH2O",
    "inWG": "inH2O",
    "in H2O": "inH2O",
    "in wc": "inH2O",
    "in WC": "inH2O",
    "in WG": "inH2O",
    "inWC": "inH2O",
    "inwc": "inH2O",
    "inwg": "inH2O",
    '"wc': "inH2O",
    '"WC': "inH2O",
    '"wg': "inH2O",
    '"WG': "inH2O",
    '"H2O': "inH2O",
    '" wc': "inH2O",
    '" WC': "inH2O",
    '" wg': "inH2O",
    '" H2O': "inH2O",
    "in water": "inH2O",
    "in of water": "inH2O",
    "inches water": "inH2O",
    "inches of water": "inH2O",
    "inches wc": "inH2O",
    "inches H2O": "inH2O",
    "mm H2O": "mmH2O",
    "mm wc": "mmH2O",
    "mm WC": "mmH2O",
    "mmWC": "mmH2O",
    "r/min": "rpm",
    "1/min": "rpm",
    "\N{DEGREE SIGN}": "deg",
    "degrees": "deg",
    "deg C": "degC",
    "deg F": "degF",
    "\N{DEGREE SIGN}C": "degC",
    "C": "degC",
    "\N{DEGREE SIGN}F": "degF",
    "F": "degF",
    "Pa*s": "Pa s",
    "J/(kg K)": "J/kg K",
    "kJ/(kg K)": "kJ/kg K",
    "lb/(hp h)": "lb/hp h",
    "kg*m2": "kg m2",
    "bales/ha": "1/ha",
    "bale/ha": "1/ha",
    "bales/acre": "1/acre",
    "bale/acre": "1/acre",
    "MM": "mm",
    "Mm": "mm",
    "millimeters": "mm",
    "millimetres": "mm",
    "CM": "cm",
    "Cm": "cm",
    "centimeters": "cm",
    "centimetres": "cm",
    "IN": "in",
    "In": "in",
    "Inch": "in",
    "INCH": "in",
    "FT": "ft",
    "Ft": "ft",
    "Feet": "ft",
    "pa": "Pa",
    "PA": "Pa",
    "kpa": "kPa",
    "KPA": "kPa",
    "KPa": "kPa",
    "Kpa": "kPa",
    "kw": "kW",
    "KW": "kW",
    "Kw": "kW",
    "Rpm": "rpm",
    "rev/min": "rpm",
    "min-1": "rpm",
    "/min": "rpm",
    "U/min": "rpm",
    "RPMs": "rpm",
    "rpms": "rpm",
    "Hz": "rev/s",
    "m3/hr": "m3/h",
    "cmh": "m3/h",
    "CMH": "m3/h",
    "square inches": "in2",
    "square inch": "in2",
    "sq inches": "in2",
    "sq inch": "in2",
    "sqin": "in2",
    "inch2": "in2",
    "inches2": "in2",
    "square in": "in2",
    "square feet": "ft2",
    "square foot": "ft2",
    "sq feet": "ft2",
    "sqft": "ft2",
    "feet2": "ft2",
    "foot2": "ft2",
    "square ft": "ft2",
    "square cm": "cm2",
    "sqcm": "cm2",
    "square mm": "mm2",
    "sqmm": "mm2",
    "square m": "m2",
    "sqm": "m2",
    "square meters": "m2",
    "square metres": "m2",
    "iwc": "inH2O",
    "IWC": "inH2O",
    "iwg": "inH2O",
    "in h2o": "inH2O",
    "inh2o": "inH2O",
    "inH20": "inH2O",
    "in H20": "inH2O",
    "mm h2o": "mmH2O",
    "mmh2o": "mmH2O",
    "mmwc": "mmH2O",
    "mmWS": "mmH2O",
    "mm WS": "mmH2O",
    "in Hg": "inHg",
    "mm Hg": "mmHg",
    "bars": "bar",
    "mbars": "mbar",
    "celsius": "degC",
    "Celsius": "degC",
    "degrees C": "degC",
    "fahrenheit": "degF",
    "Fahrenheit": "degF",
    "degrees F": "degF",
    "km/hr": "km/h",
    "kmph": "km/h",
    "KPH": "km/h",
    "pounds": "lb",
    "pound": "lb",
    "mins": "min",
    "Min": "min",
    "hour": "h",
    "hrs": "h",
    "minute": "min",
    "degree": "deg",
}
_ABBREVIATED = re.compile(r"(?<=[A-Za-z])\.(?![0-9])")
_OWN: dict[str, Measure] = {}
CHARACTERS = str.maketrans(
    {
        "\N{SUPERSCRIPT TWO}": "2",
        "\N{SUPERSCRIPT THREE}": "3",
        "\N{MICRO SIGN}": "u",
        "\N{GREEK SMALL LETTER MU}": "u",
        "\N{MINUS SIGN}": "-",
        "\N{DOT OPERATOR}": " ",
        "\N{MIDDLE DOT}": " ",
        "\N{SUBSCRIPT TWO}": "2",
        "\N{PRIME}": "'",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{DOUBLE PRIME}": '"',
        "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
        "\N{MASCULINE ORDINAL INDICATOR}": "\N{DEGREE SIGN}",
        "\N{VULGAR FRACTION ONE QUARTER}": " 1/4",
        "\N{VULGAR FRACTION ONE HALF}": " 1/2",
        "\N{VULGAR FRACTION THREE QUARTERS}": " 3/4",
        "\N{VULGAR FRACTION ONE EIGHTH}": " 1/8",
        "\N{VULGAR FRACTION THREE EIGHTHS}": " 3/8",
        "\N{VULGAR FRACTION FIVE EIGHTHS}": " 5/8",
        "\N{VULGAR FRACTION SEVEN EIGHTHS}": " 7/8",
        "^": None,
    }
)


def own_measure(spelling: str) -> None:
    """Make `spelling` a measure of its own kind, for a coefficient whose measure no list can hold.

    Every declared number does this; a spelling that is known already stays what it is. A text for such a
    number carries exactly this spelling.
    """
    if find_measure(spelling) is None:
        _OWN[plain_spelling(spelling)] = Measure(spelling)


def find_measure(spelling: str) -> Measure | None:
    """The measure of a spelling, None when it is not known."""
    known = MEASURES.get(spelling)
    if known is None:
        plain = plain_spelling(spelling)
        plain = OTHER_SPELLINGS.get(plain, plain)
        known = MEASURES.get(plain) or _OWN.get(plain)
    return known


def plain_spelling(spelling: str) -> str:
    """A spelling in plain characters with single spaces: "kg/m\N{SUPERSCRIPT THREE}" -> "kg/m3".

    The full stops of abbreviations go: "in. w.c." -> "in wc".
    """
    return " ".join(_ABBREVIATED.sub("", spelling.translate(CHARACTERS)).split())


def measure_of(measure: str) -> Measure:
    """The measure of a spelling; an UnknownName with the nearest one when it is not known."""
    known = find_measure(measure) if isinstance(measure, str) else None
    if known is None:
        raise UnknownName.of("measure", measure, [*MEASURES, *OTHER_SPELLINGS])
    return known


def spellings(dimension: str) -> list[str]:
    """The known spellings of one kind of quantity, the SI spelling first."""
    own = [m.dimension for m in _OWN.values() if m.dimension == dimension]
    return [s for s, m in MEASURES.items() if m.dimension == dimension] + own


def allowed_measures(wanted: Measure) -> str:
    """For messages: the kind of quantity in words and its spellings."""
    words = WORDS.get(wanted.dimension, "a number")
    *most, last = [name or "plain number" for name in spellings(wanted.dimension)]
    return f"allowed: {words} in {', '.join(most)} or {last}" if most else f"allowed: {words} in {last}"


def example_text(wanted: Measure) -> str:
    """For messages: a text as it should be, in quotes."""
    return repr(_EXAMPLES.get(wanted.dimension, f"1.8 {wanted.dimension}"))


# ---- measures shown

METRIC = {  # SI spelling -> what people read; all others are shown as they are
    "rad": "deg",
    "rad/s": "rpm",
    "K": "degC",
    "W": "kW",
    "kg/J": "g/kWh",
    "m2/s": "ha/h",
    "J": "kWh",
}
INCH = {  # metric spelling -> inch spelling
    "m": "ft",
    "cm": "in",
    "mm": "in",
    "km": "mi",
    "m2": "ft2",
    "cm2": "in2",
    "mm2": "in2",
    "ha": "acre",
    "m3": "ft3",
    "kg": "lb",
    "m/s": "ft/min",
    "km/h": "mph",
    "m3/s": "CFM",
    "m3/h": "CFM",
    "L/s": "CFM",
    "kg/s": "lb/min",
    "kg/h": "lb/h",
    "t/h": "lb/h",
    "Pa": "inH2O",
    "hPa": "inHg",
    "kPa": "inH2O",
    "kg/m3": "lb/ft3",
    "kg/m2": "lb/acre",
    "kg/ha": "lb/acre",
    "t/ha": "lb/acre",
    "ha/h": "acre/h",
    "m3/kg": "ft3/lb",
    "kW": "hp",
    "g/kWh": "lb/hp h",
    "degC": "degF",
    "kg m2": "lb ft2",
}
SYSTEMS = ("metric", "inch")

# How a row's key ends; "in" is left out because it is a word ("air_in").
ENDINGS = {
    s.replace("/", "_").replace(" ", "_"): s
    for s in sorted({*_GROUPS, *METRIC.values(), *INCH, *INCH.values(), "rpm", "min", "h"})
    if s not in ("", "in")
}
