"""Networks with any numbers: solved, and right by other means, or ended by a reason that names the place."""

import numpy as np
import pytest
from hostile_networks import examine, generate, run

import ductsim as ds
from ductsim.network.beyond import beyond
from ductsim.network.continuation import warmed
from ductsim.network.nearby import solve_from
from ductsim.network.network import stacked
from ductsim.network.solve import solve
from ductsim.network.state import Outcome, judge

SLICE, FEW_PATHS = (60, 80), 10  # quick ones; seeds below hold one that takes 14 s
ALL, MANY_PATHS = 2000, 40


def beside(part, supply=0.0):
    """A fan that empties a box through an opening, and behind the part a place with nothing else."""
    net = ds.Network(ds.Air.at(temperature=293.15), free_ends=False)
    curve = {"flow": [0.0, 0.5, 1.0], "total_pressure": [2000.0, 1800.0, 800.0]}
    net.add("fan", ds.Fan(**curve, curve_speed=300.0, speed=300.0), "box", "outside")
    net.add("hole", ds.Opening(area=0.02, loss_coefficient=1.5), "outside", "box")
    net.add("part", part, "box", "dead end")
    return net.supply("dead end", supply) if supply else net


@pytest.mark.parametrize(
    "part",
    [
        ds.Gate(area=0.00126, opening=1e-10),
        ds.Screen(area=0.01, open_fraction=0.5, blinded=1.0 - 1e-8),
        ds.Resistance(exponent=3.0, coefficient=1e-8),
        ds.Opening(area=0.01, loss_coefficient=1e-12),
        ds.Opening(area=0.01, loss_coefficient=1e-30),
        ds.Duct(length=1e-8, diameter=1.0, roughness=0.0),
    ],
    ids=lambda part: f"{part.kind}",
)
@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_a_dead_end_has_the_pressure_of_where_it_hangs(part):
    state = beside(part).solve()
    assert state.pressure["dead end"] == pytest.approx(state.pressure["box"], rel=1e-9)
    assert abs(state.flow["part"]) < 1e-12
    assert state.pressure["box"] == pytest.approx(-1342.09, abs=0.01)


def test_a_dead_end_behind_a_hardly_open_gate_with_an_opening_further_in():
    """The opening gives way more easily than the gate by far more than a number has digits."""
    net = beside(ds.Gate(area=0.00126, opening=1e-10))
    net.add("further", ds.Opening(area=0.05, loss_coefficient=1e-3), "dead end", "last")
    state = net.solve()
    for node in ("dead end", "last"):
        assert state.pressure[node] == pytest.approx(state.pressure["box"], rel=1e-8)


def test_narrower_than_the_mean_free_path_is_shut():
    state = beside(ds.Gate(area=0.00126, opening=1e-12)).solve()
    assert state.closed_off == ["dead end"]
    assert np.isnan(state.pressure["dead end"])
    assert state.flow["part"] == 0.0


@pytest.mark.parametrize("opening", [1e-2, 1e-6, 1e-10])
def test_more_pressure_than_any_duct_bears_is_an_outcome_of_its_own(opening):
    with pytest.raises(ds.NoOperatingPoint) as caught:
        beside(ds.Gate(area=0.00126, opening=opening), supply=10.0).solve()
    assert caught.value.state.outcome is Outcome.TOO_HIGH
    assert caught.value.node == "dead end"
    assert "thirty atmospheres" in str(caught.value)
    assert "less air" in caught.value.remedy


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_air_that_only_just_chokes_is_too_deep():
    """Drawn through a standing fan, air that gets thinner chokes when half of its pressure is spent.

    The loss goes with the square of the flow over the density at its end: p (1 - p / p_outside) = K m2, which
    has no answer beyond p_outside / 4. The flow up to which there is one is found from the loss of a little.
    """
    air = ds.Air.at(temperature=293.15)
    fan = ds.Fan(flow=[0, 0.5, 1.0], total_pressure=[2000, 1800, 800], curve_speed=300.0, speed=0.0)

    def drawn(flow):
        net = ds.Network(air).add("fan", fan, "box", "outside")
        return net.supply("box", -flow).solve(raise_error=False)

    little = -drawn(0.01).pressure["box"] / 0.01**2
    most = np.sqrt(0.25 * air.pressure / little)
    assert most == pytest.approx(4.27, abs=0.01)
    for share in (0.5, 0.9, 0.999):
        assert drawn(share * most).outcome is Outcome.SOLVED
    for share in (1.002, 1.03, 1.3):
        state = drawn(share * most)
        assert (state.outcome, state.node) == (Outcome.TOO_DEEP, "box"), share


