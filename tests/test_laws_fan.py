"""The fan law: its curve against scipy, fan laws, a stopped fan, what lies beyond the points, power."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator

from ductsim.errors import InputError
from ductsim.laws.fans import cubic_pieces, fan_outside, monotone_slopes
from ductsim.parts import LocalAir
from ductsim.parts.fan import Fan
from ductsim.parts.fan_ends import FAN_ENDS
from ductsim.sources import source

FLOW = [0.0, 1.0, 1.5, 2.0, 2.5, 3.0]
RISE = [6000.0, 6350.0, 5850.0, 4900.0, 3500.0, 1650.0]


def fan_path(**more):
    base = {"flow": FLOW, "total_pressure": RISE, "curve_speed": 377.0, "speed": 377.0}
    base |= more
    return Fan(**{k: v for k, v in base.items() if v is not None}).paths()[0]


def rise(path, volume, density=1.2):
    return -path.law(density * np.asarray(volume), LocalAir(density, 1.8e-5), **path.coefficients)[0]


def power(path, volume, density=1.2):
    return path.power(density * np.asarray(volume), density, **path.coefficients)


@st.composite
def curves(draw):
    n = draw(st.integers(2, 8))
    gaps = draw(st.lists(st.floats(0.05, 2.0), min_size=n - 1, max_size=n - 1))
    x = np.concatenate([[draw(st.floats(0.0, 2.0))], gaps]).cumsum()
    y = draw(st.lists(st.floats(0.0, 5000.0).map(lambda v: round(v, 1)), min_size=n, max_size=n))
    return x, np.array(y)


@given(curves())
def test_the_cubic_is_the_monotone_one_of_scipy(curve):
    x, y = curve
    reference = PchipInterpolator(x, y)
    np.testing.assert_allclose(
        np.array([float(s) for s in monotone_slopes(list(x), list(y))]),
        reference.derivative()(x),
        rtol=1e-9,
        atol=1e-6,
    )
    pieces, first, last = cubic_pieces(list(x), list(y))
    for i, (a, b, c, d) in enumerate(pieces):
        at = np.linspace(x[i], x[i + 1], 7)
        on = at - x[i]
        np.testing.assert_allclose(a + on * (b + on * (c + on * d)), reference(at), rtol=1e-9, atol=1e-7)
    assert float(first) == pytest.approx(float(reference.derivative()(x[0])), rel=1e-9, abs=1e-6)
    assert float(last) == pytest.approx(float(reference.derivative()(x[-1])), rel=1e-9, abs=1e-6)


@pytest.mark.parametrize("fall", [-2.9, -3.0, -3.06, -3.2])
def test_an_end_slope_is_held_to_three_times_its_chord(fall):
    """After scipy, whose end slopes are those of the same source; unheld, -3.06 would give 3.03."""
    x, y = [0.0, 1.0, 2.0], [0.0, 1.0, 1.0 + fall]
    expected = PchipInterpolator(x, y).derivative()(x)
    assert [float(s) for s in monotone_slopes(x, y)] == pytest.approx(list(expected), rel=1e-12)
    assert expected[0] == pytest.approx(min(1.5 - 0.5 * fall, 3.0))


def test_a_narrow_piece_far_out_keeps_its_digits():
    """Points a millionth apart, against the monotone cubic of scipy, which counts from there too."""
    x, y = np.array([0.0, 1.0, 1.0 + 1e-6, 1.0 + 3e-6]), np.array([3000.0, 2000.0, 1200.0, 1e-3])
    path = fan_path(flow=list(x), total_pressure=list(y), shaft_power=list(y))
    at = 1.0 + np.linspace(0.05e-6, 2.95e-6, 30)
    expected = PchipInterpolator(x, y)(at)
    np.testing.assert_allclose(rise(path, at), expected, atol=0.01)
    np.testing.assert_allclose(power(path, at), expected, rtol=1e-6)
    assert (np.diff(rise(path, 1.0 + np.linspace(1e-7, 2.9e-6, 3000))) < 0.0).all()


def test_the_curve_goes_through_its_points_without_overshoot():
    path = fan_path()
    np.testing.assert_allclose(rise(path, FLOW), RISE, rtol=5e-6)
    between = rise(path, np.linspace(0.0, 3.0, 301))
    assert between.max() <= 6350.0 * (1.0 + 1e-9)


@given(st.floats(0.05, 1.5), st.floats(0.7, 1.4), st.floats(0.0, 3.0))
def test_fan_laws(ratio, density, volume):
    """Pressure with speed squared and density, power with speed cubed and density, at flows with speed."""
    one, other = fan_path(), fan_path(speed=377.0 * ratio)
    expected = rise(one, volume) * ratio**2 * density / 1.2
    # a trace of linear resistance, for the slope of a stopped fan, does not scale
    assert rise(other, volume * ratio, density) == pytest.approx(expected, rel=1e-5 / ratio, abs=1e-2)
    expected = power(one, volume) * ratio**3 * density / 1.2
    assert power(other, volume * ratio, density) == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_a_column_of_speeds_with_a_stopped_fan():
    speeds = np.array([0.0, 1e-12, 100.0, 377.0])
    path = fan_path(speed=speeds)
    for volume in (-1.0, 0.0, 1.0, 4.0):
        values = rise(path, volume)
        assert np.isfinite(values).all()
        for i, speed in enumerate(speeds):
            assert values[i] == pytest.approx(
                float(rise(fan_path(speed=float(speed)), volume)), rel=1e-12, abs=1e-9
            )
    assert rise(path, 1.0)[0] < 0.0 < rise(path, -1.0)[0]


def test_beyond_the_points_the_curve_goes_on_smoothly_and_bends_away():
    path = fan_path()
    h = 1e-6
    for knot in (0.0, 3.0):
        below, above = rise(path, knot - h), rise(path, knot + h)
        inner = (rise(path, knot + h) - rise(path, knot)) / h
        outer = (rise(path, knot) - rise(path, knot - h)) / h
        assert below == pytest.approx(above, abs=2e-2)
        assert inner == pytest.approx(outer, rel=1e-3)
    far = rise(path, np.array([4.0, 6.0, 12.0]))
    assert np.all(np.diff(far) < 0.0) and far[-1] < 0.0
    back = rise(path, np.array([-1.0, -3.0, -9.0]))
    assert back[-1] > back[-2] and np.all(back > 0.0)


def test_static_pressure_is_lifted_by_the_outlets_velocity_pressure():
    """Total = static + rho (Q / A)^2 / 2 (ASHRAE Handbook: Fundamentals (2021), chapter 21, equation 17)."""
    path = fan_path(total_pressure=None, static_pressure=RISE, outlet_area=0.12)
    expected = np.array(RISE) + 0.6 * (np.array(FLOW) / 0.12) ** 2
    np.testing.assert_allclose(rise(path, FLOW), expected, rtol=1e-5)


def test_soiling_lowers_the_pressure_not_the_power():
    clean, soiled = fan_path(), fan_path(soiling=0.2)
    np.testing.assert_allclose(rise(soiled, FLOW), 0.8 * np.array(RISE), rtol=1e-5)
    np.testing.assert_allclose(power(soiled, FLOW), power(clean, FLOW), rtol=1e-12)


def test_power_by_efficiency_and_by_curve():
    by_share = fan_path(efficiency=0.5)
    assert power(by_share, 2.0) == pytest.approx(4900.0 * 2.0 / 0.5)
    assert power(by_share, -1.0) == 0.0
    watts = [4e3, 9e3, 12e3, 14e3, 15e3, 14.5e3]
    by_curve = fan_path(shaft_power=watts)
    np.testing.assert_allclose(power(by_curve, FLOW), watts, rtol=1e-12)
    assert power(by_curve, -2.0) == pytest.approx(4e3)
    assert power(by_curve, 9.0) == pytest.approx(14.5e3)
    assert power(fan_path(shaft_power=watts, speed=0.0), 1.0) == 0.0


def test_two_points_make_a_straight_line():
    path = Fan(flow=[0.0, 2.0], total_pressure=[900.0, 100.0], curve_speed=100.0, speed=100.0).paths()[0]
    assert rise(path, 1.0) == pytest.approx(500.0, rel=1e-5)


def test_where_it_runs_beyond_its_points():
    path = fan_path(flow=[0.5, 1.0, 1.5, 2.0, 2.5, 3.0])

    def said(volume):
        found = fan_outside(1.2 * volume, LocalAir(1.2, 1.8e-5), **path.coefficients)
        return [sentence for mask, sentence in found if mask]

    assert "backwards" in said(-0.1)[0]
    assert "less than at the first point" in said(0.2)[0]
    assert "more than at the last point" in said(3.1)[0]
    assert said(2.0) == []


def test_assumed_curves_go_through_the_point_they_are_given():
    made = Fan.through(flow=1.8, total_pressure="5.3 kPa", speed="3600 rpm")
    assert rise(made.paths()[0], 1.8) == pytest.approx(5300.0, rel=1e-5)
    assert made.curve == "assumed"
    wheel = Fan.typical(wheel_diameter=0.5, width=0.12, speed="3600 rpm")
    assert 4000.0 < rise(wheel.paths()[0], 1.5) < 7000.0
    wide = Fan.typical(wheel_diameter=0.5, width=0.24, speed="3600 rpm", highest_speed="4200 rpm")
    assert rise(wide.paths()[0], 3.0) == pytest.approx(float(rise(wheel.paths()[0], 1.5)), rel=1e-5)
    columns = Fan.through(flow=np.array([1.0, 2.0]), total_pressure=5000.0, speed=377.0)
    assert rise(columns.paths()[0], np.array([1.0, 2.0])) == pytest.approx([5000.0, 5000.0], rel=1e-5)


# ---- ends, standing


def test_a_free_outlet_gives_back_what_static_pressure_was_lifted_by():
    """Fan static pressure is total less the outlet's velocity pressure (ASHRAE Fundamentals (2021), 21)."""
    path = fan_path(total_pressure=None, static_pressure=RISE, outlet_area=0.12, outlet="free")
    np.testing.assert_allclose(rise(path, FLOW), RISE, rtol=1e-5)
    blown_back = fan_path(outlet_area=0.12, outlet="free")
    assert rise(blown_back, -2.0) > rise(fan_path(), -2.0)  # it resists either way


