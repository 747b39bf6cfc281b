"""The network builder, what a solve returns, structure checks, columns, failures."""

import pickle

import numpy as np
import pytest

import ductsim as ds
from ductsim.network.state import Outcome
from ductsim.network.system import Compiled

AIR = ds.Air(density=1.2, viscosity=1.8e-5)


def opening(area=0.01, loss=1.0):
    return ds.Opening(area=area, loss_coefficient=loss)


def fan(p0=1000.0, last=1.0, **more):
    return ds.Fan(flow=[0.0, last], total_pressure=[p0, 0.0], curve_speed=100.0, **({"speed": 100.0} | more))


def blower():
    """A fan, a box with a leak, and a hose to outside."""
    net = ds.Network(AIR)
    net.add("fan", fan(), "outside", "box")
    net.add("leak", ds.Leak(area=0.001), "box", "outside")
    net.add("hose", ds.Hose(length=2.0, diameter=0.2), "box", "outside")
    return net


# ---- building


def test_add_hold_and_supply_return_the_network():
    net = ds.Network(AIR)
    assert net.add("a", opening(), "outside", "x") is net
    assert net.hold("x", pressure="1 kPa") is net
    assert net.supply("x", mass_flow=0.0) is net


@pytest.mark.parametrize(
    ("build", "words"),
    [
        (lambda n: n.add("fan", opening(), "outside", "x"), ["'fan'", "the name is taken"]),
        (lambda n: n.add("x", 3.0, "outside", "box"), ["'x'", "3.0 is not a part"]),
        (lambda n: n.add("x", opening(), "box"), ["got 1 ends", "from, to"]),
        (
            lambda n: n.add("j", ds.Jet(nozzle_area=0.01, mixing_area=0.1), "box", "outside"),
            ["got 2 ends", "motive, suction, discharge"],
        ),
        (lambda n: n.add("x", opening(), "box", "box"), ["two ends at the same node"]),
        (lambda n: n.hold("outside", pressure=1.0), ["outside is always at 0 Pa"]),
        (lambda n: n.hold("box", pressure="3 kg"), ["kg"]),
        (lambda n: n.hold("box", 1.0).hold("box", 2.0), ["'box'", "held at another pressure"]),
        (lambda n: n.supply("outside", mass_flow=1.0), ["outside needs no supply"]),
        (lambda n: n.hold("bax", pressure=1.0).solve(), ["'bax'", "'box'"]),
        (lambda n: n.supply("boxx", mass_flow=1.0).solve(), ["'boxx'", "'box'"]),
    ],
)
def test_what_cannot_be_built_is_said_in_one_sentence(build, words):
    with pytest.raises(ds.InputError) as caught:
        build(blower())
    for word in words:
        assert word in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_empty_network():
    with pytest.raises(ds.InputError, match="no parts"):
        ds.Network(AIR).solve()


def test_holding_a_node_twice_at_the_same_pressure_is_no_contradiction():
    net = blower().hold("box", pressure="100 Pa").hold("box", pressure=100.0)
    assert net.solve().pressure["box"] == 100.0


def test_columns_of_two_lengths_name_both():
    net = blower()
    net.add("a", opening(area=np.array([0.01, 0.02])), "box", "outside")
    net.hold("box", pressure=np.array([1.0, 2.0, 3.0]))
    with pytest.raises(ds.InputError) as caught:
        net.solve()
    for word in ("'a.area'", "2", "'box.pressure'", "3"):
        assert word in str(caught.value)


# ---- the answer


def test_the_state_by_name():
    state = blower().solve()
    assert state.solved is True
    assert state.outcome is Outcome.SOLVED
    assert isinstance(state.steps, int)
    assert 0 < state.steps < 15
    assert state.pressure["outside"] == 0.0
    assert isinstance(state.pressure["box"], float)
    assert state.flow["fan"] == pytest.approx(state.flow["leak"] + state.flow["hose"], rel=1e-12)
    assert state.drop["fan"] == pytest.approx(-state.pressure["box"], rel=1e-9)
    assert state.drop["hose"] == pytest.approx(state.pressure["box"], rel=1e-9)
    assert state.density["hose"] == 1.2
    assert state.temperature["box"] == AIR.temperature
    assert state.slope["hose"] > 0.0
    volume = state.flow["fan"] / 1.2
    assert state.power["fan"] == pytest.approx(state.pressure["box"] * volume / 0.6, rel=1e-5)
    assert set(state.flow) == {"fan", "leak", "hose"}
    assert len(state.flow) == 3
    assert state.closed_off == []
    assert "3 paths" in repr(state)
    assert "3 names" in repr(state.flow)


def test_a_jet_has_two_paths():
    net = ds.Network(AIR)
    net.hold("box", pressure=2000.0)
    net.add("jet", ds.Jet(nozzle_area=0.005, mixing_area=0.05), "box", "door", "foot")
    net.add("opening", opening(area=0.04), "outside", "door")
    net.add("outlet", opening(area=0.05), "foot", "outside")
    state = net.solve()
    assert state.flow["jet", "motive"] > 0.0
    assert state.flow["jet", "suction"] == pytest.approx(state.flow["opening"], rel=1e-12)
    assert state.pressure["door"] < 0.0
    with pytest.raises(ds.UnknownName) as caught:
        state.flow["jet"]
    assert "motive" in str(caught.value)


