"""Readings from files, frames and lists: every bad one has its sentence, nothing is dropped silently."""

import math
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from amounts import examples
from hypothesis import given
from hypothesis import strategies as st

import ductsim as ds
from ductsim.readings.errors import ReadingErrors

RPM = math.pi / 30.0
PICKER = ds.demo("picker")
EXAMPLE = Path(ds.__file__).parent / "examples" / "picker_readings.csv"


def from_text(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "readings.csv"
    path.write_bytes(text.encode(encoding))
    return ds.read_readings(path)


def sentence(tmp_path, text):
    """The one sentence that a file of readings is refused with."""
    with pytest.raises(ds.InputError) as err:
        from_text(tmp_path, text)
    words = str(err.value)
    assert "readings.csv" in words
    assert words.count("\n") == 0
    return words


# ---- what is understood


def test_the_example_is_read_whole():
    readings = ds.read_readings(EXAMPLE)
    lines = EXAMPLE.read_text(encoding="utf-8").splitlines()
    assert len(readings) == len([line for line in lines if line and not line.startswith(("#", "tapping"))])
    first = readings.items[0]
    assert (first.tapping, first.quantity, first.set, first.line) == ("door 1", "static", "A", 6)
    assert first.engine_speed == pytest.approx(2100 * RPM)
    assert len({r.blanked for r in readings}) == 4
    assert readings.sha256
    assert not readings.notes


def test_a_text_carries_its_measure_and_a_bare_number_is_si(tmp_path):
    got = from_text(
        tmp_path,
        "tapping,quantity,value,engine_speed,sd,resolution\n"
        "door 1,,-1.6 inH2O,2100 rpm,2 Pa,0.1 mbar\n"
        "door 2,total,-300,219.9,,\n"
        "left fan,shaft power,16 kW,,,\n"
        "left fan,speed,3600 rpm,,,\n"
        "door 3,velocity,15 m/s,,,\n"
        "door 2 - door 4,,-1.2 mbar,,,\n",
    )
    values = [r.value for r in got]
    # conventional inch of water: 1000 kg/m3 x 9.80665 m/s2 x 0.0254 m
    np.testing.assert_allclose(values, [-1.6 * 249.08891, -300, 16e3, 3600 * RPM, 15, -120], rtol=1e-9)
    assert got.items[0].sd == 2.0
    assert got.items[0].resolution == pytest.approx(10.0)
    assert got.items[1].engine_speed == 219.9
    assert (got.items[5].tapping, got.items[5].minus) == ("door 2", "door 4")
    assert [r.measure for r in got] == ["Pa", "Pa", "W", "rad/s", "m/s", "Pa"]


def test_byte_order_mark_semicolons_and_decimal_commas(tmp_path):
    got = from_text(
        tmp_path,
        "\ufefftapping;value;engine_speed;blanked\n"
        "door 1;-412,5;2100 rpm;front 1+rear 1\ndoor 2;-1,2 mbar;;\n",
    )
    assert [r.value for r in got] == [-412.5, -120.0]
    assert ds.check_readings(PICKER, got).readings.items[0].blanked == ("front 1", "rear 1")
    assert got.items[1].engine_speed is None


def test_a_file_that_a_spreadsheet_wrote(tmp_path):
    text = 'tapping\tquantity\tvalue\r\n"door 1"\tStatic pressure\t\N{MINUS SIGN}400 Pa\r\n\r\n'
    got = from_text(tmp_path, text)
    assert (got.items[0].value, got.items[0].quantity) == (-400.0, "static")


def test_measures_in_the_header(tmp_path):
    got = from_text(tmp_path, "tapping,value_kPa,engine_speed_rpm\ndoor 1,-0.4,2100\n")
    assert got.items[0].value == pytest.approx(-400.0)
    assert got.items[0].engine_speed == pytest.approx(2100 * RPM)


def test_frames_and_lists_give_the_same_readings():
    readings = ds.read_readings(EXAMPLE)
    again = ds.read_readings(pd.read_csv(EXAMPLE, comment="#"))
    strip = [(r.tapping, r.value, r.set, r.blanked, r.sd) for r in readings]
    assert [(r.tapping, r.value, r.set, r.blanked, r.sd) for r in again] == strip
    rows = ds.read_readings(readings.rows())
    assert [(r.tapping, r.value, r.blanked) for r in rows] == [
        (r.tapping, r.value, r.blanked) for r in readings
    ]
    assert ds.read_readings(list(readings)).items == readings.items
    assert ds.read_readings(readings) is readings


def test_gaps_of_a_frame_are_blank_cells():
    frame = pd.DataFrame({"tapping": ["door 1", "door 2"], "value": [-400.0, np.nan], "set": [1.0, np.nan]})
    got = ds.read_readings(frame)
    assert len(got) == 1
    assert got.items[0].set == "1"
    assert got.notes == ["Line 2 (door 2) has no value and is left out."]


# ---- what is left out is said


def test_a_blank_value_is_left_out_and_said(tmp_path):
    got = from_text(tmp_path, "tapping,value\ndoor 1,-400\ndoor 2,\n")
    assert len(got) == 1
    assert got.notes == ["Line 3 (door 2) has no value and is left out."]
    assert got.notes[0] in str(got)


def test_duplicate_rows_count_once_and_are_said(tmp_path):
    got = from_text(
        tmp_path, "tapping,value,note\ndoor 1,-400,\ndoor 2,-300,\ndoor 1,-400,\ndoor 1,-400,again\n"
    )
    assert [r.line for r in got] == [2, 3, 5]
    assert got.notes == [
        "Lines 2 and 4 are the same reading (door 1); it counts once. Give them different notes to count "
        "both."
    ]


# ---- what is refused


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("tapping,value\ndoor 1,low\n", ["line 2, value", "'low'"]),
        ("tapping,value\ndoor 1,-400 kg\n", ["line 2, value", "a pressure given in kg"]),
        ("tapping,value\ndoor 1,-400 Pascals\n", ["unknown measure 'Pascals'"]),
        ('tapping,value\ndoor 1,"-412,5"\n', ["line 2, value", "comma", "decimal point"]),
        ("tapping,value\ndoor 1,-412,5\n", ["line 2", "3 cells under 2 columns", "semicolons"]),
        (
            "tapping,value,engine_speed\ndoor 1,-400,2100\n",
            ["line 2, engine_speed", "2100", "write '2100 rpm'"],
        ),
        ("tapping,value,sd\ndoor 1,-400,0\n", ["line 2, sd", "above 0"]),
        ("tapping,value,temperature\ndoor 1,-400,31\n", ["temperature", "write '31 degC'"]),
        ("tapping,quantity,value\ndoor 1,dynamic,4\n", ["line 2, quantity", "unknown quantity 'dynamic'"]),
        ("tapping,valeu\ndoor 1,-400\n", ["unknown column 'valeu'", "'value'"]),
        ("tapping,set\ndoor 1,1\n", ["the column 'value' is missing"]),
        ("tapping,value,value\ndoor 1,1,2\n", ["stands twice"]),
        ("tapping,value\n,-400\n", ["line 2", "has no tapping"]),
        ("tapping,value\ndoor 1 - door 1,-4\n", ["always 0"]),
        ("tapping,quantity,value\ndoor 1 - door 2,velocity,4\n", ["no difference of two pressures"]),
        ("tapping,value\ndoor 1 - door 2 - door 3,-4\n", ["no difference of two pressures"]),
        ("tapping,value\n", ["holds no readings"]),
        ("tapping,value\ndoor 1,\n", ["no row has a value"]),
        ("tapping,value\ndoor 1,nan\n", ["line 2, value", "no finite number"]),
        ("  \n", ["is empty"]),
    ],
)
def test_what_is_wrong_is_one_sentence(tmp_path, text, words):
    got = sentence(tmp_path, text)
    for word in words:
        assert word in got


