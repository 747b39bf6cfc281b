"""What must hold of any network, whatever its numbers: balances, symmetries, scaling, columns."""

import dataclasses

import numpy as np
import pytest
from amounts import examples
from hypothesis import Phase, given
from hypothesis import strategies as st
from random_networks import generate

import ductsim as ds
from ductsim.network.network import solve_system

pytestmark = pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")

AIR = ds.Air(density=1.2, viscosity=1.8e-5)
SEEDS = st.integers(0, 10**6)
# a failing seed is not shrunk: a smaller number is no simpler network
UNSHRUNK = [Phase.explicit, Phase.generate]
FEW = examples(40, phases=UNSHRUNK)


def network(case, parts=None, held=None, supplies=None):
    net = ds.Network(case.air, free_ends=False)
    for name, part, ends in case.parts if parts is None else parts:
        net.add(name, part, *ends)
    for node, pressure in (case.held if held is None else held).items():
        net.hold(node, pressure=pressure)
    for node, flow in (case.supplies if supplies is None else supplies).items():
        net.supply(node, mass_flow=flow)
    return net


def size_of(state):
    return max(1e-6, max(abs(m) for m in state.flow.values()))


def same_flows(one, two, name=lambda n: n, sign=lambda n: 1.0):
    """The flows of both states, one's names translated, agree to 1e-7 of the largest."""
    size = size_of(one)
    for path, flow in one.flow.items():
        assert two.flow[name(path)] * sign(path) == pytest.approx(flow, abs=1e-7 * size)


# ---- balances


@FEW
@given(SEEDS)
def test_what_enters_a_node_leaves_it(seed):
    case = generate(seed, most_paths=30)
    state = case.network().solve()
    balance = {n: case.supplies.get(n, 0.0) for n in case.nodes}
    for name, part, ends in case.parts:
        ways = {"jet": ((0, 2), (1, 2)), "merge": ((0, 2), (1, 2)), "split": ((0, 1), (0, 2))}
        both = ways.get(part.kind, ((0, 1),))
        for (a, b), word in zip(both, part.path_names):
            flow = state.flow[(name, word) if word else name]
            balance[ends[a]] -= flow
            balance[ends[b]] += flow
    inner = [v for n, v in balance.items() if n != "outside" and n not in case.held]
    assert max(map(abs, inner), default=0.0) <= 1e-9 * size_of(state) + 1e-15


@FEW
@given(SEEDS)
def test_the_drop_is_the_difference_of_the_pressures(seed):
    case = generate(seed, most_paths=30)
    state = case.network().solve()
    level = max(1.0, max(abs(p) for p in state.pressure.values() if np.isfinite(p)))
    for name, part, (a, b, *rest) in case.parts:
        if not rest and not part.paths()[0].shut:
            difference = state.pressure[a] - state.pressure[b]
            if np.isfinite(difference):
                allowed = 1e-10 * level + 1e-8 * abs(state.drop[name]) + 1e-6
                assert state.drop[name] == pytest.approx(difference, abs=allowed)


# ---- names, order, direction


@FEW
@given(SEEDS, st.randoms(use_true_random=False))
def test_names_and_order_change_nothing(seed, random):
    case = generate(seed, most_paths=30)
    new = {n: n if n == "outside" else f"zone {i * 7919 % 1000} {i}" for i, n in enumerate(case.nodes)}
    parts = [(f"my {name}", part, tuple(new[e] for e in ends)) for name, part, ends in case.parts]
    random.shuffle(parts)
    other = network(
        case,
        parts,
        {new[n]: p for n, p in case.held.items()},
        {new[n]: f for n, f in case.supplies.items()},
    )

    def renamed(path):
        return f"my {path}" if isinstance(path, str) else (f"my {path[0]}", path[1])

    one, two = case.network().solve(), other.solve()
    same_flows(one, two, renamed)
    for node, pressure in one.pressure.items():
        if np.isfinite(pressure):
            assert two.pressure[new.get(node, node)] == pytest.approx(pressure, rel=1e-6, abs=1e-5)


