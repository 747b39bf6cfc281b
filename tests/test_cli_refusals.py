"""How the command line refuses: one sentence, the right exit status, never a traceback."""

import json

import jsonschema
import pytest

import ductsim as ds
from ductsim.machine.demos import demo_file
from ductsim.terminal.envelope import schema

PICKER = demo_file("picker").read_text(encoding="utf-8")


# ---- a wrong command line

WRONG = [
    (("slove", "demo:picker"), "unknown command 'slove'", "solve"),
    (("where_to_measure", "demo:picker"), "unknown command 'where_to_measure'", "where-to-measure"),
    (("xyzzy",), "unknown command 'xyzzy'", ""),
    (("demo:picker",), "the command is missing", ""),
    (("machine.toml",), "the command is missing", ""),
    (("--of", "x", "solve", "demo:picker"), "'--of' stands before the command", ""),
    (("solve",), "MACHINE is missing", ""),
    (("solve", "demo:picker", "--mesures", "inch"), "unknown option '--mesures'", "--measures"),
    (("solve", "demo:picker", "--measures", "imperial"), "unknown system of measures 'imperial'", ""),
    (("solve", "demo:picker", "--measures", "metrik"), "unknown system of measures 'metrik'", "metric"),
    (("solve", "demo:picker", "--measures"), "has no value", ""),
    (("solve", "demo:picker", "more"), "'more' is one word too many", ""),
    (("solve", "demo:piker"), "unknown demonstration machine 'piker'", "picker"),
    (("solve", "demo:picker", "--of", "vacum 4"), "unknown question 'vacum 4'", "vacuum 4"),
    (("solve", "demo:picker", "--change", "belt.engine_speed"), "'belt.engine_speed' is no change", ""),
    (
        ("solve", "demo:picker", "--change", "belt.engine_sped=1 rpm"),
        "unknown address 'belt.engine_sped'",
        "belt.engine_speed",
    ),
    (("solve", "demo:picker", "--change", "belt.slip=1 m"), "a ratio given in m: '1 m'", ""),
    (
        ("solve", "demo:picker", "--change", "belt.slip=0", "--change", "belt.slip=0.1"),
        "is changed twice",
        "",
    ),
    (("sensitivity", "demo:picker", "--rows", "many"), "'many' is no whole number", ""),
    (("sensitivity", "demo:picker", "--rows", "0"), "0 is out of range", ""),
    (("solve", "demo:picker", "--plot", "picture"), "the name has no ending", ""),
    (("solve", "demo:picker", "--plot", "picture.pgn"), "'pgn' is no kind of picture", "png"),
    (("solve", "demo:picker", "--plot", "no such folder/picture.png"), "there is no such folder", ""),
    (("solve", "x" * 30_000), "a word of the command line is too long", ""),
]


@pytest.mark.parametrize(("words", "problem", "nearest"), WRONG, ids=lambda value: str(value)[:40])
def test_a_wrong_command_line_is_one_sentence(refused, words, problem, nearest):
    told, _ = refused(*words)
    assert problem in told["problem"]
    assert told["nearest"] == nearest


TABLES = [
    ('[[trim]]\nnumber = "jet *.nozzle_area"\nlow = "60 cm2"\nhigh = "5 cm2"', "is not below high"),
    ('[[trim]]\nnumber = "hose *.length"\nlow = "6 cm2"\nhigh = "9 m"', "a length given in cm2"),
    ('[[unknown]]\nnumber = "hose *.length"\nlow = 1.0\nlikely = 9.0\nhigh = 2.0', "do not rise from zero"),
    ('[[spread]]\nnumber = "hose *.length"\nkind = "unifrom"', "unknown kind of spread 'unifrom'"),
    ('[[spread]]\nnumber = "hose *.length"\nsd = 0.1\ngroup = "g"\ncorrelation = 5', "correlation 5"),
]


@pytest.mark.parametrize(("table", "problem"), TABLES, ids=["crossed", "measure", "unknown", "kind", "share"])
def test_check_refuses_tables_that_only_later_questions_read(run, tmp_path, table, problem):
    file = tmp_path / "machine.toml"
    file.write_text(f"{PICKER}\n{table}\n", encoding="utf-8")
    line = PICKER.count("\n") + 2
    status, _, err = run("check", file)
    assert status == 2
    assert f"line {line}" in err and problem in err


def test_check_says_of_every_table_what_is_wrong(run, tmp_path):
    file = tmp_path / "machine.toml"
    file.write_text("\n".join([PICKER, *(table for table, _ in TABLES)]), encoding="utf-8")
    status, _, err = run("check", file)
    assert status == 2
    assert err.count("line ") >= len(TABLES)


@pytest.mark.parametrize("name", ["outsid", "oustide", "outsidee"])
def test_the_open_air_misspelt_is_no_node_of_its_own(tmp_path, name):
    file = tmp_path / "machine.toml"
    assert 'from = "outside"' in PICKER
    file.write_text(PICKER.replace('from = "outside"', f'from = "{name}"'), encoding="utf-8")
    with pytest.raises(ds.InputError, match=f"the open air is not called '{name}'; did you mean 'outside'"):
        ds.Machine.read(file)


# ---- a wrong machine file

