"""The logbook of a machine: what is written stays, half a visit is not read, what visits add up to."""

import json
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from logbook_season import SEAL, read, season
from shown_machines import leaky_bench

import ductsim as ds
from ductsim.logbook.study import chance_larger

TESTS = Path(__file__).parent


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    return season(tmp_path_factory.mktemp("season") / "bench")


@pytest.fixture(scope="module")
def found(book):
    return ds.history(book, draws=60)


@pytest.fixture
def empty(tmp_path):
    """A folder of a machine without visits."""
    leaky_bench().write(tmp_path / "machine.toml")
    return tmp_path


def contents(folder):
    return {p.relative_to(folder): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


# ---- what visits add up to


def test_the_sealed_leak_is_found_tight_and_the_other_grown(found):
    leaks = {(row["unknown"], row["visit"], row["when"]): row for row in found.tables()["leaks"]}
    before = leaks["left leak.area", "2026-09-01", "before"]
    after = leaks["left leak.area", "2026-09-01", "after"]
    assert (
        before["low"] < 200e-4 < before["high"]
        and after["low"] <= 1e-4 <= after["high"] < 0.5 * before["low"]
    )
    (worn,) = found.worn
    assert worn.unknown == "right leak.area" and worn.chance > 0.975
    assert (worn.start, worn.end, round(worn.hours / 3600)) == ("2026-09-01", "2026-09-15-2", 101)
    assert not [moved for moved in found.moved if moved.unknown == "left leak.area"]  # it was sealed, no wear


def test_each_fix_is_proved_by_the_readings_about_it(found):
    seal, wider = found.brought
    assert (seal.fixes, seal.before.when, seal.after.when) == (["seal left"], "before", "after")
    assert seal.proof.verdict == "works as expected" and abs(seal.proof.effect - 1.0) < 0.3
    assert (wider.before.visit, wider.after.visit) == ("2026-09-15", "2026-09-15-2")
    assert any(note.kind == "between visits" for note in found.notes)
    same = ds.proof(seal.before.fit, seal.before.fit.taken, seal.after.fit.taken, SEAL)
    assert same.effect == pytest.approx(seal.proof.effect, rel=1e-12)


def test_today_is_the_latest_fit(found):
    assert found.today.numbers["left mouth.area"] == pytest.approx(350e-4, rel=0.02)  # fitted along
    assert float(found.today.ask("weakest vacuum")) == pytest.approx(found.weakest_vacuum)
    assert found.looks[-1].fit.machine.numbers == found.today.numbers


def test_a_fix_after_the_latest_readings_is_computed(empty):
    ds.log_visit(empty, "2026-09-01", readings=list(read(leaky_bench()))[:2])
    ds.log_visit(empty, "2026-10-01", fixes=ds.Fix("shut", {"right leak.area": 0}))
    later = ds.history(empty, draws=20)
    assert later.since == ["shut"] and later.today.numbers["right leak.area"] == 0.0
    assert later.today.numbers["left leak.area"] == later.looks[0].fit.machine.numbers["left leak.area"]
    assert "with shut since, which is computed and not read" in later.sentences()[0]


def test_nothing_read_is_said(empty):
    assert "No visit has readings" in ds.history(empty).sentences()[0]
    ds.log_visit(empty, "2026-09-01", fixes=SEAL)
    none = ds.history(empty)
    assert none.today.numbers["left leak.area"] == pytest.approx(1e-4) and not none.looks
    assert ds.read_logbook(empty).described.numbers == none.today.numbers


def test_chance_larger_against_counting_all_pairs():
    rng = np.random.default_rng(1)
    a, b = np.round(rng.standard_normal(40), 1), np.round(rng.standard_normal(30) + 0.5, 1)
    pairs = np.sign(np.subtract.outer(b, a))  # the Mann-Whitney statistic over the number of pairs
    assert chance_larger(a, b) == pytest.approx(float((0.5 * (pairs + 1.0)).mean()), abs=1e-12)


def test_pictures_are_drawn(found):
    for what in ("weakest", "leaks"):
        ax = found.plot(what=what)
        assert len(ax.get_xticklabels()) == 4 == len(found.looks)


# ---- what is on disk


def test_it_is_plain_and_reads_back(book):
    visits = ds.read_logbook(book).visits
    assert [v.name for v in visits] == ["2026-09-01", "2026-09-08", "2026-09-15", "2026-09-15-2"]
    document = tomllib.loads((book / "visits/2026-09-01/visit.toml").read_text(encoding="utf-8"))
    assert document["engine_hours"] == "100 h" and document["seen"] == ["left seal torn"]
    assert document["fix"][0]["change"] == {"left leak.area": "1 cm2"} and document["fix"][0]["minutes"] == 10
    torn = leaky_bench().change({"left leak.area": "200 cm2"})
    assert [(r.tapping, r.value, r.blanked) for r in visits[0].readings] == [
        (r.tapping, r.value, r.blanked) for r in read(torn, 1)
    ]
    assert visits[1].engine_hours == 140 * 3600 and visits[1].seen == ("nothing new", "belt dusty")


def test_a_file_of_readings_is_copied_and_every_column_kept(empty, tmp_path):
    text = "# by hand\ntapping,value,sd,resolution,engine_speed,temperature,note\n"
    text += "left tapping,-300 Pa,2 Pa,1 Pa,1400 rpm,25 degC,a\n"
    (tmp_path / "own.csv").write_text(text, encoding="utf-8")
    ds.log_visit(empty, "2026-09-01", readings=tmp_path / "own.csv")
    assert (empty / "visits/2026-09-01/readings.csv").read_text(encoding="utf-8") == text
    ds.log_visit(empty, "2026-09-02", readings=ds.read_readings(tmp_path / "own.csv"))
    first, second = (next(iter(v.readings)) for v in ds.read_logbook(empty).visits)
    assert {**vars(first), "line": 0} == {**vars(second), "line": 0}


def test_a_factor_is_written_as_a_file_has_it(empty):
    ds.log_visit(empty, "2026-09-01", fixes=ds.Fix("f", {"left leak.area": ds.times(0.25)}))
    assert ds.history(empty).today.numbers["left leak.area"] == pytest.approx(10e-4)


def test_nothing_is_overwritten(empty):
    first = ds.log_visit(empty, "2026-09-01", seen="one")
    kept = contents(empty)
    second = ds.log_visit(empty, "2026-09-01", seen="two")
    assert Path(second.place).name == "2026-09-01-2" and Path(first.place).name == "2026-09-01"
    assert kept.items() <= contents(empty).items()


KILLED = """
import os, signal, sys
import ductsim as ds
from ductsim import writing
from ductsim.logbook import adding

folder, done = sys.argv[1], False
for moment in range(1, 2000, int(sys.argv[2])):
    child = os.fork()
    if not child:
        count = 0
        def lines(frame, event, arg):
            global count
            if frame.f_code.co_filename not in (writing.__file__, adding.__file__):
                return None
            count += 1
            if count == moment:
                os.kill(os.getpid(), signal.SIGKILL)
            return lines
        first = os.path.join(folder, "visits", "2026-09-01", "readings.csv")
        read = ds.read_readings(first)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        writing_only = lambda f, e, a: lines(f, e, a) if f.f_code.co_name == "write_folder" or count else None
        sys.settrace(writing_only)
        ds.log_visit(folder, "2026-09-02", readings=read, seen="x")
        os._exit(7)
    status = os.waitpid(child, 0)[1]
    names = [v.name for v in ds.read_logbook(folder).visits]
    whole = all(len(v.readings) == 4 for v in ds.read_logbook(folder).visits)
    print(os.WTERMSIG(status), len(names), int(whole))
    if os.WIFEXITED(status):
        break
    if len(names) > 1:
        import shutil
        shutil.rmtree(os.path.join(folder, "visits", "2026-09-02"))
"""


@pytest.mark.parametrize("step", [9, pytest.param(1, marks=pytest.mark.slow)])
def test_killed_at_any_line_every_earlier_visit_is_readable(empty, step):
    ds.log_visit(empty, "2026-09-01", readings=read(leaky_bench()))
    kept = contents(empty)
    done = subprocess.run(
        [sys.executable, "-c", KILLED, str(empty), str(step)],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    rows = [tuple(map(int, line.split())) for line in done.stdout.splitlines()]
    assert all(whole and count in (1, 2) for _, count, whole in rows)
    assert (
        sum(signal == 9 for signal, _, _ in rows) == len(rows) - 1 > 25 // step
    )  # killed at each but the last
    if step == 1:  # killed before it took its name and after
        assert {1, 2} == {count for signal, count, _ in rows if signal == 9}
    assert kept.items() <= contents(empty).items()
    assert any(note.kind == "half written" for note in ds.read_logbook(empty).seen)


# ---- what is refused


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        ({"date": "2026-02-30", "seen": "x"}, "date: '2026-02-30' is no date"),
        ({"date": 3, "seen": "x"}, "date: 3 is no date"),
        ({}, "there is nothing to write down"),
        ({"fixes": "seal"}, "fixes.toml.*there is no fixes.toml"),
        ({"fixes": ds.Fix("f", {"no part.area": 1.0})}, "visit .*unknown.*no part"),
        ({"fixes": [SEAL, SEAL]}, "'seal left' is named twice"),
        ({"fixes": ds.Fix("f", {"left leak.area": [1e-4, 2e-4]})}, "cannot be written down"),
        ({"engine_hours": -3}, "engine_hours: -3 is out of range"),
        ({"engine_hours": "3 kg"}, "engine_hours: "),
        ({"readings": [{"tapping": "nowhere", "value": 1.0}]}, "unknown tapping 'nowhere'"),
    ],
)
def test_what_cannot_be_written_down_is_one_sentence_and_leaves_nothing(empty, more, sentence):
    before = contents(empty)
    with pytest.raises(ds.InputError, match=sentence):
        ds.log_visit(empty, **more)
    assert contents(empty) == before


