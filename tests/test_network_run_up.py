"""Run-ups of many scenarios: in single precision, with time steps that follow air on a rising stretch."""

from __future__ import annotations

import numpy as np
import pytest
from random_networks import generate
from test_network_many import drawn

import ductsim as ds
from ductsim.network import rising
from ductsim.network.equations import Equations
from ductsim.network.network import stacked
from ductsim.network.rising import curves, only
from ductsim.network.transient import GROWING, Run, inertance, standstill

pytestmark = pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")


def equations(many: ds.Machine) -> Equations:
    system = many.system
    numbers, _ = stacked(system, many.part_numbers(), many.air())
    return numbers.equations(system)


def test_rough_equations_are_the_equations_with_half_the_digits():
    eq = equations(drawn(20, 0.3))
    rough = eq.rough()
    point = standstill(eq)
    point.flow += eq.guess
    values = eq.evaluate(point.flow, point.pressure, point.temperature_rise)
    warm = point.temperature_rise
    half = rough.evaluate(
        *(v.astype(np.float32) for v in (point.flow, point.pressure)),
        None if warm is None else warm.astype(np.float32),
    )
    for name in ("drop", "slope", "density", "first", "second", "gain"):
        found = getattr(half, name)
        assert found.dtype == np.float32
        np.testing.assert_allclose(found, getattr(values, name), rtol=1e-3)
    assert rough.rough_numbers and not eq.rough_numbers


def test_a_run_up_in_single_precision_goes_the_same_way():
    eq = equations(drawn(40, 0.5, seed=1))
    flows = []
    for way in (eq, eq.rough()):
        run, mass = Run.of(way, standstill(way), None, careful=True), inertance(way)
        for _ in range(30):
            run.step(mass)
        assert run.point.flow.dtype == way.held.dtype
        flows.append(run.point.flow)
    apart = np.abs(flows[0] - flows[1]).max(axis=0) / np.abs(flows[0]).max(axis=0)
    assert apart.max() < 1e-3


def test_many_run_up_roughly_end_where_precise_run_ups_do(monkeypatch):
    many = drawn(110, 0.4, seed=2)
    roughly = many.solve(raise_error=False)
    monkeypatch.setattr("ductsim.network.stability.ROUGHLY", 10**9)
    precisely = many.solve(raise_error=False)
    most = np.max([np.abs(precisely.flow[p]) for p in precisely.flow], axis=0)
    for path in roughly.flow:
        assert (np.abs(roughly.flow[path] - precisely.flow[path]) <= 1e-9 * most).all()


def test_run_ups_in_single_precision_leave_given_pressures_alone():
    """A pressure of more digits than single precision has, and what a fan with a rising curve moves."""
    given, count, rng = -574.6218503137, 160, np.random.default_rng(0)
    net = ds.Network(air=ds.Air())
    curve = {"flow": [0.0, 0.5, 1.0, 1.5, 2.0], "total_pressure": [900.0, 1000.0, 1300.0, 1200.0, 500.0]}
    speed = rng.uniform(110.0, 190.0, count)
    net.add("fan", ds.Fan(**curve, speed=speed, curve_speed=150.0, efficiency=0.6), "a", "b")
    for name, start, end in (("in", "tank", "a"), ("leak", "outside", "a"), ("out", "b", "outside")):
        least, most = (1e-4, 4e-3) if name == "leak" else (0.02, 0.06)
        area = rng.uniform(least, most, count)
        net.add(name, ds.Opening(area=area, loss_coefficient=1.5), start, end)
    net.hold("tank", given)
    state = net.solve()
    assert (state.pressure["tank"] == given).all()
    for s in range(0, count, 16):
        alone = net.machine()[s].solve()
        most = max(abs(float(alone.flow[path])) for path in alone.flow)
        for path in alone.flow:
            assert abs(float(alone.flow[path]) - state.flow[path][s]) <= 1e-9 * most


def test_time_steps_follow_air_that_runs_away_on_a_rising_stretch():
    eq = equations(drawn(40, 0.5, seed=1))
    run, mass = Run.of(eq, standstill(eq), None, careful=True), inertance(eq)
    held = 0
    for _ in range(40):
        before = run.point
        run.step(mass)
        slope = eq.evaluate(before.flow, before.pressure, before.temperature_rise).slope
        fastest = (-slope / mass).max(axis=0)
        assert (run.time * np.maximum(fastest, 0.0) <= GROWING * (1.0 + 1e-9)).all()
        held += int((run.time * fastest >= GROWING * (1.0 - 1e-9)).sum())
    assert held > 0


