"""Sizes that a user gives: what would run away is refused with its limit, what is large gets its answer."""

import csv
import itertools
from pathlib import Path

import numpy as np
import pytest
from make_picker_readings import truth
from synthetic_readings import SPEED, small_picker

import ductsim as ds
from ductsim.fixes.fix import Task
from ductsim.fixes.sets import combining
from ductsim.inference.problem import Problem
from ductsim.readings import checks
from ductsim.studies.compare import study

READINGS = Path(ds.__file__).parent / "examples" / "picker_readings.csv"


@pytest.fixture(scope="module")
def small():
    return small_picker()


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def fixes(count):
    return [ds.Fix(f"fix {i}", {"belt.slip": 1e-5 * (i + 1)}) for i in range(count)]


def sets(machine, count):
    name = next(iter(machine.layout.tapping))
    there = float(machine.solve().ask(f"tapping {name}"))
    return [
        {"tapping": name, "value": there * (1.0 + 1e-5 * i), "engine_speed": SPEED, "set": f"s{i}"}
        for i in range(count)
    ]


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda m: ds.compare(m, fixes(101)), "there are 101 fixes; 100 in one comparison"),
        (lambda m: ds.fit(m, sets(m, 101)), "101 conditions for one fit"),
        (lambda m: ds.fit(m, sets(m, 3), draws=50_000), "150,000 operating points .* at most 100,000"),
        (lambda m: ds.check_readings(m, sets(m, 10_001)), "10,001 readings are too many; at most 10,000"),
        (
            lambda m: ds.check_readings(m, ({"tapping": "door 1", "value": -1.0} for _ in itertools.count())),
            "too many readings; at most 10,000",
        ),
        (lambda m: ds.sweep(m, "belt.slip", range(10**9)), "1,000,000,000 values are too many"),
        (lambda m: ds.sweep(m, "belt.slip", itertools.count()), "too many values; at most 100,000"),
        (
            lambda m: ds.grid({a: np.zeros(1000) for a in ("belt.slip", "a.b", "c.d")}),
            "1,000,000,000 combinations are too many; at most 10,000,000",
        ),
        (lambda m: ds.calibrate(m, [{"ground_speed": 1.0}] * 5001), "5,001 observations are too many"),
        (lambda m: ds.field_pass(m, np.full(50_001, 0.4)), "50,001 stretches are too many"),
        (
            lambda m: ds.ground_speed(m, fixes=fixes(10), samples=100_000),
            "1,100,000 draws times fixes are too many",
        ),
        (lambda m: ds.balance(m, [ds.Trim("hose 1.length", 1.0, 2.0)] * 201), "201 trims are too many"),
    ],
)
def test_what_would_run_away_is_refused_with_its_limit(picker, monkeypatch, ask, words):
    def never(*_, **__):
        raise AssertionError("solved before it was refused")

    monkeypatch.setattr("ductsim.fixes.sets.Combining.solve", never)
    monkeypatch.setattr("ductsim.studies.fit.study.settled", never)
    with pytest.raises(ds.InputError, match=words):
        ask(picker)


def test_possible_machines_times_fixes_are_bounded(small, monkeypatch):
    monkeypatch.setattr(study, "MOST_SURE", 10)
    many = small.change({"belt.slip": [0.0, 0.01, 0.02, 0.03]})
    fix = ds.Fix("shorter", {"hose 1.length": ds.times(0.9)})
    assert ds.compare(many, fix).combining.machines == 4
    with pytest.raises(ds.InputError, match="2 fixes on 4 possible machines; 3 possible machines"):
        ds.compare(many, [fix, ds.Fix("wider", {"hose 2.length": ds.times(0.9)})])


def test_many_fixes_on_one_address_are_held_against_each_other_in_one_go(small):
    tasks = [Task.of(fix, small) for fix in fixes(60)]
    engine = combining(small, tasks, "weakest vacuum")
    assert len(engine.conflicts) == 60 * 59 // 2
    chosen = np.zeros((3, 60), dtype=bool)
    chosen[1, [4, 9]] = chosen[2, 7] = True
    verdicts = engine.solve(chosen)
    assert [verdicts.verdict(k) for k in range(3)] == ["", "contradiction", ""]


def test_the_search_among_many_fixes_ends_at_its_bound(small, monkeypatch):
    monkeypatch.setattr(study, "MOST_SETS", 200)
    addresses = [a for a in small.numbers if a.endswith((".length", ".diameter", ".area"))][:16]
    found = ds.compare(small, [ds.Fix(a, {a: ds.times(1.01)}) for a in addresses], budget=60.0)
    searched = len(found.solved.masks) - 100 * 17  # the orders behind the worths come on top
    assert len(addresses) == 16 and searched <= 200 and found.gain(addresses[0]) != 0.0


def test_contradictions_are_told_ten_at_a_time(small):
    notes = ds.compare(small, fixes(8)).notes
    assert sum("contradict each other:" in note for note in notes) == 10
    assert "18 more pairs of fixes contradict each other." in notes


