"""A solved machine: vacuum by its definition, the weakest unit, fans, tappings, notes, sentences."""

import pickle

import numpy as np
import pytest

import ductsim as ds
from ductsim.description.layout import Layout, PartEntry, Tapping
from ductsim.display.tables import text
from ductsim.wording import percent, said

BLANKED = {"front *.area": 0.0, "rear *.area": 0.0}


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


@pytest.fixture(scope="module")
def solved(picker):
    return picker.solve()


# ---- definitions


def test_vacuum_is_minus_the_static_pressure_in_the_tappings_section(picker, solved):
    for unit in "12345":
        total = solved.pressure[f"door {unit}"]
        flow = solved.flow[f"jet {unit}", "suction"]
        air = picker.air()
        density = (
            air.density * air.temperature / solved.temperature[f"door {unit}"] * (1 + total / air.pressure)
        )
        static = total - flow**2 / (2 * density * 0.06**2)
        assert solved.vacuum[unit] == pytest.approx(-static, rel=1e-12)


def test_a_tapping_where_two_streams_leave_reads_their_sum(picker, solved):
    tables = picker.layout
    tapping = Tapping("foot", "jet 1", "discharge", tables.tapping["door 1"].schema)
    layout = Layout(
        **{k: getattr(tables, k) for k in ("title", "air", "drives", "parts", "units", "held", "supplied")},
        tappings=(*tables.tappings, tapping),
    )
    machine = ds.Machine(layout, {**picker.numbers, "foot.area": 0.06})
    state = machine.solve()
    flow = state.flow["jet 1", "motive"] + state.flow["jet 1", "suction"]
    assert state.ask("air at foot") == pytest.approx(flow, rel=1e-12)
    velocity = state.ask("velocity pressure foot")
    assert velocity == pytest.approx(state.ask("total pressure foot") - state.ask("tapping foot"), rel=1e-12)


def test_rows_of_units(picker, solved):
    rows = {row["unit"]: row for row in solved.rows()}
    assert list(rows) == list("12345")
    mean = np.mean([row["vacuum_Pa"] for row in rows.values()])
    for unit, row in rows.items():
        assert list(row) == [
            "unit",
            "vacuum_Pa",
            "total_vacuum_Pa",
            "opening_air_kg_s",
            "duct_air_kg_s",
            "duct_velocity_m_s",
            "share_of_mean",
        ]
        assert row["vacuum_Pa"] == solved.vacuum[unit]
        assert row["total_vacuum_Pa"] == -solved.pressure[f"door {unit}"]
        assert row["opening_air_kg_s"] == solved.flow[f"front {unit}"] + solved.flow[f"rear {unit}"]
        assert row["duct_air_kg_s"] == solved.flow[f"duct {unit}"]
        area = np.pi / 4 * 0.2764**2
        speed = solved.flow[f"duct {unit}"] / solved.density[f"duct {unit}"] / area
        assert row["duct_velocity_m_s"] == pytest.approx(speed, rel=1e-12)
        assert row["share_of_mean"] == pytest.approx(row["vacuum_Pa"] / mean, rel=1e-12)


def test_air_is_kept_at_every_unit(solved):
    for unit in "12345":
        enters = sum(solved.flow[f"{name} {unit}"] for name in ("front", "rear", "hatch leak"))
        assert enters == pytest.approx(solved.flow[f"jet {unit}", "suction"], abs=1e-9)
        number_keys = solved.flow[f"duct {unit}"] + solved.flow[f"joint leak {unit}"]
        assert enters + solved.flow[f"jet {unit}", "motive"] == pytest.approx(number_keys, abs=1e-9)


def test_an_opening_written_the_other_way_round_counts_inward(picker, solved):
    parts = tuple(
        PartEntry(p.name, p.schema, p.ends[::-1]) if p.name.startswith("rear") else p
        for p in picker.layout.parts
    )
    import dataclasses

    turned = ds.Machine(dataclasses.replace(picker.layout, parts=parts), picker.numbers).solve()
    assert turned.ask("opening air 2") == pytest.approx(solved.ask("opening air 2"), rel=1e-9)
    assert turned.flow["rear 2"] < 0


# ---- weakest


def test_weakest_is_the_lowest_static_vacuum(solved):
    assert solved.weakest == "4"
    assert solved.vacuum["4"] == min(solved.vacuum.values())
    assert solved.ask("weakest vacuum") == solved.vacuum["4"]


