"""What the solver's guards are for: entries far apart, cliffs and short circuits, air that is too thin."""

import numpy as np
import pytest
from hostile_networks import examine, generate

import ductsim as ds
from ductsim.network.linear import Pattern, solve_by_leaks, solve_dense
from ductsim.network.state import Outcome

STEADY = ds.Air(density=1.2, viscosity=1.8e-5)


def fan(pressure, full=1.0, **more):
    """A fan whose curve falls to nothing at its full flow."""
    curve = {"flow": [0.0, full / 2, full], "total_pressure": [pressure, 0.8 * pressure, 0.1 * pressure]}
    return ds.Fan(**curve, curve_speed=300.0, speed=300.0, **more)


def ring(inside, out):
    """Nodal matrix of three nodes, joined by `inside`, the first to outside by `out`; and its leaks."""
    pattern = Pattern(3, np.repeat(np.arange(3), 3), np.tile(np.arange(3), 3))
    matrix = np.full((3, 3), -inside) + np.diag([3.0 * inside] * 3)
    matrix[0, 0] += out
    leaks = np.array([[out], [0.0], [0.0]])
    return pattern, matrix.reshape(-1, 1), leaks


@pytest.mark.parametrize("out", [1.0, 1e-6, 1e-12, 1e-18])
def test_a_narrow_way_out_keeps_its_digits(out):
    """What is put in must leave by the only way there is: pressure is flow over conductance, by hand."""
    pattern, slots, leaks = ring(1e3, out)
    found = solve_by_leaks(pattern, slots, leaks, np.array([[0.0], [2.0 * out], [3.0 * out]]))
    assert found[:, 0] == pytest.approx(5.0, rel=1e-12, abs=1e-2 * out)


def test_both_eliminations_agree_where_nothing_is_far_apart():
    rng = np.random.default_rng(5)
    pattern = Pattern(4, np.repeat(np.arange(4), 4), np.tile(np.arange(4), 4))
    matrix = -rng.uniform(0.1, 1.0, (4, 4, 2))
    leaks = rng.uniform(0.1, 1.0, (4, 2))
    at = np.arange(4)
    matrix[at, at] = 0.0
    matrix[at, at] = leaks - matrix.sum(axis=0)
    right = rng.normal(size=(4, 2))
    slots = matrix.reshape(16, 2)
    assert solve_by_leaks(pattern, slots, leaks, right) == pytest.approx(solve_dense(pattern, slots, right))


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_fans_in_a_ring_behind_a_narrow_way():
    """Two fans drive each other's air round; a duct of 1e10 Pa s/kg says at which pressure."""
    net = ds.Network(STEADY, free_ends=False)
    net.add("one", fan(500.0), "a", "b")
    net.add("two", fan(300.0), "a", "b")
    net.add("way", ds.Resistance(exponent=1.0, coefficient=1e11), "a", "outside")
    state = net.solve()
    assert state.flow["one"] == pytest.approx(-state.flow["two"], rel=1e-9)
    assert state.drop["one"] == pytest.approx(state.drop["two"], rel=1e-8)
    assert abs(state.flow["one"]) > 0.1
    assert state.pressure["a"] == pytest.approx(0.0, abs=1e-4)


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_a_rising_fan_short_circuited_by_hardly_any_resistance():
    """Newton's step at standstill points the wrong way; the air runs up until the opening takes it all."""
    net = ds.Network(STEADY, free_ends=False)
    rising = ds.Fan(
        flow=[0.0, 0.01, 0.4, 1.0], total_pressure=[1.0, 5.0, 4.0, 0.1], curve_speed=300.0, speed=300.0
    )
    net.add("fan", rising, "a", "b")
    net.add("opening", ds.Opening(area=1.0, loss_coefficient=1e-6), "b", "a")
    net.add("leak", ds.Opening(area=1e-8, loss_coefficient=1.5), "a", "outside")
    state = net.solve()
    assert state.flow["fan"] == pytest.approx(state.flow["opening"], rel=1e-9)
    assert -state.drop["fan"] == pytest.approx(state.drop["opening"], abs=1e-6)
    assert state.flow["fan"] > 0.5


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_air_that_would_have_to_be_thinner_than_nothing_is_named_without_a_long_search():
    state = generate(8).network().solve(raise_error=False)
    assert state.outcome is Outcome.TOO_DEEP
    assert state.steps < 1000


@pytest.mark.parametrize("seed", [331, 382])
def test_hostile_networks_that_once_ended_without_a_reason(seed):
    assert examine(generate(seed)) == "solved"
