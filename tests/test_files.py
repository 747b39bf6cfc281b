"""No file is taken in silence when it is wrong: lists, pipes, names that look alike, characters that hide."""

import json
import os
import re
import tomllib

import fuzz_commands
import numpy as np
import pytest
from command_line import refused, run  # noqa: F401
from markupsafe import Markup

import ductsim as ds
from ductsim.description.look_alikes import appearance, look_alikes
from ductsim.display import style, tables
from ductsim.errors import InputError, visible
from ductsim.machine.demos import demo_file
from ductsim.quantity import single
from ductsim.reports import report

PICKER = demo_file("picker").read_text(encoding="utf-8")
BENCH = demo_file("bench").read_text(encoding="utf-8")
UNREADABLE = ("a file holds no columns", "is not one number")


@pytest.fixture
def here(tmp_path, monkeypatch):
    """A folder with the files of the picker, worked in."""
    for name, text in fuzz_commands.folder_of("picker").items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def written(place, text):
    place.write_text(text, encoding="utf-8")
    return place


def replaced(text, old, new):
    assert old in text
    return text.replace(old, new, 1)


# ---- lists where one number belongs


@pytest.mark.parametrize(
    ("text", "old", "new", "where"),
    [
        (BENCH, '"0.5 m3/s"', '["1 m3/s", "1.1 m3/s"]', "part 'fan': flow[1]: "),
        (BENCH, '"1000 Pa"', "[]", "part 'fan': total_pressure[2]: "),
        (
            BENCH,
            'length = "4 m"',
            'length = "4 m"\nbends = [{angle = ["90 deg", "45 deg"], radius_ratio = 1.5}]',
            "part 'left duct', bend 1: angle: ",
        ),
        (PICKER, 'crop_yield = "0.40 kg/m2"', 'crop_yield = ["0.4 kg/m2"]', "crop: crop_yield: "),
        (PICKER, '"0.7 m", "1.3 m"', '["0.7 m"], "1.3 m"', "fill: positions[0]: "),
        (PICKER, 'spreading = "0.7 m"', "spreading = [[]]", "fill: spreading: "),
        (PICKER, 'likely = "65 cm2"', "likely = [[]]", "unknown 'hatch leak *.area': likely: "),
        (PICKER, 'low = "60 cm2"', 'low = ["60 cm2"]', "trim 'jet *.nozzle_area': low: "),
        (PICKER, 'low = "60 cm2"', "sizes = [[0.006]]", "trim 'jet *.nozzle_area': sizes[0]: "),
        (
            BENCH + '[[spread]]\nnumber = "fan.speed"\nkind = "uniform"\nlow = "1 rpm"\nhigh = 9',
            "high = 9",
            "high = [[]]",
            "spread 'fan.speed': high: ",
        ),
        (
            BENCH + '[[spread]]\nnumber = "fan.speed"\nsd = 1',
            "sd = 1",
            "sd = {a = 1}",
            "spread 'fan.speed': sd: ",
        ),
    ],
)
def test_a_list_in_place_of_a_number_of_a_machine(tmp_path, text, old, new, where):
    file = written(tmp_path / "machine.toml", replaced(text, old, new))
    with pytest.raises(InputError) as err:
        ds.Machine.read(file)
    assert where in str(err.value)
    assert all(words in str(err.value) for words in UNREADABLE)


def test_a_list_in_place_of_a_number_of_a_fix_or_a_crop(tmp_path):
    fix = '[[fix]]\nname = "a"\nchange = {"hatch leak 4.area" = [0.001, 0.06]}'
    with pytest.raises(
        InputError, match=r"fix 'a', change: hatch leak 4\.area: \[0\.001, 0\.06\] is not one num"
    ):
        ds.read_fixes(written(tmp_path / "fixes.toml", f"format = 1\n{fix}"))
    crop = replaced(fuzz_commands.CROP, '"5 km/h"', '["5 km/h", "6 km/h"]')
    with pytest.raises(
        InputError, match=r"crop: ground_speed: .* is not one number; a file holds no columns"
    ):
        ds.read_crop(written(tmp_path / "crop.toml", crop))