def test_no_file_and_no_table():
    with pytest.raises(ds.InputError, match="no such readings file"):
        ds.read_readings("nowhere.csv")
    with pytest.raises(ds.InputError, match="is no table of readings"):
        ds.read_readings(7)
    with pytest.raises(ds.InputError, match="is no table of readings"):
        ds.read_readings([1, 2])


def test_unknown_tappings_fans_and_openings_name_the_nearest():
    def refused(**own):
        reading = {"tapping": "door 1", "value": -400.0, **own}
        with pytest.raises(ds.UnknownName) as err:
            ds.check_readings(PICKER, [reading])
        return str(err.value)

    assert "line 1: unknown tapping 'dor 1'; did you mean 'door 1'?" in refused(tapping="dor 1")
    assert "unknown fan 'lft fan'; did you mean 'left fan'" in refused(
        tapping="lft fan", quantity="speed", value=300
    )
    assert "blanked: unknown opening 'front 9'" in refused(blanked="front 9")
    with pytest.raises(ds.InputError, match="cannot be taped shut"):
        ds.check_readings(PICKER, [{"tapping": "door 1", "value": -400.0, "blanked": "duct 1"}])


def test_weather_of_a_reading_needs_a_machine_with_weather():
    reading = [{"tapping": "left tapping", "value": -500.0, "temperature": "20 degC"}]
    with pytest.raises(ds.InputError, match="the machine's air has no temperature"):
        ds.check_readings(ds.demo("bench"), reading)