@pytest.mark.parametrize(
    ("name", "file", "text", "sentence"),
    [
        ("tuesday", "visit.toml", "format = 1\n", "visits.*'tuesday' is no name of a visit"),
        ("2026-09-01", "readings.csv", "tapping,value\n", "visit.toml: no such visit file"),
        ("2026-09-01", "visit.toml", "format = 1\nsaw = 'x'\n", "visit.toml: line 2: unknown key 'saw'"),
        ("2026-09-01", "visit.toml", "seen = 'x'\n", "visit.toml: the key 'format' is missing"),
        ("2026-09-01", "visit.toml", "format = 1\nengine_hours = 'x'\n", "visit.toml: engine_hours"),
        ("2026-09-01", "visit.toml", "format = 1\nfix = 3\n", "visit.toml: fix: is not a list of tables"),
        (
            "2026-09-01",
            "visit.toml",
            "format = 1\n[[fix]]\nname = 'f'\nchange = {'x.y' = 1}\n",
            "visit.toml: fix 'f'.*unknown address 'x.y'",
        ),
    ],
)
def test_what_is_wrong_in_the_folder_is_said_with_its_place(empty, name, file, text, sentence):
    (empty / "visits" / name).mkdir(parents=True)
    (empty / "visits" / name / file).write_text(text, encoding="utf-8")
    with pytest.raises(ds.InputError, match=sentence):
        ds.history(empty)


