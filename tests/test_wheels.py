"""Fans without a curve: worked cases by hand, and points from theory within the stated spread."""

import dataclasses
import math

import numpy as np
import pytest

import ductsim as ds
from ductsim.description.spreads import spread_of
from ductsim.parts.declare import LocalAir
from ductsim.parts.wheels import WHEELS

RADIANS = math.pi / 180.0


def at(fan, flow, density=1.2):
    """Total-pressure rise [Pa] and shaft power [W] at a volume flow [m3/s]."""
    path = fan.paths()[0]
    mass = flow * density
    rise = -path.law(mass, LocalAir(density, 1.8e-5), **path.coefficients)[0]
    return float(rise), float(path.power(mass, density, **path.coefficients))


def test_a_wheel_worked_by_hand():
    """D 0.6 m, b 0.15 m, 2400 rpm: u = 75.398 m/s, rho u2/2 = 3410.9 Pa, pi D b u = 21.318 m3/s."""
    for shape, flow, rise, power in (
        ("backward-curved", 0.18 * 21.3184, 0.86 * 3410.92, 0.205 * 21.3184 * 3410.92),
        ("radial", 0.15 * 21.3184, 1.22 * 3410.92, 0.285 * 21.3184 * 3410.92),
        ("forward-curved", 0.40 * 21.3184, 2.35 * 3410.92, 1.52 * 21.3184 * 3410.92),
    ):
        fan = ds.Fan.typical(wheel_diameter=0.6, width=0.15, speed="2400 rpm", shape=shape)
        assert at(fan, flow) == (pytest.approx(rise, rel=1e-5), pytest.approx(power, rel=1e-5))
    plain = ds.Fan.typical(wheel_diameter=0.6, width=0.15, speed="2400 rpm")
    assert at(plain, 0.18 * 21.3184)[0] == pytest.approx(0.86 * 3410.92, rel=1e-5)


def wiesner(angle, blades, flow):
    """Pressure without dimensions: Euler's work, Wiesner's slip, hydraulic efficiency 0.80.

    From memory: slip factor 1 - sqrt(sin beta) / Z^0.7 (Wiesner 1967), work 2 (slip - flow cot beta); that
    the hydraulic efficiency of plain sheet-metal wheels near design is about 0.8 (0.65 for
    forward-curved ones in their scroll) is common practice, no published source.
    """
    slip = 1.0 - math.sqrt(math.sin(angle * RADIANS)) / blades**0.7
    efficiency = 0.65 if angle > 90 else 0.80
    return efficiency * 2.0 * (slip - flow / math.tan(angle * RADIANS))


# shape, outlet angle [deg], blades, flow over pi D b u; standing of all: computed, formula from memory
POINTS = [
    *[
        ("backward-curved", a, z, f)
        for a, z in ((30, 10), (35, 12), (40, 10), (45, 12), (50, 9))
        for f in (0.14, 0.19)
    ],
    *[("radial", 90, z, f) for z in (6, 8, 10, 12, 16) for f in (0.08, 0.14)],
    *[
        ("forward-curved", a, z, f)
        for a, z in ((140, 36), (145, 40), (150, 42), (150, 48), (155, 44))
        for f in (0.34, 0.44)
    ],
]


def test_thirty_points_lie_within_the_stated_spread():
    within = []
    for shape, angle, blades, flow in POINTS:
        wheel = WHEELS[shape]
        ours = np.interp(flow, wheel.flow, wheel.pressure)
        within.append(abs(math.log(wiesner(angle, blades, flow) / ours)) < 2.0 * wheel.spread)
    assert len(within) == 30 and sum(within) >= 0.95 * len(within)


def test_every_shape_has_an_efficiency_that_a_fan_may_have():
    """Sheet-metal fans reach 0.55 to 0.85 of total efficiency; common practice, no published source."""
    for wheel in WHEELS.values():
        efficiency = np.array(wheel.flow) * wheel.pressure / np.array(wheel.power)
        assert 0.55 < efficiency.max() < 0.85
        assert abs(int(efficiency.argmax()) - wheel.design) <= 1


def test_what_the_box_shows_with_all_taped_sets_the_level():
    fan = ds.Fan.typical(
        wheel_diameter="24 in", width="6 in", speed="2400 rpm", shape="radial", pressure="12 in wc"
    )
    assert at(fan, 0.0)[0] == pytest.approx(12 * 249.08891, rel=1e-6)
    free = ds.Fan.typical(wheel_diameter="24 in", width="6 in", speed="2400 rpm", shape="radial")
    assert at(fan, 2.0)[0] / at(free, 2.0)[0] == pytest.approx(at(fan, 0.0)[0] / at(free, 0.0)[0])
    assert fan.curve == "one point" and free.curve == "radial"


def machine(curve, more=""):
    return ds.Machine.of(
        f"""format = 1
[drive.belt]
engine_speed = "2000 rpm"
driving_pulley = "12 in"
driven_pulley = "8 in"
[[part]]
name = "fan"
kind = "fan"
from = "box"
to = "outside"
drive = "belt"
{curve}
[[part]]
name = "mouth"
kind = "opening"
from = "outside"
to = "box"
area = "60 in2"
loss_coefficient = 1.5
[[tapping]]
name = "box"
path = "mouth"
end = "to"
area = "2 ft2"
{more}"""
    )


def test_a_file_with_a_shape_needs_no_speed_beside_a_drive_and_states_its_spread():
    curve = 'typical = {{shape = "{}", wheel_diameter = "22 in", width = "5 in"}}'
    for shape, wheel in WHEELS.items():
        found = machine(curve.format(shape))
        assert found.part("fan").curve == shape
        assert found.numbers["fan.curve_speed"] == pytest.approx(2000 * 1.5 * 0.98 * math.pi / 30)
        assert spread_of(found, "fan.pressure_scale") == wheel.spread
        assert spread_of(found, "fan.total_pressure[0]") == 0.0
        again = ds.Machine.of(found.document())
        assert again == found and again.part("fan").shaft_power == found.part("fan").shaft_power
    point = machine('through = {shape = "radial", flow = "2000 CFM", total_pressure = "8 in wc"}')
    assert spread_of(point, "fan.pressure_scale") == 0.1
    with pytest.raises(ds.InputError, match="unknown word 'round'; known: 'backward-curved', 'radial'"):
        machine('typical = {shape = "round", wheel_diameter = 1, width = 0.1}')


def test_readings_scale_an_assumed_curve():
    assumed = machine('typical = {shape = "radial", wheel_diameter = "22 in", width = "5 in"}')
    true = assumed.change({"fan.pressure_scale": 1.3})
    assert true.ask("shaft power fan") > 1.25 * assumed.ask("shaft power fan")
    read = [ds.Reading("box", -1000.0, engine_speed=2000 * math.pi / 30, set=str(i)) for i in range(4)]
    made = ds.check_readings(true, read).predicted
    read = [dataclasses.replace(own, value=float(value)) for own, value in zip(read, made, strict=True)]
    found = ds.fit(assumed, read)
    assert found.machine.numbers["fan.pressure_scale"] == pytest.approx(1.3, rel=0.06)