def test_a_replacement_in_a_file_is_one_part(tmp_path):
    text = 'format = 1\n[[fix]]\nname = "a"\nreplace = {"hose 1" = {kind = ["hose"], length = 1}}'
    (fix,) = ds.read_fixes(written(tmp_path / "fixes.toml", text))
    with pytest.raises(InputError, match=r"unknown kind \['hose'\]"):
        fix.on(ds.demo("picker"))
    (fix,) = ds.read_fixes(
        written(
            tmp_path / "fixes.toml",
            text.replace("length = 1", "length = [1, 2]").replace('kind = ["hose"], ', ""),
        )
    )
    with pytest.raises(InputError, match=r"length: \[1, 2\] is not one number"):
        fix.on(ds.demo("picker"))


def test_columns_are_for_python():
    machine = ds.demo("picker").change({"hatch leak 4.area": np.array([0.001, 0.06])})
    assert machine.columns == 2
    with pytest.raises(InputError, match=r"\[1, 2\] is not one number; one, like '1.8 m'"):
        single([1, 2], "m")


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("kind", ["normal"], "['normal'] is no distribution"),
        ("group", 1, "group: 1 is not a text"),
        ("correlation", "much", "'much' is no number"),
        ("correlation", [[]], "is not one number"),
        ("sd", [[]], "is not one number"),
        ("sd", [0.1, 0.2], "is not one number"),
    ],
)
def test_spreads_of_odd_kinds(key, value, words):
    with pytest.raises(InputError) as err:
        ds.ensemble(ds.demo("bench"), spreads=[{"number": "fan.speed", "sd": 0.1, key: value}], samples=2)
    assert words in str(err.value)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            'openings = ["front {unit}", "rear {unit}"]',
            'openings = ["front {unit}", "front {unit}", "rear {unit}"]',
            "unit '1', openings: the name 'front 1' is used twice",
        ),
        ("[drive.belt]", '[drive.belt]\nkind = ["belt"]', "drive 'belt': kind: ['belt'] is not a text"),
        ('likely = "65 cm2"', 'likley = "65 cm2"', "unknown 'hatch leak *.area': unknown key 'likley'"),
    ],
)
def test_machines_that_were_taken_in_silence(tmp_path, old, new, words):
    with pytest.raises(InputError) as err:
        ds.Machine.read(written(tmp_path / "machine.toml", replaced(PICKER, old, new)))
    assert words in str(err.value)


# ---- what is no file


@pytest.mark.parametrize("role", ["machine", "fixes", "readings", "crop", "seen", "field"])
@pytest.mark.parametrize("what", ["pipe", "device", "folder", "broken link"])
def test_no_file_of_any_kind_is_waited_for(here, refused, role, what):  # noqa: F811
    name = "machine.toml" if role == "machine" else fuzz_commands.FILES[role]
    (here / name).unlink()
    make = {
        "pipe": os.mkfifo,
        "device": lambda name: os.symlink(os.devnull, name),
        "folder": os.mkdir,
        "broken link": lambda name: os.symlink("nowhere.toml", name),
    }
    make[what](name)
    command = {"fixes": "compare", "readings": "fit", "seen": "calibrate", "field": "field-pass"}
    error, told = refused(command.get(role, "ground-speed"), "machine.toml")
    words = {"pipe": "is a pipe or a device", "device": "is a pipe or a device", "folder": "is a folder"}
    assert words.get(what, "no such") in told
    assert error["file"] == name


# ---- machines without flow