def test_losses_at_the_ends_are_shares_of_the_velocity_pressure_there():
    velocity = 0.6 * (2.0 / 0.12) ** 2
    eye = 0.6 * (2.0 / 0.2) ** 2
    plain = rise(fan_path(), 2.0)
    assert plain - rise(fan_path(outlet_area=0.12, outlet_loss=0.5), 2.0) == pytest.approx(0.5 * velocity)
    assert plain - rise(fan_path(outlet_area=0.12, inlet_loss=1.2), 2.0) == pytest.approx(1.2 * velocity)
    both = fan_path(outlet_area=0.12, outlet_loss=0.5, inlet_area=0.2, inlet_loss=1.2, outlet="free")
    assert plain - rise(both, 2.0) == pytest.approx(1.5 * velocity + 1.2 * eye)
    np.testing.assert_allclose(power(both, FLOW), power(fan_path(), FLOW), rtol=1e-12)


@pytest.mark.parametrize(
    "more",
    [
        {"outlet": "free"},
        {"outlet_loss": 0.5},
        {"inlet_loss": 0.5},
        {"total_pressure": None, "static_pressure": RISE},
    ],
)
def test_what_refers_to_an_end_needs_its_section(more):
    with pytest.raises(InputError, match="without outlet_area"):
        fan_path(**more)


