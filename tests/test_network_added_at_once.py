"""Parts added at once by arrays: the same network as one by one, refused alike, asked alike."""

import pickle
import warnings

import numpy as np
import pytest

import ductsim as ds
from ductsim.network.many import ManyNumbers

AIR = ds.Air.at(temperature="15 C", altitude="300 m")
COUNT = 40


def both(many=True):
    """A blower, a ring of ducts, jets across it, ducts out of it that end free or in a box; air with heat."""
    rng = np.random.default_rng(5)
    lengths, bores = rng.uniform(0.5, 4.0, COUNT), rng.uniform(0.1, 0.3, COUNT)
    around = [f"ring {i}" for i in range(COUNT)]
    places = [*around, around[0]]
    out = ["outside" if i % 3 else "basket" if i % 2 else "chest" for i in range(8)]
    jets = [f"jet {i}" for i in range(3)]
    net = ds.Network(AIR, boxes=["basket"])
    net.add("blower", ds.Fan(flow=[0, 3, 6], total_pressure=[2500, 2200, 500], curve_speed=200, speed=200),
            "outside", "ring 0")  # fmt: skip
    net.add("last", ds.Opening(area=0.02, loss_coefficient=1.5), "basket", "outside")
    net.add("chest hole", ds.Opening(area=0.02, loss_coefficient=1.5), "chest", "outside")
    jet = {"nozzle_area": np.array([0.002, 0.003, 0.004]), "mixing_area": 0.02}
    ends = (around[1:4], around[11:14], around[21:24])
    bends = [{"angle": np.linspace(0.5, 1.5, 8), "radius": 0.3}]
    towers = {"diameter": np.linspace(0.1, 0.2, 8), "length": 3.0, "bends": bends}
    if many:
        net.add_many([f"duct {i}" for i in range(COUNT)], ds.Duct(length=lengths, diameter=bores), around,
                     places[1:])  # fmt: skip
        net.add_many(jets, ds.Jet(**jet), *ends)
        net.add_many([f"tower {i}" for i in range(8)], ds.Duct(**towers), around[8:16], out)
        return net
    for i in range(COUNT):
        net.add(f"duct {i}", ds.Duct(length=lengths[i], diameter=bores[i]), around[i], places[i + 1])
    for i, name in enumerate(jets):
        one = jet | {"nozzle_area": jet["nozzle_area"][i]}
        net.add(name, ds.Jet(**one), *(end[i] for end in ends))
    for i in range(8):
        bend = bends[0] | {"angle": bends[0]["angle"][i]}
        one = towers | {"diameter": towers["diameter"][i], "bends": [bend]}
        net.add(f"tower {i}", ds.Duct(**one), around[8 + i], out[i])
    return net


@pytest.fixture(autouse=True)
def _anything_goes():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ds.OutsideRange)
        yield


def test_the_same_network_as_one_by_one():
    once, each = both().solve(), both(many=False).solve()
    assert set(once.flow) == set(each.flow) and set(once.pressure) == set(each.pressure)
    for name in each.flow:
        assert once.flow[name] == pytest.approx(each.flow[name], rel=1e-9, abs=1e-12)
    for name in each.pressure:
        assert once.pressure[name] == pytest.approx(each.pressure[name], rel=1e-9, abs=1e-9)
        assert once.temperature[name] == pytest.approx(each.temperature[name], abs=1e-7)
    assert once.power["blower"] == pytest.approx(each.power["blower"], rel=1e-9)
    assert sorted(once.range_notes) == sorted(each.range_notes) != []
    assert repr(both()) == repr(both(many=False))


def test_numbers_have_the_same_addresses():
    once, each = both().numbers(), both(many=False).numbers()
    assert isinstance(once, ManyNumbers) and dict(once) == dict(each)
    assert len(once) == len(each) and once["duct 3.length"] == each["duct 3.length"]
    assert once["tower 2.bend 1.angle"] == each["tower 2.bend 1.angle"]


def test_it_is_asked_changed_and_kept_like_any_other():
    once, each = both(), both(many=False)
    asked = ["duct 3.flow", "pressure ring 7", "tower 4.flow"]
    assert once.ask(asked) == pytest.approx(each.ask(asked), rel=1e-9)
    changed = both().change({"duct 3.diameter": "0.05 m", "tower 4.length": [1.0, 2.0]})
    again = each.change({"duct 3.diameter": "0.05 m", "tower 4.length": [1.0, 2.0]})
    np.testing.assert_allclose(changed.ask("tower 4.flow"), again.ask("tower 4.flow"), rtol=1e-9)
    assert both().sensitivity("tower 4.flow").table().shape == each.sensitivity("tower 4.flow").table().shape
    state = pickle.loads(pickle.dumps(both().solve()))
    assert state.flow["jet 1", "suction"] == both().solve().flow["jet 1", "suction"]
    assert both().machine().solve().flow["duct 3"] == pytest.approx(each.ask("duct 3.flow"), rel=1e-9)


def test_more_can_be_added_afterwards():
    net = both().hold("ring 20", "100 Pa")
    net.machine()
    net.add("more", ds.Opening(area=0.01, loss_coefficient=1.0), "ring 5", "outside")
    net.add_many(["a", "b"], ds.Opening(area=0.01, loss_coefficient=1.0), "ring 6", "outside")
    state = net.solve()
    assert state.flow["a"] == state.flow["b"] != 0.0 and state.pressure["ring 20"] == 100.0


DUCT = ds.Duct(length=[1.0, 2.0], diameter=0.2)


@pytest.mark.parametrize(
    ("names", "part", "ends", "told"),
    [
        (["a", "a"], DUCT, ("x", "outside"), "part 'a': the name is taken"),
        (["blower", "b"], DUCT, ("x", "outside"), "part 'blower': the name is taken"),
        (["a", "b", "c"], DUCT, ("x", "outside"), "length has 2 values"),
        (["a", "b"], DUCT, (["x", "y", "z"], "outside"), "end 'from' has 3 values"),
        (["a", "b"], DUCT, (["x", "y"], ["z", "y"]), "part 'b': two ends at the same node 'y'"),
        (["a", "b"], DUCT, ("x",), "got 1 ends; name its ends: from, to"),
        (["a", 2], DUCT, ("x", "y"), "2 is not a text"),
        (["a", "b"], DUCT, (["x", None], "y"), "None is not a text"),
        ([], DUCT, ("x", "y"), "an empty list"),
        ("ab", DUCT, ("x", "y"), "'ab' is not a list"),
        (["a", "b"], "duct", ("x", "y"), "'duct' is not a part"),
    ],
)
def test_what_is_refused(names, part, ends, told):
    net = both()
    before = dict(net.numbers())
    with pytest.raises(ds.InputError) as refused:
        net.add_many(names, part, *ends)
    assert told in str(refused.value), refused.value
    assert dict(net.numbers()) == before
