"""One number through its values: fan laws of published examples, fuel, limits, the change of the weakest."""

import json

import numpy as np
import pytest

import ductsim as ds
from ductsim.display.tables import plain
from ductsim.studies.sweep.study import SPECIFIC_CONSUMPTION


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def fan_on_a_square_law(flow, pressure, power, speed, density=1.2):
    """A fan that delivers a duty point into a resistance that goes with the square of the flow [SI]."""
    loss = 0.5 * density * flow**2  # velocity pressure at 1 m2
    return ds.Machine.of(
        {
            "format": 1,
            "air": {"density": density},
            "part": [
                {"name": "fan", "kind": "fan", "from": "outside", "to": "box", "speed": speed}
                | {"curve_speed": speed, "curve_density": density}
                | {
                    "flow": [0.0, flow, 1.6 * flow],
                    "total_pressure": [1.3 * pressure, pressure, 0.4 * pressure],
                }
                | {"shaft_power": [0.5 * power, power, 1.2 * power]},
                {"name": "load", "kind": "opening", "from": "box", "to": "outside", "area": 1.0}
                | {"loss_coefficient": pressure / loss},
            ],
        }
    )


# speeds; flow, pressure and power at the first; the same at the second as published
SPEEDS = [
    pytest.param(
        ("1200 rpm", "1500 rpm"),
        ("10000 CFM", "2.0 inH2O", "5 hp"),
        ("12500 CFM", "3.125 inH2O", "9.766 hp"),
        id="worked example of the fan laws, printed as 12 500 cfm, 3.13 in, 9.77 hp",
    ),
    pytest.param(
        ("3500 rpm", "1700 rpm"),
        ("400 CFM", "126 mmH2O", "17.5 hp"),
        ("194.29 CFM", "29.726 mmH2O", "2.0053 hp"),
        id="Flow of Fluids, Technical Paper 410, example 7.33 (a pump: 194.3, 29.73, 2.005), fan laws",
    ),
]


@pytest.mark.parametrize(("speeds", "duty", "expected"), SPEEDS)
def test_speed_as_in_the_published_worked_examples(speeds, duty, expected):
    """Printed to three or four digits: 0.2 %."""
    measures = ("m3/s", "Pa", "W")
    flow, pressure, power = (ds.si(text, measure) for text, measure in zip(duty, measures, strict=True))
    machine = fan_on_a_square_law(flow, pressure, power, ds.si(speeds[0], "rad/s"))
    found = ds.sweep(machine, "fan.speed", list(speeds), of=["fan.flow", "pressure box", "shaft power"])
    for v, texts in enumerate((duty, expected)):
        flow, pressure, power = (ds.si(text, m) for text, m in zip(texts, measures, strict=True))
        assert found.answers["fan.flow"][v, 0] / 1.2 == pytest.approx(flow, rel=2e-3)
        assert found.answers["pressure box"][v, 0] == pytest.approx(pressure, rel=2e-3)
        assert found.answers["shaft power"][v, 0] == pytest.approx(power, rel=2e-3)


def test_a_quarter_more_air_needs_twice_the_motor():
    """ "Need +25 % air in a fixed system": 1000 to 1250 rpm, motor from 5 hp to 10 hp (5 x 1.953 = 9.77).

    The fan laws as a secondary text works them.
    """
    machine = fan_on_a_square_law(4.0, 500.0, ds.si("5 hp", "W"), ds.si("1000 rpm", "rad/s"))
    found = ds.sweep(machine, "fan.speed", ["1000 rpm", "1250 rpm"], of=["fan.flow", "shaft power"])
    flow, power = found.answers["fan.flow"][:, 0], found.answers["shaft power"][:, 0]
    assert flow[1] / flow[0] == pytest.approx(1.25, rel=1e-6)
    assert power[1] / power[0] == pytest.approx(1.953, rel=5e-4)


def test_thinner_air_as_in_stoecker_and_jones():
    """Stoecker and Jones, Refrigeration and Air Conditioning, chapter 6: a fan at 20 r/s delivers 2.4 m3/s
    at 340 Pa with 1.8 kW at 20 degC; at 40 degC and the same speed the power is 1.685 kW (published answer),
    the flow the same and the pressure 318.3 Pa."""
    machine = fan_on_a_square_law(2.4, 340.0, 1800.0, ds.si("20 rev/s", "rad/s"), density=1.2)
    thin = 1.2 * 293.15 / 313.15
    found = ds.sweep(machine, "air.density", [1.2, thin], of=["fan.flow", "pressure box", "shaft power"])
    assert found.answers["fan.flow"][:, 0] / [1.2, thin] == pytest.approx([2.4, 2.4], rel=1e-3)
    assert found.answers["pressure box"][1, 0] == pytest.approx(318.3, rel=1e-3)
    assert found.answers["shaft power"][1, 0] == pytest.approx(1685.0, rel=1e-3)