def test_wrong_readings_are_said_with_their_file(empty):
    ds.log_visit(empty, "2026-09-01", readings=read(leaky_bench()))
    place = empty / "visits/2026-09-01/readings.csv"
    place.write_text("tapping,value\nnowhere,3 Pa\n", encoding="utf-8")
    with pytest.raises(ds.InputError, match=r"readings\.csv.*line 2.*unknown tapping 'nowhere'"):
        ds.history(empty)


def test_what_is_no_visit_is_left_out_and_hours_backwards_are_noted(empty):
    ds.log_visit(empty, "2026-09-02", engine_hours=50)
    assert ds.log_visit(empty, "2026-09-01", engine_hours=80).seen[0].kind == "hours backwards"
    (empty / "visits" / "note.txt").write_text("x", encoding="utf-8")
    assert {note.kind for note in ds.history(empty).notes} == {"left out", "hours backwards"}


def test_readings_with_no_place_in_common_prove_nothing(empty):
    machine = leaky_bench()
    one, other = (ds.read_readings([r]) for r in list(read(machine))[:2])
    ds.log_visit(empty, "2026-09-01", readings=one, fixes=SEAL, after=other)
    found = ds.history(empty, draws=20)
    assert found.brought[0].proof is None and any(note.kind == "not proved" for note in found.notes)


# ---- at the command line


def test_commands(run, refused, empty, tmp_path):
    fixes = 'format = 1\n[[fix]]\nname = "seal left"\nchange = { "left leak.area" = "1 cm2" }\n'
    (empty / "fixes.toml").write_text(fixes, encoding="utf-8")
    words = ["log", str(empty), "--date", "2026-09-01", "--fix", "seal left", "--engine-hours", "1250"]
    assert "Visit 2026-09-01 is written" in run(*words)[1]
    assert ds.read_logbook(empty).visits[0].engine_hours == 1250 * 3600
    answer = json.loads(run("history", empty, "--json", "--today", empty / "today.toml")[1])
    assert answer["command"] == "history"
    assert ds.Machine.read(empty / "today.toml").numbers["left leak.area"] == pytest.approx(1e-4)
    assert "is read here" in refused("history", str(empty), "--today", str(empty / "machine.toml"))[1]
    assert "unknown fix 'seal lft'  seal left" in refused("log", str(empty), "--fix", "seal lft")[1]
    assert "no such folder" in refused("history", str(tmp_path / "none"))[1]