def test_an_engine_speed_needs_one_engine():
    fan = {"kind": "fan", "to": "box", "speed": "1500 rpm", "curve_speed": "1500 rpm"}
    fan |= {"flow": ["0 m3/s", "1 m3/s"], "total_pressure": ["900 Pa", "500 Pa"]}
    machine = ds.Machine.of(
        {
            "format": 1,
            "air": {"density": "1.2 kg/m3"},
            "part": [
                {"name": "one", "from": "outside", **fan},
                {"name": "two", "from": "outside", **fan},
                {"name": "hole", "kind": "opening", "from": "box", "to": "outside", "area": 0.05}
                | {"loss_coefficient": 1.5},
            ],
            "tapping": [{"name": "box", "path": "hole", "end": "from", "area": "1 m2"}],
        }
    )
    reading = {"tapping": "box", "value": "600 Pa"}
    assert ds.check_readings(machine, [reading]).problems == []
    with pytest.raises(ds.InputError, match="line 1: an engine speed says nothing of several fans"):
        ds.check_readings(machine, [{**reading, "engine_speed": "1500 rpm"}])


@given(st.text(alphabet='tapingvalue,;\t\n -0123456789.Pa"#+\N{MINUS SIGN}', max_size=120))
@examples(150)
def test_any_text_is_read_or_refused_with_a_sentence(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("any") / "readings.csv"
    for head in ("", "tapping,value,engine_speed,sd,blanked\n"):
        path.write_text(head + text, encoding="utf-8")
        try:
            assert len(ds.read_readings(path)) > 0
        except ds.InputError as err:
            assert "readings.csv" in str(err)


# ---- signs in names


def signed(*names):
    """A machine with openings of these names on one box, with a tapping whose name has a minus."""
    openings = [
        {"name": name, "kind": "opening", "from": "outside", "to": "box", "area": 0.05}
        | {"loss_coefficient": 1.5}
        for name in names
    ]
    fan = {"name": "fan", "kind": "fan", "from": "box", "to": "outside", "speed": "1500 rpm"}
    fan |= {"curve_speed": "1500 rpm", "flow": ["0 m3/s", "2 m3/s"], "total_pressure": ["900 Pa", "200 Pa"]}
    tapping = {"name": "left - right", "path": "fan", "end": "from", "area": "1 m2"}
    return ds.Machine.of(
        {
            "format": 1,
            "air": {"density": "1.2 kg/m3"},
            "part": [*openings, fan],
            "tapping": [tapping, {**tapping, "name": "box"}],
        }
    )


@pytest.mark.parametrize(
    ("cell", "names"),
    [
        ("front 4+R", ("front 4+R",)),  # a name of the machine, not "front 4" and something
        ("front 4+R + front 4", ("front 4+R", "front 4")),
        ("front 4+R+front 4", ("front 4+R", "front 4")),  # the longest names there are
        ("L+R+", ("L+R+",)),
        ("L+R+ + L", ("L+R+", "L")),
        ("L+L", ("L",)),
        ("L +", ("L",)),
        ("one + two", ("one + two",)),
        ("L + one + two+front 4", ("L", "one + two", "front 4")),
        (["front 4", "L+R+"], ("front 4", "L+R+")),
        (("one + two",), ("one + two",)),
        ("", ()),
    ],
)
def test_a_plus_in_a_name_is_told_from_one_between_names(cell, names):
    machine = signed("front 4", "front 4+R", "L", "L+R+", "one + two")
    reading = {"tapping": "box", "value": "-300 Pa", "blanked": cell}
    assert ds.check_readings(machine, [reading]).readings.items[0].blanked == names
    assert ds.reduce_readings(machine, [reading]).readings.items[0].blanked == names
    fit = ds.fit(machine, [reading], ["fan.soiling"], draws=2)
    assert fit.taken.items[0].blanked == names
    again = ds.read_readings(fit.taken.rows())
    assert ds.check_readings(machine, again).readings.items[0].blanked == names


def test_what_is_in_no_name_is_refused_by_the_part_that_is_none():
    machine = signed("front 4", "front 4+R")
    for cell, wrong in (("front 4+R+front 5", "front 5"), ("front 4 + R", "R"), ("x+" * 100_000, "x")):
        with pytest.raises(ds.UnknownName, match=f"line 1, blanked: unknown opening '{wrong}'"):
            ds.check_readings(machine, [{"tapping": "box", "value": -300.0, "blanked": cell}])


def test_a_minus_in_a_tappings_name_makes_no_difference():
    machine = signed("front 4")
    (reading,) = ds.check_readings(machine, [{"tapping": "left - right", "value": -300.0}]).readings
    assert (reading.tapping, reading.minus) == ("left - right", "")
    with pytest.raises(ds.UnknownName, match="unknown tapping 'left'"):
        ds.check_readings(machine, [{"tapping": "left - box", "value": -300.0}])


# ---- signs and sizes


def plausible(factor=1.0, tappings=("door 1", "door 2", "door 3", "air box")):
    state = PICKER.solve()
    return [
        {"tapping": t, "value": factor * state.ask(f"tapping {t}"), "engine_speed": "2100 rpm"}
        for t in tappings
    ]


def test_readings_as_the_machine_makes_them_have_no_problems():
    check = ds.check_readings(PICKER, plausible())
    assert check.problems == []
    assert [row["quotient"] for row in check.rows()] == pytest.approx([1.0] * 4)
    assert "half of them lie within 0%" in str(check)


def test_all_signs_flipped_says_so():
    check = ds.check_readings(PICKER, plausible(-1.0))
    assert check.problems == [
        "all pressures have the opposite sign of what the machine makes (lines 1, 2, 3, 4): write vacuum "
        "as a negative pressure, or as the quantity vacuum."
    ]
    with pytest.raises(ds.InputError, match="write vacuum as a negative pressure"):
        ds.fit(PICKER, plausible(-1.0))


def test_one_flipped_sign_names_its_line():
    rows = plausible()
    rows[1]["value"] *= -1.0
    (problem,) = ds.check_readings(PICKER, rows).problems
    assert problem.startswith("line 2: door 2 reads +386 Pa where the machine makes -386 Pa")


def test_what_a_possible_machine_shows_is_never_refused():
    """A difference's sign hangs on the leak that is sought; a speed that was not read may be any."""
    at_speed = PICKER.change({"belt.engine_speed": "2200 rpm"})
    leaky = at_speed.change({"hatch leak 1.area": ds.times(8.0)}).solve()
    value = leaky.ask("tapping door 1") - leaky.ask("tapping door 5")
    sound = at_speed.solve()
    assert value > 60.0 and sound.ask("tapping door 1") - sound.ask("tapping door 5") < -30.0
    row = {"tapping": "door 1 - door 5", "value": value, "engine_speed": "2200 rpm"}
    assert ds.check_readings(PICKER, [row]).problems == []
    assert ds.fit(PICKER, [row], draws=10).unknowns
    fast = {"tapping": "air box", "value": 1.8 * sound.ask("tapping air box")}
    assert ds.check_readings(PICKER, [fast]).problems == []
    (problem,) = ds.check_readings(PICKER, [{**fast, "value": 90e3}]).problems
    assert "more than the fans can make" in problem


def test_a_pressure_that_no_fan_makes():
    rows = plausible()
    rows[3]["value"] = "52 kPa"
    (problem,) = ds.check_readings(PICKER, rows).problems
    assert "line 4: air box reads" in problem
    assert "more than the fans can make" in problem
    with pytest.raises(ds.InputError, match="look at its measure"):
        ds.fit(PICKER, rows)


def test_what_is_wrong_with_all_readings_is_one_sentence():
    (nothing,) = ds.check_readings(PICKER, plausible(0.0)).problems
    assert "all 4 pressures are next to nothing" in nothing
    (kilo,) = ds.check_readings(PICKER, plausible(1e-3)).problems
    assert "as if kilopascals had been written as pascals" in kilo
    fast = [{**row, "engine_speed": "9000 rpm"} for row in plausible()]
    with pytest.raises(ds.InputError, match=r"9,000 rpm is 4\.3 times the machine"):
        ds.fit(PICKER, fast)
    assert ds.check_readings(PICKER, plausible(0.7)).problems == []


def test_a_shaft_power_in_the_wrong_measure():
    rows = [{"tapping": "left fan", "quantity": "shaft power", "value": 16e6, "engine_speed": "2100 rpm"}]
    (problem,) = ds.check_readings(PICKER, rows).problems
    assert "look at its measure" in problem


# ---- reduced for looking


def test_reduction_follows_the_fan_laws():
    readings = [
        {"tapping": "door 1", "value": -400.0, "engine_speed": "1800 rpm"},
        {"tapping": "left fan", "quantity": "shaft power", "value": "10 kW", "engine_speed": "1800 rpm"},
        {"tapping": "door 1", "quantity": "velocity", "value": 12.0, "engine_speed": "1800 rpm"},
        {"tapping": "door 1", "value": -400.0},
    ]
    density = PICKER.air().density
    reduced = ds.reduce_readings(PICKER, readings, 2100 * RPM, 1.1 * density)
    r = 2100 / 1800
    expected = [-400 * r**2 * 1.1, 10e3 * r**3 * 1.1, 12 * r, -400 * 1.1]
    np.testing.assert_allclose([row["reduced"] for row in reduced.rows()], expected, rtol=1e-9)
    assert "2,100 rpm" in str(reduced)


def test_a_machine_at_two_speeds_reduces_to_nearly_one():
    """The fan laws (as any handbook of fans has them) hold where losses are constants: here within 2 %."""
    values = []
    for speed in (1800, 2300):
        state = PICKER.change({"belt.engine_speed": f"{speed} rpm"}).solve()
        row = {"tapping": "door 2", "value": state.ask("tapping door 2"), "engine_speed": f"{speed} rpm"}
        values.append(ds.reduce_readings(PICKER, [row]).rows()[0]["reduced"])
    assert values[0] == pytest.approx(values[1], rel=0.02)


# ---- errors of readings


def test_errors_of_a_reading_by_itself():
    errors = ReadingErrors(swing=3.0, share=0.01, power=0.05)
    of = errors.of
    assert of(ds.Reading("door 1", -400.0), -400.0) == pytest.approx(5.0)
    assert of(ds.Reading("door 1", -400.0, sd=2.0), -400.0) == 2.0
    assert of(ds.Reading("fan", 10e3, "shaft power"), 10e3) == pytest.approx(500.0)
    # a display's step hides a uniform error
    assert of(ds.Reading("door 1", 0.0, sd=1.0, resolution=10.0), 0.0) == pytest.approx(
        math.hypot(1, 10 / 12**0.5)
    )
