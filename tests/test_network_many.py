"""Many scenarios at once: what they cost in evaluations of the laws, and that company changes no answer."""

import numpy as np
import pytest
from random_networks import generate

import ductsim as ds
from ductsim.network import transient
from ductsim.network.equations import Equations
from ductsim.network.newton import iterate
from ductsim.network.numbers import midway
from ductsim.network.rising import nodal, only
from ductsim.network.stability import _loops, stable
from ductsim.network.structure import open_patterns
from ductsim.network.transient import run_up, standstill

FIELDS = (
    "belt.engine_speed",
    "* fan.total_pressure[*]",
    "hose *.diameter",
    "jet *.nozzle_area",
    "hatch leak *.area",
    "duct *.loss_coefficient",
)


def drawn(count, wide, seed=0):
    machine = ds.demo("picker")
    rng = np.random.default_rng(seed)
    addresses = [a for pattern in FIELDS for a in machine.layout.expand(pattern)]
    return machine.change({a: ds.times(1.0 + wide * rng.uniform(-1.0, 1.0, count)) for a in addresses})


def furthest(one, two):
    """Largest difference of flows, as a share of the largest flow."""
    flows = [np.array([s.flow[path] for path in one.flow]) for s in (one, two)]
    return np.abs(flows[0] - flows[1]).max() / np.abs(flows[0]).max()


def test_a_scenario_costs_hardly_more_than_three_evaluations_of_the_laws(monkeypatch):
    many, calls, whole = drawn(2000, 0.05), [0], Equations.evaluate

    def evaluate(self, *given, **named):
        calls[0] += self.scenarios
        return whole(self, *given, **named)

    monkeypatch.setattr(Equations, "evaluate", evaluate)
    state = many.solve()
    assert state.solved.all()
    assert calls[0] <= 3.3 * 2000


def test_a_last_step_without_an_evaluation_is_as_good_as_one_with_it():
    """Each scenario alone takes full steps until its equations hold; that is the measure."""
    many = drawn(1200, 0.05)
    state = many.solve()
    for s in range(0, 1200, 60):
        assert furthest(many[s].solve(), state[s]) <= 1e-9


