"""What the gauges should show on a healthy machine, and how far the speed may be raised."""

import json
import math

import numpy as np
import pytest

import ductsim as ds
from ductsim.answers.limits import limits_of
from ductsim.readings.errors import ReadingErrors
from ductsim.speed.raising import raising


@pytest.fixture(scope="module")
def found():
    return ds.gauges(ds.demo("picker"), ["1900 rpm", "2100 rpm"])


def test_every_tapping_is_there_at_every_speed_low_to_high(found):
    rows = found.rows()
    taps = [tapping.name for tapping in found.machine.layout.tappings]
    assert [(round(r["speed_rpm"]), r["tapping"]) for r in rows] == [
        (s, t) for s in (1900, 2100) for t in taps
    ]
    assert all(r["lowest_Pa"] < r["expected_Pa"] < r["highest_Pa"] for r in rows)
    assert {r["read"] for r in rows} == {"________"}


def test_the_middle_is_that_of_the_healthy_machine(found):
    healthy = ds.demo("picker").change({a: after for a, (_, after) in found.mended.items()})
    state, slower = healthy.solve(), healthy.change({"belt.engine_speed": "1900 rpm"}).solve()
    for name, shown in found.shown.items():
        own = state.ask(f"tapping {name}")
        assert shown[1, 1] == pytest.approx(own, rel=1e-9), name
        assert shown[0, 1] == pytest.approx(slower.ask(f"tapping {name}"), rel=1e-9)
    assert found.mended["right screen.blinded"] == (0.32, 0.0)
    assert found.mended["hatch leak 4.area"] == pytest.approx((0.04, 0.0065))
    assert "hatch leak 1.area" not in found.mended  # it is as large as is likely


def test_nine_of_ten_readings_of_healthy_machines_lie_within(found):
    """Drawn anew by the usual spreads and the errors of a gauge."""
    from ductsim.readings.unknowns import possible

    rng = np.random.default_rng(5)
    healthy = ds.demo("picker").change({a: after for a, (_, after) in found.mended.items()})
    state = possible(healthy, 400, rng).solve(raise_error=False)
    errors = ReadingErrors()
    shares = []
    for name, shown in found.shown.items():
        value = state.ask(f"tapping {name}")
        sd = np.sqrt(
            errors.zero**2 + (errors.scale * value) ** 2 + errors.swing**2 + (errors.share * value) ** 2
        )
        read = value + sd * rng.standard_normal(len(value))
        shares.append(np.mean((read > shown[1, 0]) & (read < shown[1, 2])))
    assert 0.85 < np.mean(shares) < 0.95


def test_a_fan_is_told_normal_or_too_weak_by_the_gauge_beside_it():
    machine = ds.demo("suction")
    value = machine.solve().ask("tapping fan inlet")
    speed = machine.numbers["fan.speed"]

    def said(share, measures="metric"):
        readings = [ds.Reading("fan inlet", share * value, engine_speed=speed)]
        return ds.gauges(machine, readings=readings).sentences(measures)

    normal = (
        "fan is normal while fan inlet shows 2,068 Pa to 2,279 Pa of vacuum at 1,700 rpm: read it only by a "
    )
    assert any(words.startswith(normal) for words in said(1.0))
    assert "fan inlet was read as 2,161 Pa of vacuum, brought to that speed: normal." in said(1.0)
    assert any("too little. Look at the belts" in words for words in said(0.8))
    assert any("too much. Look for what is shut" in words for words in said(1.2))
    assert "fan inlet was read as 8.68 inH2O of vacuum, brought to that speed: normal." in said(1.0, "inch")


def test_a_machine_without_a_tapping_at_its_fan_says_that_no_gauge_tells():
    found = ds.gauges(ds.demo("bench"), samples=20)
    assert "No gauge tells whether fan is normal: there is no tapping beside." in found.sentences()


def test_vacuum_goes_first_where_vacuum_and_opening_air_disagree():
    (words,) = (w for w in ds.gauges(ds.demo("suction"), samples=20).sentences() if w.startswith("Begin"))
    assert words == (
        "Begin with unit 4, which as described has the least vacuum, 854 Pa: vacuum goes first, since a "
        "gauge shows it. Unit 6 has the least air through its openings, 0.343 kg/s: look at it next."
    )


