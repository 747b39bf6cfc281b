"""One habit: what goes with a machine is given as a path, a mapping, a DataFrame or an object, everywhere."""

from importlib.resources import files

import numpy as np
import pandas as pd
import pytest

import ductsim as ds

EXAMPLES = files("ductsim") / "examples"


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


# ---- fixes

FIXES = {"seal": {"hatch leak 4.area": "0 cm2"}, "shorten": {"hose 3.length": "1 m", "hose 4.length": "x0.9"}}


def fixes_in_every_form(folder):
    """The same two fixes as a file, mappings, tables and objects."""
    made = [ds.Fix(name, change=change) for name, change in FIXES.items()]
    document = {"fix": [{"name": name, "change": change} for name, change in FIXES.items()]}
    rows = [(n, a, v) for n, change in FIXES.items() for a, v in change.items()]
    place = folder / "fixes.toml"
    lines = ["format = 1"]
    for name, change in FIXES.items():
        own = ", ".join(f'"{a}" = "{v}"' for a, v in change.items())
        lines += ["[[fix]]", f'name = "{name}"', f"change = {{{own}}}"]
    place.write_text("\n".join(lines), encoding="utf-8")
    return [
        place,
        str(place),
        document,
        {"format": 1, **document},
        FIXES,
        document["fix"],
        pd.DataFrame(rows, columns=["name", "address", "value"]),
        made,
        tuple(made),
        iter(made),
        [made[0], document["fix"][1]],
    ]


def test_fixes_are_the_same_in_every_form(tmp_path):
    for given in fixes_in_every_form(tmp_path):
        found = ds.read_fixes(given)
        assert {fix.name: dict(fix.change) for fix in found} == FIXES, given


def test_one_fix_and_what_it_costs():
    one = ds.Fix("seal", change=FIXES["seal"], minutes="0.5 h", cost=3, caution="seal")
    assert ds.read_fixes(one) == [one]
    table = pd.DataFrame(
        {
            "name": ["a", "a", "b"],
            "address": ["hose 3.length", "hose 4.length", "hatch leak 4.area"],
            "value": ["1 m", "1 m", 0.0],
            "minutes": ["0.5 h", np.nan, 20],
            "cost": [3.0, np.nan, np.nan],
            "caution": ["hose", None, "seal"],
        }
    )
    first, second = ds.read_fixes(table)
    assert (first.minutes, first.cost, first.caution) == (30.0, 3.0, ("hose",))
    assert (second.minutes, second.cost, dict(second.change)) == (20.0, 0.0, {"hatch leak 4.area": 0.0})
    mapping = {"name": "seal", "change": FIXES["seal"], "minutes": "0.5 h", "cost": 3}
    assert ds.read_fixes(mapping)[0].minutes == one.minutes == 30.0


def test_studies_take_fixes_in_every_form(picker, tmp_path):
    bench = ds.demo("bench")
    change = {"tape": {"left mouth.area": "x0.5"}}
    (tmp_path / "tape.toml").write_text(
        'format = 1\n[[fix]]\nname = "tape"\nchange = {"left mouth.area" = "x0.5"}\n'
    )
    worth = [ds.compare(bench, given).rows() for given in (tmp_path / "tape.toml", change)]
    assert worth[0] == worth[1]
    assert worth[0][0]["fix"] == "tape"
    given = fixes_in_every_form(tmp_path)[0]
    found = ds.ground_speed(picker, None, given, samples=20)
    assert [row["fix"] for row in found.table("fixes").to_dict("records")] == list(FIXES)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (3, r"3 is no list of fixes; ds\.read_fixes\(file\), or a list of ds\.Fix"),
        (np.array(3), "is no list of fixes"),
        (b"fixes", "is no list of fixes"),
        ([3], "fixes: 3 is no fix"),
        ("nowhere.toml", r"nowhere\.toml: no such file of fixes"),
        ({"seal": 3}, r"fix 'seal': change: 3 is no mapping"),
        ({"fix": []}, "there is no fix"),
        ({"format": 2, "fix": []}, "format 2 is newer"),
        ([{"nam": "seal"}], "the key 'name' is missing"),
        ([{"name": "seal", "chang": {}}], "fix 'seal': unknown key 'chang'; did you mean 'change'"),
        (pd.DataFrame({"name": ["a"], "adress": ["x"], "value": [1]}), "header: unknown key 'adress'"),
        (pd.DataFrame({"name": ["a"], "address": [None], "value": [1]}), "row 1: has no address"),
        (
            pd.DataFrame({"name": ["a", "a"], "address": ["x.y", "x.y"], "value": [1, 2]}),
            "fix 'a': changes 'x.y' twice",
        ),
    ],
)
def test_what_is_no_fix_has_a_sentence(given, sentence):
    with pytest.raises(ds.InputError, match=sentence):
        ds.read_fixes(given)