REVERSIBLE = ("duct", "hose", "opening", "leak", "screen", "gate", "resistance")
"""Kinds that are the same when turned round, a duct with its rise turned too."""


@FEW
@given(SEEDS, st.integers(0, 2**31))
def test_turning_parts_round_changes_signs_only(seed, which):
    case = generate(seed, most_paths=30)
    rng = np.random.default_rng(which)
    turned, parts = set(), []
    for name, part, ends in case.parts:
        if part.kind in REVERSIBLE and rng.random() < 0.5:
            turned.add(name)
            ends = ends[::-1]
            if part.kind == "duct":
                part = dataclasses.replace(part, rise=-part.rise)
        parts.append((name, part, ends))
    one, two = case.network().solve(), network(case, parts).solve()
    same_flows(one, two, sign=lambda n: -1.0 if n in turned else 1.0)


# ---- series and parallel

AREAS = st.floats(1e-3, 0.1)
LOSSES = st.floats(0.2, 20.0)


@FEW
@given(st.lists(st.tuples(AREAS, LOSSES), min_size=1, max_size=5))
def test_losses_in_series_add(parts):
    net = ds.Network(AIR)
    ends = ["top", *(f"n{i}" for i in range(1, len(parts))), "outside"]
    for i, (area, loss) in enumerate(parts):
        net.add(f"{i}", ds.Opening(area=area, loss_coefficient=loss), ends[i], ends[i + 1])
    state = net.hold("top", pressure=800.0).solve()
    total = sum(loss / area**2 for area, loss in parts)
    assert state.flow["0"] == pytest.approx(np.sqrt(2 * 1.2 * 800.0 / total), rel=1e-6)


@FEW
@given(st.lists(st.tuples(AREAS, LOSSES), min_size=1, max_size=5))
def test_openings_side_by_side_add(parts):
    net = ds.Network(AIR)
    for i, (area, loss) in enumerate(parts):
        net.add(f"{i}", ds.Opening(area=area, loss_coefficient=loss), "box", "outside")
    # the supply for 800 Pa: each square law turns into a line below 1 mm/s, which shows to 1e-6 up to 0.5 m/s
    shares = np.array([area * np.sqrt(2 * 1.2 * 800.0 / loss) for area, loss in parts])
    state = net.supply("box", mass_flow=shares.sum()).solve()
    for i, share in enumerate(shares):
        assert state.flow[f"{i}"] == pytest.approx(share, rel=1e-6)
    assert state.pressure["box"] == pytest.approx(800.0, rel=1e-6)


@FEW
@given(st.floats(0.3, 8.0), st.floats(0.3, 8.0), st.floats(0.05, 0.4), st.floats(-3000.0, 3000.0))
def test_two_ducts_in_series_are_one_longer_duct(first, second, bore, pressure):
    two, one = ds.Network(AIR), ds.Network(AIR)
    two.add("a", ds.Duct(length=first, diameter=bore), "top", "joint")
    two.add("b", ds.Duct(length=second, diameter=bore), "joint", "outside")
    one.add("a", ds.Duct(length=first + second, diameter=bore), "top", "outside")
    flows = [net.hold("top", pressure=pressure).solve().flow["a"] for net in (two, one)]
    assert flows[0] == pytest.approx(flows[1], rel=1e-7, abs=1e-12)


