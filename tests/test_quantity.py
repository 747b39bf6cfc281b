"""Quantities: what is read, what is refused and in which words, and every factor against pint."""

import math

import numpy as np
import pandas as pd
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ductsim.errors import InputError, UnknownName
from ductsim.measures import (
    MEASURES,
    OTHER_SPELLINGS,
    WORDS,
    spellings,
)
from ductsim.quantity import (
    from_si,
    si,
)

# Each spelling as an expression for the general library pint, which knows nothing of our table. Its own
# definitions are used wherever they mean the same.
PINT = {
    "": "dimensionless",
    "%": "percent",
    "m": "meter",
    "cm": "centimeter",
    "mm": "millimeter",
    "um": "micrometer",
    "km": "kilometer",
    "in": "inch",
    "ft": "foot",
    "mi": "mile",
    "m2": "meter**2",
    "cm2": "centimeter**2",
    "mm2": "millimeter**2",
    "in2": "inch**2",
    "ft2": "foot**2",
    "ha": "hectare",
    "acre": "international_acre",
    "m3": "meter**3",
    "L": "liter",
    "cm3": "centimeter**3",
    "ft3": "foot**3",
    "kg": "kilogram",
    "g": "gram",
    "t": "metric_ton",
    "lb": "pound",
    "s": "second",
    "min": "minute",
    "h": "hour",
    "m/s": "meter/second",
    "km/h": "kilometer/hour",
    "ft/min": "foot/minute",
    "ft/s": "foot/second",
    "mph": "mile/hour",
    "m3/s": "meter**3/second",
    "m3/min": "meter**3/minute",
    "m3/h": "meter**3/hour",
    "L/s": "liter/second",
    "L/min": "liter/minute",
    "L/h": "liter/hour",
    "CFM": "foot**3/minute",
    "kg/s": "kilogram/second",
    "g/s": "gram/second",
    "kg/min": "kilogram/minute",
    "kg/h": "kilogram/hour",
    "t/h": "metric_ton/hour",
    "lb/s": "pound/second",
    "lb/min": "pound/minute",
    "lb/h": "pound/hour",
    "Pa": "pascal",
    "hPa": "hectopascal",
    "kPa": "kilopascal",
    "MPa": "megapascal",
    "mbar": "millibar",
    "bar": "bar",
    "inH2O": "inch_of_water",
    "mmH2O": "millimeter_of_water",
    "inHg": "inch_Hg",
    "mmHg": "millimeter_Hg",
    "psi": "pound_force_per_square_inch",
    "kg/m3": "kilogram/meter**3",
    "g/L": "gram/liter",
    "lb/ft3": "pound/foot**3",
    "kg/m2": "kilogram/meter**2",
    "g/m2": "gram/meter**2",
    "kg/ha": "kilogram/hectare",
    "t/ha": "metric_ton/hectare",
    "lb/acre": "pound/international_acre",
    "1/m2": "1/meter**2",
    "1/ha": "1/hectare",
    "1/acre": "1/international_acre",
    "m2/s": "meter**2/second",
    "ha/h": "hectare/hour",
    "acre/h": "international_acre/hour",
    "m3/kg": "meter**3/kilogram",
    "L/kg": "liter/kilogram",
    "ft3/lb": "foot**3/pound",
    "W": "watt",
    "kW": "kilowatt",
    "hp": "horsepower",
    "PS": "metric_horsepower",
    "J": "joule",
    "kJ": "kilojoule",
    "MJ": "megajoule",
    "kWh": "kilowatt_hour",
    "kg/J": "kilogram/joule",
    "g/kWh": "gram/kilowatt_hour",
    "kg/kWh": "kilogram/kilowatt_hour",
    "lb/hp h": "pound/horsepower/hour",
    "Pa s": "pascal*second",
    "mPa s": "millipascal*second",
    "uPa s": "micropascal*second",
    "J/kg K": "joule/kilogram/kelvin",
    "kJ/kg K": "kilojoule/kilogram/kelvin",
    "kg m2": "kilogram*meter**2",
    "lb ft2": "pound*foot**2",
    "rad": "radian",
    "deg": "degree",
    "rad/s": "radian/second",
    "rpm": "revolution/minute",
    "rev/s": "revolution/second",
    "K": "kelvin",
    "degC": "degC",
    "degF": "degF",
}