def test_named_cases_of_a_fans_ends_fit_its_numbers_and_tell_their_source():
    for case, end in FAN_ENDS.items():
        assert 0.0 < rise(fan_path(outlet_area=0.5, **{end.number: end.coefficient}), 1.0) < RISE[1], case
        assert source(end.source).title
    bends = [end.coefficient for case, end in FAN_ENDS.items() if case.startswith("three-piece")]
    assert bends == sorted(bends, reverse=True)  # straight duct before the eye takes the loss away


@pytest.mark.parametrize("standing", [0.3, 1.0, 3.0])
def test_a_standing_fan_resists_by_its_own_number(standing):
    path = fan_path(belt_slip=1.0, standing_loss=standing)
    assert rise(path, 3.0) == pytest.approx(-standing * 6350.0, rel=1e-4)
    # backwards the start of the curve, which rises, adds to it
    assert standing * 6350.0 < rise(path, -3.0) < standing * 6350.0 + 800.0
    assert rise(path, 1.5) == pytest.approx(-standing * 6350.0 / 4.0, rel=1e-4)
    assert power(path, 1.5) == 0.0


def test_an_own_belts_slip_slows_the_fan_alone():
    slow = fan_path(belt_slip=0.1)
    np.testing.assert_allclose(rise(slow, 0.9 * np.array(FLOW)), 0.81 * np.array(RISE), rtol=1e-5)