def test_a_machine_without_vacuum_answers():
    text = BENCH.replace('"1500 rpm"\ncurve_speed', '"0 rpm"\ncurve_speed')
    machine = ds.Machine.of(tomllib.loads(text))
    state = machine.solve()
    assert state.vacuum == {"left": 0.0, "right": 0.0}
    assert all(np.isnan(row["share_of_mean"]) for row in state.rows())
    assert "nan" not in " ".join(state.sentences())
    assert "derivatives are in the table" in machine.sensitivity().sentences()[0]


def test_hoses_that_all_start_outside_answer(here, run):  # noqa: F811
    text, count = re.subn(r'(name = "hose \{unit\}"\nkind = "hose"\nfrom = )"[^"]*"', r'\1"outside"', PICKER)
    assert count == 1
    (here / "machine.toml").write_text(text, encoding="utf-8")
    status, out, err = run("solve", "machine.toml")
    assert (status, err) == (0, "")
    assert "nan" not in out


def test_a_box_that_is_never_full_is_refused(here, refused):  # noqa: F811
    (here / "crop.toml").write_text(fuzz_commands.CROP.replace("5 km/h", "2.3e-308 km/h"), encoding="utf-8")
    _, told = refused("fill", "machine.toml", "--crop", "crop.toml")
    assert "no crop flows at a ground speed of 6.38889e-309" in told


def test_a_tappings_area_of_next_to_nothing(tmp_path):
    for area in ("1e-308 m2", "2.2e-308 m2"):
        text = replaced(BENCH, 'area = "314 cm2"', f'area = "{area}"')
        with pytest.raises(InputError, match=r"tapping 'left tapping', area: .* is out of range"):
            ds.Machine.read(written(tmp_path / "machine.toml", text))
    text = replaced(BENCH, 'area = "314 cm2"', 'area = "1e-30 m2"')
    state = ds.Machine.read(written(tmp_path / "machine.toml", text)).solve()
    assert np.isfinite(state.vacuum["left"])


# ---- names that look alike


@pytest.mark.parametrize(
    ("name", "twin"),
    [
        ("hose 1", "h\N{CYRILLIC SMALL LETTER O}se 1"),
        ("hose 1", "Hose 1"),
        ("Z\u00fcrich", "Zu\u0308rich"),
        ("hose\N{HANGUL FILLER}1", "hose1"),
        ("fit", "\N{LATIN SMALL LIGATURE FI}t"),
        ("PA", "\N{GREEK CAPITAL LETTER RHO}\N{CYRILLIC CAPITAL LETTER A}"),
        ("fan 10", "fan 1O"),
        ("fan 1", "fan l"),
        ("a-b", "a\N{EN DASH}b"),
        ("hose 1", "hose\N{NO-BREAK SPACE}1"),
        ("stra\N{LATIN SMALL LETTER SHARP S}e", "STRASSE"),
    ],
)
def test_names_that_look_alike_are_named_together(name, twin):
    assert appearance(name) == appearance(twin)
    (note,) = look_alikes([name, "other", twin, name], "names")
    assert repr(name) in note
    assert repr(twin) in note


def test_names_that_differ_are_left_alone():
    assert look_alikes(["hose 1", "hose 2", "hose 11", "duct 1", "front 1"], "names") == []
    for name in ("picker", "suction", "bench"):
        assert ds.demo(name).layout.look_alikes == []


def test_look_alikes_are_noted_by_solve_and_check(here, run):  # noqa: F811
    cyrillic = "p\N{CYRILLIC SMALL LETTER IE}n"
    text = replaced(PICKER, "[[unknown]]", f"{_opening('pen')}{_opening(cyrillic)}[[unknown]]")
    (here / "machine.toml").write_text(text, encoding="utf-8")
    for command in ("solve", "check"):
        _, out, _ = run(command, "machine.toml", "--json")
        (note,) = [note for note in json.loads(out)["notes"] if "taken for one another" in note]
        assert "'pen'" in note
        assert repr(cyrillic) in note
        assert "letter 2: latin small letter e, cyrillic small letter ie" in note


