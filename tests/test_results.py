"""What must hold for every result: data that travels whole, and shows itself without working anything out.

A new result is added to `MAKERS`: its name, and a function that makes a small one.
"""

import copy
import pickle
import tempfile
from pathlib import Path

import numpy as np
import pytest
from shown_machines import leaky_bench

import ductsim as ds
from ductsim.commands.checking import checked
from ductsim.commands.demos import Listed
from ductsim.commands.solving import Solved
from ductsim.network.equations import Equations
from ductsim.result import Note, Result

READINGS = Path(ds.__file__).parent / "examples" / "picker_readings.csv"
SEAL = ds.Fix("seal left", {"left leak.area": ds.times(0.1)}, minutes=10)
CROP = ds.Crop(crop_yield=0.2, row_spacing=1.0)
BOX = ds.Box(width=2.0, length=1.0, height=1.0, positions=[0.5, 1.2], lowest=[0.2, 1.0], highest=[0.9, 1.8])
SEEN = [{"ground_speed": 0.4}, {"ground_speed": 1.5, "blocked": "right"}]
HOLE = {"kind": "opening", "area": 0.01, "loss_coefficient": 1}
CLOSED = {
    "format": 1,
    "title": "closed (invented)",
    "air": {"density": 1.2, "viscosity": 1.8e-5},
    "part": [{"name": "in", "from": "outside", "to": "box", **HOLE}],
    "supply": [{"node": "box", "mass_flow": 0.1}],
}


def wrong(flow, air, *, area):
    """A drop whose slope is half of what it should be."""
    drop = flow * np.abs(flow) / area**2 + flow
    return drop, np.abs(flow) / area**2 + 0.5, np.zeros_like(drop)


@ds.part("hole of wrong slope")
class Wrong(ds.Part):
    """A hole whose law gives a wrong slope."""

    area: float = ds.number("m2", above=0, doc="its area")

    def paths(self):
        """One path."""
        return (ds.Path(wrong, {"area": self.area}, self.area),)


del ds.extend.KINDS["hole of wrong slope"]  # other tests look at every kind there is


def bench():
    """A machine small enough to be asked again and again."""
    return ds.demo("bench")


FIXES = [
    ds.Fix("wider", change={"left mouth.area": "350 cm2"}, minutes=10.0, cost=25.0, caution="Mind the dog."),
    ds.Fix("narrower", change={"left mouth.area": "250 cm2"}, minutes=10.0),
    ds.Fix("other part", replace={"right duct": ds.Hose(length=2.0, diameter=0.16)}, minutes=40.0),
    ds.Fix("far too fast", change={"fan.speed": "4000 rpm"}, minutes=5.0),
    ds.Fix("nowhere", change={"no part.area": 1.0}),
    ds.Fix("no time", change={"left duct.length": "3 m"}, minutes=-3),
]
TRIM = ds.Trim("* mouth.area", "100 cm2", "400 cm2")


def possible():
    """Six such machines."""
    return bench().change({"left duct.loss_coefficient": [2.0, 2.5, 3.0, 3.5, 4.0, 4.5]})


def listed():
    """What a command lists."""
    return Listed(["One."], {"things": [{"thing": "one"}]})


def read(machine):
    """What the machine makes at its heads; one reading twice, and one without a value."""
    state = machine.solve()
    rows = [
        {"tapping": name, "value": float(state.ask(f"tapping {name}")), "set": "a"}
        for name in ("left tapping", "right tapping")
    ]
    return ds.read_readings([*rows, rows[0], {"tapping": "left tapping"}])


def logged(readings=()):
    """A logbook in a folder that is gone by now: what was written, and what it adds up to."""
    with tempfile.TemporaryDirectory() as place:
        leaky_bench().write(Path(place) / "machine.toml")
        written = ds.log_visit(place, "2026-09-14", readings=readings or None, fixes=SEAL, engine_hours=9)
        return written, ds.history(place, draws=20)


