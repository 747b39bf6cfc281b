"""One scenario solved again and again: what is kept from the last solve, and the steps that it takes."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.network.equations import Equations
from ductsim.network.linear import FEW_SCENARIOS, Pattern
from ductsim.network.network import stacked


def coefficients(machine):
    """What the equations of a machine are made of, group by group."""
    numbers, _ = stacked(machine.system, machine.part_numbers(), machine.air())
    return numbers.equations(machine.system).coefficients


def test_what_did_not_change_is_not_made_anew():
    """A leak's area touches the coefficients of leaks alone."""
    picker = ds.demo("picker")
    before = coefficients(picker)
    after = coefficients(picker.change({"hatch leak 4.area": "12 cm2"}))
    same = [one is two for one, two in zip(before, after, strict=True)]
    assert same.count(False) == 1
    (own,) = [c for c, kept in zip(after, same, strict=True) if not kept]
    assert "hatch leak 4" in {
        picker.system.path_names[r] for r in range(own.group.rows.start, own.group.rows.stop)
    }


def test_a_single_solve_from_nearby_takes_its_equations_apart_nowhere(monkeypatch):
    """All scenarios of one are that one; the fans' curves that it keeps stay with it."""
    picker = ds.demo("picker")
    start = picker.change({"belt.slip": 0.03}).solve()
    expected = picker.solve(start=start)
    taken = []
    take = Equations.take
    monkeypatch.setattr(Equations, "take", lambda eq, columns: taken.append(columns) or take(eq, columns))
    found = picker.solve(start=start)
    assert taken == []
    np.testing.assert_array_equal(found.arrays.point.flow, expected.arrays.point.flow)


@pytest.mark.parametrize(
    "change",
    [
        {"hatch leak 4.area": "12 cm2"},
        {"left fan.soiling": 0.2},
        {"jet 3.nozzle_area": "x1.1"},
        {"belt.engine_speed": "1900 rpm"},
        {"hose 2.length": "x1.3", "air.temperature": "8 degC"},
    ],
)
def test_what_is_kept_decides_nothing(change):
    """A machine solved among others has the answer of the same machine read anew."""
    picker = ds.demo("picker")
    picker.solve()
    changed = picker.change(change)
    fresh = ds.demo("picker").change(change).solve()
    for state in (changed.solve(), picker.solve() and changed.solve()):
        np.testing.assert_array_equal(state.arrays.point.flow, fresh.arrays.point.flow)
        np.testing.assert_array_equal(state.arrays.point.pressure, fresh.arrays.point.pressure)


def test_columns_after_a_single_solve_are_columns():
    """What a single scenario keeps is not taken for a column that holds its number first."""
    picker = ds.demo("picker")
    own = picker.numbers["hatch leak 4.area"]
    alone = picker.change({"hatch leak 4.area": 2.0 * own}).solve()
    many = picker.change({"hatch leak 4.area": np.array([own, 2.0 * own])}).solve()
    for path in many.flow:
        assert many.flow[path][1] == pytest.approx(alone.flow[path], rel=1e-8, abs=1e-10)


@pytest.mark.parametrize(("share", "steps"), [(0.003, 3), (0.03, 4)])
def test_a_warm_start_takes_few_steps(share, steps):
    """Temperatures are in the step, so they do not lag behind the flows; before, such starts took five."""
    picker = ds.demo("picker")
    moved = {"hose *.length": f"x{1.0 + share}", "jet *.nozzle_area": f"x{1.0 - share}"}
    near = picker.change(moved).solve()
    state = picker.solve(start=near)
    assert state.steps <= steps
    cold = picker.solve().arrays.point.flow
    np.testing.assert_allclose(state.arrays.point.flow, cold, atol=1e-9 * np.abs(cold).max())


def test_densities_belong_to_where_it_ends():
    """The last step is not evaluated; what is told of the air is that of its end all the same."""
    picker = ds.demo("picker")
    near = picker.change({"belt.engine_speed": "x1.01"}).solve()
    state = picker.solve(start=near)
    point = state.arrays.point
    numbers, _ = stacked(picker.system, picker.part_numbers(), picker.air())
    eq = numbers.equations(picker.system)
    values = eq.evaluate(point.flow, point.pressure, point.temperature_rise)
    np.testing.assert_allclose(state.arrays.density, values.density, rtol=1e-13)
    np.testing.assert_allclose(
        eq.densities(point.flow, point.pressure, point.temperature_rise), values.density
    )


def test_a_step_that_only_moves_pressures_is_not_the_last():
    """A supply fixes the flow of a single duct: its pressure alone is sought, down to the laws' own drop."""
    net = ds.Network(ds.Air.at(temperature=293.15, relative_humidity=0.5))
    net.add("pipe", ds.Duct(length=3.0, diameter=0.0113), "outside", "box").supply("box", -0.008)
    found = net.solve()
    system = net.system()
    numbers, _ = stacked(system, net.numbers(), net.air)
    point = found.arrays.point
    values = numbers.equations(system).evaluate(point.flow, point.pressure, point.temperature_rise)
    assert abs(values.residual[0, 0]) < 1e-9 * abs(found.pressure["box"])


@pytest.mark.parametrize("size", [12, 200])
@pytest.mark.parametrize("scenarios", [1, FEW_SCENARIOS + 4])
def test_other_right_hand_sides_by_the_same_factors(size, scenarios):
    """LAPACK, SuperLU and the elimination solve again; NumPy's dense solution is the measure."""
    rng = np.random.default_rng(size + scenarios)
    full = np.zeros((scenarios, size, size))
    for i in range(size - 1):
        gain = rng.uniform(0.1, 10.0, scenarios)
        full[:, i, i] += gain
        full[:, i + 1, i + 1] += gain
        full[:, i, i + 1] -= gain
        full[:, i + 1, i] -= gain
    full[:, 0, 0] += 1.0
    rows, columns = np.nonzero(full[0])
    pattern, keep = Pattern(size, rows, columns), []
    one, two = rng.uniform(-1.0, 1.0, (2, size, scenarios))
    pattern.solve(full[:, rows, columns].T.copy(), one, keep=keep)
    (again,) = keep
    expected = np.linalg.solve(full, two.T[:, :, None])[:, :, 0].T
    np.testing.assert_allclose(again(two), expected, rtol=1e-7, atol=1e-9)
