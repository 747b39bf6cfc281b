"""A jet in every flow state, in whole networks solved from a cold start, against the oracle's equations."""

import numpy as np
import pytest
from amounts import examples
from hypothesis import given
from hypothesis import strategies as st
from oracle import Oracle
from oracle_parts import plain_parts

import ductsim as ds
from ductsim.network.chords import by_chords
from ductsim.network.network import stacked
from ductsim.network.newton import cold_start

pytestmark = pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")

AIRS = {"constant": ds.Air(density=1.15, viscosity=1.85e-5), "real": ds.Air.at(temperature="30 degC")}


def unit(motive=4000.0, door=0.04, duct=1.2, wind=0.0, outlet=0.0, nozzle=0.0075):
    """A jet between a box, a door and a foot, and the pressures behind its three openings."""
    parts = [
        ("hose", ds.Opening(area=0.03, loss_coefficient=0.8), ("box", "jet box")),
        ("jet", ds.Jet(nozzle_area=nozzle, mixing_area=0.06), ("jet box", "door", "foot")),
        ("front", ds.Opening(area=door, loss_coefficient=1.5), ("field", "door")),
        ("hatch", ds.Leak(coefficient=0.003, exponent=0.6), ("outside", "door")),
        ("duct", ds.Duct(length=3.0, diameter=0.276, loss_coefficient=duct), ("foot", "sky")),
    ]
    return parts, {"box": motive, "field": wind, "sky": outlet}


# name: (numbers of `unit`, signs of motive, suction and mixed flow; 0 = closed)
STATES = {
    "pumping": ({}, (1, 1, 1)),
    "suction blocked but for a leak": ({"door": 0.0}, (1, 1, 1)),
    "duct throttled": ({"duct": 5.0}, (1, 1, 1)),
    "duct half plugged": ({"duct": 60.0}, (1, -1, 1)),
    "duct plugged: the nozzle blows out of the door": ({"duct": 1e5}, (1, -1, 1)),
    "duct plugged and door closed": ({"duct": 1e6, "door": 0.0}, (1, -1, 1)),
    "nozzle closed, wind on the door": ({"nozzle": 0.0, "wind": 200.0}, (0, 1, 1)),
    "no motive pressure, nothing moves": ({"motive": 0.0}, (0, 0, 0)),
    "no motive pressure, wind on the door": ({"motive": 0.0, "wind": 300.0}, (-1, 1, 1)),
    "box under vacuum: the nozzle sucks at both": ({"motive": -3000.0}, (-1, 1, -1)),
    "box under vacuum, wind on the duct": ({"motive": -3000.0, "outlet": 400.0}, (-1, -1, -1)),
    "wind on the duct against the jet": ({"outlet": 3000.0}, (1, -1, -1)),
    "vacuum behind the duct": ({"outlet": -2000.0}, (1, 1, 1)),
    "vacuum at the door": ({"wind": -2500.0}, (1, -1, -1)),
}


def network(parts, held, air):
    net = ds.Network(air)
    for name, part, ends in parts:
        net.add(name, part, *ends)
    for node, pressure in held.items():
        net.hold(node, pressure=pressure)
    return net


def agrees(parts, held, air, state):
    """The oracle's residual at the answer, and its own answer from it."""
    closed = any(part.kind == "jet" and part.nozzle_area == 0.0 for _, part, _ in parts)
    if closed:
        return
    o = Oracle(plain_parts(parts, air, held=held))
    ours = o.pack(state)
    assert np.abs(o.residual(ours)).max() < 1e-8
    theirs = o.solve(ours * 1.01 + 1e-4, jacobian=True).x
    assert np.abs(o.residual(theirs)).max() < 1e-9
    np.testing.assert_allclose(ours, theirs, rtol=1e-7, atol=1e-12 + 1e-7 * np.abs(theirs).max())


@pytest.mark.parametrize("air", AIRS)
@pytest.mark.parametrize("case", STATES)
def test_every_flow_state_from_a_cold_start(case, air):
    change, signs = STATES[case]
    parts, held = unit(**change)
    state = network(parts, held, AIRS[air]).solve()
    x, y = state.flow["jet", "motive"], state.flow["jet", "suction"]
    for value, sign in zip((x, y, x + y), signs):
        assert (abs(value) < 1e-5 and not sign) or np.sign(value) == sign
    agrees(parts, held, AIRS[air], state)


def test_a_plugged_duct_of_the_demo():
    """From a cold start: the motive air of unit 2 goes out by its door; the others hardly notice."""
    machine = ds.demo("picker")
    free, plugged = machine.solve(), machine.change({"duct 2.loss_coefficient": 1e6}).solve()
    assert plugged.flow["duct 2"] < 0.01
    assert plugged.flow["jet 2", "motive"] > 0.6 * free.flow["jet 2", "motive"]
    assert plugged.flow["front 2"] < -0.1
    assert plugged.vacuum["2"] < 0.0
    assert plugged.weakest == "2"
    for unit_name in "1345":
        assert plugged.vacuum[unit_name] == pytest.approx(free.vacuum[unit_name], rel=0.05)
    assert plugged.steps < 40


