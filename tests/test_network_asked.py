"""A network asked and changed as a machine is: the same answers, exact slopes, and it stays as it was."""

import copy
import pickle

import numpy as np
import pytest

import ductsim as ds
from ductsim.network.system import Compiled


def build(air=None):
    """A fan, a hose, a duct and a leak, one node held, one supplied."""
    fan = ds.Fan(
        flow=[0.0, 1.0, 2.0, 3.5],
        total_pressure=["6 kPa", "6.3 kPa", "5 kPa", "500 Pa"],
        speed="3600 rpm",
        curve_speed="3600 rpm",
    )
    net = ds.Network(ds.Air.at(temperature="26 degC", altitude=150.0) if air is None else air)
    net.add("fan", fan, "outside", "box").add("hose", ds.Hose(length="1.8 m", diameter="6 in"), "box", "cuff")
    net.add("leak", ds.Leak(area="3 cm2"), "cuff", "outside")
    net.add("duct", ds.Duct(length=2.0, diameter=0.2), "cuff", "room")
    return net.hold("room", "-50 Pa").supply("cuff", 0.1)


ADDRESSES = [
    "hose.length",
    "duct.diameter",
    "fan.speed",
    "room.pressure",
    "cuff.mass_flow",
    "air.temperature",
]


@pytest.mark.parametrize(
    "air",
    [
        None,
        ds.Air(),
        ds.Air(density=1.1, viscosity=1.7e-5),
        ds.Air(density=1.1, temperature=300.0),
        ds.Air(density=1.15, pressure=98e3, temperature=299.0),
        ds.Air(density=0.05),
        ds.Air.at(pressure="950 hPa", relative_humidity=0.9),
        ds.Air.at(temperature=[290.0, 300.0]),
    ],
    ids=repr,
)
def test_it_is_the_same_as_a_machine(air):
    net = build(air)
    state, machine = net.solve(), net.machine()
    assert machine.air() == net.air
    asked = machine.solve()
    assert asked.columns == state.columns
    for key in state.flow:
        np.testing.assert_array_equal(asked.flow[key], state.flow[key])
    for node in state.pressure:
        np.testing.assert_array_equal(asked.pressure[node], state.pressure[node])
        np.testing.assert_array_equal(asked.temperature[node], state.temperature[node])
    np.testing.assert_array_equal(net.ask("hose.flow"), state.flow["hose"])
    np.testing.assert_array_equal(net.ask("pressure cuff"), state.pressure["cuff"])
    np.testing.assert_array_equal(net.ask("shaft power"), state.power["fan"])


def test_derivatives_are_those_of_differences():
    net = build()
    questions = ["hose.flow", "pressure cuff", "shaft power fan"]
    answers, slopes = net.jacobian(questions, ADDRESSES)
    np.testing.assert_allclose(answers, [net.ask(q) for q in questions], rtol=1e-9)
    numbers = net.machine().numbers
    for j, address in enumerate(ADDRESSES):
        step = 1e-5 * max(abs(numbers[address]), 1.0)
        up, down = (net.change({address: numbers[address] + s}) for s in (step, -step))
        for i, asked in enumerate(questions):
            difference = (up.ask(asked) - down.ask(asked)) / (2.0 * step)
            assert slopes[i, j] == pytest.approx(difference, rel=2e-4, abs=1e-9), (asked, address)
    found = net.sensitivity("hose.flow")
    own = dict(zip(found.addresses, found.derivatives, strict=True))["hose.length"]
    assert own == pytest.approx(slopes[0, 0], rel=1e-13)  # one question by itself, three together


def test_a_change_makes_another_network():
    net = build()
    before = net.ask("hose.flow")
    other = net.change(
        {"hose.length": "x2", "room.pressure": "-1 kPa", "cuff.mass_flow": 0.0, "air.temperature": 300.0}
    )
    assert net.ask("hose.flow") == before == net.solve().flow["hose"]
    by_hand = ds.Network(ds.Air.at(temperature=300.0, altitude=150.0))
    for name, (part, ends) in {
        "fan": (net.machine().part("fan"), ("outside", "box")),
        "hose": (ds.Hose(length="3.6 m", diameter="6 in"), ("box", "cuff")),
        "leak": (ds.Leak(area="3 cm2"), ("cuff", "outside")),
        "duct": (ds.Duct(length=2.0, diameter=0.2), ("cuff", "room")),
    }.items():
        by_hand.add(name, part, *ends)
    by_hand.hold("room", -1000.0).supply("cuff", 0.0)
    assert other.solve().flow["hose"] == by_hand.solve().flow["hose"]
    # it is a network like any other: it may be built on
    other.add("hole", ds.Leak(area="10 cm2"), "box", "outside")
    assert "hole" in other.solve().flow
    assert "hole" not in net.solve().flow
    column = net.change({"hose.length": [1.0, 2.0]})
    assert column.solve().columns == 2
    assert column.ask("hose.flow").shape == (2,)
    assert column.table().set_index("part").loc["hose", "flow_kg_s"] == np.median(column.ask("hose.flow"))


