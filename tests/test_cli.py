"""The command line: what each command prints."""

import hashlib
import json
import warnings

import jsonschema
import numpy as np
import pytest

import ductsim as ds
from ductsim.commands.registry import command, places
from ductsim.display.tables import WIDTH, json_rows
from ductsim.machine.demos import demo_file
from ductsim.quantity import convert
from ductsim.terminal.command import Answer, Command
from ductsim.terminal.envelope import schema

PICKER = demo_file("picker").read_text(encoding="utf-8")


# ---- solve


def test_solve_names_the_weakest_first_then_units_then_fans(run):
    status, out, err = run("solve", "demo:picker")
    assert (status, err) == (0, "")
    assert out.startswith("Unit 4 is weakest: 297 Pa")
    assert out.index("\nUnits\n") < out.index("\nFans\n")
    assert max(map(len, out.splitlines())) <= WIDTH


@pytest.mark.parametrize("name", ["picker", "suction", "bench"])
@pytest.mark.parametrize("measures", ["metric", "inch"])
def test_json_is_the_python_result(run, name, measures):
    _, out, _ = run("solve", f"demo:{name}", "--json", "--measures", measures)
    told = json.loads(out)
    jsonschema.validate(told, schema())
    state = ds.demo(name).solve()
    assert told["tables"] == {key: json_rows(rows) for key, rows in state.tables().items()}
    assert told["answer"] == state.sentences(measures)
    assert told["weakest"] == state.weakest
    assert told["notes"] == state.notes
    assert told["measures"] == measures
    digest = hashlib.sha256(demo_file(name).read_bytes()).hexdigest()
    assert told["input"] == {"file": f"demo:{name}", "sha256": digest}
    assert told["ductsim"] == ds.__version__


def test_inch_and_metric_agree(run):
    def fields(system):
        _, out, _ = run("solve", "demo:picker", "--measures", system)
        block = out.split("\n\n")[1].splitlines()
        return [float(line.split()[1]) for line in block[4:]]

    metric, inch = fields("metric"), fields("inch")
    assert inch == pytest.approx([convert(v, "Pa", "inH2O") for v in metric], abs=0.006)


def test_of_asks_more(run):
    status, out, _ = run(
        "solve", "demo:picker", "--of", "duct air 4", "--of", "shaft power", "--measures", "inch"
    )
    assert status == 0
    first, second = out.splitlines()[:2]
    assert first.startswith("Air in the duct of unit 4: ")
    assert first.endswith("lb/min.")
    assert second.endswith(" hp.")
    _, out, _ = run("solve", "demo:picker", "--of", "duct air 4", "--json")
    (row,) = json.loads(out)["tables"]["answers"]
    assert row["value"] == ds.demo("picker").ask("duct air 4")
    assert row["measure"] == "kg/s"


def test_tappings_are_shown_when_asked_for(run):
    assert "jet box 3" not in run("solve", "demo:picker")[1]
    assert "jet box 3" in run("solve", "demo:picker", "--tappings")[1]


def test_change_comes_first(run):
    _, out, _ = run("solve", "demo:picker", "--change", "hatch leak 4.area=0 cm2", "--json")
    assert json.loads(out)["weakest"] == ds.demo("picker").change({"hatch leak 4.area": 0.0}).solve().weakest
    _, scaled, _ = run("solve", "demo:picker", "--change", "belt.engine_speed=x0.9", "--json")
    expected = ds.demo("picker").change({"belt.engine_speed": "x0.9"}).solve()
    assert json.loads(scaled)["tables"]["units"] == json_rows(expected.rows())


def test_notes_are_printed_and_sent(run):
    words = ("solve", "demo:picker", "--change", "belt.engine_speed=2700 rpm")
    _, out, _ = run(*words)
    assert "Notes\n- left fan is above its highest speed of 4,200 rpm." in out
    _, out, _ = run(*words, "--json")
    assert "left fan is above its highest speed of 4,200 rpm." in json.loads(out)["notes"]


