"""A machine told in its own measures, and readings as they are noted down beside it."""

import numpy as np
import pytest
from command_line import run  # noqa: F401

import ductsim as ds

HEADER = "tapping,quantity,value,engine_speed,fan_speed,blanked\n"


@pytest.fixture
def inch(tmp_path):
    """The suction machine as a file that says inch."""
    machine = ds.demo("suction").rebuilt(measures="inch")
    machine.write(tmp_path / "machine.toml")
    return tmp_path / "machine.toml"


def readings(tmp_path, *lines):
    place = tmp_path / "readings.csv"
    place.write_text(HEADER + "\n".join(lines) + "\n", encoding="utf-8")
    return place


def test_the_file_says_in_which_measures_answers_are_told(inch, run):  # noqa: F811
    assert 'measures = "inch"' in inch.read_text(encoding="utf-8")
    assert ds.Machine.read(inch).measures == "inch"
    for command in ("solve", "check", "sensitivity"):
        status, out, _ = run(command, str(inch))
        assert status == 0 and "inH2O" in out and " Pa" not in out
    _, out, _ = run("solve", str(inch), "--measures", "metric")
    assert " Pa" in out and "inH2O" not in out


def test_measures_stay_with_a_machine_that_is_changed_and_are_no_part_of_its_numbers(inch):
    machine = ds.Machine.read(inch)
    assert machine.change({"fan.speed": "1600 rpm"}).measures == "inch"
    assert machine == ds.demo("suction")
    with pytest.raises(ds.InputError, match="unknown system of measures 'imperial'"):
        ds.Machine.of('format = 1\nmeasures = "imperial"\n[air]\n')


def test_notes_and_problems_are_told_in_the_measures_of_the_machine(tmp_path):
    machine = ds.demo("picker").change({"belt.available_power": "10 kW"}).rebuilt(measures="inch")
    assert any(" hp" in note and "kW" not in note for note in machine.solve().notes)
    place = readings(tmp_path, "door 1,static,400 Pa,2100 rpm,,")
    found = ds.check_readings(machine, place).problems
    assert "inH2O" in found[0] and " Pa" not in found[0]


def test_a_vacuum_is_a_static_pressure_with_its_sign_turned(tmp_path):
    place = readings(tmp_path, "door 1,vacuum,1.5 in wc,2100 rpm,,", "door 2,vacuum,1.5 in wc,2100 rpm,,")
    first = ds.read_readings(place).items[0]
    assert first.quantity == "static" and first.value == pytest.approx(-1.5 * 249.08891)
    assert not ds.check_readings(ds.demo("picker"), place).problems
    with pytest.raises(ds.InputError, match=r"line 2, value.*is a vacuum below zero"):
        ds.read_readings(readings(tmp_path, "door 1,vacuum,-300 Pa,2100 rpm,,"))


def test_all_and_patterns_name_what_is_taped(tmp_path):
    machine = ds.demo("picker")
    lines = [f"door 1,vacuum,500 Pa,2100 rpm,,{how}" for how in ("all", "front *", "front 1 + rear *")]
    every, front, mixed = (r.blanked for r in ds.check_readings(machine, readings(tmp_path, *lines)).readings)
    assert every == tuple(f"{side} {u}" for u in "12345" for side in ("front", "rear"))
    assert front == tuple(f"front {u}" for u in "12345")
    assert mixed == ("front 1", *(f"rear {u}" for u in "12345"))
    with pytest.raises(ds.InputError, match=r"line 2, blanked: unknown opening 'side \*'"):
        ds.check_readings(machine, readings(tmp_path, "door 1,vacuum,500 Pa,2100 rpm,,side *"))
    # the separator, an opening inside, belongs to no unit
    suction = ds.check_readings(ds.demo("suction"), readings(tmp_path, "head 1,vacuum,500 Pa,,,all"))
    assert suction.readings.items[0].blanked == tuple(f"mouth {u}" for u in range(1, 9))


def test_a_fan_speed_means_the_engine_speed_that_gives_it(tmp_path):
    machine = ds.demo("picker")
    turns = 2100 * 420 / 239 * 0.98  # pulleys and slip of the file
    by_fan = readings(tmp_path, f"door 1,vacuum,500 Pa,,{turns!r} rpm,")
    found = ds.check_readings(machine, by_fan)
    by_engine = ds.check_readings(machine, readings(tmp_path, "door 1,vacuum,500 Pa,2100 rpm,,"))
    assert np.allclose(found.predicted, by_engine.predicted, rtol=1e-12)
    alone = ds.check_readings(ds.demo("suction"), readings(tmp_path, "head 1,vacuum,500 Pa,,1700 rpm,"))
    assert -alone.predicted[0] == pytest.approx(ds.demo("suction").ask("vacuum 1"))
    with pytest.raises(ds.InputError, match="has both engine_speed and fan_speed"):
        ds.read_readings(readings(tmp_path, "door 1,vacuum,500 Pa,2100 rpm,3600 rpm,"))


def test_what_a_notebook_shows_is_in_the_measures_of_the_machine():
    metric = ds.demo("picker")
    inch = metric.rebuilt(measures="inch")
    for ask in (lambda m: m.solve(), lambda m: ds.sweep(m, "belt.engine_speed", [200.0, 220.0])):
        found = ask(inch)
        assert str(found) == "\n".join(found.sentences("inch")) != str(ask(metric))
        assert "inH2O" in str(found) and "inH2O" in found._repr_html_() and " Pa" not in str(found)
        assert "inH2O" not in ask(metric)._repr_html_()
