"""Air: CIPM-2007 and the standard atmosphere against published tables and a reference library."""

import math
import pickle

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ductsim.air import Air, moist_density, standard_pressure, sutherland_viscosity, vapour_share
from ductsim.errors import InputError, OutsideRange

C0 = 273.15


def humid_air(wanted: str, temperature: float, pressure: float, humidity: float) -> float:
    """CoolProp's humid air (virial equations of ASHRAE RP-1485), a general library of fluid properties."""
    from CoolProp import CoolProp as coolprop  # 3 s to load: only where it is needed

    return coolprop.HAPropsSI(wanted, "T", temperature, "P", pressure, "R", humidity)


# Source: the CIPM-2007 equation (Picard et al., Metrologia 45, 2008) evaluated once by hand from the
# constants as public implementations give them; standing: seen (constants), computed (values). Printed to
# seven digits.
CIPM = [
    (20.0, 101325.0, 0.5, 1.199314),
    (20.0, 101325.0, 0.0, 1.204557),
    (15.0, 101325.0, 0.0, 1.225521),
    (25.0, 101325.0, 0.5, 1.177315),
    (22.0, 100000.0, 0.5, 1.174833),
    (35.0, 95000.0, 0.3, 1.067026),
    (40.0, 85000.0, 0.9, 0.917944),
]


@pytest.mark.parametrize(("celsius", "pressure", "humidity", "expected"), CIPM)
def test_density_by_the_published_formula(celsius, pressure, humidity, expected):
    air = Air.at(temperature=celsius + C0, pressure=pressure, relative_humidity=humidity)
    assert air.density == pytest.approx(expected, abs=0.6e-6)


@pytest.mark.parametrize("celsius", [0.0, 5.0, 15.0, 20.0, 27.0, 35.0, 45.0])
@pytest.mark.parametrize("pressure", [70e3, 85e3, 95e3, 101325.0, 105e3])
@pytest.mark.parametrize("humidity", [0.0, 0.35, 0.7, 1.0])
def test_density_agrees_with_a_reference_equation_of_state(celsius, pressure, humidity):
    # The tolerance holds the two formulas' different gas constants (about 4e-5).
    air = Air.at(temperature=celsius + C0, pressure=pressure, relative_humidity=humidity)
    expected = 1.0 / humid_air("Vha", celsius + C0, pressure, humidity)
    assert air.density == pytest.approx(expected, rel=2e-4)


@pytest.mark.parametrize("celsius", [0.0, 20.0, 40.0])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_viscosity_and_heat_capacity_agree_with_the_reference_library(celsius, humidity):
    # Sutherland's law is for dry air: it stands within 0.5 % of the reference equation there. The vapour
    # of saturated air at 40 degC lowers the viscosity by 2.5 %, which the docstring states.
    air = Air.at(temperature=celsius + C0, pressure=101325.0, relative_humidity=humidity)
    dry = humid_air("mu", celsius + C0, 101325.0, 0.0)
    moist = humid_air("mu", celsius + C0, 101325.0, humidity)
    assert air.viscosity == pytest.approx(dry, rel=5e-3)
    assert air.viscosity == pytest.approx(moist, rel=2.5e-2)
    assert air.heat_capacity == pytest.approx(humid_air("cp_ha", celsius + C0, 101325.0, humidity), rel=5e-3)


# Source: ASHRAE Handbook - Fundamentals (SI) 2021, chapter 1, table 1 (after NASA 1976), standing: seen.
# Density: U.S. Standard Atmosphere 1976 as the library fluids has it (geopotential altitude, hence 3e-4).
ATMOSPHERE = [
    (0.0, 15.0, 101.325, 1.2250),
    (500.0, 11.8, 95.461, 1.1673),
    (1000.0, 8.5, 89.875, 1.1117),
    (1500.0, 5.2, 84.556, 1.0581),
    (2000.0, 2.0, 79.495, 1.0066),
    (3000.0, -4.5, 70.108, 0.9093),
]


@pytest.mark.parametrize(("altitude", "celsius", "kilopascal", "density"), ATMOSPHERE)
def test_station_pressure_and_density_of_the_standard_atmosphere(altitude, celsius, kilopascal, density):
    assert standard_pressure(altitude) / 1e3 == pytest.approx(kilopascal, abs=0.0006)
    kelvin = 288.15 - 0.0065 * altitude
    assert kelvin - C0 == pytest.approx(celsius, abs=0.051)
    dry = Air.at(altitude=altitude, temperature=kelvin, relative_humidity=0.0)
    assert dry.pressure == standard_pressure(altitude)
    # CIPM's dry air is 4e-4 denser than the ideal gas of the standard atmosphere.
    assert dry.density == pytest.approx(density, rel=8e-4)
    standard = fluids.ATMOSPHERE_1976(altitude)
    assert dry.density == pytest.approx(standard.rho, rel=8e-4)