def test_fuel_is_power_times_specific_consumption(picker):
    """By the definition of specific consumption: 200 g/kWh at 30 kW is 6 kg an hour; no source needed."""
    found = ds.sweep(picker, "belt.engine_speed", ["2000 rpm", "2200 rpm"], specific_consumption="200 g/kWh")
    for row in found.rows():
        assert row["fuel_kg_h"] == pytest.approx(0.2 * row["shaft_power_W"] / 1000)
    assert "at 200 g/kWh." in found.notes[0]
    usual = ds.sweep(picker, "belt.engine_speed", ["2000 rpm"])
    assert usual.specific_consumption == SPECIFIC_CONSUMPTION == pytest.approx(0.230 / 3.6e6)
    assert "from memory" in usual.notes[0]
    assert "kg/h of fuel" in str(usual)


def test_each_value_is_the_machine_with_that_number(picker):
    values = ["1900 rpm", "2100 rpm", "2250 rpm"]
    asked = ["weakest vacuum", "vacuum 5", "hose 3.flow"]
    found = ds.sweep(picker, "belt.engine_speed", values, of=asked)
    for v, value in enumerate(values):
        state = picker.change({"belt.engine_speed": value}).solve()
        for words in asked:
            assert found.answers[words][v, 0] == pytest.approx(state.ask(words), rel=1e-8)
        assert found.weakest[v] == state.weakest
        row = found.rows()[v]
        assert row["engine_speed_rpm"] == pytest.approx(float(value.split()[0]))
        assert row["vacuum_Pa"] == pytest.approx(state.vacuum[state.weakest])
        assert row["duct_air_kg_s"] == pytest.approx(state.ask(f"duct air {state.weakest}"))
        assert row["shaft_power_W"] == pytest.approx(state.ask("shaft power"))


def test_where_another_unit_becomes_the_weakest(picker):
    found = ds.sweep(picker, "hatch leak 4.area", ["0 cm2", "200 cm2", "400 cm2"])
    assert found.weakest == ["5", "4", "4"]
    (change,) = found.changes
    assert (change.before, change.after) == ("5", "4")
    state = picker.change({"hatch leak 4.area": change.value}).solve()
    # found to the 65,536th of a step of 200 cm2, in which the vacuum falls by some 32 Pa
    assert state.vacuum["4"] == pytest.approx(state.vacuum["5"], abs=1e-3)
    assert found.tables()["changes"] == [
        {"area_cm2": pytest.approx(1e4 * change.value), "weakest_below": "5", "weakest_above": "4"}
    ]
    assert "Unit 5 is weakest up to 85.2" in str(found)


def test_two_changes_within_one_step_are_both_found(picker):
    """Units 3 and 4 and 5 alternately: unit 4's hatch closes while the others' hoses are long."""
    near = picker.change({"hose 3.length": "8 m", "hatch leak 4.area": "64 cm2"})
    found = ds.sweep(near, ["hatch leak 5.area"], ["0 cm2", "900 cm2"])
    names = [found.weakest[0], *[change.after for change in found.changes]]
    assert names[-1] == "5"
    for change in found.changes:
        state = near.change({"hatch leak 5.area": change.value}).solve()
        assert state.vacuum[change.before] == pytest.approx(state.vacuum[change.after], abs=0.05)


def test_limits_are_marked_and_the_best_allowed_value_named(picker):
    found = ds.sweep(picker, "belt.driven_pulley", ["200 mm", "230 mm", "260 mm"])
    assert [bool(words) for words in found.passed] == [True, False, False]
    row = found.rows()[0]
    assert row["driven_pulley_mm"] == pytest.approx(200.0)
    assert "above their highest speed of 4,200 rpm" in row["note"]
    assert "more than the 40.0 kW that it has" in row["note"]
    assert any(s.startswith("Among the allowed values 230.0 mm is best") for s in found.sentences())
    assert any(s.startswith("Not allowed at 200.0 mm") for s in found.sentences())
    assert not any("highest speed" in note for note in found.notes)
    assert any("guard" in caution for caution in found.cautions)
    none = ds.sweep(picker, "belt.driven_pulley", ["200 mm"])
    assert "None of the values is allowed." in none.sentences()


def test_the_best_may_lie_between(picker):
    """A larger nozzle blows more and lets the box's pressure fall: somewhere between it is best."""
    found = ds.sweep(picker, "jet 4.nozzle_area", ["50 cm2", "75 cm2", "120 cm2"])
    assert any("Among these values 75.00 cm2 is best" in s for s in found.sentences())


