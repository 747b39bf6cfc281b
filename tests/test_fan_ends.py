"""A fan's own belt, its standing resistance and its outlet, in whole machines."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.commands.checking import checked
from ductsim.network import rising
from ductsim.network.network import stacked
from ductsim.quantity import RPM

BEYOND = pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")  # one fan is blown through


@BEYOND
def test_belt_off_stops_one_fan_of_a_shared_drive():
    machine = ds.demo("picker")
    state, off = machine.solve(), machine.change({"left fan.belt_slip": 1.0}).solve()
    left, right = off.fan_rows()
    assert left["speed_rpm"] == 0.0 and left["shaft_power_W"] == 0.0
    assert right["speed_rpm"] == pytest.approx(state.fan_rows()[1]["speed_rpm"])
    assert "blown through backwards" in left["note"] and off.flow["left fan"] < 0.0
    assert all(off.vacuum[unit] < state.vacuum[unit] for unit in state.vacuum)
    assert off.ask("speed left fan") == 0.0


@BEYOND
def test_what_a_standing_fan_lets_through_hangs_on_its_resistance():
    machine = ds.demo("picker").change({"left fan.belt_slip": 1.0})
    weakest = [
        machine.change({"left fan.standing_loss": loss}).ask("weakest vacuum") for loss in (0.3, 1.0, 3.0)
    ]
    assert weakest == sorted(weakest) and weakest[2] - weakest[0] > 20.0
    running = ds.demo("picker")
    assert running.change({"*.standing_loss": 3.0}).ask("weakest vacuum") == running.ask("weakest vacuum")


def test_slip_of_one_belt_and_the_limit_of_speed():
    machine = ds.demo("picker").change({"belt.driven_pulley": "205 mm"})
    fast = [note.place for note in machine.solve().notes if note.kind == "limit passed"]
    assert fast == ["left fan", "right fan", "belt"]
    slowed = machine.change({"left fan.belt_slip": 0.1}).solve()
    assert "left fan" not in [note.place for note in slowed.notes]
    assert slowed.fan_rows()[0]["speed_rpm"] == pytest.approx(
        0.9 * float(machine.part_numbers()["left fan.speed"]) * RPM
    )


def test_the_slopes_of_a_belts_slip_and_of_the_standing_loss_are_those_of_differences():
    machine = ds.demo("picker").change({"left fan.belt_slip": 0.3, "belt.slip_rise": 0.01})
    step = 1e-5
    for of in ("weakest vacuum", "speed left fan", "shaft power"):
        slopes = machine.sensitivity(of=of).slopes
        (slope,) = [own for own in slopes if own.address == "left fan.belt_slip"]
        ends = [machine.change({"left fan.belt_slip": 0.3 + d}).ask(of) for d in (-step, step)]
        assert slope.derivative == pytest.approx((ends[1] - ends[0]) / (2 * step), rel=1e-4), of


def blower(**more):
    """A fan that blows into a box with two hoses (invented)."""
    fan = {"name": "fan", "kind": "fan", "from": "outside", "to": "plenum", "speed": 300.0}
    fan |= {"curve_speed": 300.0, "flow": [0.0, 5.0], "outlet_area": 0.05}
    hose = {
        "kind": "hose",
        "from": "plenum",
        "to": "outside",
        "diameter": 0.15,
        "length": 2.0,
        "loss_coefficient": 9.0,
        "stretch": 1.0,
    }
    hoses = [{"name": f"hose {i}", **hose} for i in (1, 2)]
    return ds.Machine.of({"format": 1, "air": {"density": 1.2}, "part": [fan | more, *hoses]})


def test_a_static_curve_in_front_of_a_box_is_noted_until_its_outlet_is_free():
    static = {"static_pressure": [3000.0, 500.0]}
    ducted, free = blower(**static), blower(**static, outlet="free")
    (note,) = [n for n in checked(ducted.solve()).notes if n.kind == "free outlet"]
    assert note.place == "fan"
    assert note.value == pytest.approx(0.6 * (ducted.solve().flow["fan"] / 1.2 / 0.05) ** 2)
    assert not [n for n in checked(free.solve()).notes if n.kind == "free outlet"]
    assert free.solve().pressure["plenum"] < ducted.solve().pressure["plenum"]
    whole = [blower(total_pressure=[3000.0, 500.0], outlet=word).solve() for word in ("ducted", "free")]
    assert whole[1].pressure["plenum"] < whole[0].pressure["plenum"]


def test_an_outlet_that_a_duct_goes_on_from_is_ducted(tmp_path):
    machine = ds.demo("picker")
    assert not [n for n in checked(machine.solve()).notes if n.kind == "free outlet"]  # no area is known
    free = blower(static_pressure=[3000.0, 500.0], outlet="free", outlet_loss=0.5, inlet_loss=1.0)
    free.write(tmp_path / "own.toml")
    assert ds.Machine.read(tmp_path / "own.toml") == free


def test_chords_are_the_same_at_once_and_one_after_the_other(monkeypatch):
    machine = ds.demo("picker").change({"belt.slip": np.linspace(0.0, 0.2, 12)})
    point = machine.solve().arrays.point
    eq = stacked(machine.system, machine.part_numbers(), machine.air())[0].equations(machine.system)
    guess = np.broadcast_to(eq.guess, point.flow.shape)
    found = []
    for most in (0, len(rising.WIDE_SHARES) * 12):
        monkeypatch.setattr(rising, "AT_ONCE", most)
        found.append(rising._chords(eq, point.flow, None, np.zeros_like(guess), guess, rising.WIDE_SHARES))
    assert np.array_equal(*found)
    assert found[0].shape == (2, 12)