# ---- crop

CROP = {"crop_yield": "0.4 kg/m2", "ground_speed": "4 km/h", "row_spacing": "0.9 m"}


def crops_in_every_form(folder):
    place = folder / "crop.toml"
    place.write_text("\n".join(["format = 1", "[crop]", *(f'{k} = "{v}"' for k, v in CROP.items())]))
    made = ds.Crop(**CROP)
    return [
        made,
        place,
        str(place),
        CROP,
        {"crop": CROP},
        {"format": 1, "crop": CROP},
        pd.DataFrame([CROP]),
        pd.DataFrame([{**CROP, "moisture": np.nan}]),
        pd.DataFrame({"number": list(CROP), "value": list(CROP.values())}),
        pd.DataFrame({"number": [f"crop.{key}" for key in CROP], "value": list(CROP.values())}),
    ]


def test_a_crop_is_the_same_in_every_form(picker, tmp_path):
    made = ds.Crop(**CROP)
    for given in crops_in_every_form(tmp_path):
        assert ds.read_crop(given) == made, given
        assert picker.with_crop(given).crop == made
    assert picker.with_crop().crop == picker.with_crop(None).crop == picker.crop


def test_studies_take_a_crop_in_every_form(picker, tmp_path):
    made, place = crops_in_every_form(tmp_path)[:2]
    for study in (
        lambda crop: ds.fill(picker, crop),
        lambda crop: ds.field_pass(picker, [0.3, 0.4], crop=crop),
        lambda crop: ds.calibrate(picker, [{"ground_speed": 1.0}], crop=crop),
    ):
        assert study(made).rows() == study(place).rows() == study(CROP).rows()
    assert ds.ground_speed(picker, CROP, samples=20).machine.crop == picker.with_crop(made).crop


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (3, r"crop: 3 is not a crop; ds\.Crop"),
        ([CROP], "is not a crop"),
        ("nowhere.toml", r"nowhere\.toml: no such crop file"),
        ({"yield": 0.4}, "crop: unknown key 'yield'"),
        ({"format": 1, "crops": {}}, "unknown key 'format'"),
        (pd.DataFrame([CROP, CROP]), "a table of 2 rows is not a crop; one row, or the columns"),
        ({**CROP, "row_spacing": -2.0}, "crop: row_spacing: -2 m is out of range"),
    ],
)
def test_what_is_no_crop_has_a_sentence(given, sentence):
    with pytest.raises(ds.InputError, match=sentence):
        ds.read_crop(given)


# ---- readings

READINGS = {"tapping": ["door 1", "door 2"], "value": ["-407 Pa", -396.0], "engine_speed": "2100 rpm"}


def test_readings_are_the_same_in_every_form(picker, tmp_path):
    rows = [dict(zip(READINGS, cells, strict=True)) for cells in zip(*_filled(READINGS), strict=True)]
    frame = pd.DataFrame(READINGS)
    place = tmp_path / "readings.csv"
    frame.to_csv(place, index=False)
    schemas = [place, str(place), READINGS, frame, rows, iter(rows), ds.read_readings(frame)]
    schemas += [list(ds.read_readings(frame)), iter(list(ds.read_readings(frame)))]
    first = ds.read_readings(frame)
    assert [one.value for one in first] == [-407.0, -396.0]
    for given in schemas:
        assert ds.read_readings(given).rows() == first.rows()
    one = first.items[0]
    assert list(ds.read_readings(one)) == [one]
    assert len(ds.read_readings({"tapping": "door 1", "value": "-407 Pa"})) == 1
    assert ds.check_readings(picker, READINGS).rows() == ds.check_readings(picker, frame).rows()


def _filled(columns):
    return [value if isinstance(value, list) else [value] * 2 for value in columns.values()]


def test_columns_of_different_length_are_refused():
    with pytest.raises(ds.InputError, match="the column 'value' has 1 rows and another 2; as many in each"):
        ds.read_readings({"tapping": ["door 1", "door 2"], "value": [-400.0]})


# ---- what was seen


SEEN = {"ground_speed": ["5 km/h", "6 km/h"], "crop_yield": "0.40 kg/m2", "blocked": [None, "4"]}