def test_weakest_by_air_is_said_when_it_differs():
    state = ds.demo("suction").solve()
    assert (state.weakest, state.weakest_by_air) == ("4", "6")
    words = "By the air through its openings unit 6 is weakest, by vacuum unit 4: begin with unit 4, whose "
    assert f"{words}vacuum a gauge shows." in state.notes


# ---- fans, drives, notes


def test_rows_of_fans(picker, solved):
    rows = {row["fan"]: row for row in solved.fan_rows()}
    fan = rows["left fan"]
    assert fan["speed_rpm"] == pytest.approx(2100 * 420 / 239 * 0.98)
    assert fan["highest_speed_rpm"] == pytest.approx(4200)
    assert fan["pressure_rise_Pa"] == pytest.approx(
        solved.pressure["air box"] - solved.pressure["left inlet"]
    )
    assert fan["flow_m3_s"] == pytest.approx(solved.flow["left fan"] / solved.density["left fan"])
    assert fan["shaft_power_W"] == solved.power["left fan"]
    assert fan["note"] == ""
    # shaft power is the power of the air over the stated efficiency, less what soiled blades lose
    air_power = fan["flow_m3_s"] * fan["pressure_rise_Pa"]
    assert fan["shaft_power_W"] == pytest.approx(air_power / (0.6 * 0.99), rel=1e-3)


def test_a_fan_above_its_highest_speed_and_a_drive_out_of_power(picker):
    state = picker.change({"belt.driven_pulley": "205 mm"}).solve()
    assert "left fan is above its highest speed of 4,200 rpm." in state.notes
    assert any(
        n.startswith("The fans on belt take 50.") and n.endswith("the drive has.") for n in state.notes
    )
    assert state.fan_rows()[1]["note"] == "above its highest speed of 4,200 rpm"
    at_the_limit = picker.change({"right fan.highest_speed": picker.part("right fan").speed})
    assert at_the_limit.solve().notes == []


def test_a_fan_on_a_rising_stretch():
    fan = ds.Fan(
        flow=[0.0, 0.5, 1.0, 1.5], total_pressure=[800, 1000, 1150, 900], curve_speed=150.0, speed=150.0
    )
    state = ds.demo("bench").change({"* duct.loss_coefficient": "x2"}).replace({"fan": fan}).solve()
    assert "fan is on a rising stretch of its curve, where a fan may surge." in state.notes


def test_a_fan_blown_through_backwards(picker):
    tables = picker.replace({"left fan": ds.Fan.typical(wheel_diameter=0.3, width=0.05, speed=50.0)})
    with pytest.warns(ds.OutsideRange, match="left fan: air flows backwards through the fan"):
        state = tables.solve()
    assert state.flow["left fan"] < 0
    assert "left fan is blown through backwards." in state.notes


def test_air_that_blows_out_of_the_openings(picker):
    state = picker.change({"duct 3.loss_coefficient": 200.0}).solve()
    assert "Air blows out of the openings of unit 3." in state.notes


def test_a_duct_flowing_backwards():
    state = ds.demo("bench").change({"fan.speed": 0.0})
    tables = state.replace({"left mouth": ds.Fan.typical(wheel_diameter=0.3, width=0.05, speed="3000 rpm")})
    with pytest.warns(ds.OutsideRange, match="more than at the last point of its curve"):
        out = tables.solve()
    assert "Air flows backwards in right duct." in out.notes


def test_notes_of_columns_count_scenarios(picker):
    state = picker.change({"belt.driven_pulley": [0.239, 0.205, 0.2]}).solve()
    assert "left fan is above its highest speed of 4,200 rpm in 2 of 3 scenarios." in state.notes


# ---- tappings


def test_rows_of_tappings(picker, solved):
    rows = {row["tapping"]: row for row in solved.tapping_rows()}
    assert set(rows) == set(picker.layout.tapping)
    row = rows["jet box 2"]
    assert row["total_Pa"] == solved.pressure["jet box 2"]
    assert row["static_Pa"] == pytest.approx(row["total_Pa"] - row["velocity_pressure_Pa"])
    assert row["at"] == "to end of hose 2"
    assert solved.ask("tapping jet box 2") == row["static_Pa"]


# ---- frames