@pytest.fixture(scope="module")
def registry():
    # Its own acre is the survey one, 4e-6 larger; its inch of water is that of water at 39 degF.
    registry = pint.UnitRegistry()
    registry.define("international_acre = 43560 * foot**2")
    registry.define("inch_of_water = inch / centimeter * centimeter_H2O")
    registry.define("millimeter_of_water = 0.1 * centimeter_H2O")
    return registry


def test_every_spelling_is_compared_with_pint():
    assert set(PINT) == set(MEASURES)


@pytest.mark.parametrize("spelling", MEASURES)
def test_factor_and_dimension_agree_with_pint(spelling, registry):
    dimension = MEASURES[spelling].dimension
    for number in (1.0, 37.3):
        expected = registry.Quantity(number, PINT[spelling]).to(PINT[dimension]).magnitude
        assert si(f"{number} {spelling}", dimension) == pytest.approx(expected, rel=1e-12)
        assert si(number, spelling) == pytest.approx(expected, rel=1e-12)
        assert from_si(expected, spelling) == pytest.approx(number, rel=1e-12)


def test_each_kind_of_quantity_has_words_and_starts_with_its_si_spelling():
    for dimension in {m.dimension for m in MEASURES.values()}:
        assert WORDS[dimension].startswith(("a ", "an "))
        assert spellings(dimension)[0] == dimension
        assert si(2.5, dimension) == 2.5


def test_other_spellings_lead_to_known_measures():
    assert set(OTHER_SPELLINGS.values()) <= set(MEASURES)
    assert not set(OTHER_SPELLINGS) & set(MEASURES)