def test_too_much_pressure_among_columns_is_named_where_it_is():
    supplies = np.array([1e-4, 10.0, 2e-4])
    net = beside(ds.Gate(area=0.00126, opening=0.1)).supply("dead end", supplies)
    state = net.solve(raise_error=False)
    assert state.outcome == [Outcome.SOLVED, Outcome.TOO_HIGH, Outcome.SOLVED]
    assert state.node == "dead end"


def ring(supply, air=None):
    """A fan that blows in a ring, fed where the only way out is a screen with all but a trace blinded."""
    net = ds.Network(air or ds.Air.at(temperature=276.0), free_ends=False)
    curve = {"flow": [0.0, 0.28], "total_pressure": [91.0, 50.0]}
    net.add("fan", ds.Fan(**curve, curve_speed=9.0, speed=759.0), "a", "n")
    net.add("hole", ds.Opening(area=0.0032, loss_coefficient=0.0016), "n", "a")
    net.add("screen", ds.Screen(area=5.9e-5, open_fraction=0.06, blinded=1.0 - 1e-8), "n", "outside")
    return net.supply("a", supply)


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
@pytest.mark.parametrize(
    ("supply", "outcome"), [(1e-4, Outcome.TOO_HIGH), (-1e-4, Outcome.TOO_DEEP)], ids=["fed", "drawn"]
)
def test_a_supply_that_no_way_out_could_pass_is_named_before_anything_is_sought(supply, outcome):
    with pytest.raises(ds.NoOperatingPoint) as caught:
        ring(supply).solve()
    assert caught.value.state.outcome is outcome
    assert caught.value.node in ("a", "n")


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_the_same_ring_with_no_more_than_its_way_out_passes_is_solved():
    state = ring(1e-13).solve()
    assert state.flow["screen"] == pytest.approx(1e-13, rel=1e-6)


def leaky_ring(area):
    """A fan that blows in a ring with a leak of so many square metres before and behind it."""
    net = ds.Network(ds.Air.at(temperature=293.15), free_ends=False)
    curve = {"flow": [0.0, 0.2, 0.4], "total_pressure": [1000.0, 800.0, 100.0]}
    net.add("fan", ds.Fan(**curve, curve_speed=300.0, speed=300.0), "a", "b")
    net.add("ring", ds.Opening(area=0.01, loss_coefficient=1.5), "b", "a")
    for node in "ab":
        net.add(f"leak {node}", ds.Leak(area=area), node, "outside")
    return net