def test_frames(solved, picker):
    assert list(solved.units.index) == list("12345")
    assert solved.units.loc["4", "vacuum_Pa"] == solved.vacuum["4"]
    assert solved.fans.loc["left fan", "shaft_power_W"] == solved.power["left fan"]
    assert solved.tappings.loc["door 4", "static_Pa"] == pytest.approx(-solved.vacuum["4"])
    many = picker.change({"hatch leak 4.area": [0.0, 0.04]}).solve()
    frame = many.units
    assert list(frame.columns[:2]) == ["scenario", "unit"]
    assert len(frame) == 10
    one = frame[(frame["scenario"] == 1) & (frame["unit"] == "4")].iloc[0]
    assert one["vacuum_Pa"] == many.vacuum["4"][1]


# ---- columns


def test_a_column_is_the_single_solves(picker):
    areas = np.array([0.0, 0.01, 0.04])
    many = picker.change({"hatch leak 4.area": areas}).solve()
    assert many.vacuum["4"].shape == (3,)
    assert list(many.weakest) == ["5", "4", "4"]
    for i, area in enumerate(areas):
        one = picker.change({"hatch leak 4.area": float(area)}).solve()
        picked = many[i]
        assert isinstance(picked, ds.MachineState)
        assert picked.weakest == one.weakest
        for mine, theirs in zip(picked.rows(), one.rows(), strict=True):
            assert mine.pop("unit") == theirs.pop("unit")
            assert mine == pytest.approx(theirs, rel=1e-8)
        assert many.ask("shaft power")[i] == pytest.approx(one.ask("shaft power"), rel=1e-8)
    rows = {row["unit"]: row for row in many.rows()}
    assert rows["4"]["vacuum_Pa"] == np.median(many.vacuum["4"])
    assert rows["4"]["chance_weakest"] == pytest.approx(2 / 3)
    assert rows["4"]["vacuum_low_Pa"] < rows["4"]["vacuum_Pa"] < rows["4"]["vacuum_high_Pa"]


def test_a_column_of_a_tappings_area_alone(picker):
    many = picker.change({"door 4.area": [0.05, 0.06]}).solve()
    assert many.vacuum["4"].shape == (2,)
    assert many.vacuum["4"][0] > many.vacuum["4"][1]
    np.testing.assert_array_equal(many.vacuum["3"], many.vacuum["3"][0])


def test_a_unit_closed_off_is_left_out_of_the_weakest(picker):
    shut = {"front 4.area": 0.0, "rear 4.area": 0.0, "hatch leak 4.area": 0.0, "jet 4.nozzle_area": 0.0}
    state = picker.change(shut).solve()
    assert state.weakest in "1235" or state.vacuum["4"] < min(state.vacuum[u] for u in "1235")
    assert np.isfinite(state.ask("weakest vacuum"))


# ---- words


def test_sentences_say_the_answer_first(solved, picker):
    first, second, third = solved.sentences()
    vacuum, mean = solved.vacuum["4"], np.mean(list(solved.vacuum.values()))
    share = f"{vacuum / mean:.0%}"
    assert (
        first
        == f"Unit 4 is weakest: {vacuum:.0f} Pa of vacuum at door 4, {share} of the mean of {mean:.0f} Pa."
    )
    assert second.endswith("m/s.")
    assert third.startswith("Its 2 fans take 32.")
    assert str(solved) == "\n".join(solved.sentences())
    assert repr(solved) == f"<MachineState: {first}>"
    assert "inH2O" in solved.sentences("inch")[0]
    many = picker.change({"hatch leak 4.area": [0.0, 0.02, 0.04]}).solve()
    assert str(many).startswith("Unit 4 is weakest in 67% of 3 scenarios; the weakest vacuum is ")


def test_a_machine_without_units_still_answers():
    tables = {
        "format": 1,
        "part": [
            {
                "name": "in",
                "kind": "opening",
                "from": "outside",
                "to": "a",
                "area": 0.1,
                "loss_coefficient": 1,
            },
            {
                "name": "out",
                "kind": "opening",
                "from": "a",
                "to": "outside",
                "area": 0.1,
                "loss_coefficient": 1,
            },
        ],
    }
    machine = ds.Machine.of(tables)
    state = machine.solve()
    assert state.weakest == ""
    assert state.sentences() == ["The machine has no units."]
    assert state.rows() == []
    assert state.units.empty
    assert state.fans.empty
    many = machine.change({"in.area": [0.1, 0.2]}).solve()
    assert list(many.weakest) == ["", ""]
    assert many.sentences() == ["2 scenarios are solved."]
    assert many.units.empty


