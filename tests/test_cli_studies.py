"""The commands that read further files or work longer: fit, balance, report and their like."""

import hashlib
import json
import shlex
import shutil
from pathlib import Path

import jsonschema
import pytest

import ductsim as ds
from ductsim.commands.registry import command, places
from ductsim.display.tables import WIDTH, columns, json_rows
from ductsim.machine.demos import FOLDER
from ductsim.quantity import key_measure
from ductsim.reports.findings import Findings
from ductsim.terminal.envelope import schema
from ductsim.terminal.parsing import Parser

# Keys without a measure in tables whose rows have a measure of their own.
WITHOUT_MEASURE = {
    "margin",
    "minutes",
    "shrinks_to",
    "gain_per_minute",
    "line",
    "quotient",
    "misfit",
    "elasticity",
    "derivative",
    "spread",
}


def answer(run, *words):
    """The envelope of a command line that works, held against the schema."""
    status, out, err = run(*words, "--json")
    assert (status, err) == (0, "")
    told = json.loads(out)
    jsonschema.validate(told, schema())
    return told


def page(run, *words):
    """The text of a command line that works, in inch measures and no wider than a page."""
    status, out, err = run(*words, "--measures", "inch")
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= WIDTH
    return out


def digest(file):
    return hashlib.sha256(file.read_bytes()).hexdigest()


def same_tables(told, found):
    assert told["tables"] == {name: json_rows(rows) for name, rows in found.tables().items()}
    assert told["cautions"] == list(getattr(found, "cautions", ()))


def all_measures_known(tables):
    """No number of unlike quantities is shown in SI under an inch heading."""
    for name, rows in tables.items():
        if not rows or "measure" not in rows[0]:
            continue
        for column in columns(rows, "inch"):
            plain = any(isinstance(row.get(column.key), float) for row in rows)
            known = (
                column.key.endswith("ratio")
                or column.key in WITHOUT_MEASURE
                or column.measure
                or key_measure(column.key)[1]
            )
            assert not (plain and column.numeric) or known, (name, column.key)


@pytest.fixture
def readings(tmp_path):
    """A few of the demonstration machine's readings."""
    lines = (FOLDER / "picker_readings.csv").read_text(encoding="utf-8").splitlines()
    table = [line for line in lines if not line.startswith("#")]
    file = tmp_path / "few.csv"
    file.write_text("\n".join(table[:6]) + "\n", encoding="utf-8")
    return file


# ---- readings


def test_fit(run, kept, readings):
    made, calls = kept("fit")
    words = ("fit", "demo:picker", "--readings", readings)
    told = answer(run, *words)
    all_measures_known(told["tables"])
    same_tables(told, made[0])
    assert told["notes"][: len(made[0].notes)] == made[0].notes
    assert told["input"]["with"] == [{"role": "readings", "file": str(readings), "sha256": digest(readings)}]
    out = page(run, *words, "--relative", "--suspects")
    assert "suspects" not in calls[0][1] and calls[0][1]["relative"] is False
    assert {"suspects": "leaks", "relative": True}.items() <= calls[1][1].items()
    assert "\nUnknowns\n" in out
    assert "\nReadings\n" in out
    assert " in2 " in out


def test_fit_without_readings(refused):
    told, _ = refused("fit", "demo:bench")
    assert told["problem"] == "there is no file of readings for demo:bench"
    assert "--readings" in told["allowed"]


def test_studies_on_a_fit(run, readings):
    told = answer(run, "sweep", "demo:picker", "belt.engine_speed", "2000 rpm", "--readings", readings)
    (row,) = told["tables"]["sweep"]
    assert row["weakest_vacuum_low_Pa"] < row["weakest_vacuum_Pa"] < row["weakest_vacuum_high_Pa"]


def test_calibrated_on_the_machine_that_a_report_calibrates(run, readings):
    """With readings, commands and report explain what was seen on one machine, and say which."""
    seen = FOLDER / "picker_seen.csv"
    known = Findings(ds.demo("picker"), readings=readings, seen=seen)
    told = answer(run, "calibrate", "demo:picker", "--seen", seen, "--readings", readings)
    assert told["answer"] == known.crop.sentences()
    assert "on the machine as its readings tell it" in " ".join(told["answer"])
    told = answer(run, "ground-speed", "demo:picker", "--seen", seen, "--readings", readings)
    assert "calibrated on the machine as its readings tell it" in " ".join(told["answer"])
    assert "as described" not in " ".join(told["notes"])
    found = ds.ground_speed(known.fit, known.crop, FOLDER / "picker_fixes.toml")
    assert told["tables"]["units"] == json_rows(found.tables()["units"])
    assert told["tables"]["fixes"] == json_rows(found.tables()["fixes"])