def test_a_ring_that_its_leaks_cool_carries_all_of_the_fans_heat():
    state, heat_capacity = leaky_ring(3e-5).solve(), ds.Air.at(temperature=293.15).heat_capacity
    carried = sum(max(state.flow[f"leak {n}"], 0.0) * (state.temperature[n] - 293.15) for n in "ab")
    assert carried * heat_capacity == pytest.approx(state.power["fan"], rel=0.02)
    assert not any("hotter" in sentence for sentence in state.range_notes)


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_a_ring_as_hot_as_is_followed_says_so_and_its_slopes_are_those_there():
    """What stays at the limit answers to nothing; the leaks cannot carry the heat away."""
    with pytest.warns(ds.OutsideRange, match="a, b: air would be hotter still than 600 K above outside's"):
        leaky_ring(1e-5).solve()
    machine = leaky_ring(1e-5).machine()
    for address in ("ring.area", "fan.speed", "leak b.area"):
        slope = machine.jacobian(["ring.flow"], [address])[1][0, 0]
        value = machine.numbers[address]
        low, high = machine.change({address: value * np.array([0.9999, 1.0001])}).ask("ring.flow")
        assert slope == pytest.approx((high - low) / (2e-4 * value), rel=1e-3)


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_air_driven_round_a_ring_that_hangs_on_the_rest_by_a_trace():
    """The ring's pressure follows from a duct thinner than a hair, its flow from the fan alone."""
    net = ds.Network(ds.Air(density=0.82, viscosity=1.8e-5), free_ends=False)
    curve = {"flow": [1e-5, 2e-4], "total_pressure": [0.5, 0.3]}
    net.add("fan", ds.Fan(**curve, curve_speed=100.0, speed=100.0), "n", "a")
    net.add("easy", ds.Opening(area=0.9, loss_coefficient=1e-3), "a", "n")
    net.add("wide", ds.Opening(area=1e-4, loss_coefficient=1.0), "n", "a")
    net.add("trace", ds.Duct(length=0.5, diameter=4e-7, roughness=0.0), "n", "outside")
    state = net.solve()
    alone = ds.Network(net.air, free_ends=False)  # the fan with nothing to overcome
    alone.add("fan", ds.Fan(**curve, curve_speed=100.0, speed=100.0), "outside", "a").hold("a", 0.0)
    assert state.flow["fan"] == pytest.approx(alone.solve().flow["fan"], rel=1e-6)
    assert state.flow["easy"] == pytest.approx(state.flow["fan"], rel=1e-6)
    assert abs(state.flow["trace"]) < 1e-12


def test_a_supply_that_needs_huge_pressures_beside_paths_that_need_hardly_any():
    """Rounding of 1e14 Pa is no reason to shorten the steps of paths that lose a hundredth of a pascal."""
    assert examine(generate(933)) == "TOO_HIGH"


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
@pytest.mark.parametrize("head", [2e3, 2e6])
@pytest.mark.parametrize("ring", [False, True], ids=["blocked", "in a ring"])
def test_a_fan_that_is_closed_off_leaves_the_rest_alone_however_strong_it_is(head, ring):
    """Nothing tells the pressure where it stands; its air answers to none, so that none is too deep."""
    net = beside(ds.Gate(area=0.01, opening=1.0))
    curve = {"flow": [0.0, 0.1], "total_pressure": [head, 0.5 * head]}
    net.add("lid", ds.Gate(area=0.01, opening=0.0), "box", "v")
    net.add("strong", ds.Fan(**curve, curve_speed=100.0, speed=100.0), "u", "v")
    if ring:
        net.add("hole back", ds.Opening(area=0.002, loss_coefficient=1.5), "v", "u")
    state = net.solve()
    assert state.pressure["box"] == pytest.approx(-1342.09, abs=0.01)
    assert sorted(state.closed_off) == ["u", "v"]
    if not ring:
        assert abs(state.flow["strong"]) < 1e-12
        assert state.density["strong"] == pytest.approx(net.air.density)


def warm_box(power):
    """A fan with a shaft power of its own that blows warm air through a box."""
    net = ds.Network(ds.Air.at(temperature=293.15), free_ends=False)
    curve = {"flow": [0.0, 0.5, 1.0], "total_pressure": [2000.0, 1800.0, 800.0]}
    fan = ds.Fan(**curve, shaft_power=[power] * 3, curve_speed=300.0, speed=300.0)
    net.add("fan", fan, "outside", "box")
    return net.add("hole", ds.Opening(area=0.01, loss_coefficient=1.5), "box", "outside")


