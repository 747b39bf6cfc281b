"""A planned visit: time, steps, sheets, planning anew; and against a fixed sheet of readings."""

from dataclasses import replace

import numpy as np
import pytest
import visit_trials
from shown_machines import bench_document

import ductsim as ds
from ductsim.machine.demos import demo_file
from ductsim.studies.where_to_measure import next_study
from ductsim.visiting import study

FIXES = [
    ds.Fix("seal left", {"left leak.area": 0.0}, minutes=25, caution="seal"),
    ds.Fix("seal right", {"right leak.area": 0.0}, minutes=25, caution="seal"),
]


@pytest.fixture
def picker_fixes():
    """Those of the demonstration that take no more than half an hour."""
    fixes = ds.read_fixes(demo_file("picker").with_name("picker_fixes.toml"))
    return [fix for fix in fixes if fix.minutes <= 30]


SIDES = ("left", "right")
SPEED = float(ds.demo("bench").numbers["fan.speed"])


@pytest.fixture(autouse=True)
def few(monkeypatch):
    """Fewer possible machines, so that it is quick."""
    monkeypatch.setattr(study, "SAMPLES", 80)
    monkeypatch.setattr(next_study, "SAMPLES", 80)


@pytest.fixture(scope="module")
def machine():
    """The bench with leaks that may be large, so that readings have something to decide."""
    document = bench_document()
    for side in ("left", "right"):
        leak = {"name": f"{side} leak", "kind": "leak", "from": "outside", "to": f"{side} head"}
        document["part"].append(leak | {"area": "20 cm2"})
    document["unknown"] = [
        {"number": f"{side} leak.area", "low": "0 cm2", "likely": "20 cm2", "high": "120 cm2"}
        for side in ("left", "right")
    ]
    return ds.Machine.of(document)


@pytest.fixture(scope="module")
def plan(machine):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(study, "SAMPLES", 80)
        return ds.visit(machine, FIXES, "45 min")


def test_it_reads_then_mends_then_proves_within_the_time(plan):
    assert plan.steps[0].kind == "read"
    kinds = [step.kind for step in plan.steps]
    assert kinds.count("fix") == 1
    assert kinds[-1] == "read after the work"
    ends = [step.start + step.minutes for step in plan.steps]
    assert [step.start for step in plan.steps] == pytest.approx([0.0, *ends[:-1]])
    assert plan.end <= 45.0
    after = plan.steps[-1].readings
    assert len(after) == 2
    assert {r.set for r in after} == {"after"}
    before = {r.tapping for r in plan.readings() if not (r.minus or r.blanked)}
    assert {r.tapping for r in after} <= before
    assert sum(share for _, share in plan.decisions) == pytest.approx(1.0)
    assert 0.0 < plan.right <= 1.0
    assert 0.0 < plan.proved <= 1.0
    words = plan.sentences()
    assert words[0].startswith("Read left tapping")
    assert words[0].endswith("then plan anew.")
    assert plan.cautions[-1].startswith("Follow the machine maker's limits")
    assert any("lock it out" in text for text in plan.cautions)


def test_readings_take_their_time_from_the_work(picker_fixes):
    """What gains most in the whole time does not fit beside the readings that come first."""
    found = ds.visit(ds.demo("picker"), picker_fixes, 60)
    assert found.steps[0].kind == "read"
    assert found.end <= 60.0
    assert f"{found.end:.0f} of 60 minutes" in found.sentences()[-1]


def shown(machine, readings):
    """What the readings are on a machine, without any error."""
    from ductsim.readings.model import made

    return [replace(r, value=float(v[0])) for r, v in zip(readings, made(machine, readings), strict=True)]


def test_it_is_planned_anew_with_the_readings_so_far(machine):
    """Both heads under two conditions tell the large leak: nothing is to be read before the work."""
    true = machine.change({"right leak.area": "100 cm2"})
    first = [ds.Reading(f"{side} tapping", 0.0, engine_speed=SPEED, set="visit") for side in SIDES]
    taped = [replace(r, blanked=("left mouth", "right mouth")) for r in first]
    taken = shown(true, [*first, *taped])
    again = ds.visit(machine, FIXES, 50, ds.Readings(taken), sure=0.5)
    assert again.spent == 4 * 2.0 + 2 * 1.5
    assert again.steps[0].start == again.spent
    assert again.fixes == ("seal right",)
    assert again.enough
    assert again.right > 0.5
    assert [step.kind for step in again.steps] == ["fix", "read after the work"]
    assert again.sentences()[0].startswith("Enough: do seal right")
    assert any("4 readings so far, 11 min" in note for note in again.notes)
    late = ds.visit(machine, FIXES, 50, ds.Readings(taken), spent="48 min")
    assert late.steps == []
    assert late.sentences()[0].startswith("Nothing fits into the 2 minutes that are left")