MAKERS = {
    "visit": lambda: logged()[0],
    "history": lambda: logged(list(read(leaky_bench()))[:2])[1],
    "history without readings": lambda: logged()[1],
    "questions": lambda: bench().questions(),
    "difference": lambda: bench().diff(FIXES[0].on(bench()).change({"left duct.length": "3 m"})),
    "sweep": lambda: ds.sweep(bench(), "fan.speed", ["1400 rpm", "1900 rpm"]),
    "gauges": lambda: ds.gauges(bench(), ["1400 rpm", "1500 rpm"], samples=20),
    "faults": lambda: ds.what_if(bench()),
    "faults of a leaky machine": lambda: ds.what_if(leaky_bench(), of="shaft power"),
    "ground speed": lambda: ds.ground_speed(
        bench(),
        CROP,
        {"wider": {"left mouth.area": "350 cm2"}, "none": {"no part.area": 1.0}},
        samples=20,
        season_area="40 ha",
        price_per_hour=200.0,
    ),
    "calibration": lambda: ds.calibrate(bench(), SEEN, crop=CROP),
    "ground speed, calibrated": lambda: ds.ground_speed(
        bench(), ds.calibrate(bench(), SEEN, crop=CROP), samples=20, efficiency=0.8
    ),
    "fill": lambda: ds.fill(bench(), CROP, BOX),
    "field pass": lambda: ds.field_pass(bench(), [0.05, 0.4, 0.1], speed=1.0, crop=CROP, box=BOX),
    "comparison": lambda: ds.compare(bench(), FIXES, budget=45.0),
    "comparison of possible machines": lambda: ds.compare(possible(), FIXES, of="shaft power"),
    "balance": lambda: ds.balance(bench(), TRIM),
    "balance of possible machines": lambda: ds.balance(possible(), TRIM, of=["vacuum left", "vacuum right"]),
    "balance by sizes": lambda: ds.balance(
        bench(), ds.Trim("left mouth.area", sizes=["150 cm2", "300 cm2"]), of="shaft power"
    ),
    "fit": lambda: ds.fit(leaky_bench(), read(leaky_bench()), draws=40),
    "suspects": lambda: ds.fit(leaky_bench(), read(leaky_bench()), suspects="leaks"),
    "next step": lambda: ds.where_to_measure(ds.fit(leaky_bench(), read(leaky_bench()), draws=20)),
    "fleet": lambda: ds.learn([ds.fit(leaky_bench(), read(leaky_bench()), draws=20)] * 3),
    "visit plan": lambda: ds.visit(leaky_bench(), [SEAL], 40),
    "next readings": lambda: ds.where_to_measure(
        ds.fit(leaky_bench(), read(leaky_bench()), draws=1), of="vacuum left"
    ),
    "proof": lambda: ds.proof(leaky_bench(), read(leaky_bench()), read(SEAL.on(leaky_bench())), SEAL),
    "planned proof": lambda: ds.proof(leaky_bench(), None, None, SEAL),
    "field page": lambda: ds.field_card(leaky_bench(), fixes=[SEAL], crop=CROP, speeds=[]),
    "readings": lambda: ds.read_readings(READINGS),
    "check of readings": lambda: ds.check_readings(leaky_bench(), read(leaky_bench())),
    "reduced readings": lambda: ds.reduce_readings(leaky_bench(), read(leaky_bench())),
    "traverse": lambda: ds.traverse([10.0, 11.0, 10.0, 30.0], area=0.06, quantity="velocity"),
    "ensemble": lambda: ds.ensemble(
        bench(), {"* duct.diameter": {"sd": 0.02}}, ["weakest vacuum", "shaft power"], samples=8, shares=True
    ),
    "ensemble without answers": lambda: ds.ensemble(
        ds.Machine.of(CLOSED), {"in.area": {"kind": "uniform", "low": 0, "high": 0}}, "in.flow", samples=4
    ),
    "state": lambda: bench().solve(),
    "state of columns": lambda: bench().change({"fan.speed": [150.0, 170.0, 400.0]}).solve(),
    "state with crop": lambda: bench().with_crop(ds.Crop(crop_yield=0.2, row_spacing=1.0)).solve(),
    "sensitivity": lambda: bench().sensitivity(of="shaft power"),
    "description": lambda: bench().change({"fan.speed": [150.0, 170.0]}).describe(),
    "sources": lambda: bench().sources(),
    "part": lambda: ds.check_part(ds.Duct(length=1.0, diameter=0.1)),
    "part that fails": lambda: ds.check_part(Wrong(area=0.01)),
    "solved": lambda: Solved(bench().solve(), ["shaft power"], [bench().ask("shaft power")]),
    "checked": lambda: checked(bench().solve()),
    "listed": listed,
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
    assert all(plot.words for plot in found.plots().values())
    assert not any(callable(value) for value in vars(found).values())


def test_one_line_and_sentences_solve_nothing(found, unsolved):
    fresh = copy.copy(found)  # without what was worked out
    with pytest.raises(AssertionError, match="a network is solved"):
        bench().solve()
    assert repr(fresh) == f"<{type(found).__name__}: {found.about()}>" and found.about()
    assert "\n" not in repr(fresh) and len(repr(fresh)) < 200
    assert fresh.sentences("metric") == str(fresh).split("\n")
    assert isinstance(fresh.notes, list) and isinstance(fresh.cautions, list)


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


def test_saved_and_loaded_it_shows_the_same(found, tmp_path):
    found.save(tmp_path / "kept")
    other = ds.Result.load(tmp_path / "kept")
    assert type(other) is type(found)
    assert other.to_json() == found.to_json() and other.sentences("inch") == found.sentences("inch")
    assert [vars_of(note) for note in other.notes] == [vars_of(note) for note in found.notes]


def vars_of(note):
    """What a note says and is about."""
    return str(note), note.kind, note.place, note.value


def test_a_file_holds_it_whole(found, tmp_path):
    found.save(tmp_path / "one.result")
    for other in (Result.load(tmp_path / "one.result"), type(found).load(tmp_path / "one.result")):
        assert type(other) is type(found) and other.to_json() == found.to_json()
        assert repr(other) == repr(found) and other.sentences("inch") == found.sentences("inch")
        assert [vars_of(note) for note in other.notes] == [vars_of(note) for note in found.notes]


def test_notes_say_what_they_are_about(found):
    for note in found.notes:
        assert isinstance(note, Note) and note.kind and note == note.strip()
        assert pickle.loads(pickle.dumps(note)).kind == note.kind


def test_sentences_in_both_measures(found):
    metric, inch = found.sentences("metric"), found.sentences("inch")
    assert metric and len(metric) == len(inch) and all(s.strip() for s in metric + inch)
    assert found.table(measures="inch").shape[0] == len(found.rows())
    assert "<table" in found._repr_html_()