def compiled(net):
    """Its equations, its structure and its solved arrays."""
    system = net.system()
    numbers, _ = stacked(system, net.numbers(), net.air)
    found, structures = solve(system, numbers)
    return system, numbers, found, structures


def test_a_share_of_the_heat_is_that_share_of_the_shaft_power():
    system, numbers, found, structures = compiled(warm_box(4e4))
    half = solve_from(numbers.equations(system).warmed(0.5), found.point, structures[0].anchors)
    state = warm_box(2e4).solve()
    assert half.good.all()
    assert half.point.temperature_rise[system.node("box"), 0] == pytest.approx(
        state.temperature["box"] - 293.15, rel=1e-6
    )
    assert half.point.flow[:, 0] == pytest.approx([state.flow[name] for name in system.path_names], rel=1e-6)


def test_the_heat_raised_from_nothing_ends_at_the_solved_state():
    system, numbers, found, structures = compiled(warm_box(4e4))
    eq = numbers.equations(system)
    cold = solve_from(eq.dense(1.0), found.point, structures[0].anchors)
    again = warmed(eq, cold.point, structures[0].anchors)
    assert again.good.all()
    assert again.point.temperature_rise == pytest.approx(found.point.temperature_rise, abs=1e-5)
    assert found.point.temperature_rise.max() > 30.0


def test_more_heat_than_the_flow_carries_away_is_an_outcome_that_names_the_hottest_node():
    system, numbers, found, structures = compiled(warm_box(1e3))
    found.good[:], found.overloaded[:] = False, True
    found.point.temperature_rise[system.node("box")] = 150.0
    outcomes, _, node = judge(found, structures, system, beyond(system, numbers, found, structures))
    assert list(Outcome)[outcomes[0]] is Outcome.TOO_HOT
    assert node == "box"
    found.point.pressure[system.node("box")] = -1e5  # the pressure tells first
    outcomes, _, node = judge(found, structures, system, beyond(system, numbers, found, structures))
    assert list(Outcome)[outcomes[0]] is Outcome.TOO_DEEP


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1460])
def test_fans_in_a_ring_that_no_flow_cools_are_named_too_hot(seed):
    assert examine(generate(seed)) == "TOO_HOT"


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1021, 1417, 1711, 500052])
def test_rings_that_get_hot_and_fans_with_points_close_together_are_solved(seed):
    assert examine(generate(seed)) == "solved"


def found_wrong(first, last, most_paths):
    found, _ = run(first, last, most_paths)
    return {what: seeds for what, seeds in found.items() if what.startswith("wrong")}, found


def test_a_slice_of_hostile_networks():
    wrong, found = found_wrong(*SLICE, FEW_PATHS)
    assert not wrong
    assert len(found["solved"]) > (SLICE[1] - SLICE[0]) / 2


@pytest.mark.parametrize("seed", [614, 647, 1617])
def test_small_steps_do_not_end_it_where_conductances_are_far_apart(seed):
    wrong, found = found_wrong(seed, seed + 1, MANY_PATHS)
    assert not wrong and "solved" in found


@pytest.mark.slow
def test_all_hostile_networks():
    wrong, found = found_wrong(0, ALL, MANY_PATHS)
    assert not wrong
    assert {"TOO_HIGH", "TOO_DEEP", "FED_CLOSED_OFF"} <= set(found)


def test_the_same_seed_gives_the_same_network():
    one, two = generate(7).network().numbers(), generate(7).network().numbers()
    assert one == two


def passing_through(pressure, narrow, **more):
    """Air driven through a jet with its nozzle shut and nothing lost, and a hole that loses hardly any."""
    net = ds.Network(ds.Air(density=0.61, viscosity=7e-6), free_ends=False)
    net.add("jet", ds.Jet(nozzle_area=0.0, mixing_area=2.1e-6, **LOSSLESS | more), "n", "outside", "m")
    net.add("hole", ds.Opening(area=narrow, loss_coefficient=2.2e-7), "m", "held")
    return net.hold("held", pressure)