@FEW
@given(st.integers(1, 6), st.floats(0.5, 1.0), st.floats(1.0, 3000.0))
def test_equal_leaks_side_by_side_are_one_larger_leak(count, exponent, pressure):
    many, one = ds.Network(AIR), ds.Network(AIR)
    for i in range(count):
        many.add(f"{i}", ds.Leak(coefficient=0.001, exponent=exponent), "box", "outside")
    one.add("0", ds.Leak(coefficient=0.001 * count, exponent=exponent), "box", "outside")
    total = sum(many.hold("box", pressure=pressure).solve().flow.values())
    assert total == pytest.approx(one.hold("box", pressure=pressure).solve().flow["0"], rel=1e-7)
    # dp = z (z^2 + z0^2)^((1/n - 1)/2) with z = Q / C and z0 = (0.01 Pa)^n
    z = total / (1.2 * 0.001 * count)
    dp = z * (z**2 + 0.01 ** (2 * exponent)) ** ((1 / exponent - 1) / 2)
    assert dp == pytest.approx(pressure, rel=1e-8)


# ---- harvesters


@st.composite
def harvesters(draw, ducts=True):
    """Fans, box, hoses, jets, ducts with gaps on both sides of each jet; the numbers of any such machine."""
    units = draw(st.integers(1, 4))

    def f(low, high):
        return draw(st.floats(low, high))

    def gap(high):
        return draw(st.one_of(st.just(0.0), st.floats(1e-6, high)))

    peak, last = f(1000.0, 6000.0), f(0.5, 2.0) * units
    # the shares fall, so the curve falls
    shape = [1.0, f(0.85, 0.99), f(0.5, 0.84), f(0.05, 0.49)]
    parts = [
        (
            "fan",
            {
                "flow": [last * x for x in (0.0, 0.4, 0.7, 1.0)],
                "total_pressure": [peak * x for x in shape],
                "curve_speed": 300.0,
                "speed": 300.0,
            },
            ds.Fan,
            ("outside", "box"),
        ),
        ("box leak", {"area": gap(0.003)}, ds.Leak, ("box", "outside")),
    ]
    for u in range(1, units + 1):
        hose = {"length": f(0.5, 3.0), "diameter": f(0.1, 0.2)}
        mixing = f(0.02, 0.08)
        if not ducts:
            hose = {"area": hose["diameter"] ** 2, "loss_coefficient": f(0.5, 2.0)}
        parts += [
            (f"hose {u}", hose, ds.Hose if ducts else ds.Opening, ("box", f"jet box {u}")),
            (f"cuff {u}", {"area": gap(0.001)}, ds.Leak, (f"jet box {u}", "outside")),
            (
                f"jet {u}",
                {"nozzle_area": f(0.05, 0.3) * mixing, "mixing_area": mixing, "nozzle_loss": f(0.02, 0.2)},
                ds.Jet,
                (f"jet box {u}", f"door {u}", f"foot {u}"),
            ),
            (
                f"front {u}",
                {"area": gap(0.05), "loss_coefficient": f(1.0, 3.0)},
                ds.Opening,
                ("outside", f"door {u}"),
            ),
            (f"hatch {u}", {"area": f(1e-4, 0.02)}, ds.Leak, ("outside", f"door {u}")),
            (f"joint {u}", {"area": gap(0.01)}, ds.Leak, (f"foot {u}", "outside")),
        ]
        duct = {"length": f(1.0, 4.0), "diameter": np.sqrt(mixing / 0.7854), "loss_coefficient": f(1.0, 1.5)}
        if not ducts:
            duct = {"area": mixing, "loss_coefficient": f(1.1, 2.0)}
        parts.append((f"duct {u}", duct, ds.Duct if ducts else ds.Opening, (f"foot {u}", "outside")))
    return parts


def built(parts, air=AIR, **changes):
    """The network of a harvester with some numbers changed: name -> {field: value}."""
    net = ds.Network(air)
    for name, numbers, make, ends in parts:
        net.add(name, make(**(numbers | changes.get(name.replace(" ", "_"), {}))), *ends)
    return net