def _opening(name):
    return f'[[part]]\nname = "{name}"\nkind = "leak"\nfrom = "outside"\nto = "air box"\narea = "1 mm2"\n'


def test_sets_that_look_alike_are_noted():
    rows = [{"tapping": "door 1", "value": -300.0 - i, "set": name} for i, name in enumerate(("A", "\u0410"))]
    assert any("Two sets" in note for note in ds.read_readings(rows).notes)


# ---- characters that act on a terminal, or hide

HIDDEN = "\x1b[2J\x07\u202e\u200b\x9b"


def test_hidden_characters_are_shown():
    assert visible("a\x1b[2Jb\u202e\x00\x9b\u200b\udcff") == r"a\x1b[2Jb\u202e\x00\x9b\u200b\udcff"
    assert visible("one\ntwo\tthree\u00a0four\u2028five") == "one two three four five"
    assert visible("Zürich 農") == "Zürich 農"
    assert str(ds.errors.DuctsimError(HIDDEN)).isprintable()
    assert str(InputError(HIDDEN, place=HIDDEN, allowed=HIDDEN, file=HIDDEN)).isprintable()
    assert str(ds.NoOperatingPoint(HIDDEN, remedy=HIDDEN)).isprintable()


def test_hidden_characters_are_escaped_everywhere(here, run):  # noqa: F811
    escaped = HIDDEN.encode("unicode_escape").decode().replace("\\x", "\\u00")
    odd = here / f"m{HIDDEN}.toml"
    odd.write_text(replaced(BENCH, 'title = "', f'title = "{escaped}'), encoding="utf-8")
    fixes = replaced(fuzz_commands.BENCH_FIXES, "minutes = 20", f'caution = "beware of {escaped}"')
    fixes = replaced(fixes, "minutes = 10", f'minutes = "25 {escaped}"')
    (here / "fixes.toml").write_text(fixes, encoding="utf-8")
    lines = [("check", odd), ("solve", here / f"no{HIDDEN}.toml"), ("solve", odd, "--of", HIDDEN)]
    lines += [("compare", odd), ("demo", "picker", here / f"new{HIDDEN}"), (HIDDEN,), ("solve", odd, HIDDEN)]
    for words in lines:
        _, out, err = run(*words)
        assert out + err
        assert (out + err).replace("\n", "").isprintable()
        _, out, err = run(*words, "--json")
        assert (out + err).replace("\n", "").isprintable()


def test_hidden_characters_are_escaped_in_pages():
    assert style.cut(HIDDEN).isprintable()
    assert tables.escaped(f"<{HIDDEN}>") == f"&lt;{visible(HIDDEN)}&gt;"
    rows = [{"note": HIDDEN}]
    assert tables.html([HIDDEN], rows).isprintable()


def test_a_report_shows_no_hidden_characters():
    page = report.environment().from_string("{{ title }} {{ picture }} {{ count }}")
    told = page.render(title=f"<{HIDDEN}>", picture=Markup("<svg>\n</svg>"), count=3)
    assert told == f"&lt;{visible(HIDDEN)}&gt; <svg>\n</svg> 3"


# ---- every command on spoilt files


def test_commands_on_spoilt_files():
    cheap = ("solve", "check", "sweep", "calibrate", "field-pass", "fill")
    numbers = [k for k in range(120) if fuzz_commands.case_of(1, k).words[0] in cheap][:60]
    wrong = [case for case in (fuzz_commands.run(fuzz_commands.case_of(1, k)) for k in numbers) if case.wrong]
    assert not [(case.number, case.words, case.wrong) for case in wrong]


@pytest.mark.slow
def test_commands_on_many_spoilt_files():
    wrong = [case for case in fuzz_commands.many(2, range(2000)) if case.wrong]
    assert not [(case.number, case.words, case.wrong) for case in wrong]