def test_what_a_law_says_outside_its_range_is_a_note_and_no_warning(run, monkeypatch):
    solve = ds.Machine.solve

    def outside(machine, raise_error=True):
        warnings.warn("hose 1 is outside the range.", ds.OutsideRange, stacklevel=2)
        return solve(machine, raise_error)

    monkeypatch.setattr(ds.Machine, "solve", outside)
    status, out, err = run("solve", "demo:bench")
    assert (status, err) == (0, "")
    assert "- hose 1 is outside the range." in out


def test_no_answer_is_status_1(run, tmp_path):
    file = tmp_path / "closed.toml"
    shut = 'kind = "opening"\narea = 0\nloss_coefficient = 1\n'
    file.write_text(
        f'format = 1\n[[part]]\nname = "a"\nfrom = "outside"\nto = "box"\n{shut}'
        f'[[part]]\nname = "b"\nfrom = "box"\nto = "outside"\n{shut}'
        '[[supply]]\nnode = "box"\nmass_flow = 0.1\n'
    )
    status, out, err = run("solve", file)
    assert (status, out) == (1, "")
    outcome = ds.Outcome.FED_CLOSED_OFF
    assert err == f"ductsim: {outcome.sentence}, at node 'box'. {outcome.remedy}\n"
    status, out, _ = run("solve", file, "--json")
    assert status == 1
    told = json.loads(out)
    jsonschema.validate(told, schema())
    assert told["error"]["place"] == "box"


# ---- check, sensitivity


def test_check_lists_every_number_once(run):
    _, out, _ = run("check", "demo:picker", "--json")
    told = json.loads(out)
    machine = ds.demo("picker")
    assert [row["address"] for row in told["tables"]["numbers"]] == list(machine.numbers)
    spelled = []
    for table in ("defaults", "given"):
        for row in told["tables"][table]:
            addresses = machine.layout.expand(row["address"])
            spelled += addresses
            values = row["value"] if isinstance(row["value"], list) else [row["value"]] * len(addresses)
            assert values == [machine.numbers[a] for a in addresses]
            assert {a in machine.given for a in addresses} == {table == "given"}
    assert sorted(spelled) == sorted(machine.numbers)


def test_check_as_text(run):
    status, out, err = run("check", "demo:picker")
    assert (status, err) == (0, "")
    assert "hose *.length" not in out and "check demo:picker --all" in out
    status, out, err = run("check", "demo:picker", "--all")
    assert (status, err) == (0, "")
    assert "hose *.length" in out
    assert max(map(len, out.splitlines())) <= WIDTH
    assert "given" in out.splitlines()[1]


def test_check_says_what_deserves_a_look(run):
    _, out, _ = run("check", "demo:picker", "--change", "belt.engine_speed=2700 rpm")
    assert "deserve" in out.splitlines()[0]
    assert "above its highest speed" in out


def test_check_names_limits_that_are_not_stated(run, tmp_path):
    file = tmp_path / "machine.toml"
    kept = [line for line in PICKER.splitlines() if not line.startswith(("highest_speed", "available_power"))]
    file.write_text("\n".join(kept), encoding="utf-8")
    _, out, _ = run("check", file, "--json")
    notes = json.loads(out)["notes"]
    for name in ("left fan", "right fan", "The drive belt"):
        assert sum(note.startswith(f"{name} states no") for note in notes) == 1
    assert "states no" not in run("check", "demo:picker")[1]


def test_check_of_a_machine_without_an_answer(run, monkeypatch):
    solve = ds.Machine.solve
    monkeypatch.setattr(ds.Machine, "solve", lambda machine, raise_error=True: unsolved(solve(machine)))
    status, out, err = run("check", "demo:bench")
    assert (status, err) == (1, "")
    assert out.startswith("The machine file can be read, but: No operating point was found")


def unsolved(state):
    state.outcomes = np.full_like(state.outcomes, list(ds.Outcome).index(ds.Outcome.NOT_FOUND))
    return state