def test_calibrated_on_the_machine_as_described(run):
    told = answer(run, "calibrate", "demo:picker")
    assert told["answer"] == ds.calibrate(ds.demo("picker"), FOLDER / "picker_seen.csv").sentences()
    assert "on the machine as described" in " ".join(told["answer"])
    assert "--readings FILE" in " ".join(told["notes"])


def test_where_to_measure(run, kept, readings):
    made, calls = kept("where_to_measure")
    words = ("where-to-measure", "demo:picker", "--readings", readings, "--of", "vacuum 4", "--most", "2")
    told = answer(run, *words)
    same_tables(told, made[0])
    all_measures_known(told["tables"])
    assert {"of": "vacuum 4", "most": 2}.items() <= calls[0][1].items()
    assert any("tapping" in caution or "hoses" in caution for caution in told["cautions"])
    assert "inH2O" in page(run, *words)


def test_proof_says_how_many_readings_it_takes(run, kept):
    made, calls = kept("proof")
    words = ("proof", "demo:picker", "--fix", "seal hatch 4")
    told = answer(run, *words)
    same_tables(told, made[0])
    all_measures_known(told["tables"])
    assert (calls[0][1]["before"], calls[0][1]["after"]) == (None, None)
    assert page(run, *words)


def test_proof_by_readings_before_and_after(run, tmp_path):
    before, after = tmp_path / "before.csv", tmp_path / "after.csv"
    machine = ds.demo("picker")
    sealed = machine.change({"hatch leak 4.area": 0.0})
    for file, each in ((before, machine), (after, sealed)):
        state = each.solve()
        rows = [f"door {unit},{-state.vacuum[unit]:.1f} Pa,2100 rpm" for unit in "12345"]
        file.write_text("\n".join(["tapping,value,engine_speed", *rows]) + "\n")
    told = answer(run, "proof", "demo:picker", before, after, "--fix", "seal hatch 4")
    assert [other["role"] for other in told["input"]["with"]] == ["fixes", "before", "after"]
    found = ds.proof(machine, before, after, fix("seal hatch 4"))
    same_tables(told, found)
    assert told["answer"] == found.sentences()


def fix(name):
    return next(f for f in ds.read_fixes(FOLDER / "picker_fixes.toml") if f.name == name)


@pytest.mark.parametrize(
    ("words", "problem"),
    [
        ((), "--fix is missing"),
        (("--fix", "seal hatch 6"), "unknown fix 'seal hatch 6'"),
        (("one.csv", "--fix", "seal hatch 4"), "1 file of readings"),
        (("one.csv", "two.csv", "three.csv", "--fix", "seal hatch 4"), "3 files of readings"),
        (("one.csv", "two.csv", "--fix", "seal hatch 4"), "no such readings file"),
    ],
)
def test_proofs_that_cannot_be(refused, words, problem):
    assert problem in refused("proof", "demo:picker", *words)[0]["problem"]


# ---- trims, crop


def test_balance(run, kept):
    made, _ = kept("balance")
    told = answer(run, "balance", "demo:picker")
    same_tables(told, made[0])
    all_measures_known(told["tables"])
    assert "in2" in page(run, "balance", "demo:picker")


def test_balance_without_trims(refused):
    told, _ = refused("balance", "demo:bench")
    assert "trim" in str(told)


@pytest.fixture
def fixes(tmp_path):
    """A fix that helps and one that passes the makers' limits."""
    file = tmp_path / "two.toml"
    file.write_text(
        'format = 1\n[[fix]]\nname = "seal hatch 4"\nchange = {"hatch leak 4.area" = 0}\nminutes = 25\n'
        '[[fix]]\nname = "small pulley"\nchange = {"belt.driven_pulley" = "205 mm"}\nminutes = 50\n'
    )
    return file


def test_ground_speed(run, kept, fixes):
    made, calls = kept("ground_speed")
    words = (
        "ground-speed",
        "demo:picker",
        "--efficiency",
        "0.7",
        "--season-area",
        "400 ha",
        "--price-per-hour",
        "300",
    )
    told = answer(run, *words, "--fixes", fixes)
    same_tables(told, made[0])
    all_measures_known(told["tables"])
    wanted = {"efficiency": 0.7, "season_area": "400 ha", "price_per_hour": 300.0}
    assert wanted.items() <= calls[0][1].items() and len(calls[0][1]["fixes"]) == 2
    beyond = next(row for row in told["tables"]["fixes"] if row["fix"] == "small pulley")
    assert beyond["remark"].startswith("not allowed: left fan turns at")
    assert told["answer"][0].startswith("seal hatch 4: +")
    out = page(run, *words, "--fixes", fixes)
    assert " mph " in out
    assert " acre/h" in out


