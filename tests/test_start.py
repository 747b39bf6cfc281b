"""A machine to begin with: it runs at once, says what to measure first, and its keys are told."""

import pytest
from command_line import refused, run  # noqa: F401

import ductsim as ds
from ductsim.commands.checking import Checked, checked, notes
from ductsim.documents.document import parse
from ductsim.files.start import start_files
from ductsim.parts.measuring import BY_READINGS, WAYS, way_of


@pytest.mark.parametrize("kind", ["jets", "suction"])
@pytest.mark.parametrize(("units", "fans"), [(1, 1), (4, 1), (7, 2), (12, 2)])
@pytest.mark.parametrize("measures", ["inch", "metric"])
def test_what_is_started_runs_and_is_a_machine_that_may_be(kind, units, fans, measures):
    files = start_files(kind, units, fans, measures)
    machine = ds.Machine.of(files["machine.toml"])
    state = machine.solve()
    low, high = (250.0, 600.0) if kind == "jets" else (600.0, 1500.0)
    assert len(machine.layout.units) == units and len(machine.layout.fans) == fans
    assert machine.measures == measures
    assert all(low < vacuum < high for vacuum in state.vacuum.values())
    assert min(state.vacuum.values()) > 0.85 * max(state.vacuum.values())
    assert not state.notes and machine.layout.free_ends
    # nothing but the makers' limits, which nobody but their makers knows
    assert {note.kind for note in notes(Checked(state, machine.describe(), []))} == {"limit not stated"}
    other = {"inch": (' m"', ' mm"', "cm2"), "metric": (' ft"', ' in"', "in2")}[measures]
    rows = [row for row in files["machine.toml"].split("\n") if not row.startswith("#")]
    assert not [row for row in rows if any(word in row for word in other)]
    each, own = ([row.split(" ")[0] for row in rows].index(word) for word in ("[each_unit]", "[[unit]]"))
    assert each < 36 + 11 * fans and own - each < 62 and len(rows) - own <= 4 * units + 1  # a screen each
    assert max(map(len, rows)) < 110


def test_the_sheet_takes_readings_and_the_companions_what_is_written_into_them(tmp_path):
    files = start_files("suction", 3, 1, "inch")
    machine = ds.Machine.of(files["machine.toml"])
    sheet = tmp_path / "readings.csv"
    sheet.write_text(files["readings.csv"].replace("vacuum,", "vacuum,4 in wc"), "utf-8")
    found = ds.check_readings(machine, sheet)
    assert len(found.readings) == 4 and not found.problems
    for name, read in (("fixes.toml", ds.read_fixes), ("crop.toml", ds.read_crop)):
        place = tmp_path / name
        text = files[name]
        assert parse(text) == {"format": 1}
        rows = text.split("\n")
        at = rows.index("format = 1")
        place.write_text("\n".join([*rows[:at], *(row.removeprefix("# ") for row in rows[at:])]), "utf-8")
        assert read(place)
    assert ds.compare(machine.change({"fan.soiling": 0.1}), [ds.Fix("a", {"gap 3.area": "x0.1"})])


@pytest.mark.slow
def test_companions_that_hold_nothing_yet_stop_no_report(run, tmp_path):  # noqa: F811
    assert run("start", tmp_path / "mine")[0] == 0
    assert run("report", tmp_path / "mine" / "machine.toml", tmp_path / "report.html")[0] == 0


def test_from_start_to_answers_without_a_refusal(run, refused, tmp_path, monkeypatch):  # noqa: F811
    monkeypatch.chdir(tmp_path)
    assert run("start", "mine", "--units", "4", "--kind", "jets", "--measures", "inch")[0] == 0
    for words in (("check", "mine/machine.toml"), ("solve", "mine/machine.toml")):
        status, out, err = run(*words)
        assert status == 0 and not err and "inH2O" in out
    _, said = refused("compare", "mine/machine.toml")
    assert "fixes.toml holds nothing yet" in said
    _, said = refused("start", "mine")
    _, said = refused("start", "other", "--kind", "jet")
    assert "did you mean jets" in said or "jets" in said


def test_check_lists_what_to_measure_first(run, tmp_path, monkeypatch):  # noqa: F811
    machine = ds.demo("suction")
    found = checked(machine.solve())
    effects = [own.effect for own in found.first]
    assert effects == sorted(effects, reverse=True)
    # the points of one curve scatter together: their slopes add before the spread
    slopes = {own.address: own for own in machine.sensitivity(of="weakest vacuum").slopes}
    curve = [own for a, own in slopes.items() if a.startswith("fan.total_pressure[")]
    listed = next(own for own in found.first if own.address == "fan.total_pressure")
    assert listed.effect == pytest.approx(abs(sum(own.derivative * own.value for own in curve)) * 0.04)
    # held against answers of the machine itself, the whole curve 1 % up
    up = machine.change({"fan.total_pressure[*]": "x1.01"}).ask("weakest vacuum")
    assert listed.effect == pytest.approx((up - machine.ask("weakest vacuum")) * 4.0, rel=0.02)
    status, out, _ = run("check", "demo:suction")
    assert status == 0 and "Measure first" in out and "two in three such machines" in out


def test_every_number_with_a_spread_says_how_it_is_measured():
    for kind in ds.extend.KINDS.values():
        for name in kind.declared:
            assert way_of(name).minutes > 0.0 and way_of(name).how
    assert way_of("bend 1.radius") is WAYS["radius"] and way_of("flow[2]") is BY_READINGS
    names = {name for kind in ds.extend.KINDS.values() for name in kind.declared}
    assert {"length", "diameter", "area", "nozzle_area", "open_fraction"} <= names & set(WAYS)


def test_kinds_tell_every_key(run, refused):  # noqa: F811
    _, out, _ = run("kinds")
    assert all(kind in out for kind in ds.extend.KINDS)
    for name, kind in ds.extend.KINDS.items():
        status, out, _ = run("kinds", name, "--json")
        assert status == 0
        assert all(f'"{key}"' in out for key, own in kind.declared.items() if key != "bends")
    _, inch, _ = run("kinds", "hose", "--measures", "inch")
    assert "6.5 in" in inch
    _, said = refused("kinds", "hoze")
    assert "hose" in said