# ---- no answer


def closed() -> ds.Machine:
    """Air is supplied to a box whose only opening may be shut."""
    tables = {
        "format": 1,
        "supply": [{"node": "box", "mass_flow": 0.1}],
        "part": [
            {
                "name": "out",
                "kind": "opening",
                "from": "box",
                "to": "outside",
                "area": 0.1,
                "loss_coefficient": 1,
            }
        ],
    }
    return ds.Machine.of(tables)


def test_no_operating_point_hands_over_the_state():
    machine = closed().change({"out.area": 0.0})
    with pytest.raises(ds.NoOperatingPoint) as caught:
        machine.solve()
    assert isinstance(caught.value.state, ds.MachineState)
    assert caught.value.node == "box"
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value)
    state = machine.solve(raise_error=False)
    assert not state.solved
    assert state.sentences() == [str(caught.value)]
    assert state.notes == []


def test_failed_scenarios_are_nan_and_the_rest_stands():
    machine = closed().change({"out.area": [0.1, 0.0, 0.2]})
    state = machine.solve(raise_error=False)
    assert list(state.solved) == [True, False, True]
    assert np.isnan(state.flow["out"][1])
    assert state.flow["out"][2] == pytest.approx(0.1)
    assert "1 of 3 scenarios have no answer." in state.sentences()


def test_a_leak_that_is_all_but_sealed_takes_no_more_steps():
    """Newton's steps alone would only halve its flow: 13 steps where a thousandth of the leak is left."""
    machine = ds.demo("picker")
    left = np.array([1.0, 1e-1, 1e-3, 1e-5, 1e-7])
    state = machine.change({"cuff leak 2.coefficient": ds.times(left)}).solve()
    assert state.steps.max() <= 7
    alone = machine.change({"cuff leak 2.coefficient": ds.times(1e-3)}).solve()
    np.testing.assert_allclose(state.vacuum["2"][2], alone.vacuum["2"], rtol=1e-9)


# ---- where nothing flows


@pytest.mark.parametrize(("name", "stop"), [("picker", "belt.engine_speed"), ("suction", "fan.speed")])
def test_a_standing_machine_says_that_nothing_flows(name, stop):
    """Rounding of 1e-14 kg/s is no flow: no "-0.0 Pa", no "-0%", no air that blows out, no backward flow."""
    state = ds.demo(name).change({stop: 0.0}).solve()
    assert state.sentences()[0] == "No unit has any vacuum."
    assert not [note for note in state.notes if note.kind == "backward flow"]
    assert "-0" not in str(state)
    assert not any(np.isfinite(row["share_of_mean"]) for row in state.rows())
    shown = text(state.tables()["units"])
    assert "e-" not in shown and "-0" not in shown


@pytest.mark.parametrize(
    ("flow", "notes"), [(-1e-14, []), (-1e-6, ["Air blows out of the openings of unit left."])]
)
def test_air_blows_out_only_where_some_does(monkeypatch, flow, notes):
    from ductsim.answers import notes as room

    state = ds.demo("bench").solve()
    monkeypatch.setattr(room, "opening_air", lambda machine, state, name: flow if name == "left" else 1.0)
    assert [str(n) for n in room.of_machine(state) if "blows" in n] == notes


@pytest.mark.parametrize(
    ("value", "sign", "words"),
    [(-1e-14, False, "0 Pa"), (-1e-14, True, "0 Pa"), (-0.25, False, "-0.250 Pa"), (305.2, True, "+305 Pa")],
)
def test_numbers_in_sentences_have_no_sign_where_nothing_is_left(value, sign, words):
    assert said(value, "Pa", sign=sign) == words


@pytest.mark.parametrize(
    ("share", "sign", "words"),
    [
        (-0.001, False, "0%"),
        (-0.001, True, "0%"),
        (0.06, True, "+6%"),
        (-0.35, True, "-35%"),
        (0.8, False, "80%"),
    ],
)
def test_shares_that_round_to_nothing_have_no_minus(share, sign, words):
    assert percent(share, sign) == words