LOSSLESS = {"suction_loss": 0.0, "mixing_loss": 0.0}


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_air_passes_a_jet_that_is_shut_and_loses_nothing_as_if_it_were_not_there():
    net = passing_through(-6e4, 4.8e-8)
    state = net.solve()
    alone = ds.Network(net.air, free_ends=False)
    alone.add("hole", ds.Opening(area=4.8e-8, loss_coefficient=2.2e-7), "outside", "held")
    assert state.flow["hole"] == pytest.approx(alone.hold("held", -6e4).solve().flow["hole"], rel=1e-9)
    # its two momenta are 140 MPa each there, and so leave this of a drop of nothing
    assert state.pressure["m"] == pytest.approx(0.0, abs=1e-13 * 1.4e8)


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
@pytest.mark.parametrize("pressure", [-6e4, -2e3])
def test_speeds_of_which_the_arithmetic_leaves_no_digit_are_named_too_fast(pressure):
    """The hole lets a million metres a second through, and the jet's section is a thousandth of it."""
    with pytest.raises(ds.NoOperatingPoint, match="much faster than sound") as caught:
        passing_through(pressure, 3e-3).solve()
    assert caught.value.state.outcome is Outcome.TOO_FAST
    assert caught.value.node == "m"
    state = passing_through(pressure, 3e-3, suction_loss=0.1).solve()
    # by hand: the jet's loss holds all of the pressure, q = 10 times that
    speed = np.sqrt(2.0 * abs(pressure) / 0.1 / 0.61)
    assert abs(state.flow["hole"]) == pytest.approx(0.61 * 2.1e-6 * speed, rel=1e-3)


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
@pytest.mark.parametrize("air", [ds.Air(density=1.5, viscosity=2e-5), ds.Air.at(altitude=1500.0)])
def test_a_nozzle_that_fills_its_mixing_section_and_loses_nothing_is_named_too_fast(air):
    net = ds.Network(air, free_ends=False)
    jet = ds.Jet(
        nozzle_area=3.6e-8,
        mixing_area=3.6e-8 * (1.0 + 1e-9),
        nozzle_loss=0.0,
        suction_loss=1e-9,
        mixing_loss=0.0,
    )
    net.add("jet", jet, "held", "n", "outside").hold("held", 4e4)
    many = net.change({"held.pressure": np.array([4e4, 0.0, -4e4])}).solve(raise_error=False)
    assert many.outcome == [Outcome.TOO_FAST, Outcome.SOLVED, Outcome.SOLVED]


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_air_that_nothing_holds_back_has_its_reason_and_an_answer_with_a_loss():
    """A jet and a shut one that lose nothing, in a ring through outside, with a vacuum beside the nozzle."""

    def ring(loss):
        net = ds.Network(ds.Air.at(altitude=1000.0, temperature=268.0), free_ends=False)
        driving = ds.Jet(
            nozzle_area=1.04e-9, mixing_area=1.0401e-9, nozzle_loss=loss, suction_loss=0.0, mixing_loss=1e-11
        )
        net.add("driving", driving, "outside", "held", "foot")
        net.add(
            "shut",
            ds.Jet(nozzle_area=0.0, mixing_area=7.7e-8, suction_loss=1.6e-7, mixing_loss=0.0),
            "n",
            "outside",
            "foot",
        )
        return net.hold("held", -1.4e4)

    with pytest.raises(ds.NoOperatingPoint, match="more lost everywhere") as caught:
        ring(0.0).solve()
    assert caught.value.state.outcome is Outcome.TOO_EASY
    assert caught.value.node == "foot"
    state = ring(0.02).solve()
    assert state.flow["driving", "motive"] + state.flow["driving", "suction"] == pytest.approx(
        -state.flow["shut", "suction"], rel=1e-9
    )