@FEW
@given(harvesters(ducts=False), st.floats(0.5, 1.5))
def test_pressures_go_with_speed_squared_and_flows_with_speed(parts, ratio):
    """Constant density, constant loss coefficients, square-law leaks: the fan laws hold for the whole."""
    one = built(parts).solve()
    two = built(parts, fan={"speed": 300.0 * ratio}).solve()
    size = size_of(one)
    for name, flow in one.flow.items():
        assert two.flow[name] == pytest.approx(ratio * flow, rel=1e-6, abs=1e-6 * size)
    level = max(map(abs, one.pressure.values()))
    for node, pressure in one.pressure.items():
        assert two.pressure[node] == pytest.approx(ratio**2 * pressure, rel=1e-6, abs=1e-6 * level)
    assert two.power["fan"] == pytest.approx(ratio**3 * one.power["fan"], rel=1e-5)


@FEW
@given(harvesters(ducts=False), st.floats(0.5, 2.0))
def test_pressures_go_with_density(parts, ratio):
    """The same at another density: volume flows stay, pressures go with it."""
    one, two = (built(parts, ds.Air(density=1.2 * x, viscosity=1.8e-5)).solve() for x in (1.0, ratio))
    size = size_of(one)
    for name, flow in one.flow.items():
        assert two.flow[name] == pytest.approx(ratio * flow, rel=1e-6, abs=1e-6 * size)
    level = max(map(abs, one.pressure.values()))
    for node, pressure in one.pressure.items():
        assert two.pressure[node] == pytest.approx(ratio * pressure, rel=1e-6, abs=1e-6 * level)


@FEW
@given(harvesters(), st.booleans(), st.floats(0.0, 0.9))
def test_sealing_below_the_jet_never_lowers_that_units_vacuum(parts, real, left):
    """With a falling fan curve: a smaller hatch gap, at least the same vacuum at that unit's door."""
    air = ds.Air.at(temperature="25 degC") if real else AIR
    hatch = next(numbers["area"] for name, numbers, *_ in parts if name == "hatch 1")
    leaky, sealed = built(parts, air).solve(), built(parts, air, hatch_1={"area": left * hatch}).solve()
    mixing = next(numbers for name, numbers, *_ in parts if name == "jet 1")["mixing_area"]

    def static(state):
        return state.pressure["door 1"] - 0.5 * (state.flow["jet 1", "suction"] / mixing) ** 2 / 1.2

    # total pressure at the door falls (more vacuum); so does what a manometer reads there
    slack = 1e-7 * max(map(abs, leaky.pressure.values()))
    assert sealed.pressure["door 1"] <= leaky.pressure["door 1"] + slack
    assert static(sealed) <= static(leaky) + slack


def test_a_symmetric_machine_has_equal_units():
    machine = ds.demo("picker").change(
        {
            "hose *.length": 1.7,
            "hose *.loss_coefficient": 0.8,
            "cuff leak *.coefficient": 0.0005,
            "hatch leak *.area": "70 cm2",
            "joint leak *.coefficient": 0.0015,
        }
    )
    state = machine.solve()
    vacuums = np.array([state.vacuum[u] for u in "12345"])
    np.testing.assert_allclose(vacuums, vacuums[0], rtol=1e-10)
    np.testing.assert_allclose([row["share_of_mean"] for row in state.rows()], 1.0, rtol=1e-10)
    for kind in ("hose", "front", "rear", "hatch leak", "joint leak", "duct"):
        flows = [state.flow[f"{kind} {u}"] for u in "12345"]
        np.testing.assert_allclose(flows, flows[0], rtol=1e-9)


# ---- columns

COUNT = 9