def passed(machine, address, factor):
    state = machine.change({address: f"x{factor!r}"}).solve()
    return any(limit.passed.any() for limit in limits_of(state))


@pytest.mark.parametrize(
    ("demo", "address", "changes"),
    [
        ("picker", "belt.engine_speed", {}),
        ("picker", "belt.engine_speed", {"belt.available_power": "60 kW"}),
        ("picker", "belt.engine_speed", {"belt.available_power": "30 kW"}),
        ("suction", "fan.speed", {}),
        ("bench", "fan.speed", {"fan.highest_speed": "1739 rpm"}),
    ],
)
def test_the_speed_may_be_raised_to_the_limit_itself_rounded_down(demo, address, changes):
    machine = ds.demo(demo).change(changes)
    found = raising(machine)
    assert not passed(machine, address, found.factor)
    assert passed(machine, address, found.factor + 0.001)


def test_the_limit_is_said_as_a_figure_that_may_be_driven():
    machine = ds.demo("bench").change({"fan.highest_speed": "1739 rpm"})
    found = raising(machine)
    assert found.factor == 1.159  # 1739 / 1500 = 1.15933
    assert found.sentence() == (
        "The fan speed may be raised to 1.159 times today's, 1,738 rpm: there fan reaches its highest speed."
    )
    slower = raising(machine.change({"fan.speed": "1800 rpm"}))
    assert slower.sentence().startswith("The fan speed must come down to 0.966 times today's, 1,738 rpm")
    engine = raising(ds.demo("picker")).sentence()
    assert engine == (
        "The engine speed may be raised to 1.076 times today's, 2,259 rpm: there the fans on belt take all "
        "the power that the drive has."
    )


def test_a_limit_out_of_reach_and_none_stated():
    far = ds.demo("bench").change({"fan.highest_speed": "9000 rpm"})
    assert math.isinf(raising(far).factor)
    assert raising(far).sentence().startswith("No limit that the machine states is reached")
    text = ds.demo("bench").document()
    for part in text["part"]:
        part.pop("highest_speed", None)
    machine = ds.Machine.of(text)
    assert raising(machine) is None
    assert (
        ds.gauges(machine, samples=20).sentences()[-1].startswith("How far the speed may be raised cannot be")
    )


def test_the_ground_speed_names_the_limit_itself():
    note = next(n for n in ds.ground_speed(ds.demo("suction"), samples=20).notes if n.kind == "highest speed")
    assert note.value == 1.235
    assert "engine" not in note


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        ({"speeds": ["quick"]}, "gauges, speeds"),
        ({"speeds": ["-5 rpm"]}, "gauges, speeds"),
        ({"samples": 3}, "samples"),
    ],
)
def test_what_cannot_be_is_refused(arguments, problem):
    with pytest.raises(ds.InputError, match=problem):
        ds.gauges(ds.demo("bench"), **arguments)
    with pytest.raises(ds.InputError, match="columns"):
        ds.gauges(ds.demo("bench").change({"fan.speed": ["1400 rpm", "1500 rpm"]}))


def test_the_command_prints_a_column_to_write_in(run):
    out = run("gauges", "demo:suction", "1600 rpm", "--json", "--measures", "inch")[1]
    told = json.loads(out)
    assert len(told["tables"]["gauges"]) == 10
    assert "inH2O" in told["answer"][0]
    assert "________" in run("gauges", "demo:suction")[1]


def test_a_speed_that_the_limits_do_not_allow_is_refused_in_words_first():
    found = ds.gauges(ds.demo("picker"), ["2100 rpm", "9000 rpm"], samples=20)
    first = found.sentences()[0]
    assert first.startswith("Never turn it at 9,000 rpm: the limits that the machine states end at 2,2")
    assert not ds.gauges(ds.demo("picker"), ["2100 rpm"], samples=20).sentences()[0].startswith("Never")