@pytest.mark.parametrize(
    ("text", "measure", "expected"),
    [
        ("1.8 m", "m", 1.8),
        ("1.8m", "m", 1.8),
        ("  +1.8   m ", "m", 1.8),
        ("-.5e-1 kPa", "Pa", -50.0),
        ("5.E2 Pa", "Pa", 500.0),
        ("6 in", "m", 0.1524),
        ('6"', "m", 0.1524),
        ("6 inches", "m", 0.1524),
        ("165 mm", "m", 0.165),
        ("0.06 m²", "m2", 0.06),
        ("0.06 m^2", "m2", 0.06),
        ("1.2 kg/m³", "kg/m3", 1.2),
        ("150 µm", "m", 150e-6),
        ("150 \N{GREEK SMALL LETTER MU}m", "m", 150e-6),
        ("31 degC", "K", 304.15),
        ("31 °C", "K", 304.15),
        ("31\N{NO-BREAK SPACE}°C", "K", 304.15),
        ("\N{MINUS SIGN}4 degC", "K", 269.15),
        ("-40 degF", "K", 233.15),
        ("90°", "rad", math.pi / 2),
        ("2100 rpm", "rad/s", 70 * math.pi),
        ("35 %", "", 0.35),
        ("0.35", "", 0.35),
        ("400 cfm", "m3/s", 400 * 0.3048**3 / 60),
        ("1006 J/(kg K)", "J/kg K", 1006.0),
        ("18.2 µPa·s", "Pa s", 18.2e-6),
        ("90min", "s", 5400.0),
        ("2 1/4 in", "m", 2.25 * 0.0254),
        ("2-1/4 in", "m", 2.25 * 0.0254),
        ("2\N{VULGAR FRACTION ONE QUARTER} in.", "m", 2.25 * 0.0254),
        ("-1/64 in", "m", -0.0254 / 64),
        ("5 ft 6 in", "m", 5.5 * 0.3048),
        ("5' 6 1/2\"", "m", 66.5 * 0.0254),
        ("5 \N{PRIME}-6\N{DOUBLE PRIME}", "m", 66 * 0.0254),
        ("3.5 in wc", "Pa", 3.5 * 249.08891),
        ("3 1/2 in. w.c.", "Pa", 3.5 * 249.08891),
        ('3.5" WC', "Pa", 3.5 * 249.08891),
        ("4000 kg/ha", "kg/m2", 0.4),
        ("2 bales/acre of 1260 lb", "kg/m2", 2520 * 0.45359237 / 4046.8564224),
        ("1/2 hp", "W", 0.5 * 550 * 0.3048 * 0.45359237 * 9.80665),
    ],
)
def test_texts_that_are_read(text, measure, expected):
    got = si(text, measure)
    assert type(got) is float
    assert got == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "measure", "words"),
    [
        ("1,2 m", "m", "'1,2 m' has a comma in its number; write a decimal point"),
        ("1,200 m", "m", "comma"),
        ("1.8", "m", "'1.8' lacks its measure; a text needs one, like '1.8 m'; a bare number is SI"),
        ("1.8 kPa", "m", "a length given in kPa: '1.8 kPa'; allowed: a length in m, cm, mm"),
        ("3 m", "Pa", "a pressure given in m"),
        ("35 %", "m", "a length given in %"),
        ("3 rpm", "", "a ratio given in rpm"),
        ("1.8 kPaa", "Pa", "unknown measure 'kPaa' in '1.8 kPaa'; .* did you mean 'kPa'"),
        ("2 furlong", "m", "unknown measure 'furlong'"),
        ("2 rmp", "rad/s", "did you mean 'rpm'"),
        ("9**9**9**9 m", "m", r"'9\*\*9\*\*9\*\*9 m' is no number with its measure"),
        ("2+3 m", "m", "is no number with its measure"),
        ("1_000 m", "m", "is no number with its measure"),
        ("1e400 m", "m", "'1e400 m' is no finite number"),
        ("1e308 km", "m", "no finite number"),
        ("inf m", "m", "no number with its measure"),
        ("nan m", "m", "no number with its measure"),
        ("", "m", "'' is no number with its measure; a text like '1.8 m'"),
        ("   ", "rad", "a text like '90 deg'"),
        ("m", "m", "no number"),
        ("1 800 mm", "m", "has a gap in its number; write its digits together"),
        ("1/0 in", "m", "has no proper fraction"),
        ("2 5/4 in", "m", "has no proper fraction; a text like '2 1/4 in'"),
        ("5 ft 13 in", "m", "is no length in feet and inches; like '5 ft 6 in'"),
        ("5 ft 6", "m", "'5 ft 6' is no length in feet and inches"),
        ("2 bales/acre", "kg/m2", "does not say what a bale is; .*'2 bales/acre of 1260 lb'"),
        ("0x10 m", "m", "unknown measure 'x10 m'"),
        ("--1 m", "m", "no number"),
        ("\N{ARABIC-INDIC DIGIT THREE} m", "m", "no number"),
        ("1 m\x00", "m", "unknown measure"),
        ("7" * 100_000 + " m", "m", r"\(100004 characters\) is no number"),
        ("1 " + "m" * 60, "m", "unknown measure"),
    ],
)
def test_texts_that_are_refused(text, measure, words):
    with pytest.raises(InputError, match=words) as err:
        si(text, measure)
    assert len(str(err.value)) < 330
    assert "\n" not in str(err.value)


@given(st.text(max_size=100), st.sampled_from(sorted(MEASURES)))
def test_any_text_gives_a_finite_float_or_a_sentence(text, measure):
    try:
        got = si(text, measure)
    except InputError as err:
        assert len(str(err)) < 700
    else:
        assert type(got) is float
        assert math.isfinite(got)