def test_check_holds_readings_against_the_machine(run, refused, tmp_path):
    file = tmp_path / "readings.csv"
    file.write_text("tapping,value\ndoor 1,-400 Pa\ndoor 4,-1.2 inH2O\n")
    status, out, _ = run("check", "demo:picker", file, "--measures", "inch")
    assert status == 0
    assert out.startswith("2 readings: half of them lie within")
    assert " inH2O against " in out.split("\n\n")[0].replace("\n", " ")
    _, out, _ = run("check", "demo:picker", file, "--json")
    rows = json.loads(out)["tables"]["readings"]
    assert rows == json_rows(ds.check_readings(ds.demo("picker"), file).rows())
    file.write_text("tapping,value\ndoor 1,400 Pa\n")
    status, out, _ = run("check", "demo:picker", file)
    assert status == 0
    assert out.startswith("1 of the readings cannot be right")
    assert "sign is wrong" in out.replace("\n  ", " ")
    file.write_text("tapping,value\ndor 1,-400 Pa\n")
    told, _ = refused("check", "demo:picker", file)
    assert told["nearest"] == "door 1"
    told, _ = refused("check", "demo:picker", tmp_path / "none.csv")
    assert told["file"] == str(tmp_path / "none.csv")


def test_sensitivity_shows_the_largest_and_says_how_many_more(run):
    status, out, _ = run("sensitivity", "demo:picker", "--rows", "3")
    assert status == 0
    assert f"... and {len(ds.demo('picker').numbers) - 3} more rows" in out
    _, out, _ = run("sensitivity", "demo:picker", "--json")
    rows = json.loads(out)["tables"]["table"]
    assert len(rows) == len(ds.demo("picker").numbers)
    assert rows[0]["effect_of_spread_Pa"] >= rows[-1]["effect_of_spread_Pa"]


# ---- demo, laws


def test_demo_lists_the_machines(run):
    status, out, _ = run("demo")
    assert status == 0
    for name in ("demo:picker", "demo:suction", "demo:bench"):
        assert name in out


def test_demo_writes_a_folder_that_commands_run_on(run, tmp_path):
    folder = tmp_path / "a new" / "my machine"
    status, out, err = run("demo", "picker", folder)
    assert (status, err) == (0, "")
    assert "ductsim solve" in out
    assert (folder / "machine.toml").read_text(encoding="utf-8") == PICKER
    assert "# An invented machine" in PICKER
    for name in ("solve", "check"):
        assert run(name, folder / "machine.toml")[0] == 0
    assert sorted(p.name for p in folder.parent.iterdir()) == ["my machine"]