def columns_of(case, seed):
    """Every number of the network as a column, up to 3 % off, a curve's points together; some areas zero."""
    rng = np.random.default_rng(seed)
    system, numbers = case.network().system(), case.network().numbers()
    wide, scales = {}, {}
    for address, value in numbers.items():
        obj, _, number_key = address.rpartition(".")
        key = (obj, number_key.partition("[")[0])
        if key not in scales:
            scales[key] = 1.0 + 0.03 * rng.uniform(-1.0, 1.0, COUNT)
        wide[address] = value * scales[key]
        kind = next((p.kind for n, p, _ in case.parts if n == obj), "")
        if number_key in ("area", "coefficient") and kind in ("opening", "leak") and rng.random() < 0.3:
            wide[address] = np.where(rng.random(COUNT) < 0.4, 0.0, wide[address])
        if number_key in (
            "kink",
            "opening",
            "open_fraction",
            "mixing_effectiveness",
            "stretch",
            "inlet_temperature",
        ):
            wide[address] = np.full(COUNT, value)
    return system, wide


@examples(30, phases=UNSHRUNK)
@given(SEEDS)
def test_a_column_is_the_single_solves(seed):
    case = generate(seed, most_paths=24)
    system, wide = columns_of(case, seed)
    whole = solve_system(system, wide, case.air, raise_error=False)
    for s in range(COUNT):
        numbers = {address: float(column[s]) for address, column in wide.items()}
        one = solve_system(system, numbers, case.air, raise_error=False)
        assert one.outcome is whole.outcome[s]
        if one.solved:
            size = size_of(one)
            for path, flow in one.flow.items():
                assert whole.flow[path][s] == pytest.approx(flow, abs=1e-7 * size)


@examples(30, phases=UNSHRUNK)
@given(SEEDS, st.permutations(range(COUNT)))
def test_permuting_columns_changes_nothing_at_all(seed, order):
    case = generate(seed, most_paths=24)
    system, wide = columns_of(case, seed)
    one = solve_system(system, wide, case.air, raise_error=False)
    mixed = {address: column[list(order)] for address, column in wide.items()}
    two = solve_system(system, mixed, case.air, raise_error=False)
    for path in one.flow:
        np.testing.assert_array_equal(one.flow[path][list(order)], two.flow[path])
    for node in one.pressure:
        np.testing.assert_array_equal(one.pressure[node][list(order)], two.pressure[node])
    assert list(one.steps[list(order)]) == list(two.steps)


def test_the_chunking_changes_nothing(monkeypatch):
    machine = ds.demo("picker").change(
        {
            "belt.engine_speed": ds.times(np.linspace(0.9, 1.05, 50)),
            "hatch leak 4.area": np.where(np.arange(50) % 3 == 0, 0.0, 0.02),
        }
    )
    whole = machine.solve()
    monkeypatch.setattr("ductsim.network.solve.CHUNK", 7)
    cut = machine.solve()
    for path in whole.flow:  # a few columns left over go through another kernel: equal to rounding
        np.testing.assert_allclose(cut.flow[path], whole.flow[path], rtol=1e-12, atol=1e-15)
    assert whole.weakest.tolist() == cut.weakest.tolist()


def test_zero_areas_in_some_columns_only():
    """Closed and open scenarios side by side, each as if it were alone."""
    areas = np.array([0.0, 0.02, 0.0, 0.04, 1e-9])
    state = ds.demo("picker").change({"hatch leak 4.area": areas, "front 2.area": areas[::-1].copy()}).solve()
    assert state.flow["hatch leak 4"][0] == state.flow["hatch leak 4"][2] == 0.0
    assert state.flow["front 2"][4] == state.flow["front 2"][2] == 0.0
    for s in range(5):
        single = (
            ds.demo("picker").change({"hatch leak 4.area": areas[s], "front 2.area": areas[4 - s]}).solve()
        )
        for path, flow in single.flow.items():
            assert state.flow[path][s] == pytest.approx(flow, rel=1e-8, abs=1e-10)
    # a vanishing gap and none at all are the same
    assert state.vacuum["4"][4] == pytest.approx(
        ds.demo("picker").change({"hatch leak 4.area": 0.0, "front 2.area": 0.0}).solve().vacuum["4"],
        rel=1e-5,
    )