@given(st.from_regex(r"[-+]?[0-9.,eE*/ ]{0,20} ?[a-zA-Z0-9/%^ ]{0,12}", fullmatch=True))
def test_texts_that_look_like_quantities(text):
    try:
        assert math.isfinite(si(text, "m"))
    except InputError as err:
        assert str(err).endswith((".", "?"))


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (True, "True .bool. is no number"),
        (np.True_, "is no number"),
        (1j, "complex"),
        (np.complex128(1), "is no number"),
        (None, "None .NoneType. is no number; a number, or a text like '1.8 m'"),
        ({}, "dict"),
        (b"1 m", "bytes"),
        ({1.0}, "set"),
        (object(), "object"),
        (np.datetime64("2024-01-01"), "is no number"),
        (math.nan, "nan is no finite number"),
        (math.inf, "inf is no finite number"),
        (10**400, "is no finite number"),
        pytest.param(10**6000, "a very long number is no finite number", id="long"),
        (np.float32("inf"), "no finite number"),
        ([1.0, math.nan], "nan is no finite number"),
        (np.array([1.0, -np.inf]), "-inf is no finite number"),
        ([True, 1.0], "True .bool. is no number"),
        ([1.0, None], "None .NoneType. is no number"),
        ([1.0, 2j], "is no number"),
        ([1.0, [2.0]], "list"),
        (["1 m", ["2 m"]], "list"),
        (["1 m", True], "True .bool. is no number"),
        (np.array([True]), "is no number"),
        (np.array([1j]), "is no number"),
        (np.array(["1 m", "x"]), "'x'.*is no number"),
        (np.array([1.0, object()], dtype=object), "is no number"),
        (np.ma.masked_array([1.0, 2.0], [False, True]), "masked value"),
    ],
)
def test_values_that_are_refused(value, words):
    with pytest.raises(InputError, match=words):
        si(value, "m")


@pytest.mark.parametrize(
    "value",
    [
        2,
        2.0,
        np.float32(2),
        np.int8(2),
        np.array(2.0),
        np.array(2),
        "2 m",
        np.str_("2 m"),
        "200 cm",
    ],
)
def test_single_numbers_in_every_container_become_floats(value):
    got = si(value, "m")
    assert type(got) is float
    assert got == 2.0


@pytest.mark.parametrize(
    "value",
    [
        [1, 2],
        (1.0, 2.0),
        range(1, 3),
        ["1 m", "2 m"],
        ["1 m", 2],
        ["100 cm", np.float64(2)],
        np.array([1, 2]),
        np.array([1, 2], dtype=np.float32),
        np.array(["1 m", "2 m"]),
        np.array(["1 m", 2.0], dtype=object),
        pd.Series([1.0, 2.0]),
        np.ma.masked_array([1.0, 2.0]),
    ],
)
def test_lists_in_every_container_become_float_arrays(value):
    got = si(value, "m")
    assert got.dtype == float
    assert got.tolist() == [1.0, 2.0]


def test_an_array_comes_back_as_a_new_one():
    given_array = np.array([1.0, 2.0])
    got = si(given_array, "m")
    assert not np.shares_memory(got, given_array)


def test_bare_numbers_are_in_the_named_measure_and_texts_in_their_own():
    np.testing.assert_allclose(si([0, 30, "60 rpm", "1 rad/s"], "rpm"), [0, math.pi, 2 * math.pi, 1.0])
    assert si(np.array([[0.0, 100.0]]), "degC").tolist() == [[273.15, 373.15]]
    assert si(1006, "J/(kg K)") == 1006.0


def test_a_measure_that_is_not_known_is_refused_with_the_nearest():
    with pytest.raises(UnknownName, match="unknown measure 'rmp'; did you mean 'rpm'"):
        si(3.0, "rmp")


def test_quantities_of_a_measures_library_convert_themselves(registry):
    assert si(registry.Quantity(6, "inch"), "m") == pytest.approx(0.1524)
    np.testing.assert_allclose(si(registry.Quantity(np.array([1.0, 2.0]), "kPa"), "Pa"), [1000, 2000])
    np.testing.assert_allclose(si([registry.Quantity(1, "kPa"), 3.0], "Pa"), [1000, 3])
    assert si(registry.Quantity(20.0, "degC"), "K") == pytest.approx(293.15)
    for dimension in {m.dimension for m in MEASURES.values()}:
        assert si(registry.Quantity(2.0, PINT[dimension]), dimension) == pytest.approx(2.0)
    with pytest.raises(InputError, match=r"does not convert to m: .*; allowed: a length in m"):
        si(registry.Quantity(6, "kPa"), "m")