@pytest.mark.parametrize(
    ("what", "name", "nearest"),
    [("flow", "hsoe", "hose"), ("pressure", "bxo", "box"), ("power", "fam", "fan")],
)
def test_unknown_names_name_the_nearest(what, name, nearest):
    state = blower().solve()
    with pytest.raises(ds.UnknownName) as caught:
        getattr(state, what)[name]
    assert nearest in str(caught.value)
    with pytest.raises(KeyError):
        getattr(state, what)[name]


def test_a_start_from_a_solved_state_gives_the_same_answer():
    net = blower()
    cold = net.solve()
    warm = net.solve(start=cold)
    assert warm.steps <= 2
    for name in cold.flow:
        assert warm.flow[name] == pytest.approx(cold.flow[name], rel=1e-10)


def test_nothing_flowing():
    net = ds.Network(AIR)
    net.add("duct", ds.Duct(length=2.0, diameter=0.2), "outside", "box")
    net.add("opening", opening(), "box", "outside")
    state = net.solve()
    assert state.solved
    assert state.flow["duct"] == pytest.approx(0.0, abs=1e-9)
    assert state.pressure["box"] == pytest.approx(0.0, abs=1e-6)


def test_a_supply_is_shared_out_and_taken_out():
    net = ds.Network(AIR)
    net.add("a", opening(area=0.01), "box", "outside")
    net.add("b", opening(area=0.03), "box", "outside")
    for amount in (0.4, -0.4):
        state = net.supply("box", mass_flow=amount).solve()
        assert state.flow["a"] == pytest.approx(0.25 * amount, rel=1e-6)
        assert state.flow["b"] == pytest.approx(0.75 * amount, rel=1e-6)
        # loss 1.0 on the velocity pressure in the area, Q = m / rho
        q = 0.25 * amount / 1.2
        assert state.pressure["box"] == pytest.approx(0.6 * (q / 0.01) * abs(q / 0.01), rel=1e-6)


# ---- what is closed


def test_a_closed_path_carries_nothing():
    net = blower()
    net.add("shut", ds.Gate(area=0.01, opening=0.0), "box", "outside")
    state = net.solve()
    assert state.flow["shut"] == 0.0
    open_ = blower().solve()
    assert state.flow["hose"] == pytest.approx(open_.flow["hose"], rel=1e-12)


def test_a_node_closed_off_is_reported_and_is_no_failure():
    net = blower()
    net.add("shut", opening(area=0.0), "box", "dead")
    net.add("inside", opening(), "dead", "deader")
    state = net.solve()
    assert state.solved
    assert np.isnan(state.pressure["dead"])
    assert np.isnan(state.pressure["deader"])
    assert state.closed_off == ["dead", "deader"]
    assert state.flow["inside"] == pytest.approx(0.0, abs=1e-9)
    assert state.flow["hose"] == pytest.approx(blower().solve().flow["hose"], rel=1e-9)


def test_a_ring_without_a_known_pressure_still_has_its_flow():
    net = ds.Network(AIR)
    net.add("fan", fan(p0=500.0, last=0.5), "a", "b")
    net.add("back", opening(area=0.02, loss=2.0), "b", "a")
    state = net.solve()
    assert state.solved
    assert state.flow["fan"] > 0.1
    assert state.flow["fan"] == pytest.approx(state.flow["back"], rel=1e-9)
    assert state.drop["back"] == pytest.approx(-state.drop["fan"], rel=1e-8)
    assert np.isnan(state.pressure["a"])


def fed():
    net = blower()
    net.add("shut", opening(area=0.0), "box", "dead end")
    net.supply("dead end", mass_flow=0.1)
    return net


def test_air_fed_to_a_closed_off_node_has_no_operating_point():
    with pytest.raises(ds.NoOperatingPoint) as caught:
        fed().solve()
    err = caught.value
    assert err.node == "dead end"
    assert "'dead end'" in str(err)
    assert err.state.outcome is Outcome.FED_CLOSED_OFF
    assert err.remedy
    assert err.state.outcome.remedy == err.remedy
    assert not err.state.solved


def emptied(flow, air):
    """A box with a hole of 1 cm2, out of which so much air is taken."""
    return ds.Network(air).add("hole", opening(area=1e-4, loss=1.5), "outside", "box").supply("box", flow)


