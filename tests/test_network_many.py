"""Many scenarios at once: what they cost in evaluations of the laws, and that company changes no answer."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.network.equations import Equations
from ductsim.network.stability import _loops, stable
from ductsim.network.structure import open_patterns
from ductsim.network.transient import beside, run_up, standstill

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


def test_a_run_up_ends_beside_a_known_point_and_no_sooner():
    state = drawn(8, 0.02).solve()
    eq, flow = state._numbers.equations(state.system), state.arrays.point.flow
    elsewhere = flow * 1.05
    elsewhere[:, :4] = flow[:, :4]
    point, settled, steps = run_up(eq, standstill(eq), None, 600, careful=True, known=elsewhere)
    full, rest, longer = run_up(eq, standstill(eq), None, 600, careful=True)
    assert settled.all()
    assert rest.all()
    assert (steps[:4] < longer[:4]).all()
    assert (steps[4:] == longer[4:]).all()
    assert beside(point.flow, flow).all()
    np.testing.assert_allclose(full.flow, flow, rtol=1e-3, atol=1e-4)