@pytest.mark.parametrize(
    ("celsius", "ratio", "volume"),
    [
        # Source: ASHRAE Fundamentals 2021, chapter 1, saturated air: W_s [kg/kg] and v_s [m3/kg dry air] at
        # 101.325 kPa; standing: seen. Half the last printed digit of v is 6e-5 of it.
        (0.0, 0.0037900, 0.7780),
        (5.0, 0.0054247, 0.7944),
    ],
)
def test_saturated_air_of_the_psychrometric_tables(celsius, ratio, volume):
    vapour = vapour_share(101325.0, celsius + C0, 1.0)
    # At 0 degC the table is over ice and the formula over water, which are equal there.
    assert 0.621945 * vapour / (1.0 - vapour) == pytest.approx(ratio, rel=5e-4)
    density = moist_density(101325.0, celsius + C0, vapour)
    assert density == pytest.approx((1.0 + ratio) / volume, rel=2e-4)


def test_psychrometric_example_one():
    # Source: ASHRAE Fundamentals 2021, chapter 1, example 1, standing: seen (the volume in a second copy):
    # 40 degC, W 6.5 g/kg, 101.325 kPa: relative humidity 14 %, v 0.896 m3/kg dry air. Half a digit of v is
    # 6e-4, of the humidity 4 %.
    air = Air.at(temperature="40 degC", pressure=101325.0, relative_humidity=0.14)
    assert air.density == pytest.approx(1.0065 / 0.896, rel=3e-3)
    vapour = vapour_share(101325.0, 313.15, 0.14)
    assert 0.622 * vapour / (1 - vapour) == pytest.approx(0.0065, rel=0.04)


@pytest.mark.parametrize(
    # Source: Sutherland's law with the constants of the U.S. Standard Atmosphere 1976; constants from
    # memory, equal to those of the library fluids; values printed to five digits.
    ("celsius", "expected"),
    [(0.0, 1.7161e-5), (20.0, 1.8134e-5), (40.0, 1.9076e-5)],
)
def test_viscosity_by_sutherland(celsius, expected):
    assert sutherland_viscosity(celsius + C0) == pytest.approx(expected, abs=0.6e-9)
    assert sutherland_viscosity(celsius + C0) == pytest.approx(
        fluids.ATMOSPHERE_1976.viscosity(celsius + C0), rel=1e-9
    )


# ---- what it is and what it takes


def test_constant_air():
    air = Air(density=1.1, viscosity=1.8e-5)
    assert air.constant
    assert (air.density, air.viscosity, air.pressure, air.columns) == (1.1, 1.8e-5, math.inf, None)
    assert repr(air) == "Air(1.1 kg/m3, 1.8e-05 Pa s, constant)"
    assert Air(density="1.1 kg/m3").density == 1.1
    assert not Air.at().constant


def test_texts_and_bare_numbers_give_the_same_air():
    air = Air.at(altitude="420 m", temperature="31 degC", relative_humidity="35 %")
    assert air == Air.at(altitude=420.0, temperature=304.15, relative_humidity=0.35)
    assert repr(air) == "Air(1.0974 kg/m3, 1.866e-05 Pa s, 304.15 K, 96380 Pa)"
    assert hash(air) == hash(Air.at(altitude=420.0, temperature=304.15, relative_humidity=0.35))
    assert air != Air()
    assert air != "air"
    assert pickle.loads(pickle.dumps(air)) == air


def test_air_cannot_be_changed():
    air = Air.at(temperature=[290.0, 300.0])
    with pytest.raises(AttributeError):
        air.density = 2.0
    with pytest.raises(ValueError, match="read-only"):
        air.temperature[0] = 1.0


def test_a_column_equals_single_airs():
    temperatures = np.array([280.0, 293.15, 310.0])
    air = Air.at(altitude=300.0, temperature=temperatures, relative_humidity=[0.1, 0.5, 0.9])
    assert air.columns == 3
    assert air.pressure == standard_pressure(300.0)
    for i, humidity in enumerate((0.1, 0.5, 0.9)):
        one = Air.at(altitude=300.0, temperature=temperatures[i], relative_humidity=humidity)
        assert air.density[i] == pytest.approx(one.density, rel=1e-15)
        assert air.viscosity[i] == pytest.approx(one.viscosity, rel=1e-15)
        assert air.heat_capacity[i] == pytest.approx(one.heat_capacity, rel=1e-15)
    assert repr(air).startswith("Air(<column of 3> kg/m3")