def test_no_vacuum_is_deeper_than_the_air_outside():
    """0.05 kg/s through 1 cm2 would need 1.5 * 0.05^2 / (2 rho 1e-8) = 156 kPa, by Bernoulli's equation."""
    air = ds.Air.at(temperature=293.15, relative_humidity=0.5)
    with pytest.raises(ds.NoOperatingPoint) as caught:
        emptied(-0.05, air).solve()
    assert caught.value.node == "box"
    assert caught.value.state.outcome is Outcome.TOO_DEEP
    assert "'box'" in str(caught.value)
    assert "Take less air out" in caught.value.remedy
    many = emptied(np.array([-0.01, -0.05, 0.05]), air).solve(raise_error=False)
    assert list(many.solved) == [True, False, True]
    assert np.isnan(many.pressure["box"][1])
    # air of a given density can be thinned without end
    given = ds.Air(density=1.2, viscosity=1.8e-5)
    with pytest.warns(ds.OutsideRange, match="faster than 100 m/s"):
        assert emptied(-0.05, given).solve().pressure["box"] == pytest.approx(-156_250.0, rel=1e-3)


def test_a_search_that_fails_where_air_chokes_says_what_is_wrong():
    """A long duct of 1 cm2 cannot pass this at any vacuum: its own air grows thinner than it can bear."""
    net = ds.Network(ds.Air.at(temperature=293.15, relative_humidity=0.5))
    net.add("pipe", ds.Duct(length=3.0, diameter=0.0113), "outside", "box").supply("box", -0.025)
    assert net.solve(raise_error=False).outcome is Outcome.TOO_DEEP


def test_no_operating_point_pickles():
    with pytest.raises(ds.NoOperatingPoint) as caught:
        fed().solve()
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value)
    assert again.node == "dead end"


def test_the_state_of_a_failure_comes_back_when_asked():
    state = fed().solve(raise_error=False)
    assert state.outcome is Outcome.FED_CLOSED_OFF
    assert "no answer" in repr(state)


def test_supplies_that_cancel_in_a_closed_piece_are_no_failure():
    net = blower()
    net.add("shut", opening(area=0.0), "box", "a")
    net.add("inside", opening(), "a", "b")
    net.supply("a", mass_flow=0.1).supply("b", mass_flow=-0.1)
    state = net.solve()
    assert state.solved
    assert state.flow["inside"] == pytest.approx(0.1, rel=1e-9)


# ---- columns


def columns_of(net, count):
    areas = np.linspace(0.0, 0.02, count)
    return net.add("gap", ds.Leak(area=areas), "box", "outside"), areas


def test_a_column_gives_columns():
    net, areas = columns_of(blower(), 5)
    state = net.solve()
    assert state.columns == len(state) == 5
    assert state.flow["fan"].shape == (5,)
    assert state.steps.shape == (5,)
    assert state.outcome == [Outcome.SOLVED] * 5
    assert state.imbalance.max() < 1e-12
    assert state.flow["gap"][0] == 0.0
    assert np.all(np.diff(state.flow["gap"]) > 0.0)
    for area, one in zip(areas, state):
        single = blower().add("gap", ds.Leak(area=float(area)), "box", "outside").solve()
        assert one.columns is None
        assert one.flow["fan"] == pytest.approx(single.flow["fan"], rel=1e-9)
        assert one.pressure["box"] == pytest.approx(single.pressure["box"], rel=1e-9)
    assert state[-1].flow["gap"] == state[4].flow["gap"]
    with pytest.raises(IndexError):
        state[5]
    with pytest.raises(IndexError):
        blower().solve()[1]
    assert "5 scenarios" in repr(state)


def test_a_scenario_without_an_answer_is_nan_and_the_rest_stands():
    area = np.array([0.0, 0.01, 0.0, 0.02])
    net = blower()
    net.add("way", opening(area=area), "box", "room")
    net.supply("room", mass_flow=np.array([0.0, 0.1, 0.1, 0.1]))
    with pytest.raises(ds.NoOperatingPoint) as caught:
        net.solve()
    assert "1 of 4 scenarios" in str(caught.value)
    state = net.solve(raise_error=False)
    assert list(state.solved) == [True, True, False, True]
    assert state.outcome[2] is Outcome.FED_CLOSED_OFF
    assert np.isnan(state.flow["hose"][2])
    assert np.isnan(state.pressure["room"][0])  # closed off, not fed: no failure
    assert state.flow["way"][0] == 0.0
    for i in (1, 3):
        assert state.flow["way"][i] == pytest.approx(-0.1, rel=1e-9)
        assert np.isfinite(state.pressure["room"][i])


def test_air_may_be_a_column():
    air = ds.Air(density=np.array([1.0, 1.2]), viscosity=1.8e-5)
    net = ds.Network(air)
    net.add("a", opening(), "box", "outside").hold("box", pressure=100.0)
    state = net.solve()
    # same pressure: volume flow goes with 1 / sqrt(density), mass flow with its square root
    assert state.flow["a"][1] / state.flow["a"][0] == pytest.approx(np.sqrt(1.2), rel=1e-6)


def test_the_layout_is_compiled_once_for_any_numbers():
    machine = ds.demo("bench")
    machine.solve()
    before = Compiled.count
    machine.change({"fan.speed": np.linspace(100.0, 160.0, 7)}).solve()
    machine.change({"left duct.length": "3 m"}).solve()
    assert Compiled.count == before
