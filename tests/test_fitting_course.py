"""Columns that move little by little: each is predicted from where it was last, roughly until it is close."""

import subprocess
import sys
from types import SimpleNamespace

import numpy as np
import pytest
from synthetic_readings import model_of, plan, read, small_picker

import ductsim as ds
from ductsim.network import solve as solving
from ductsim.network.equations import Equations
from ductsim.readings import model as modelling
from ductsim.readings.checks import refuse
from ductsim.readings.naming import readings_of
from ductsim.readings.unknowns import unknowns_of
from ductsim.studies.fit.study import explained


@pytest.fixture(scope="module")
def model():
    machine = small_picker()
    return model_of(machine, plan(machine))


def test_a_course_ends_where_every_column_by_itself_does(model):
    rng = np.random.default_rng(3)
    z = rng.standard_normal((model.size, 6))
    shown, some = model.follow(6), np.array([4, 0, 5])
    noise = model.noise(model.predict(np.zeros((model.size, 1)))[:, 0])[:, None]
    shown(z, np.arange(6), True)
    z += 0.05 * rng.standard_normal(z.shape)
    roughly = shown(z[:, some], some, True)
    exactly = shown(z[:, some], some, False)
    alone = np.column_stack([model.predict(z[:, [i]]) for i in some])
    assert np.abs(exactly - alone).max() < 1e-6
    assert (np.abs(roughly - alone) < 1e-2 * noise).all()


def test_what_a_few_steps_do_not_find_is_solved_in_full(model, monkeypatch):
    z = np.random.default_rng(3).standard_normal((model.size, 2))
    nothing = SimpleNamespace(solved=np.zeros(6, dtype=bool))
    monkeypatch.setattr(modelling, "approach", lambda machine, start: nothing)
    assert np.abs(model.follow(2)(z, np.arange(2), True) - model.predict(z)).max() < 1e-6


@pytest.mark.parametrize(
    ("count", "solved_before", "middles", "proofs"),
    [(80, False, 0, 80), (600, False, 1, 0), (80, True, 0, 0), (600, True, 0, 0)],
)
def test_scenarios_with_starts_share_the_proof_of_these_or_of_the_middle_of_all(
    count, solved_before, middles, proofs, monkeypatch
):
    machine = small_picker()
    many = machine.change({"belt.slip": np.linspace(0.0, 0.05, count)})
    first = many.solve()
    solved, proved = [], []
    single, only = solving.solve_single, solving.only

    def solve_single(eq, *args):
        solved.append(eq.scenarios)
        return single(eq, *args)

    def counted(eq, *args):
        proved.append(eq.scenarios)
        return only(eq, *args)

    monkeypatch.setattr(solving, "solve_single", solve_single)
    monkeypatch.setattr(solving, "only", counted)
    start = first.arrays.point
    again = many.rebuilt(dict(many.numbers)).solve(start=start if solved_before else start.precise())
    assert np.abs(again.vacuum["1"] - first.vacuum["1"]).max() < 1e-5
    assert (len(solved), sum(proved)) == (middles, proofs)


def test_draws_take_few_evaluations_of_the_laws(model, monkeypatch):
    """Columns are counted, not seconds: 50 a draw and condition where each step began at the estimate."""
    rng = np.random.default_rng(1)
    rows = read(model, rng.standard_normal(model.size), rng)
    counted = [0]
    plain = Equations.evaluate

    def evaluate(self, flow, *args, **words):
        counted[0] += flow.shape[1]
        return plain(self, flow, *args, **words)

    monkeypatch.setattr(Equations, "evaluate", evaluate)
    ds.fit(model.machine, rows, draws=0)
    without, counted[0] = counted[0], 0
    ds.fit(model.machine, rows, draws=200)
    assert counted[0] - without < 30 * 200 * 3


def test_a_fit_starts_where_the_readings_were_first_looked_at(monkeypatch):
    """The machine as described is solved and proven once, and decides nothing about what is found."""
    machine, cold = ds.demo("picker"), []
    readings = readings_of(machine, f"{ds.__path__[0]}/examples/picker_readings.csv")
    plain = solving.solve_single

    def solve_single(eq, structure, start):
        cold.append(start is None)
        return plain(eq, structure, start)

    monkeypatch.setattr(solving, "solve_single", solve_single)
    near = refuse(machine, readings)
    assert sum(cold) == 1 and near is not None
    fits, often = [], []
    for own in (near, None):
        cold.clear()
        fits.append(explained(machine, readings, unknowns_of(machine), draws=0, near=own))
        often.append(sum(cold))
    assert often[0] == often[1] - 1
    np.testing.assert_allclose(fits[0].estimate.x, fits[1].estimate.x, atol=1e-6)


def test_a_fit_whose_approach_converges_loads_no_general_optimiser():
    words = (
        "import sys, ductsim as ds; from ductsim.machine.demos import FOLDER; "
        "ds.fit(ds.demo('picker'), FOLDER / 'picker_readings.csv', draws=0); "
        "sys.exit('scipy.optimize' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", words], check=False).returncode == 0