def test_plugging_a_duct_step_by_step_is_smooth():
    """From open to shut in 400 columns: the suction falls all the way and turns round without a jump."""
    loss = np.geomspace(1.0, 1e6, 400)
    state = ds.demo("picker").change({"duct 2.loss_coefficient": loss}).solve()
    suction = state.flow["jet 2", "suction"]
    assert suction[0] > 0.5
    assert suction[-1] < -0.5
    assert np.all(np.diff(suction) < 0.0)
    # the steps of the loss are 3.5 %: no step of the flow is larger than 4 % of its whole way
    assert np.abs(np.diff(suction)).max() < 0.04 * (suction[0] - suction[-1])
    assert np.all(state.solved)


@examples(80)
@given(
    st.floats(-5000.0, 5000.0),
    st.floats(-2000.0, 2000.0),
    st.floats(-2000.0, 2000.0),
    st.floats(1e-3, 0.1),
    st.floats(0.5, 1e4),
    st.floats(0.02, 0.45),
    st.sampled_from(sorted(AIRS)),
)
def test_any_pressures_at_its_three_ends(motive, wind, outlet, door, duct, share, air):
    parts, held = unit(motive, door, duct, wind, outlet, nozzle=0.06 * share)
    state = network(parts, held, AIRS[air]).solve()
    agrees(parts, held, AIRS[air], state)


def ring_with_a_suction():
    """A fan's box with a ring through the side of a merge, from which air is drawn: it needs a start."""
    net = ds.Network(ds.Air.at(altitude=1000.0, temperature=280.0), free_ends=False)
    curve = {"flow": [0.1, 0.5, 0.6, 1.0], "total_pressure": [40.0, 40.0, 1e-4, 1e-4]}
    net.add("fan", ds.Fan(**curve, curve_speed=300.0, speed=50.0), "outside", "box")
    net.add("resistance", ds.Resistance(coefficient=2.0, exponent=3.0), "far", "box")
    net.add("merge", ds.Merge(straight_area=1e-3, branch_area=7e-5, angle=1.1), "box", "side", "dead end")
    net.add("transition", ds.Transition(first_area=1.7e-3, second_area=6e-5, angle=2.5), "side", "far")
    net.add("leak", ds.Leak(coefficient=0.0076, exponent=1.0), "side", "drawn")
    return net.supply("drawn", -0.0234)


@pytest.mark.parametrize("ends", [("motive", "suction", "discharge"), ("dead end", "box", "discharge")])
def test_a_jet_that_neither_blows_nor_loses_spoils_nothing(ends):
    """With its nozzle shut and no losses its drop is exactly flat: it has no slope to start from."""
    jet = ds.Jet(nozzle_area=0.0, mixing_area=2.4, suction_loss=0.0, mixing_loss=0.0, angle=0.03)
    without = ring_with_a_suction().solve()
    state = ring_with_a_suction().add("jet", jet, *ends).solve()
    for name in without.flow:
        assert state.flow[name] == pytest.approx(without.flow[name], rel=1e-9, abs=1e-12)
    assert abs(state.flow["jet", "suction"]) < 1e-12


def test_chords_apart_leave_the_suction_of_a_tiny_nozzle_its_freedom():
    """A nozzle that resists far more than the two paths act on each other must not slow the suction down."""
    net = ds.Network(ds.Air(density=1.2, viscosity=1.8e-5), free_ends=False).hold("box", -12519.0)
    lossless = {"suction_loss": 0.0, "mixing_loss": 0.0}
    narrow = ds.Jet(
        nozzle_area=1.26e-8, mixing_area=6.6e-4, angle=0.444, mixing_effectiveness=0.674, **lossless
    )
    wide = ds.Jet(nozzle_area=1.13e-6, mixing_area=0.62, angle=0.625, mixing_effectiveness=0.613, **lossless)
    net.add("way in", ds.Transition(first_area=0.0116, second_area=1.9e-5, angle=0.115), "outside", "ring")
    net.add("leak", ds.Leak(coefficient=0.107, exponent=0.922), "ring", "back")
    net.add("narrow", narrow, "box", "ring", "a").add("wide", wide, "box", "a", "b")
    net.add("jet", ds.Jet(nozzle_area=0.00726, mixing_area=0.06, angle=0.773), "box", "b", "c")
    split = ds.Split(straight_area=0.156, branch_area=0.027, combined_area=0.25, angle=1.157)
    system = net.add("split", split, "end", "back", "c").system()
    eq = stacked(system, net.numbers(), net.air)[0].equations(system)
    for apart in (False, True):
        point, _ = by_chords(eq, cold_start(eq, None), None, 100, apart=apart)
        miss = np.abs(eq.evaluate(point.flow, point.pressure, None).residual).max()
        assert (miss < 1e-3) == apart
