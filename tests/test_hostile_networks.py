"""Networks with any numbers: solved, and right by other means, or ended by a reason that names the place."""

import numpy as np
import pytest
from hostile_networks import generate, run

import ductsim as ds
from ductsim.network.state import Outcome

SLICE, FEW_PATHS = (60, 100), 10  # quick ones; seeds below hold one that takes 14 s
ALL, MANY_PATHS = 2000, 40


def beside(part, supply=0.0):
    """A fan that empties a box through an opening, and behind the part a place with nothing else."""
    net = ds.Network(ds.Air.at(temperature=293.15))
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


def test_too_much_pressure_among_columns_is_named_where_it_is():
    supplies = np.array([1e-4, 10.0, 2e-4])
    net = beside(ds.Gate(area=0.00126, opening=0.1)).supply("dead end", supplies)
    state = net.solve(raise_error=False)
    assert state.outcome == [Outcome.SOLVED, Outcome.TOO_HIGH, Outcome.SOLVED]
    assert state.node == "dead end"


def found_wrong(first, last, most_paths):
    found, _ = run(first, last, most_paths)
    return {what: seeds for what, seeds in found.items() if what.startswith("wrong")}, found


def test_a_slice_of_hostile_networks():
    wrong, found = found_wrong(*SLICE, FEW_PATHS)
    assert not wrong
    assert len(found["solved"]) > 20


@pytest.mark.slow
def test_all_hostile_networks():
    wrong, found = found_wrong(0, ALL, MANY_PATHS)
    assert not wrong
    assert {"TOO_HIGH", "TOO_DEEP", "FED_CLOSED_OFF"} <= set(found)


def test_the_same_seed_gives_the_same_network():
    one, two = generate(7).network().numbers(), generate(7).network().numbers()
    assert one == two
