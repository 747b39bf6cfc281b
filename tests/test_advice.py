"""Advice that is worth nothing is not given, and what an answer hangs on is said."""

from dataclasses import replace

import pytest
from scipy import stats
from synthetic_readings import plan, small_picker

import ductsim as ds
from ductsim.machine.demos import FOLDER
from ductsim.readings.model import made
from ductsim.studies.compare.sets import NOTICED


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


@pytest.fixture(scope="module")
def compared(picker):
    return ds.compare(picker, ds.read_fixes(FOLDER / "picker_fixes.toml"))


def test_no_fix_is_recommended_whose_gain_counts_as_none(compared):
    whole = compared.gain(*compared.order)
    least = NOTICED * compared.solved.base
    assert compared.order
    for name in compared.order:
        rest = [other for other in compared.order if other != name]
        if compared.verdict(*rest) == ("", ""):
            assert whole - compared.gain(*rest) >= least, name
    assert compared.left_out == ["larger nozzle 5"]
    assert "larger nozzle 5 adds less than half a per cent to it: not worth the work." in compared.sentences()


def test_a_fix_that_gains_next_to_nothing_alone_is_not_recommended(picker):
    found = ds.compare(picker, [ds.Fix("shorten hose 4", {"hose 4.length": "2.2 m"}, minutes=30)])
    assert 0.0 < found.gain("shorten hose 4") < NOTICED * found.solved.base
    assert found.order == []
    assert found.sentences()[0].startswith(
        "Nothing that can be done makes the vacuum of the weakest unit better"
    )


def test_a_sweep_says_where_its_number_matters(picker):
    found = ds.sweep(picker, "hose 3.length", ["1 m", "5 m"])
    assert "It matters at unit 3: the vacuum there goes from 390 Pa to 369 Pa." in found.sentences()
    assert "It matters at unit 3: the vacuum there goes from 1.57 inH2O to 1.48 inH2O." in found.sentences(
        "inch"
    )
    own = ds.sweep(picker, "hatch leak 4.area", ["100 cm2", "400 cm2"])
    assert not any("It matters" in words for words in own.sentences())


def test_an_ensemble_says_why_its_mean_is_not_the_machines(picker):
    found = ds.ensemble(picker, samples=400)
    own = picker.ask("weakest vacuum")
    assert found.as_described == pytest.approx([own], rel=1e-9)
    assert found.answers.mean() < own
    (words,) = (words for words in found.sentences() if words.startswith("Its mean, "))
    assert "lies below the 297 Pa of the machine as described: of units that scatter the weakest" in words
    narrow = ds.ensemble(picker, {"hatch leak 4.area": stats.norm(0.04, 1e-6)}, samples=50)
    assert not any("Its mean" in words for words in narrow.sentences())


@pytest.fixture(scope="module")
def weighed():
    machine = small_picker()
    points = [r for r in plan(machine) if not r.blanked]
    values = [replace(r, value=float(v[0])) for r, v in zip(points, made(machine, points), strict=True)]
    return ds.where_to_measure(ds.fit(machine, values, draws=20), "weakest vacuum")


def test_where_to_measure_says_that_it_is_enough_where_an_answer_is_known_to_one_per_cent(weighed):
    (known,) = weighed.expected
    assert not weighed.sentences()[0].startswith("Enough")
    sure = replace(weighed, expected=[replace(known, now=(0.992 * 300.0, 1.008 * 300.0))])
    assert sure.sentences()[0] == "Enough is measured: weakest vacuum is known to 0.8% (95 %)."


def test_where_to_measure_says_that_it_is_enough_where_no_reading_tells_more(weighed):
    idle = replace(weighed, left_together=0.99)
    words = idle.sentences()[0]
    assert words.startswith(
        "Enough is measured: the best 3 readings more would make the uncertainty less than 1%"
    )
    assert not replace(weighed, left_together=0.97).sentences()[0].startswith("Enough")


def test_a_proof_says_that_the_engine_speed_was_not_read():
    machine = small_picker().change({"hatch leak 2.area": "250 cm2"})
    fix = ds.Fix("seal hatch 2", {"hatch leak 2.area": 0.0}, minutes=20)
    state, after = machine.solve(), fix.on(machine).solve()

    def read(state, speed):
        names = ("door 1", "door 2", "air box")
        return [ds.Reading(n, state.ask(f"tapping {n}"), engine_speed=speed, set="a") for n in names]

    found = ds.proof(machine, read(state, None), read(after, None), fix)
    (note,) = (note for note in found.notes if note.kind == "no engine speed")
    assert note.startswith(
        "6 of 6 readings are without an engine speed: the speed of each set counts as known to 30%"
    )
    speed = machine.numbers["belt.engine_speed"]
    told = ds.proof(machine, read(state, speed), read(after, speed), fix)
    assert not any(note.kind == "no engine speed" for note in told.notes)