@given(
    altitude=st.floats(0.0, 3000.0),
    celsius=st.floats(-9.9, 49.9),
    humidity=st.floats(0.0, 1.0),
)
def test_more_altitude_heat_or_vapour_makes_air_lighter(altitude, celsius, humidity):
    def density(z, t, h):
        return Air.at(altitude=z, temperature=t + C0, relative_humidity=h).density

    base = density(altitude, celsius, humidity)
    assert 0.7 < base < 1.4
    assert density(altitude + 10.0, celsius, humidity) < base
    assert density(altitude, celsius + 0.09, humidity) < base
    assert density(altitude, celsius, humidity * 0.99) >= base


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (
            {"temperature": 31.0},
            r"air: temperature: 31 K is out of range; .*200 to 350 K \(write '31 degC'\)",
        ),
        ({"temperature": "200 degC"}, "473.15 K is out of range"),
        ({"temperature": "31"}, "air: temperature: '31' lacks its measure"),
        ({"temperature": math.nan}, "air: temperature: nan is no finite number"),
        ({"temperature": [290.0, 20.0]}, "air: temperature: 20 K is out of range"),
        ({"temperature": [290.0, 500.0]}, "air: temperature: 500 K is out of range"),
        ({"temperature": [[290.0]]}, r"a column of shape \(1, 1\); a number or a 1-D array"),
        ({"temperature": []}, r"a column of shape \(0,\)"),
        ({"temperature": True}, "air: temperature: True .bool. is no number"),
        ({"relative_humidity": 35.0}, r"air: relative_humidity: 35 is out of range; .*write 0.35 or '35 %'"),
        ({"relative_humidity": -0.1}, "-0.1 is out of range"),
        ({"altitude": "9 km"}, "air: altitude: 9000 m is out of range; allowed: -500 to 6000 m"),
        ({"altitude": "3 kPa"}, "air: altitude: a length given in kPa"),
        ({"pressure": "960 Pa"}, r"air: pressure: 960 Pa is out of range; .*\(absolute; write '960 hPa'\)"),
        ({"temperature": [290.0, 300.0], "altitude": [0.0] * 3}, "temperature has 2 values, altitude has 3"),
        (
            {"temperature": 350.0, "pressure": 60e3, "relative_humidity": 1.0},
            "so much water vapour cannot be in the air",
        ),
    ],
)
def test_weather_that_is_refused(values, words):
    with pytest.raises(InputError, match=words):
        Air.at(**values)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"density": 0.0}, "air: density: 0 kg/m3 is out of range"),
        ({"density": -1.2}, "out of range"),
        ({"density": "1.2"}, "lacks its measure"),
        ({"viscosity": 1.0}, "air: viscosity: 1 Pa s is out of range"),
        ({"pressure": 0.0}, "air: pressure: 0 Pa is out of range"),
        ({"pressure": -math.inf}, "air: pressure: -inf is no finite number"),
        ({"pressure": math.nan}, "nan is no finite number"),
        ({"density": [1.0, 1.1], "viscosity": [1e-5] * 3}, "viscosity has 3 values, density has 2"),
    ],
)
def test_constants_that_are_refused(values, words):
    with pytest.raises(InputError, match=words):
        Air(**values)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"temperature": "-11 degC"}, "a temperature outside -10 to 50 degC$"),
        ({"temperature": "51 degC"}, "a temperature outside"),
        ({"pressure": "59 kPa"}, "a pressure outside 60 to 110 kPa$"),
        ({"pressure": "111 kPa", "temperature": "52 degC"}, "a temperature .* and a pressure outside"),
        ({"temperature": [290.0, 330.0]}, "a temperature outside"),
        ({"altitude": "5 km", "temperature": "5 degC"}, "a pressure outside"),
    ],
)
def test_far_outside_its_range_the_formula_warns_once_and_still_answers(values, words):
    with pytest.warns(OutsideRange, match=words) as caught:
        air = Air.at(**values)
    assert len(caught) == 1
    assert caught[0].filename == __file__
    assert np.all(np.asarray(air.density) > 0.5)