def test_ground_speed_in_a_crop_of_ones_own(run, refused, tmp_path):
    machine, crop = tmp_path / "machine.toml", tmp_path / "crop.toml"
    bench = (FOLDER / "bench.toml").read_text(encoding="utf-8")
    machine.write_text(bench + '\n[crop]\ncrop_yield = "0.4 kg/m2"\nrow_spacing = "1 m"\n')
    own = answer(run, "ground-speed", machine)
    crop.write_text('format = 1\n[crop]\ncrop_yield = "0.8 kg/m2"\nrow_spacing = "1 m"\n')
    told = answer(run, "ground-speed", machine)
    assert told["input"]["with"] == [{"role": "crop", "file": str(crop), "sha256": digest(crop)}]
    fast, slow = (x["tables"]["units"][0]["ground_speed_km_h"] for x in (own, told))
    assert slow == pytest.approx(0.5 * fast, rel=1e-6)
    for words, problem in (
        (("demo:bench",), "crop"),
        (("demo:picker", "--crop", crop, "--efficiency", "7"), "efficiency"),
        (("demo:picker", "--crop", tmp_path / "none.toml"), "none.toml"),
    ):
        assert problem in refused("ground-speed", *words)[1]


def test_calibrate_and_what_it_does_to_the_ground_speed(run, refused, kept, tmp_path):
    told = answer(run, "calibrate", "demo:picker")
    found = ds.calibrate(ds.demo("picker"), FOLDER / "picker_seen.csv")
    same_tables(told, found)
    all_measures_known(told["tables"])
    assert told["answer"] == found.sentences()
    assert [other["role"] for other in told["input"]["with"]] == ["seen"]
    assert " mph " in page(run, "calibrate", "demo:picker").replace("\n", " ")
    made, calls = kept("ground_speed")
    crop, seen = tmp_path / "crop.toml", tmp_path / "seen.csv"
    seen.write_text("ground_speed,blocked\n2 km/h,left\n1 km/h,\n")
    crop.write_text('format = 1\n[crop]\ncrop_yield = "0.4 kg/m2"\nrow_spacing = "1 m"\n')
    own = answer(run, "ground-speed", "demo:bench", "--crop", crop, "--seen", seen)
    same_tables(own, made[0])
    assert isinstance(calls[0][1]["crop"], ds.Calibration) and made[0].calibrated
    for words, problem in (
        (("demo:picker", "--number", "slip"), "unknown number of a crop to calibrate 'slip'"),
        (("demo:picker", "--seen", tmp_path / "none.csv"), "none.csv  no such file of what was seen"),
        (("demo:bench",), "there is no file of what was seen for demo:bench"),
    ):
        assert problem in refused("calibrate", *words)[1]


def test_field_pass(run, refused):
    told = answer(run, "field-pass", "demo:picker", "--speed", "4 km/h")
    found = ds.field_pass(ds.demo("picker"), FOLDER / "picker_field.csv", speed="4 km/h")
    same_tables(told, found)
    all_measures_known(told["tables"])
    assert told["answer"] == found.sentences()
    out = page(run, "field-pass", "demo:picker", "--margin", "1.15", "--seen", FOLDER / "picker_seen.csv")
    first = out.replace("\n", " ").split(" The pass takes")[0]
    assert first.startswith("Nothing blocks: the smallest margin is 1.15, unit ") and first.endswith(" ft.")
    for words, problem in (
        (("--margin", "1.1", "--speed", "4 km/h"), "field_pass got speed and margin one of the two"),
        (("--margin", "wide"), "'wide' is no number"),
        (("--field", "none.csv"), "none.csv  no such file of yields"),
    ):
        assert problem in refused("field-pass", "demo:picker", *words)[1]


def test_fill(run, kept):
    made, _ = kept("fill")
    told = answer(run, "fill", "demo:picker")
    same_tables(told, made[0])
    all_measures_known(told["tables"])
    assert "mph" in page(run, "fill", "demo:picker")


# ---- all


def test_tables_of_unlike_quantities_are_converted_whole(run, fixes):
    for words in (("check",), ("sensitivity",), ("compare", "--fixes", fixes)):
        all_measures_known(answer(run, words[0], "demo:picker", *words[1:])["tables"])
    all_measures_known(answer(run, "ensemble", "demo:picker", "--samples", "64")["tables"])


def test_report(run, refused, tmp_path):
    place = tmp_path / "report.html"
    told = answer(run, "report", "demo:bench", place)
    assert told["answer"] == [f"The report is written to {place}."]
    assert "<html" in place.read_text(encoding="utf-8")
    assert list(tmp_path.iterdir()) == [place]
    told, _ = refused("report", "demo:bench", tmp_path / "report.txt")
    assert "does not end in .html" in told["problem"]
    told, _ = refused("report", "demo:bench", tmp_path / "no" / "report.html")
    assert told["problem"] == "there is no such folder"
    assert list(tmp_path.iterdir()) == [place]


