"""Everything that is wrong in a file is said in one run, each thing with its line."""

import json

import jsonschema
import pytest
from command_line import run  # noqa: F401

import ductsim as ds
from ductsim.errors import SeveralErrors
from ductsim.terminal.envelope import schema

PICKER = (ds.machine.demos.FOLDER / "picker.toml").read_text(encoding="utf-8")
SLIPS = [  # what is replaced, by what, what is said of it; each on one line of the file
    ("slip = 0.02", "slop = 0.02", "unknown key 'slop'"),
    ('area = "0.32 m2"', 'area = "0.32 m"', "an area given in m"),
    ("efficiency = 0.6", "efficiency = 60", "60 is out of range"),
    ('kind = "leak"', 'kind = "leek"', "unknown kind 'leek'"),
    ('diameter = "180 mm"', 'diameter = "180"', "'180' lacks its measure"),
    ("nozzle_loss = 0.08", "nozzle_los = 0.08", "unknown key 'nozzle_los'"),
    ("cuff_leak = 0.0008", "cuff_leak = -0.0008", "-0.0008 is out of range"),
    ('row_spacing = "1.0 m"', 'row_spaceing = "1.0 m"', "unknown key 'row_spaceing'"),
]


@pytest.fixture
def spoilt(tmp_path):
    text = PICKER
    for old, new, _ in SLIPS:
        assert old in text
        text = text.replace(old, new, 1)
    place = tmp_path / "machine.toml"
    place.write_text(text, encoding="utf-8")
    return place


def test_all_slips_are_said_at_once_each_with_its_line(spoilt):
    with pytest.raises(SeveralErrors) as caught:
        ds.Machine.read(spoilt)
    lines = spoilt.read_text(encoding="utf-8").split("\n")
    for _, new, words in SLIPS:
        line = next(i for i, row in enumerate(lines, 1) if row.startswith(new))
        said = [str(err) for err in caught.value.each if f"line {line}, " in str(err)]
        assert len(said) == 1, new
        assert words in said[0] and said[0].startswith(str(spoilt))
    missing = [str(err) for err in caught.value.each if "is missing" in str(err)]
    assert len(caught.value.each) == len(SLIPS) + len(missing)


def test_the_command_says_each_on_a_line_of_its_own(spoilt, run):  # noqa: F811
    status, out, err = run("solve", spoilt)
    assert status == 2 and not out
    rows = err.splitlines()
    assert len(rows) >= len(SLIPS) and all(row.startswith(f"ductsim: {spoilt}: line ") for row in rows)
    status, out, err = run("solve", spoilt, "--json")
    told = json.loads(out)
    jsonschema.validate(told, schema())
    assert status == 2 and len(told["error"]["others"]) == len(rows) - 1


def test_several_errors_keep_their_place_when_copied(spoilt):
    import pickle

    with pytest.raises(SeveralErrors) as caught:
        ds.Machine.read(spoilt)
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)
    assert caught.value.problem == caught.value.each[0].problem


def test_companions_say_all_too(tmp_path):
    fixes = tmp_path / "fixes.toml"
    fixes.write_text(
        'format = 1\n[[fix]]\nname = "a"\nchnge = {}\n\n[[fix]]\nname = "b"\nminuts = 3\n', "utf-8"
    )
    with pytest.raises(ds.InputError, match=r"(?s)line 4, fix 'a'.*'chnge'.*line 8, fix 'b'.*'minuts'"):
        ds.read_fixes(fixes)
    readings = tmp_path / "readings.csv"
    readings.write_text("tapping,value\na,3 m\nb,4 Pa\nc,x\n", "utf-8")
    with pytest.raises(ds.InputError, match=r"(?s)line 2, value.*line 4, value"):
        ds.read_readings(readings)
    seen = tmp_path / "seen.csv"
    seen.write_text("ground_speed,blocked\n5 km,\n5 km/h,\n6,x,y\n", "utf-8")
    with pytest.raises(ds.InputError, match=r"(?s)line 2, ground_speed.*line 4"):
        ds.calibrate(ds.demo("picker"), seen)
    field = tmp_path / "field.csv"
    field.write_text("distance,crop_yield\n5 m,x\n9 m,0.4\n12 kg,0.4\n", "utf-8")
    with pytest.raises(ds.InputError, match=r"(?s)line 2, crop_yield.*line 4, distance"):
        ds.field_pass(ds.demo("picker"), field)


def test_known_keys_are_listed_whole():
    with pytest.raises(ds.InputError) as caught:
        ds.Machine.of(
            'format = 1\n[[part]]\nname = "f"\nkind = "fan"\nfrom = "outside"\nto = "a"\nzzzz = 1\n'
        )
    known = next(err for err in caught.value.each if "zzzz" in str(err))
    assert all(f"'{key}'" in known.allowed for key in (*ds.Fan.declared, "drive", "note", "typical"))