def test_a_layout_is_compiled_once():
    net = build()
    net.ask("hose.flow")
    before = Compiled.count
    for length in (1.0, 2.0, 3.0):
        net.change({"hose.length": length}).ask("hose.flow")
    net.jacobian(["hose.flow"], ["hose.length"])
    assert Compiled.count == before
    net.add("hole", ds.Leak(area="10 cm2"), "box", "outside")
    assert net.ask("hole.flow") > 0.0
    assert Compiled.count == before + 1


def test_tables_and_plots():
    net = build()
    state = net.solve()
    paths = net.table().set_index("part")
    assert dict(paths["flow_kg_s"]) == {name: state.flow[name] for name in state.flow}
    assert paths.loc["hose", "kind"] == "hose"
    nodes = net.table("nodes").set_index("node")
    assert dict(nodes["pressure_Pa"]) == {n: p for n, p in state.pressure.items() if n != "outside"}
    assert net.table("fans").loc[0, "fan"] == "fan"
    inch = net.table("nodes", "inch")
    np.testing.assert_allclose(inch["pressure [inH2O]"] * 249.08891, nodes["pressure_Pa"], rtol=1e-6)
    with pytest.raises(ds.UnknownName, match="unknown table 'units'"):
        net.table("units")
    assert net.plot().get_figure() is not None
    assert net.plot(what="fans").get_xlabel()
    with pytest.raises(ds.UnknownName, match="plot"):
        net.plot(what="nothing")


def test_studies_take_a_network():
    net = build()
    swept = ds.sweep(net, "hose.length", ["1 m", "2 m"], of="hose.flow")
    two = [net.change({"hose.length": length}).ask("hose.flow") for length in (1.0, 2.0)]
    np.testing.assert_allclose(swept.table()["hose.flow_kg_s"], two, rtol=1e-9)
    many = ds.ensemble(net, [ds.Spread("hose.length", sd=0.1)], of="hose.flow", samples=20, seed=1)
    assert len(many) == 20
    seal = ds.Fix("seal", change={"leak.area": 0.0}, minutes=5)
    assert ds.compare(net, [seal], of="pressure cuff").table().loc[0, "fix"] == "seal"


def test_what_cannot_be_asked_has_a_sentence():
    with pytest.raises(ds.InputError, match="the network has no parts"):
        ds.Network(ds.Air()).ask("hose.flow")
    with pytest.raises(ds.InputError, match="the machine has no units"):
        build().ask("weakest vacuum")
    with pytest.raises(ds.UnknownName, match=r"did you mean 'hose\.length'"):
        build().change({"hose.lenght": 1.0})
    with pytest.raises(ds.InputError, match=r"network: 'a\.b' is no name for a part"):
        ds.Network(ds.Air()).add("a.b", ds.Leak(area=1e-4), "outside", "x").ask("x")
    with pytest.raises(ds.UnknownName, match="unknown node 'nowhere'"):
        build().hold("nowhere", 1.0).machine()
    with pytest.raises(ds.InputError, match="ensemble: 3 is not a machine"):
        ds.ensemble(3)


def test_as_a_machine_file():
    net = build()
    machine = net.machine()
    back = ds.Machine.of(machine.document())
    assert back == machine
    assert back.solve().flow["hose"] == net.solve().flow["hose"]
    assert not machine.diff(back)
    with pytest.raises(ds.InputError, match="no words for air given by its pressure and its density"):
        build(ds.Air(density=1.15, pressure=98e3)).machine().document()


def test_it_is_copied_and_told():
    net = build()
    assert repr(net) == "<Network: 4 parts, 3 nodes>"
    for other in (copy.deepcopy(net), pickle.loads(pickle.dumps(net))):
        assert other.ask("hose.flow") == net.ask("hose.flow")
    # crop in a part is a number like any other
    loaded = ds.Network(ds.Air()).hold("box", 500.0)
    loaded.add("duct", ds.Loaded(ds.Duct(length=2.0, diameter=0.2), crop_flow=0.1), "box", "outside")
    full, empty = loaded.ask("duct.flow"), loaded.change({"duct.crop_flow": 0.0}).ask("duct.flow")
    assert 0.0 < full < empty


def ring():
    network = ds.Network(ds.Air(density=1.2)).hold("box", "-400 Pa")
    network.add("mouth", ds.Opening(area="100 cm2", loss_coefficient=1.5), "outside", "room")
    return network.add("gap", ds.Opening(area="50 cm2", loss_coefficient=1.5), "room", "box")


def test_balance_sets_a_network_as_its_machine():
    trims = [ds.Trim("gap.area", low="40 cm2", high="60 cm2")]
    found = ds.balance(ring(), trims, of="mouth.flow")
    assert found.settings == ds.balance(ring().machine(), trims, of="mouth.flow").settings
    assert found.settings["gap.area"] == pytest.approx(0.006)


def test_readings_of_a_network_say_that_it_has_no_tappings():
    readings = [{"tapping": "room", "value": "150 Pa"}]
    for study in (
        lambda: ds.fit(ring(), readings, {"gap.area": (0.004, 0.005, 0.006)}),
        lambda: ds.proof(ring(), readings, readings, {"gap.area": "x0.9"}),
    ):
        with pytest.raises(ds.InputError, match=r"no tapping for the reading 'room'.*a network has none"):
            study()