def test_curves_of_one_scenario_are_those_of_that_scenario_among_many():
    many = drawn(8, 0.4, seed=3)
    eq = equations(many)
    state = many.solve(raise_error=False)
    rises, drops = curves(eq)
    alone = only(eq, state.arrays.point, state.arrays.density)
    for s in range(8):
        one = eq.take([s])
        rise, drop = curves(one)
        assert rise[0] == rises[s]
        np.testing.assert_allclose(drop[..., 0], drops[..., s], rtol=1e-12)
        part = state.arrays.take([s])
        assert only(one, part.point, part.density)[0] == alone[s]


def test_fans_are_seen_alike_at_all_flows_at_once_and_one_by_one(monkeypatch):
    """Of some scenarios each law of the fans is asked once for their curves, and twice for what they drop."""
    many = drawn(40, 0.3)
    state, eq = many.solve(raise_error=False), equations(many)
    point, density = state.arrays.point, state.arrays.density
    counted = [0]
    plain = rising._of

    def of(*args):
        law = plain(*args)

        def counting(*flow_and_air):
            counted[0] += 1
            return law(*flow_and_air)

        return counting

    monkeypatch.setattr(rising, "_of", of)
    found = []
    for together in (40, 39):
        monkeypatch.setattr(rising, "TOGETHER", together)
        counted[0] = 0
        rises, drops = curves(eq)
        asked = counted[0]
        chords = rising._chords(eq, point.flow, density, rising.WIDE_SHARES, eq.guess * np.ones(40))
        found.append((asked, counted[0] - asked, rises, drops, chords, only(eq, point, density)))
    groups = len(eq.system.fan_groups)
    assert found[0][:2] == (groups, 2 * groups)
    assert found[1][:2] == (len(rising.CURVE_SHARES) * groups, (1 + len(rising.WIDE_SHARES)) * groups)
    for at_once, one_by_one in zip(found[0][2:], found[1][2:], strict=True):
        np.testing.assert_array_equal(at_once, one_by_one)


def two_fans(weak):
    """Two equal fans on one box, the second a little slower: air blown back through it is warm and light."""
    net = ds.Network(ds.Air.at(temperature=293.15), free_ends=False)
    curve = {"flow": [0.0, 0.75, 1.5], "total_pressure": [4000.0, 3500.0, 500.0], "curve_speed": 300.0}
    for name, speed in (("strong", 300.0), ("weak", weak)):
        net.add(name, ds.Fan(**curve, speed=speed, efficiency=0.6), "outside", "box")
    return net.add("out", ds.Opening(area=0.008, loss_coefficient=1.5), "box", "outside")


def test_a_fan_that_warm_air_may_hold_up_has_one_answer_wherever_it_is_asked():
    """Both flows are stable there, 0.08 K apart: running up from standstill decides, alone and in company."""
    speeds = np.linspace(262.0, 298.0, 401)
    many = two_fans(speeds).solve()
    between = np.flatnonzero(np.abs(many.flow["weak"]) < 0.08)[::4]
    assert len(between) > 5
    starts = [two_fans(speed).solve() for speed in (270.0, 296.0)]
    for k in between:
        alone = two_fans(speeds[k])
        for state in (alone.solve(), *(alone.solve(start=start) for start in starts)):
            assert state.flow["weak"] == pytest.approx(many.flow["weak"][k], abs=1e-9)


def test_a_run_up_is_not_cut_short_at_a_point_that_it_passes():
    """Newton's method finds a stable point beside this network's way up, which goes on to another."""
    machine = generate(72, rising=True, most_paths=40).network().machine()
    rng, wide = np.random.default_rng(72), {}
    rng.choice([0.05, 0.2, 0.5])
    for address, value in machine.numbers.items():
        fixed = address.startswith("air") or "efficiency" in address or ".flow[" in address
        if fixed or not isinstance(value, float) or value == 0.0 or not np.isfinite(value):
            continue
        column, declared = value * (1.0 + 0.5 * rng.uniform(-1.0, 1.0, 130)), machine.layout.declared[address]
        wide[address] = np.clip(column, declared.low, declared.high)
    many = machine.change(wide)
    state, alone = many.solve(raise_error=False), many[118].solve()
    for path in alone.flow:
        assert state.flow[path][118] == pytest.approx(float(alone.flow[path]), abs=1e-9)