def test_sets_of_one_condition_are_looked_at_once(small, monkeypatch):
    asked = []
    real = checks.highest_pressure
    monkeypatch.setattr(checks, "highest_pressure", lambda *a: asked.append(a) or real(*a))
    ds.check_readings(small, sets(small, 50))
    assert len(asked) == 1


def test_more_conditions_get_fewer_draws_unless_asked_otherwise(small, monkeypatch):
    monkeypatch.setattr("ductsim.machine.fitted.EASY", 100)
    assert ds.fit(small, sets(small, 2)).draws.asked == 50
    assert ds.fit(small, sets(small, 2), draws=60).draws.asked == 60


# ---- gross mistakes in the demonstration's readings


@pytest.fixture
def rows():
    lines = [line for line in READINGS.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


@pytest.mark.slow  # a set of slips is looked at in every run, below
@pytest.mark.parametrize(("row", "key", "value"), [(20, "blanked", "")], ids=["untaped"])
def test_a_gross_mistake_is_answered_and_named(picker, rows, monkeypatch, row, key, value):
    rows[row][key] = value
    asked = []
    real = Problem.whitened
    monkeypatch.setattr(
        Problem, "whitened", lambda self, u: asked.append(np.linalg.norm(u, axis=0).max()) or real(self, u)
    )
    fit = ds.fit(picker, rows, draws=100)
    assert not fit.draws.linear and fit.draws.lost < 10
    assert fit.solves < 900 * fit.conditions
    assert max(asked) < 40.0  # no machine is solved that nobody believes in
    (worst,) = fit.outliers
    assert worst["line"] == row + 1 and worst["set_aside"]
    text = fit.sentences()
    sound = ds.fit(picker, READINGS, draws=0).unknowns[0]
    assert "hatch leak 4.area: " in text[0]
    assert fit.unknowns[0]["estimate"] == pytest.approx(sound["estimate"], rel=0.03)  # as without the slip
    (named,) = (s for s in text if s.startswith(f"line {row + 1}, "))
    assert "It is set aside" in named
    assert "The other 32 fit together (chi-square 28." in text[-1]
    assert np.isfinite([r[k] for r in fit.unknowns for k in ("estimate", "low", "high")]).all()
    assert fit.sample(5).solve(raise_error=False).columns == 5


SET = "front 1 + front 2 + rear 1 + rear 2"


def _each(rows, name, **changed):
    for row in rows:
        row.update(changed if row["set"] == name else {})


@pytest.mark.parametrize(
    ("spoil", "lines", "words"),
    [
        (lambda rows: _each(rows, "C", blanked=""), range(18, 24), "All 6 readings under one condition"),
        pytest.param(
            lambda rows: _each(rows, "B", engine_speed="2100 rpm"),
            (),
            "speed of set B stands out: the press",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            lambda rows: _each(rows, "E", blanked=SET),
            range(29, 34),
            "look at what was taped",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            lambda rows: (rows[1].update(tapping="door 4"), rows[3].update(tapping="door 2")),
            (2, 4),
            "line 2, door 4 and line 4, door 2 look exchanged in set A: ",
            marks=pytest.mark.slow,
        ),
        pytest.param(
            lambda rows: [
                rows[i].update(value=v) for i, v in ((3, "-206 Pa"), (8, "8480 Pa"), (25, "-276 Pa"))
            ],
            (4, 9, 26),
            "line 9, jet box 3 (2,100 rpm) stands out: 8,480 Pa where the others make 4,09",  # it was 3,950
            marks=pytest.mark.slow,
        ),
        pytest.param(
            lambda rows: rows[2].update(value="-4000 Pa"),
            (3,),
            "as if ten times as much had been written",
            marks=pytest.mark.slow,
        ),
    ],
    ids=["untaped set", "speed of a set", "other unit taped", "exchanged", "one in ten", "ten times"],
)
def test_gross_slips_are_named_and_no_sound_reading_with_them(picker, rows, spoil, lines, words):
    spoil(rows)
    fit = ds.fit(picker, rows, draws=0)
    assert {row["line"] for row in fit.outliers} == set(lines)
    assert words in " ".join(fit.sentences())
    assert fit.unknowns[0]["unknown"] == "hatch leak 4.area"
    true = truth().numbers["hatch leak 4.area"]
    assert 0.5 * true < fit.unknowns[0]["low"] < true < fit.unknowns[0]["high"] < 1.5 * true
    assert any("no draws were asked for" in note for note in fit.notes)


def test_a_renamed_set_does_no_harm(picker, rows):
    rows[19] = rows[19] | {"set": "Z"}
    fit = ds.fit(picker, rows, draws=60)
    assert not fit.draws.linear and not fit.outliers
    assert fit.unknowns[0]["unknown"] == "hatch leak 4.area"
