"""Traverses against profiles whose mean is known in closed form."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.readings.traversing import RECTANGULAR, ROUND


def power_law(depth, n):
    """Velocity over that in the middle at a depth over the half-width (Prandtl's power law of turbulence)."""
    return depth ** (1.0 / n)


@pytest.mark.parametrize("n", [6, 7, 9])
@pytest.mark.parametrize("rule", ROUND)
def test_round_ducts_give_the_mean_of_a_power_law(rule, n):
    """Its mean over a circle is 2 n^2 / ((n + 1)(2 n + 1)), by integration."""
    for points in ROUND[rule]:
        places = ds.traverse_places(points, diameter=1.0, rule=rule)
        assert len(places) == 2 * points
        y = np.array([p["from_wall_m"] for p in places])
        profile = power_law(2.0 * np.minimum(y, 1.0 - y), n)
        mean = ds.traverse(10.0 * profile, area=0.5, quantity="velocity").mean_velocity
        assert mean == pytest.approx(10.0 * 2 * n**2 / ((n + 1) * (2 * n + 1)), rel=0.008)


@pytest.mark.parametrize("points", RECTANGULAR)
def test_rectangular_ducts_give_the_mean_of_a_power_law(points):
    """The mean of the product of two power laws is (n / (n + 1))^2, by integration."""
    places = ds.traverse_places(points, width="400 mm", height=0.3)
    x = np.array([p["from_side_m"] for p in places]) / 0.4
    y = np.array([p["from_bottom_m"] for p in places]) / 0.3
    profile = power_law(2 * np.minimum(x, 1 - x), 7) * power_law(2 * np.minimum(y, 1 - y), 7)
    mean = ds.traverse(profile, area=0.12, quantity="velocity").mean_velocity
    assert mean == pytest.approx((7 / 8) ** 2, rel=0.01)


def test_velocity_pressures_become_velocities_by_bernoulli():
    """Velocity pressure = density x velocity^2 / 2."""
    got = ds.traverse(["60 Pa", 60.0, "0.6 mbar", -60.0], area="600 cm2", density=1.2)
    np.testing.assert_allclose(got.velocities, [10.0, 10.0, 10.0, -10.0])
    assert got.mean_velocity == pytest.approx(5.0)
    assert got.volume_flow == pytest.approx(0.3)
    assert got.mass_flow == pytest.approx(0.36)
    assert "run back" not in str(got)
    assert "runs back" in str(got)
    assert [row["of_mean"] for row in got.rows()] == pytest.approx([2.0, 2.0, 2.0, -2.0])


def test_a_traverse_is_a_reading():
    got = ds.traverse([10.0, 11.0, 10.0, 30.0], area=0.06, quantity="velocity").reading("door 1", set="A")
    assert (got.tapping, got.quantity, got.set) == ("door 1", "velocity", "A")
    assert got.value == pytest.approx(15.25)
    assert got.sd == pytest.approx(0.305)
    assert ds.read_readings([got]).items == (got,)


def test_an_uneven_profile_is_said():
    assert "uneven" in str(ds.traverse([10.0, 11.0, 10.0, 30.0], area=0.06, quantity="velocity"))


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ds.traverse_places(6), "a diameter, or width and height"),
        (
            lambda: ds.traverse_places(6, diameter=0.3, width=0.3, height=0.2),
            "a diameter, or width and height",
        ),
        (lambda: ds.traverse_places(5, diameter=0.3), "5 places; 4, 6, 8, 10 on each line"),
        (lambda: ds.traverse_places(6, diameter=0.3, rule="log"), "unknown rule 'log'"),
        (lambda: ds.traverse_places(6, diameter="-3 mm"), "above 0 m"),
        (lambda: ds.traverse([1.0, 2.0], area=0.1), "2 readings"),
        (lambda: ds.traverse([1.0] * 6, area="0 m2"), "both above 0"),
        (lambda: ds.traverse(["a"] * 6, area=0.1), "traverse: 'a' is no number"),
        (lambda: ds.traverse([1.0] * 6, area=0.1, quantity="speed"), "unknown quantity 'speed'"),
    ],
)
def test_what_is_wrong_is_one_sentence(call, words):
    with pytest.raises(ds.InputError) as err:
        call()
    assert words in str(err.value)