def test_the_sheet_is_a_readings_file_and_a_page(machine, plan, tmp_path):
    plan.write_sheet(tmp_path / "sheet.csv")
    text = (tmp_path / "sheet.csv").read_text(encoding="utf-8")
    readings = plan.readings()
    assert text.count("\n") == 1 + len(readings)
    filled = text.replace(",static,,", ",static,-400 Pa,")
    (tmp_path / "filled.csv").write_text(filled, encoding="utf-8")
    got = ds.read_readings(tmp_path / "filled.csv")
    assert [(r.tapping, r.minus, r.blanked, r.set) for r in got] == [
        (r.tapping, r.minus, r.blanked, r.set) for r in readings
    ]
    assert got.items[0].engine_speed == pytest.approx(SPEED)
    plan.write_sheet(tmp_path / "after.csv", after=True)
    assert (tmp_path / "after.csv").read_text(encoding="utf-8").count(",after,") == 2
    plan.write_sheet(tmp_path / "page.html")
    html = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert html.count('class="blank"') >= 2 * len(readings)
    assert "http" not in html
    plan.write_sheet(tmp_path / "page.txt")
    plain = (tmp_path / "page.txt").read_text(encoding="utf-8")
    for words in ("lock it out", "seal left", "____"):
        assert words in plain
    for name in ("inch.html", "inch.txt"):
        plan.write_sheet(tmp_path / name, measures="inch")
        page = (tmp_path / name).read_text(encoding="utf-8")
        assert "inH2O" in page and " Pa" not in page
    with pytest.raises(ds.InputError, match=r"a \.csv, \.html or \.txt file"):
        plan.write_sheet(tmp_path / "sheet.pdf")


def test_the_readings_so_far_stay_on_the_sheet(machine, tmp_path):
    own = {"sd": 1.5, "resolution": 2.0}
    taken = shown(machine, [ds.Reading("left tapping", 0.0, engine_speed=SPEED, set="A", **own)])
    again = ds.visit(machine, FIXES, 45, ds.Readings(taken))
    again.write_sheet(tmp_path / "sheet.csv")
    lines = (tmp_path / "sheet.csv").read_text(encoding="utf-8").splitlines()
    assert lines[1].startswith("left tapping,static,-")
    got = ds.read_readings(tmp_path / "sheet.csv")
    assert replace(got.items[0], line=0) == replace(taken[0], engine_speed=got.items[0].engine_speed)
    assert {r.set for r in again.readings()} == {"A"}  # one gauge, one set


def test_without_fixes_each_leak_may_be_sealed(machine):
    found = ds.visit(machine, minutes=60)
    assert found.usual
    assert any("No fixes were given" in note for note in found.notes)
    assert all(name.startswith(("seal ", "clean ")) for w in found.work for name in w.fixes)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"minutes": None}, "the time is missing"),
        ({"minutes": "-5 min"}, "working time"),
        ({"sure": 1.2}, "is no chance"),
        ({"answer": "no such"}, "no such"),
        ({"spent": "soon"}, "soon"),
    ],
)
def test_what_is_wrong_has_its_sentence(machine, given, words):
    with pytest.raises(ds.InputError, match=words):
        ds.visit(machine, FIXES, **given)


def test_the_command_writes_both_sheets_and_says_what_next(run, machine, tmp_path):
    place = tmp_path / "machine.toml"
    machine.write(place)
    code, out, err = run(
        "visit",
        str(place),
        "--minutes",
        "40",
        "--sheet",
        str(tmp_path / "sheet.html"),
        "--after",
        str(tmp_path / "after.csv"),
    )
    assert (code, err) == (0, "")
    assert "Plan" in out
    assert (tmp_path / "sheet.html").exists()
    assert "tapping,quantity,value" in (tmp_path / "after.csv").read_text(encoding="utf-8")
    assert f"ductsim visit {place} --minutes 40 --readings FILE" in out.replace("\n", " ")


@pytest.mark.slow
def test_planned_visits_choose_the_right_fix_sooner_than_a_fixed_sheet(monkeypatch):
    monkeypatch.setattr(study, "SAMPLES", 200)
    trials = [visit_trials.trial(5000 + seed) for seed in range(20)]
    print(visit_trials.table(trials))
    planned, fixed = (np.array([t.minutes[k] for t in trials]) for k in (0, 1))
    assert planned.mean() < 0.8 * fixed.mean()
    worse = sum(t.right[1] and not t.right[0] for t in trials)
    better = sum(t.right[0] and not t.right[1] for t in trials)
    assert visit_trials.no_more(worse, better) > 0.05