def test_factors_and_patterns(picker):
    found = ds.sweep(picker, "hose *.length", ["x0.5", "x1", "x2"])
    assert found.scaled
    assert len(found.addresses) == 5
    half = picker.change({"hose *.length": "x0.5"}).ask("weakest vacuum")
    assert found.answers["weakest vacuum"][0, 0] == pytest.approx(half)
    assert found.answers["weakest vacuum"][1, 0] == pytest.approx(picker.ask("weakest vacuum"))
    assert found.rows()[0]["factor"] == 0.5
    same = ds.sweep(picker, "hose *.length", ds.times([0.5, 1.0, 2.0]))
    assert same.rows() == found.rows()
    assert "While 5 numbers at once go from x0.5 to x2" in str(found)
    several = ds.sweep(picker, ["hose 1.length", "hose 2.length"], [1.0, 2.0])
    both = picker.change({"hose 1.length": 2.0, "hose 2.length": 2.0}).ask("weakest vacuum")
    assert several.answers["weakest vacuum"][1, 0] == pytest.approx(both)
    assert ds.sweep(picker, "hose 1.length", "2 m").values == pytest.approx([2.0])


def test_possible_machines_are_swept_one_by_one(picker):
    areas = np.array([0.02, 0.03, 0.04, 0.05])
    many = picker.change({"hatch leak 4.area": areas})
    found = ds.sweep(many, "belt.engine_speed", ["2000 rpm", "2200 rpm"])
    answers = found.answers["weakest vacuum"]
    assert answers.shape == (2, 4)
    for m, area in enumerate(areas):
        single = picker.change({"hatch leak 4.area": area, "belt.engine_speed": "2200 rpm"})
        assert answers[1, m] == pytest.approx(single.ask("weakest vacuum"), rel=1e-8)
    row = found.rows()[1]
    assert row["weakest_vacuum_low_Pa"] <= row["weakest_vacuum_Pa"] <= row["weakest_vacuum_high_Pa"]
    assert any("4 possible machines" in note for note in found.notes)
    scaled = ds.sweep(many, "hatch leak 4.area", ["x0.5", "x1"])
    assert scaled.answers["weakest vacuum"][1] == pytest.approx(many.ask("weakest vacuum"))


def test_a_temperature_is_swept_in_degrees(picker):
    row = ds.sweep(picker, "air.temperature", ["20 degC", "35 degC"]).rows()[1]
    assert row["temperature_degC"] == pytest.approx(35.0)


def test_rows_and_tables_are_plain(picker):
    found = ds.sweep(picker, "belt.engine_speed", ["1900 rpm", "2100 rpm"])
    for rows in found.tables().values():
        json.dumps(plain(rows), allow_nan=False)
    assert len(found.tables()["units"]) == 10
    assert len(found.table()) == 2
    assert repr(found).startswith("<Sweep: belt.engine_speed, 2 values")
    assert "inH2O" in found.sentences("inch")[0]


@pytest.mark.parametrize(
    ("address", "values", "more", "sentence"),
    [
        ("belt.engine_sped", [200.0], {}, "unknown address.*did you mean 'belt.engine_speed'"),
        ("belt.engine_speed", ["2100 m"], {}, "values: a speed of rotation given in m"),
        ("belt.engine_speed", [], {}, r"\[\] is no list of values"),
        ("belt.engine_speed", None, {}, "None is no list of values"),
        ("belt.engine_speed", [[1.0, 2.0]], {}, r"\[1.0, 2.0\] is not one value"),
        ("belt.engine_speed", ["x0.9", 200.0], {}, "values and factors are mixed"),
        ("belt.engine_speed", [2100.0], {}, "belt.engine_speed.*2100 in the column is out of range"),
        ("belt.engine_speed", ["9000 rpm"], {}, "speed from its drive"),
        (["hose 1.length", "belt.slip"], [0.1], {}, "hose 1.length and belt.slip are of different kinds"),
        ("belt.slip", [0.1], {"of": "vacum 4"}, "unknown question 'vacum 4'; did you mean 'vacuum 4'"),
        ("belt.slip", [0.1], {"specific_consumption": "-1 g/kWh"}, "is no specific consumption"),
        ("belt.slip", [0.1], {"specific_consumption": "3 kg"}, "given in kg"),
    ],
)
def test_what_is_asked_wrongly_gets_one_sentence(picker, address, values, more, sentence):
    with pytest.raises(ds.InputError, match=sentence):
        ds.sweep(picker, address, values, **more)


def test_a_machine_without_units_is_swept_too():
    machine = fan_on_a_square_law(2.0, 500.0, 1500.0, 150.0)
    found = ds.sweep(machine, "fan.speed", [100.0, 150.0], of="shaft power")
    assert found.weakest == ["", ""]
    assert not found.changes
    assert "units" not in found.tables()
    assert "weakest" not in str(found)