def test_what_was_seen_is_the_same_in_every_form(picker, tmp_path):
    frame = pd.DataFrame(SEEN)
    place = tmp_path / "seen.csv"
    frame.to_csv(place, index=False)
    rows = [
        {k: v for k, v in zip(SEEN, cells, strict=True) if v is not None} for cells in zip(*_filled(SEEN))
    ]
    runs = ds.read_seen(rows)
    assert [(round(3.6 * run.ground_speed, 9), run.crop_yield, run.units) for run in runs] == [
        (5.0, 0.4, ()),
        (6.0, 0.4, ("4",)),
    ]
    first = ds.calibrate(picker, runs)
    for given in (place, str(place), frame, SEEN, rows, iter(rows), tuple(runs)):
        assert ds.calibrate(picker, given).rows() == first.rows()
    assert ds.read_seen(runs[0]) == [runs[0]]
    assert ds.read_seen({"ground_speed": 1.0})[0].crop_yield is None
    assert [run.line for run in ds.read_seen(place)] == [2, 3]


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (3, "calibrate: 3 is not a list"),
        (
            pd.DataFrame({"ground_speed": ["5 km/h", "fast"]}),
            "observation 2, ground_speed: 'fast' is no number",
        ),
        (pd.DataFrame({"speed": [1.0]}), "header: unknown column 'speed'"),
        ({"ground_speed": [1.0, -1.0]}, r"observation 2, ground_speed: -1\.0 is out of range"),
        ({"ground_speed": [1.0], "blocked": ["9"]}, "observation 1: unknown unit '9'"),
    ],
)
def test_what_is_no_observation_has_a_sentence(picker, given, sentence):
    with pytest.raises(ds.InputError, match=sentence):
        ds.calibrate(picker, given)


def test_a_unit_that_is_not_there_is_named_with_its_line(picker, tmp_path):
    place = tmp_path / "seen.csv"
    place.write_text("ground_speed,blocked\n5 km/h,\n6 km/h,9\n")
    with pytest.raises(ds.UnknownName, match=r"seen\.csv: line 3: unknown unit '9'"):
        ds.calibrate(picker, place)


# ---- yields along a row


def test_yields_are_the_same_in_every_form(picker, tmp_path):
    table = {"distance": ["10 m", 20.0, 30.0], "crop_yield": [0.3, "0.4 kg/m2", 0.35]}
    frame = pd.DataFrame(table)
    place = tmp_path / "field.csv"
    frame.to_csv(place, index=False)
    rows = [dict(zip(table, cells, strict=True)) for cells in zip(*table.values(), strict=True)]
    for given in (place, str(place), frame, table, rows, ds.read_field(frame)):
        found = ds.read_field(given)
        assert found.distance.tolist() == [0.0, 10.0, 20.0, 30.0]
        assert found.crop_yield.tolist() == [0.3, 0.4, 0.35]
    for given in ([0.3, "0.4 kg/m2", 0.35], np.array([0.3, 0.4, 0.35]), pd.Series([0.3, 0.4, 0.35])):
        found = ds.read_field(given, spacing="10 m")
        assert found.distance.tolist() == [0.0, 10.0, 20.0, 30.0]
        assert found.crop_yield.tolist() == [0.3, 0.4, 0.35]
    assert len(found) == 3
    assert repr(found) == "<Yields: 3 stretches, 30 m>"
    passes = [ds.field_pass(picker, given).rows() for given in (place, table, found)]
    assert passes[0] == passes[1] == passes[2]


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (3, "is not a list of yields"),
        ("nowhere.csv", r"nowhere\.csv: no such file of yields along a row"),
        ({"distance": [2.0, 1.0], "crop_yield": [0.3, 0.3]}, "its distances do not rise"),
        (
            {"distance": [1.0, 2.0], "crop_yield": [0.3, 30.0]},
            "the yield of stretch 2 is 30 kg/m2; above 0, to 20",
        ),
        ([0.3, -0.3], r"the yield of stretch 2 is -0\.3 kg/m2"),
        ({"distance": [1.0]}, "header: the column 'crop_yield' is missing"),
        (pd.DataFrame({"distance": [1.0, 2.0], "crop_yield": [0.3, None]}), "stretch 2: has no crop_yield"),
        (np.full(50_001, 0.3), "50,001 stretches are too many"),
        ({"distance": range(50_001), "crop_yield": 0.3}, "50,001 yields along a row are too many"),
    ],
)
def test_what_are_no_yields_has_a_sentence(given, sentence):
    with pytest.raises(ds.InputError, match=sentence):
        ds.read_field(given)


def test_the_examples_are_read():
    assert len(ds.read_fixes(str(EXAMPLES / "picker_fixes.toml"))) > 5
    assert len(ds.read_seen(str(EXAMPLES / "picker_seen.csv"))) > 2
    assert len(ds.read_field(str(EXAMPLES / "picker_field.csv"))) > 5
    assert len(ds.read_readings(str(EXAMPLES / "picker_readings.csv"))) > 20
    assert ds.read_crop(str(EXAMPLES / "picker.toml")) == ds.demo("picker").crop