def test_the_report_is_made_of_all_that_there_is(run, monkeypatch, tmp_path):
    called = []
    monkeypatch.setattr(
        "ductsim.reports.report.report", lambda *args, **options: called.append((args, options))
    )
    told = answer(run, "report", "demo:picker", tmp_path / "r.html", "--budget", "1 h", "--measures", "inch")
    ((args, options),) = called
    assert args == (ds.demo("picker"), tmp_path / "r.html")
    assert len(options["fixes"]) == len(ds.read_fixes(FOLDER / "picker_fixes.toml"))
    assert options["readings"].file == str(FOLDER / "picker_readings.csv")
    assert options["crop"] == ds.demo("picker").crop
    assert (options["budget"], options["measures"], options["of"]) == (60.0, "inch", "weakest vacuum")
    assert options["seen"] == FOLDER / "picker_seen.csv" and options["field"] == FOLDER / "picker_field.csv"
    assert options["full"] is False
    assert [other["role"] for other in told["input"]["with"]] == ["fixes", "readings", "seen", "field"]


@pytest.mark.slow
@pytest.mark.parametrize("name", tuple(places()))
def test_every_example_works_as_it_stands(run, monkeypatch, tmp_path, name):
    monkeypatch.chdir(tmp_path)
    if name in ("log", "history"):
        run("demo", "picker", "my-machine")
        shutil.copy(tmp_path / "my-machine" / "readings.csv", tmp_path / "today.csv")
    if name == "history":
        run(*shlex.split(command("log").example)[1:])
    if name == "fleet":
        for folder in ("machine-1", "machine-2", "machine-3"):
            run("demo", "picker", folder)
            run("log", folder, "--readings", f"{folder}/readings.csv")
    if name == "rewrite":
        shutil.copy(Path(__file__).parent / "format1" / "picker.toml", tmp_path / "old.toml")
    status, out, err = run(*shlex.split(command(name).example)[1:])
    assert (status, err) == (0, "")
    assert max(map(len, out.splitlines())) <= WIDTH


@pytest.mark.slow
def test_every_command_works_on_a_starting_folder(run, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    out = run("demo", "picker", "my machine")[1]
    for name in tuple(places()):
        if name in ("demo", "laws", "docs", "start", "kinds", "rewrite", "log", "history", "fleet"):
            continue  # they take no machine as it is
        more = {
            "sweep": ["belt.slip", "0", "0.05"],
            "proof": ["--fix", "seal hatch 4"],
            "ensemble": ["--samples", "200"],
            "report": ["report.html"],
            "field-card": ["page.html"],
        }
        told = answer(run, name, "my machine/machine.toml", *more.get(name, []))
        assert told["weakest"] == "4"
        all_measures_known(told["tables"])
        if f"ductsim {name} " in out:
            out = out.replace(f"ductsim {name} ", "")
    assert "ductsim" not in out  # every step that `demo` proposes was taken


# ---- questions

MANY = {"balance", "compare", "ensemble", "sensitivity", "solve", "sweep", "where-to-measure"}
ONE = {"faults", "report"}


@pytest.mark.parametrize("name", sorted(MANY | ONE))
def test_a_command_takes_as_many_questions_as_its_function(name):
    own = command(name)
    parser = Parser(own.name, own.summary, own.example)
    own.options(parser)
    words = [w for w in shlex.split(own.example)[2:] if w not in ("--of", "vacuum 4")]
    assert parser.read(words).of is None
    assert parser.read([*words, "--of", "vacuum 4"]).of == "vacuum 4"
    both = [*words, "--of", "vacuum 4", "--of", "shaft power"]
    if name in MANY:
        assert parser.read(both).of == ["vacuum 4", "shaft power"]
    else:
        with pytest.raises(ds.InputError, match="--of: 2 questions are too many; one question here"):
            parser.read(both)


def test_which_commands_take_questions():
    """By the study's signature: a `Sequence` in the annotation of `of` means several."""
    runs = {name: command(name).run for name in places()}
    studies = {n: r.parameters["of"] for n, r in runs.items() if "of" in getattr(r, "parameters", ())}
    assert studies.keys() | {"solve", "sensitivity", "report"} == MANY | ONE
    assert {n for n, of in studies.items() if "Sequence" in str(of.annotation)} == MANY & studies.keys()


def test_several_questions_of_a_sensitivity(run):
    asked = ["vacuum left", "shaft power"]
    told = answer(run, "sensitivity", "demo:bench", *(w for of in asked for w in ("--of", of)))
    each = ds.demo("bench").sensitivity(asked)
    assert told["tables"] == {own.of: json_rows(own.rows()) for own in each}
    assert told["answer"] == [words for own in each for words in own.sentences()]
