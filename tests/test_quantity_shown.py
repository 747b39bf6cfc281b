"""Quantities as they are shown and written: what is shown reads back, keys and systems of measures."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ductsim.errors import InputError, UnknownName
from ductsim.measures import (
    INCH,
    MEASURES,
    METRIC,
)
from ductsim.quantity import (
    convert,
    display_measure,
    key_measure,
    measure_key,
    measure_text,
    show,
    si,
)

# ---- showing


@pytest.mark.parametrize("measure", sorted({*MEASURES} - {"in", "ft", "mi", "in2", "ft2", "ft3"}))
def test_what_is_shown_reads_back(measure):
    value = si(40.0, measure)
    for system in ("metric", "inch"):
        number, label = show(value, measure, system)
        assert MEASURES[label].dimension == MEASURES[measure].dimension
        assert si(number, label) == pytest.approx(value, rel=1e-12)


def test_the_usual_measures():
    assert show(70 * math.pi, "rad/s") == (pytest.approx(2100.0), "rpm")
    assert show(304.15, "K") == (31.0, "degC")
    assert show(304.15, "K", "inch") == (pytest.approx(87.8), "degF")
    assert show(2490.8891, "Pa", "inch") == (pytest.approx(10.0), "inH2O")
    assert show(5.08, "m/s", "inch") == (pytest.approx(1000.0), "ft/min")
    assert show(1.0 / 3.6, "km/h") == (pytest.approx(1.0), "km/h")
    assert show(0.44704, "km/h", "inch") == (pytest.approx(1.0), "mph")
    assert show(745.6998715822702, "W", "inch") == (pytest.approx(1.0), "hp")
    number, label = show(np.array([0.0254, 0.0508]), "mm", "inch")
    assert label == "in"
    assert number.tolist() == pytest.approx([1.0, 2.0])
    assert show(None, "Pa") == (None, "Pa")
    assert math.isnan(show(math.nan, "Pa", "inch")[0])
    assert show(0.5, "") == (0.5, "")


def test_every_display_measure_is_known():
    assert {*METRIC, *METRIC.values(), *INCH, *INCH.values()} <= set(MEASURES)


def test_systems_have_two_names():
    with pytest.raises(UnknownName, match="unknown system of measures 'imperial'; known: 'metric', 'inch'"):
        display_measure("Pa", "imperial")


def test_conversion_between_measures_of_one_kind():
    assert convert(10.0, "kW", "hp") == pytest.approx(13.41022, rel=1e-6)
    assert convert([0.0, 100.0], "degC", "degF").tolist() == pytest.approx([32.0, 212.0])
    assert convert(None, "kW", "hp") is None
    assert convert(7, "kW", "kW") == 7
    with pytest.raises(InputError, match="'kW' does not convert to 'm'; allowed: a power in W"):
        convert(1.0, "kW", "m")


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("vacuum_Pa", ("vacuum", "Pa")),
        ("duct_velocity_m_s", ("duct_velocity", "m/s")),
        ("duct_air_kg_s", ("duct_air", "kg/s")),
        ("ground_speed_km_h", ("ground_speed", "km/h")),
        ("fuel_g_kWh", ("fuel", "g/kWh")),
        ("fuel_lb_hp_h", ("fuel", "lb/hp h")),
        ("shaft_power_kW", ("shaft_power", "kW")),
        ("speed_rpm", ("speed", "rpm")),
        ("work_min", ("work", "min")),
        ("share_of_mean", ("share_of_mean", "")),
        ("unit", ("unit", "")),
        ("air_in", ("air_in", "")),
        ("Pa", ("Pa", "")),
    ],
)
def test_keys_of_rows(key, expected):
    assert key_measure(key) == expected
    assert measure_key(*expected) == key


# ---- writing


@given(
    st.floats(allow_nan=False, allow_infinity=False, min_value=-1e300, max_value=1e300),
    st.sampled_from(sorted({m.dimension for m in MEASURES.values()})),
)
def test_a_written_text_reads_back_to_the_same_float(value, dimension):
    assert si(measure_text(value, dimension), dimension) == value


@pytest.mark.parametrize(
    ("value", "measure", "text"),
    [
        (1.8, "m", "1.8 m"),
        (0.165, "m", "0.165 m"),
        (0.1 + 0.2, "m", "0.30000000000000004 m"),
        (304.15, "K", "31 degC"),
        (math.pi / 2, "rad", "90 deg"),
        (2100 * math.pi / 30, "rad/s", "2100 rpm"),
        (1234.5, "Pa", "1234.5 Pa"),
        (0.35, "", "0.35"),
        (12e3, "W", "12 kW"),
        (np.float64(2.0), "m", "2 m"),
        (3, "m", "3 m"),
    ],
)
def test_written_texts(value, measure, text):
    assert measure_text(value, measure) == text


def test_a_text_holds_no_column_and_nothing_infinite():
    with pytest.raises(InputError, match="a column of 2 values"):
        measure_text(np.array([1.0, 2.0]), "m")
    with pytest.raises(InputError, match="no finite number"):
        measure_text(math.nan, "m")