@pytest.mark.parametrize("chunk", [64, 501])
def test_chunks_change_no_answer(monkeypatch, chunk):
    many = drawn(600, 0.1)
    whole = many.solve()
    monkeypatch.setattr("ductsim.network.solve.CHUNK", chunk)
    cut = many.solve()
    for path in whole.flow:
        np.testing.assert_allclose(cut.flow[path], whole.flow[path], rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("wide", [0.05, 0.3])
def test_first_steps_in_single_precision_change_no_answer(monkeypatch, wide):
    many = drawn(300, wide)
    one = many.solve(raise_error=False)
    monkeypatch.setattr("ductsim.network.solve.MANY", np.inf)
    assert furthest(one, many.solve(raise_error=False)) <= 1e-9


def test_first_steps_in_single_precision_leave_given_pressures_alone():
    """A pressure of more digits than single precision has, and what it drives."""
    given = -574.6218503137
    net = ds.Network(ds.Air(density=1.2, viscosity=1.8e-5))
    net.add("one", ds.Resistance(coefficient=np.linspace(400.0, 500.0, 120), exponent=2.0), "outside", "a")
    net.add("two", ds.Resistance(coefficient=900.0, exponent=2.0), "a", "tank")
    net.hold("tank", given)
    state = net.solve()
    assert (state.pressure["tank"] == given).all()
    flow = np.sqrt(-given / (np.linspace(400.0, 500.0, 120) + 900.0))
    np.testing.assert_allclose(state.flow["two"], flow, rtol=1e-12)


def test_first_steps_of_numbers_beyond_single_precision_are_taken_in_double():
    """A leak whose resistance has no single-precision number, and pressures that overflow when squared."""
    count = 150
    air = ds.Air()
    loss = np.geomspace(2.0, 1e29, count)
    net = ds.Network(air=air)
    net.add("duct", ds.Duct(length=2.0, diameter=0.2), "outside", "a")
    net.add("slot", ds.Opening(area=1e-6, loss_coefficient=loss), "outside", "a")
    net.add("out", ds.Opening(area=1e-2, loss_coefficient=1.0), "a", "b")
    net.hold("b", -2000.0)
    many = net.solve()
    assert many.solved.all()
    for s in range(0, count, 30):
        alone = net.machine()[s].solve()
        for path in ("duct", "slot", "out"):
            assert many.flow[path][s] == pytest.approx(float(alone.flow[path]), rel=1e-9, abs=1e-12)


def test_numbers_that_scatter_far_cost_hardly_more_than_others(monkeypatch):
    """Leaks over two orders of size: started amid their logarithms, where most of them are."""
    machine, rng = ds.demo("picker"), np.random.default_rng(3)
    leaks = machine.layout.expand("cuff leak *.coefficient") + machine.layout.expand("hatch leak *.area")
    many = machine.change({a: ds.times(np.exp(0.7 * rng.standard_normal(2000))) for a in leaks})
    calls, whole = [0], Equations.evaluate

    def evaluate(self, *given, **named):
        calls[0] += self.scenarios
        return whole(self, *given, **named)

    monkeypatch.setattr(Equations, "evaluate", evaluate)
    assert many.solve().solved.all()

    assert calls[0] <= 4.0 * 2000


def test_the_middle_of_ranges_is_that_of_logarithms_where_they_are_wide():
    low = np.array([1.0, 1.0, 0.0, -1.0, 1e-200, 1e-9, np.inf])
    high = np.array([3.0, 100.0, 9.0, 9.0, 1e-198, 1.0, np.inf])
    assert midway(low, high) == pytest.approx([2.0, 10.0, 4.5, 4.0, 1e-199, 0.5, np.inf])


def test_stability_of_many_is_that_of_each_by_its_eigenvalues():
    state = drawn(40, 0.5, seed=3).solve(raise_error=False)
    eq, point = state._numbers.equations(state.system), state.arrays.point
    patterns, _ = open_patterns(state.system, eq.shut, 40)
    assert len(patterns) == 1
    _, mass, slope = _loops(eq, point, patterns[0])
    own = [
        np.linalg.eigvals(-np.linalg.solve(a, b)).real.max() < 0.0 for a, b in zip(mass, slope, strict=True)
    ]
    assert stable(eq, point).tolist() == own
    mirrored = [
        np.linalg.eigvals(np.linalg.solve(a, b)).real.max() < 0.0 for a, b in zip(mass, slope, strict=True)
    ]
    assert not any(mirrored)


def run_to_the_end(eq):
    """Where the air comes to rest from standstill, polished, and the scenarios in which that is stable."""
    point, rest, _ = run_up(eq, standstill(eq), None, 400, careful=True)
    found = iterate(eq, point, None, 20, damped=True)
    return found.point.flow, rest & found.good & stable(eq, found.point)


def test_many_wide_scenarios_are_where_running_up_to_the_end_leads():
    state = drawn(600, 0.3).solve()
    first = slice(0, 60)
    eq = state._numbers.equations(state.system, first)
    flow, sure = run_to_the_end(eq)
    assert sure.mean() > 0.9
    off = np.abs(flow - state.arrays.point.flow[:, first]).max(axis=0) / np.abs(flow).max(axis=0)
    assert (off[sure] <= 1e-9).all()


def test_a_run_up_in_shorter_time_steps_ends_at_the_same_point(monkeypatch):
    # narrow hoses leave two fans on a box with two stable points, air through the right one either way
    hoses = {f"hose {unit}.diameter": "75.339 mm" for unit in range(1, 6)}
    machine = ds.demo("picker").change({**hoses, "box leak.coefficient": 0.0, "right screen.blinded": 0.0})
    engine = {"belt.engine_speed": np.linspace(205.0, 232.0, 4)}
    found = machine.change(engine).solve()
    monkeypatch.setattr(transient, "LARGEST_CHANGE", 0.02)
    monkeypatch.setattr(transient, "GROWTH", 1.2)
    monkeypatch.setattr(transient, "FIRST_TIME_STEP", 1e-5)
    assert furthest(found, machine.change(engine).solve()) <= 1e-6


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_a_wide_scenario_of_many_is_as_if_alone():
    many = drawn(600, 0.3)
    state = many.solve()
    for s in range(0, 600, 100):
        assert furthest(many[s].solve(), state[s]) <= 1e-9


@pytest.mark.parametrize(
    ("seed", "few"),
    [
        (623, [9, 26]),  # a fan is blown through, two backwards: what their curves do there is not looked at
        (2151, [13, 49, 85]),  # a fan works at the top of its curve
    ],
)
@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_a_point_is_not_shared_where_fans_may_be_held_up(seed, few):
    """Random networks with rising fans: the middle's way up would have led these somewhere else."""
    machine = generate(seed, rising=True, most_paths=30).network().machine()
    rng, wide = np.random.default_rng(seed), {}
    for address, value in machine.numbers.items():
        fixed = address.startswith("air") or "efficiency" in address or ".flow[" in address
        if fixed or not isinstance(value, float) or not 0.0 < value < np.inf:
            continue
        declared = machine.layout.declared[address]
        share = 0.2 if address.endswith(".speed") else 0.1
        column = value * (1.0 + share * rng.uniform(-1.0, 1.0, 96))
        wide[address] = np.clip(column, declared.low, declared.high)
    many = machine.change(wide)
    state = many.solve(raise_error=False)
    for s in few:
        assert furthest(many[s].solve(), state[s]) <= 1e-9


def test_a_leak_that_is_all_but_sealed_costs_no_steps():
    """Its drop at the middle's flow is 1e20 times what drives it, and a start may even tell the wrong way."""
    machine = ds.demo("picker")
    steps = {}
    for area in (0.3e-4, 1e-14):
        columns = np.full(600, area)
        columns[::2] *= 1.1
        state = machine.change({"hatch leak 3.area": columns}).solve()
        steps[area] = int(state.steps.max())
        assert furthest(machine.change({"hatch leak 3.area": float(columns[1])}).solve(), state[1]) <= 1e-9
    assert steps[1e-14] <= steps[0.3e-4] + 2
    start = state.arrays.point.precise()
    start.flow[state.system.rows["hatch leak 3"]] = -1e-6
    again = state.machine.solve(start=start)
    assert again.steps.max() <= 4
    assert furthest(again, state) <= 1e-9


def test_where_no_other_point_is_possible_all_starts_end_alike():
    state = drawn(300, 0.15, seed=1).solve()
    eq, point = state._numbers.equations(state.system), state.arrays.point
    sure = np.flatnonzero(only(eq, point))
    assert 30 < len(sure) < 300
    flow, calm = run_to_the_end(eq.take(sure[:40]))
    off = np.abs(flow - point.flow[:, sure[:40]]).max(axis=0) / np.abs(flow).max(axis=0)
    assert (off[calm] <= 1e-9).all()


def test_negative_pivots_count_negative_eigenvalues():
    state = drawn(7, 0.1).solve()
    system = state.system
    rng = np.random.default_rng(5)
    conductance = rng.normal(size=(system.paths, 7))
    matrix = [system.outflow.toarray() @ np.diag(g) @ system.outflow.toarray().T for g in conductance.T]
    own = [(np.linalg.eigvalsh(m) < 0.0).sum() for m in matrix]
    assert system.pattern.elimination.negative_pivots(nodal(system, conductance)).tolist() == own
