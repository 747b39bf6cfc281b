"""What must hold for every result: data that travels whole, and shows itself without working anything out.

A new result is added to `MAKERS`: its name, and a function that makes a small one.
"""

import copy
import pickle
from pathlib import Path

import numpy as np
import pytest
from shown_machines import leaky_bench

import ductsim as ds
from ductsim.network.equations import Equations
from ductsim.readings.checks import ReadingCheck, ReducedReadings
from ductsim.result import Note, Result

READINGS = Path(ds.__file__).parent / "examples" / "picker_readings.csv"
SEAL = ds.Fix("seal left", {"left leak.area": ds.times(0.1)}, minutes=10)
LISTS = (ds.Readings, ds.Traverse, ReadingCheck, ReducedReadings)
"""Results that are lists of what was read: without pictures and cautions."""


def bench():
    """A machine small enough to be asked again and again."""
    return ds.demo("bench")


def read(machine):
    """What the machine makes at its heads; one reading twice, and one without a value."""
    state = machine.solve()
    rows = [
        {"tapping": name, "value": float(state.ask(f"tapping {name}")), "set": "a"}
        for name in ("left tapping", "right tapping")
    ]
    return ds.read_readings([*rows, rows[0], {"tapping": "left tapping"}])


MAKERS = {
    "sweep": lambda: ds.sweep(bench(), "fan.speed", ["1400 rpm", "1900 rpm"]),
    "fit": lambda: ds.fit(leaky_bench(), read(leaky_bench()), draws=40),
    "suspects": lambda: ds.fit(leaky_bench(), read(leaky_bench()), suspects="leaks"),
    "next readings": lambda: ds.where_to_measure(
        ds.fit(leaky_bench(), read(leaky_bench()), draws=1), of="vacuum left"
    ),
    "proof": lambda: ds.proof(leaky_bench(), read(leaky_bench()), read(SEAL.on(leaky_bench())), SEAL),
    "planned proof": lambda: ds.proof(leaky_bench(), None, None, SEAL),
    "readings": lambda: ds.read_readings(READINGS),
    "check of readings": lambda: ds.check_readings(leaky_bench(), read(leaky_bench())),
    "reduced readings": lambda: ds.reduce_readings(leaky_bench(), read(leaky_bench())),
    "traverse": lambda: ds.traverse([10.0, 11.0, 10.0, 30.0], area=0.06, quantity="velocity"),
}
"""Name -> makes a result."""

known: dict[str, Result] = {}


@pytest.fixture(params=MAKERS)
def found(request):
    """Each of the results, made once."""
    if request.param not in known:
        known[request.param] = MAKERS[request.param]()
    return known[request.param]


@pytest.fixture
def unsolved(monkeypatch):
    """Whatever solves a network now fails."""

    def refuse(*_args, **_more):
        raise AssertionError("a network is solved")

    monkeypatch.setattr(Equations, "__init__", refuse)


def test_it_is_a_plain_result_with_faces(found):
    assert (
        isinstance(found, Result) and found.tables() and found.rows() == next(iter(found.tables().values()))
    )
    assert found.plots() or isinstance(found, LISTS)
    assert not any(callable(value) for value in vars(found).values())


def test_one_line_and_sentences_solve_nothing(found, unsolved):
    fresh = copy.copy(found)  # without what was worked out
    with pytest.raises(AssertionError, match="a network is solved"):
        bench().solve()
    assert repr(fresh) == f"<{type(found).__name__}: {found.about()}>" and found.about()
    assert "\n" not in repr(fresh) and len(repr(fresh)) < 200
    assert fresh.sentences("metric") == str(fresh).split("\n")
    assert isinstance(fresh.notes, list) and (fresh.cautions or isinstance(found, LISTS))


@pytest.mark.parametrize(
    "again",
    [copy.copy, copy.deepcopy, lambda found: pickle.loads(pickle.dumps(found))],
    ids=["copy", "deep", "pickle"],
)
def test_copies_show_the_same(found, again):
    other = again(found)
    assert type(other) is type(found) and other is not found
    assert other.to_json() == found.to_json()
    assert [vars_of(note) for note in other.notes] == [vars_of(note) for note in found.notes]


def vars_of(note):
    """What a note says and is about."""
    return str(note), note.kind, note.place, note.value


def test_a_file_gives_it_back(found, tmp_path, unsolved):
    file = tmp_path / "found.kept"
    found.save(file)
    for other in (type(found).load(file), Result.load(file)):
        assert type(other) is type(found)
        np.testing.assert_equal(other.tables(), found.tables())
        assert other.to_json() == found.to_json() and other.sentences("inch") == found.sentences("inch")
        assert [vars_of(note) for note in other.notes] == [vars_of(note) for note in found.notes]


@pytest.mark.parametrize("name", ["fit", "suspects"])
def test_what_was_kept_draws_the_same_machines(name):
    made = MAKERS[name]()
    kept = pickle.loads(pickle.dumps(made))
    for count in (5, 60):  # some of the draws there are, and more than were made
        one, other = (f.sample(count).numbers["left leak.area"] for f in (made, kept))
        np.testing.assert_allclose(other, one, rtol=1e-6)
        assert len(one) == count and np.ptp(one) > 0.0
    assert kept.machine.numbers == made.machine.numbers


def test_notes_say_what_they_are_about(found):
    for note in found.notes:
        assert isinstance(note, Note) and note.kind and note == note.strip()
        assert pickle.loads(pickle.dumps(note)).kind == note.kind


def test_sentences_in_both_measures(found):
    metric, inch = found.sentences("metric"), found.sentences("inch")
    assert metric and len(metric) == len(inch) and all(s.strip() for s in metric + inch)
    assert found.table(measures="inch").shape[0] == len(found.rows())
    assert "<table" in found._repr_html_()