HOSE = 'hose_length = "1.2 m"'
WRONG_FILES = {
    "unknown key": (PICKER.replace("diameter =", "diametre =", 1), "unknown key 'diametre'", "diameter"),
    "unknown kind": (PICKER.replace('"hose"', '"hoose"', 1), "unknown kind 'hoose'", "hose"),
    "misspelt node": (PICKER.replace('suction = "door {unit}"', 'suction = "dor {unit}"'), "dor 1", "door 1"),
    "missing measure": (PICKER.replace(HOSE, 'hose_length = "1.2"'), "lacks its measure", ""),
    "wrong dimension": (PICKER.replace(HOSE, 'hose_length = "1.2 kPa"'), "a length given in kPa", ""),
    "decimal comma": (PICKER.replace(HOSE, 'hose_length = "1,2 m"'), "comma in its number", ""),
    "tower of powers": (
        PICKER.replace(HOSE, 'hose_length = "9**9**9**9 m"'),
        "no number with its measure",
        "",
    ),
    "too large": (PICKER.replace(HOSE, 'hose_length = "1e400 m"'), "no finite number", ""),
    "negative": (PICKER.replace(HOSE, 'hose_length = "-1.2 m"'), "out of range", ""),
    "zero": (PICKER.replace(HOSE, "hose_length = 0"), "out of range", ""),
    "NaN": (PICKER.replace(HOSE, "hose_length = nan"), "nan m is out of range", ""),
    "empty": ("", "is empty", ""),
    "not TOML": ("dear machine", "TOML", ""),
    "binary": (b"\x00\x01\x02\xff" * 64, "UTF-8", ""),
    "over 2 MB": ("# " + "x" * 2_100_000, "larger than 2 MB", ""),
    "newer format": (PICKER.replace("format = 2", "format = 3", 1), "format", ""),
    "no way outside": (
        "format = 1\n"
        '[[part]]\nname = "a"\nkind = "opening"\nfrom = "x"\nto = "y"\narea = 1\nloss_coefficient = 1\n'
        '[[part]]\nname = "b"\nkind = "opening"\nfrom = "y"\nto = "x"\narea = 1\nloss_coefficient = 1\n',
        "has no path to outside",
        "",
    ),
}


@pytest.mark.parametrize("slip", WRONG_FILES)
def test_a_wrong_machine_file_is_one_sentence_that_names_it(refused, tmp_path, slip):
    content, problem, nearest = WRONG_FILES[slip]
    file = tmp_path / "machine.toml"
    file.write_bytes(content if isinstance(content, bytes) else content.encode())
    told, words = refused("solve", file)
    assert told["file"] == str(file)
    assert problem in words
    assert nearest in told["nearest"]


def test_a_missing_file_and_a_folder(refused, tmp_path):
    (tmp_path / "machine.toml").write_text(PICKER, encoding="utf-8")
    told, _ = refused("solve", tmp_path / "machin.toml")
    assert told["problem"] == "no such machine file"
    assert told["nearest"] == str(tmp_path / "machine.toml")
    told, _ = refused("solve", tmp_path)
    assert told["problem"].startswith("is a folder")
    assert told["nearest"] == str(tmp_path / "machine.toml")


def test_a_byte_order_mark_is_no_slip(run, tmp_path):
    file = tmp_path / "marked.toml"
    file.write_bytes(b"\xef\xbb\xbf" + PICKER.encode())
    assert run("solve", file)[1] == run("solve", "demo:picker")[1]


def test_names_beyond_ascii_in_paths_and_files(run, tmp_path):
    folder = tmp_path / "Erntemaschine 左 é"
    folder.mkdir()
    file = folder / "mäch ine.toml"
    file.write_text(PICKER.replace('name = "4"', 'name = "vorn ü"'), encoding="utf-8")
    status, out, _ = run("solve", file)
    assert status == 0
    assert out.startswith("Unit vorn ü is weakest")
    _, out, _ = run("solve", file, "--json")
    assert out.isascii()
    assert json.loads(out)["weakest"] == "vorn ü"
    assert json.loads(out)["input"]["file"] == str(file)


# ---- faults that are not the user's


def test_an_own_fault_is_said_without_a_traceback(run, monkeypatch):
    def fails(*_):
        raise ZeroDivisionError("float division\nby zero")

    monkeypatch.setattr(ds.Machine, "solve", fails)
    monkeypatch.delenv("DUCTSIM_TRACEBACK", raising=False)
    status, out, err = run("solve", "demo:picker")
    assert (status, out) == (1, "")
    assert err.count("\n") == 1
    assert "a fault of its own (ZeroDivisionError: float division by zero)" in err
    status, out, _ = run("solve", "demo:picker", "--json")
    jsonschema.validate(json.loads(out), schema())
    monkeypatch.setenv("DUCTSIM_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        run("solve", "demo:picker")


def test_want_of_memory_is_said(run, monkeypatch):
    def fails(*_):
        raise MemoryError

    monkeypatch.setattr(ds.Machine, "solve", fails)
    status, _, err = run("solve", "demo:picker")
    assert status == 1
    assert "not enough memory" in err


def test_ctrl_c_is_one_sentence(run, monkeypatch):
    def stopped(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(ds.Machine, "solve", stopped)
    assert run("solve", "demo:picker") == (130, "", "ductsim: stopped by Ctrl-C.\n")