def test_demo_never_overwrites(run, refused, tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    before = sorted(tmp_path.iterdir())
    problem, _ = refused("demo", "picker", tmp_path)
    assert problem["problem"] == "is there already"
    assert sorted(tmp_path.iterdir()) == before
    problem, _ = refused("demo", "picker", tmp_path / "mine.txt")
    assert problem["problem"] == "is there already"


def test_demo_takes_an_empty_folder(run, tmp_path):
    assert run("demo", "bench", tmp_path)[0] == 0
    assert (tmp_path / "machine.toml").is_file()


def test_demo_where_nothing_can_be_written(refused, tmp_path):
    (tmp_path / "file").write_text("")
    problem, _ = refused("demo", "picker", tmp_path / "file" / "folder")
    assert problem["problem"].startswith("cannot be written")


def test_laws_prints_cards_and_checks(run):
    status, out, _ = run("laws")
    assert status == 0
    assert "friction\n  equation" in out
    assert "Published values" in out
    assert max(map(len, out.splitlines())) <= WIDTH
    _, out, _ = run("laws", "--json")
    told = json.loads(out)
    jsonschema.validate(told, schema())
    assert {row["law"] for row in told["tables"]["laws"]} == set(ds.extend.LAWS)
    assert all(row["holds"] for row in told["tables"]["checks"])
    assert told["input"] == {"file": "", "sha256": ""}


# ---- help


@pytest.mark.parametrize("words", [(), ("--help",), ("-h",), ("help",)])
def test_the_overview_names_every_command(run, words):
    status, out, err = run(*words)
    assert (status, err) == (0, "")
    for name in tuple(places()):
        assert f"\n  {name} " in out
    assert max(map(len, out.splitlines())) <= WIDTH


@pytest.mark.parametrize("name", tuple(places()))
def test_every_command_has_help_with_one_example(run, name):
    status, out, err = run(name, "--help")
    assert (status, err) == (0, "")
    assert out.count("example:\n  ductsim ") == 1
    assert command(name).example.startswith(f"ductsim {name}")
    assert max(map(len, out.splitlines())) <= WIDTH
    assert run("help", name)[1] == out


def test_version(run):
    assert run("--version") == (0, f"ductsim {ds.__version__}\n", "")


# ---- how commands are made


def test_every_name_has_its_command():
    for name in tuple(places()):
        made = command(name)
        assert isinstance(made, Command)
        assert made.name == name
        assert made.parser().prog == f"ductsim {name}"


def test_an_answer_needs_no_more_than_a_result():
    assert Answer(result=None, inputs=None).tables is None


# ---- compare, sweep


def test_compare_finds_the_fixes_beside_the_machine(run, kept):
    made, calls = kept("compare")
    status, out, err = run("compare", "demo:picker", "--budget", "45 min")
    assert (status, err) == (0, "")
    assert "seal hatch 4" in out.split("\n\n")[0]
    assert "\nFixes\n" in out
    assert "\nCautions\n- Stop the engine" in out
    assert out.endswith("Read: demo:picker, fixes picker_fixes.toml.\n")
    _, out, _ = run("compare", "demo:picker", "--budget", "45", "--json")
    told = json.loads(out)
    jsonschema.validate(told, schema())
    fixes = ds.read_fixes(demo_file("picker").with_name("picker_fixes.toml"))
    for _, given in calls:
        assert (given["machine_or_fit"], given["budget"]) == (ds.demo("picker"), 45.0)
        assert [(f.name, dict(f.change)) for f in given["fixes"]] == [(f.name, dict(f.change)) for f in fixes]
    (found,) = made
    assert told["tables"] == {name: json_rows(rows) for name, rows in found.tables().items()}
    assert told["cautions"] == list(found.cautions)
    assert told["weakest"] == "4"
    (other,) = told["input"]["with"]
    assert other["role"] == "fixes"
    assert len(other["sha256"]) == 64


def test_every_table_in_full_when_asked(run, tmp_path):
    file = tmp_path / "two.toml"
    file.write_text(
        'format = 1\n[[fix]]\nname = "seal"\nchange = {"hatch leak 4.area" = 0}\nminutes = 5\n'
        '[[fix]]\nname = "shorten"\nchange = {"hose 4.length" = "x0.9"}\nminutes = 9\n'
    )
    words = ("compare", "demo:picker", "--fixes", file)
    short, full = (run(*words, *more)[1] for more in ((), ("--all",)))
    assert "\nFront\n" not in short
    assert "\nFront\n" in full
    assert max(map(len, full.splitlines())) <= WIDTH
    assert "more rows" not in run("sensitivity", "demo:picker", "--all")[1]


def test_compare_with_fixes_of_ones_own(run, refused, tmp_path):
    (tmp_path / "mine.toml").write_text(PICKER, encoding="utf-8")
    told, _ = refused("compare", tmp_path / "mine.toml")
    assert told["problem"].startswith("there is no file of fixes")
    assert "mine_fixes.toml" in told["allowed"]
    one = 'format = 1\n[[fix]]\nname = "seal it"\nchange = {"hatch leak 4.area" = 0}\nminutes = 5\n'
    for name in ("mine_fixes.toml", "fixes.toml"):
        (tmp_path / name).write_text(one)
        assert "seal it" in run("compare", tmp_path / "mine.toml")[1]
        (tmp_path / name).unlink()
    (tmp_path / "other.toml").write_text(one.replace("hatch leak 4", "hatch leek 4"))
    _, out, _ = run("compare", tmp_path / "mine.toml", "--fixes", tmp_path / "other.toml", "--json")
    assert "hatch leek 4" in out
    told, _ = refused("compare", tmp_path / "mine.toml", "--fixes", tmp_path / "nowhere.toml")
    assert told["file"].endswith("nowhere.toml")


@pytest.mark.parametrize("budget", ["soon", "-5", "nan", "3 kg"])
def test_a_budget_that_is_no_time(refused, budget):
    told, _ = refused("compare", "demo:picker", f"--budget={budget}")
    assert told["place"].startswith("--budget")


def test_sweep_is_the_python_sweep(run):
    words = ("sweep", "demo:picker", "belt.engine_speed", "1900 rpm", "2100 rpm", "--of", "duct air 4")
    status, out, _ = run(*words)
    assert status == 0
    assert "\nSweep\n" in out
    _, out, _ = run(*words, "--json")
    told = json.loads(out)
    jsonschema.validate(told, schema())
    found = ds.sweep(ds.demo("picker"), "belt.engine_speed", ["1900 rpm", "2100 rpm"], of="duct air 4")
    assert told["tables"] == {name: json_rows(rows) for name, rows in found.tables().items()}


def test_sweep_evenly_from_and_to(run):
    _, out, _ = run(
        "sweep", "demo:picker", "hose 5.length", "--from", "1 m", "--to", "10 ft", "--steps", "3", "--json"
    )
    rows = json.loads(out)["tables"]["sweep"]
    assert [row["length_m"] for row in rows] == pytest.approx([1.0, 2.024, 3.048])


SWEEPS = [
    ((), "the values are missing"),
    (("--from", "1 m"), "the values are missing"),
    (("1 m", "--from", "1 m", "--to", "2 m"), "values are both listed"),
    (("--from", "1 kg", "--to", "2 m"), "a length given in kg"),
    (("1 m", "2 kg"), "a length given in kg"),
    (("1", "m"), "lacks its measure"),
    (("--from", "1 m", "--to", "2 m", "--steps", "1"), "1 is out of range"),
]


@pytest.mark.parametrize(("words", "problem"), SWEEPS)
def test_sweeps_that_cannot_be(refused, words, problem):
    told, _ = refused("sweep", "demo:picker", "hose 5.length", *words)
    assert problem in told["problem"]


def test_sweep_of_an_unknown_number(refused):
    told, _ = refused("sweep", "demo:picker", "hose 5.lenght", "1 m")
    assert told["nearest"] == "hose 5.length"


# ---- ensemble


def test_ensemble_is_the_python_ensemble(run):
    words = (
        "ensemble",
        "demo:picker",
        "--samples",
        "64",
        "--seed",
        "3",
        "--of",
        "vacuum 4",
        "--of",
        "shaft power",
    )
    status, out, err = run(*words, "--measures", "inch")
    assert (status, err) == (0, "")
    assert "inH2O" in out.splitlines()[0]
    _, out, _ = run(*words, "--json")
    told = json.loads(out)
    jsonschema.validate(told, schema())
    found = ds.ensemble(ds.demo("picker"), of=["vacuum 4", "shaft power"], samples=64, seed=3)
    assert told["tables"] == {name: json_rows(rows) for name, rows in found.tables().items()}


def test_ensemble_goes_on_in_its_folder(run, refused, tmp_path):
    words = ("ensemble", "demo:bench", "--samples", "50", "--folder", tmp_path / "kept")
    first = run(*words)
    assert first[0] == 0
    assert run(*words) == first
    told, _ = refused("ensemble", "demo:bench", "--samples", "60", "--folder", tmp_path / "kept")
    assert str(tmp_path / "kept") in str(told)


def test_ensemble_on_two_processes(run):
    words = ("ensemble", "demo:bench", "--samples", "50", "--json")
    assert run(*words, "--processes", "2")[1] == run(*words)[1]


@pytest.mark.parametrize(
    ("words", "nearest"),
    [(("--method", "sbol"), "sobol"), (("--samples", "1"), ""), (("--of", "vacum 4"), "vacuum 4")],
)
def test_ensembles_that_cannot_be(refused, words, nearest):
    told, _ = refused("ensemble", "demo:picker", *words)
    assert told["nearest"] == nearest
