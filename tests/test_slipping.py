"""Belts that slip more the more they carry."""

import numpy as np
import pytest

import ductsim as ds

RISE = {"belt.slip_rise": 0.03}


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def test_the_slip_found_belongs_to_the_load_found(picker):
    state = picker.change(RISE).solve()
    running = state.machine.numbers["belt.slip"]
    power = sum(state.power.values())
    assert running == pytest.approx(0.02 + 0.03 * power / 40e3, rel=1e-8)
    assert state.rows()[0]["vacuum_Pa"] < picker.solve().rows()[0]["vacuum_Pa"]


def test_it_is_the_machine_with_that_slip(picker):
    state = picker.change(RISE).solve()
    same = picker.change({"belt.slip": state.machine.numbers["belt.slip"]}).solve()
    assert state.vacuum["4"] == pytest.approx(same.vacuum["4"], rel=1e-9)
    assert state.fan_rows()[0]["speed_rpm"] == pytest.approx(same.fan_rows()[0]["speed_rpm"], rel=1e-9)


def test_no_rise_changes_nothing(picker):
    assert picker.change({"belt.slip_rise": 0.0}).solve().vacuum["4"] == picker.solve().vacuum["4"]


def test_columns_are_the_single_solves(picker):
    rise = np.array([0.0, 0.01, 0.05])
    many = picker.change({"belt.slip_rise": rise}).solve()
    for i, r in enumerate(rise):
        one = picker.change({"belt.slip_rise": float(r)}).solve()
        assert many.vacuum["4"][i] == pytest.approx(one.vacuum["4"], rel=1e-7)


def test_derivatives_hold_the_slips_own_answer(picker):
    """Against central differences of full solves, five-point."""
    machine = picker.change(RISE)
    addresses = [
        "belt.slip",
        "belt.slip_rise",
        "belt.available_power",
        "belt.engine_speed",
        "hose 2.diameter",
    ]
    questions = ["weakest vacuum", "shaft power"]
    _, slopes = machine.jacobian(of=questions, numbers=addresses)
    for j, address in enumerate(addresses):
        value = machine.numbers[address]
        step = 4e-3 * value
        column = value + step * np.array([2.0, 1.0, -1.0, -2.0])
        state = machine.change({address: column}).solve()
        for q, of in enumerate(questions):
            difference = np.dot([-1.0, 8.0, -8.0, 1.0], state.ask(of)) / (12.0 * step)
            assert slopes[q, j] == pytest.approx(difference, rel=2e-5, abs=1e-9)


def test_a_belt_that_does_not_give_yet_still_says_what_it_would_cost(picker):
    """At a rise of 0 the slope is one-sided; against a three-point difference upwards."""
    _, slopes = picker.jacobian(of=["weakest vacuum", "shaft power"], numbers=["belt.slip_rise", "belt.slip"])
    step = 1e-3
    state = picker.change({"belt.slip_rise": step * np.array([0.0, 1.0, 2.0])}).solve()
    for q, of in enumerate(("weakest vacuum", "shaft power")):
        difference = np.dot([-3.0, 4.0, -1.0], state.ask(of)) / (2.0 * step)
        assert slopes[q, 0] == pytest.approx(difference, rel=1e-4)
    alone = picker.jacobian(of=["weakest vacuum"], numbers=["belt.slip"])[1]
    assert slopes[0, 1] == pytest.approx(alone[0, 0], rel=1e-9)


def test_a_rise_needs_the_power_it_belongs_to():
    belt = {"engine_speed": 200.0, "driving_pulley": 0.3, "driven_pulley": 0.3, "slip_rise": 0.1}
    curve = {"curve_speed": 200.0, "flow": [0.0, 1.0], "total_pressure": [500.0, 100.0]}
    hole = {"kind": "opening", "area": 0.03, "loss_coefficient": 1}
    document = {
        "format": 1,
        "title": "belt without its power (invented)",
        "air": {"density": 1.2, "viscosity": 1.8e-5},
        "drive": {"belt": belt},
        "part": [
            {"name": "fan", "kind": "fan", "from": "outside", "to": "box", "drive": "belt", **curve},
            {"name": "hole", "from": "box", "to": "outside", **hole},
        ],
    }
    with pytest.raises(ds.InputError, match="available_power"):
        ds.Machine.of(document).solve()
