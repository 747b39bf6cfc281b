"""What every result holds to: plain data that solves nothing when it is shown, copied or kept."""

import copy
import pickle
from pathlib import Path

import numpy as np
import pytest
from synthetic_readings import SPEED, small_picker

import ductsim as ds
from ductsim.network import newton
from ductsim.result import Note, Result

READINGS = Path(ds.__file__).parent / "examples" / "picker_readings.csv"
SEAL = ds.Fix("seal hatch 2", {"hatch leak 2.area": ds.times(0.1)}, minutes=20)


def machine():
    return small_picker().change({"hatch leak 2.area": "250 cm2"})


def readings(machine):
    """What the machine makes at the doors and in the box, one reading twice and one without a value."""
    state = machine.solve()
    rows = [
        {"tapping": name, "value": state.ask(f"tapping {name}"), "engine_speed": SPEED, "set": "a"}
        for name in ("door 1", "door 2", "air box")
    ]
    return ds.read_readings([*rows, rows[0], {"tapping": "door 1"}])


def fit():
    given = machine()
    return ds.fit(given, readings(given), draws=40)


def proof():
    given = machine()
    return ds.proof(given, readings(given), readings(SEAL.on(given)), SEAL)


MAKERS = {
    "fit": fit,
    "suspects": lambda: ds.fit(machine(), readings(machine()), suspects="leaks"),
    "next": lambda: ds.where_to_measure(fit(), of="vacuum 2"),
    "proof": proof,
    "plan": lambda: ds.proof(machine(), None, None, SEAL),
    "readings": lambda: ds.read_readings(READINGS),
    "check": lambda: ds.check_readings(machine(), readings(machine())),
    "reduced": lambda: ds.reduce_readings(machine(), readings(machine())),
    "traverse": lambda: ds.traverse([10.0, 11.0, 10.0, 30.0], area=0.06, quantity="velocity"),
}
"""Name -> what makes the result."""


@pytest.fixture(scope="module")
def results():
    made = {}

    def get(name):
        if name not in made:
            made[name] = MAKERS[name]()
        return made[name]

    return get


@pytest.fixture
def solved(monkeypatch):
    """Every step of the solver, of whatever is solved."""
    steps = []
    real = newton.newton_step
    monkeypatch.setattr(newton, "newton_step", lambda *a: steps.append(a) or real(*a))
    return steps


def test_solving_is_seen(solved):
    machine().solve()
    assert solved


def same(one, other):
    """Whether two results show the same."""
    np.testing.assert_equal(other.tables(), one.tables())
    for measures in ("metric", "inch"):
        assert other.sentences(measures) == one.sentences(measures)
    assert [(str(n), n.kind, n.place, n.value) for n in other.notes] == [
        (str(n), n.kind, n.place, n.value) for n in one.notes
    ]
    assert other.cautions == one.cautions
    assert repr(other) == repr(one)


@pytest.mark.parametrize("name", MAKERS)
def test_what_shows_a_result_solves_nothing(results, solved, name):
    found = results(name)
    assert isinstance(found, Result)
    solved.clear()
    assert repr(found).startswith(f"<{type(found).__name__}: ") and "\n" not in repr(found)
    assert str(found) and found.to_json() and found._repr_html_() and found.tables()
    assert all(isinstance(note, Note) and note.kind for note in found.notes)
    assert not solved


@pytest.mark.parametrize("name", MAKERS)
def test_a_result_is_the_same_when_copied_pickled_and_kept(results, solved, tmp_path, name):
    found = results(name)
    solved.clear()
    same(found, copy.copy(found))
    same(found, copy.deepcopy(found))
    same(found, pickle.loads(pickle.dumps(found)))
    file = tmp_path / "found.kept"
    found.save(file)
    same(found, type(found).load(file))
    same(found, Result.load(file))
    assert not solved


@pytest.mark.parametrize("name", ["fit", "suspects"])
def test_a_kept_fit_still_draws_the_same_machines(results, name):
    found = results(name)
    kept = pickle.loads(pickle.dumps(found))
    for count in (5, 60):  # more than were drawn already
        address = "hatch leak 2.area"
        one, other = (f.sample(count).numbers[address] for f in (found, kept))
        np.testing.assert_allclose(other, one, rtol=1e-6)
    assert kept.machine.numbers == found.machine.numbers
