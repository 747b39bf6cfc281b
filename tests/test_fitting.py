"""Fits to readings: the demonstration's leak, what was told and what was not, odd readings."""

from dataclasses import replace
from pathlib import Path

import make_picker_readings
import numpy as np
import pytest
from amounts import few_and_all
from synthetic_readings import SPEED, model_of, openings, plan, read, small_picker

import ductsim as ds
from ductsim.network.system import Compiled
from ductsim.readings.unknowns import default_scale, nuisances, unknowns_of
from ductsim.studies.fit.study import explained

READINGS = Path(ds.__file__).parent / "examples" / "picker_readings.csv"


@pytest.fixture(scope="module")
def demo_fit():
    return ds.fit(ds.demo("picker"), READINGS, draws=300)


@pytest.fixture(scope="module")
def small():
    machine = small_picker()
    model = model_of(machine, plan(machine))
    truth = np.random.default_rng(2).standard_normal(model.size)
    return machine, model, truth


@pytest.fixture(scope="module")
def small_readings(small):
    _, model, truth = small
    return read(model, truth, np.random.default_rng(3))


# ---- the demonstration


def told(fit, what):
    return {row["unknown"] for row in fit.unknowns if row["told"] == what}


def test_the_true_leak_is_first(demo_fit):
    assert demo_fit.unknowns[0]["unknown"] == "hatch leak 4.area"
    assert demo_fit.sentences()[0].startswith("The readings point to hatch leak 4.area: ")
    row = demo_fit.unknowns[0]
    truth = make_picker_readings.truth().numbers["hatch leak 4.area"]
    assert row["low"] < truth < row["high"]
    assert row["low"] > 3 * row["likely"]


def test_hatches_and_joints_are_told_by_the_readings_cuffs_and_box_by_the_prior(demo_fit):
    hatches_and_joints = {f"hatch leak {i}.area" for i in range(1, 6)}
    hatches_and_joints |= {f"joint leak {i}.coefficient" for i in range(1, 6)}
    by_readings, only = told(demo_fit, "by the readings"), told(demo_fit, "only by the prior")
    assert hatches_and_joints <= by_readings
    cuffs_and_box = {f"cuff leak {i}.coefficient" for i in range(1, 6)} | {"box leak.coefficient"}
    assert only and only | told(demo_fit, "in part") | by_readings == cuffs_and_box | hatches_and_joints
    words = str(demo_fit)
    assert "Told by the readings: hatch leak 1, 2, 3, 4 and 5, joint leak 1, 2, 3, 4 and 5" in words
    assert "Only the prior speaks of " in words
    # so their intervals are what was believed before, within the noise of a hundred effective draws
    widths = [row["ratio"] for row in demo_fit.unknowns if row["unknown"] in only]
    assert min(widths) >= 0.8 and max(widths) < 1.25
    ends = sorted({f"{min(widths):.2f}", f"{max(widths):.2f}"})
    assert f"before any reading ({' to '.join(ends)} of the width)" in words
    assert "cannot tell" not in words


def test_the_truth_is_within_most_intervals(demo_fit):
    truth = make_picker_readings.truth().numbers
    held = [row["low"] <= truth[row["unknown"]] <= row["high"] for row in demo_fit.unknowns]
    assert len(held) == 16
    assert sum(held) >= 13  # of 16 intervals of 95 %: fewer happen in 1 of 150 cases


def test_the_fit_says_how_much_it_worked_out(demo_fit):
    assert "operating points" in demo_fit.notes[-1]
    assert "Jacobians" in demo_fit.notes[-1]
    assert demo_fit.solves > 1000
    print(demo_fit.notes[-1])


def test_the_readings_fit_together(demo_fit):
    assert 0.01 < demo_fit.chance < 0.999
    assert demo_fit.outliers == []
    assert len(demo_fit.readings) == 33
    assert max(abs(row["misfit"]) for row in demo_fit.readings) < 3.5
    assert f"chi-square {demo_fit.chi_square:.1f} for 33 readings" in str(demo_fit)


def test_without_blanked_openings_hatch_and_joint_cannot_be_told_apart():
    readings = ds.Readings([r for r in ds.read_readings(READINGS) if not r.blanked])
    fit = ds.fit(ds.demo("picker"), readings, draws=120)
    words = str(fit)
    assert "These readings cannot tell hatch leak" in words
    for i in (3, 4):
        assert f"hatch leak {i} from joint leak {i}" in words
    assert "tape the openings of these units shut and read once more" in words
    assert "hatch leak 4.area" not in told(fit, "by the readings")
    assert not words.startswith("The readings point to hatch")


def test_possible_machines_share_the_layout_and_answer(demo_fit):
    before = Compiled.count
    many = demo_fit.sample(40)
    assert many.layout is demo_fit.given.layout
    assert len(many) == 40
    state = many.solve()
    assert np.all(state.solved)
    assert set(state.weakest) == {"4"}
    assert Compiled.count == before
    again = demo_fit.sample(40)
    assert np.array_equal(many.numbers["hatch leak 4.area"], again.numbers["hatch leak 4.area"])
    assert not np.array_equal(
        many.numbers["hatch leak 4.area"], demo_fit.sample(40, seed=9).numbers["hatch leak 4.area"]
    )


def test_the_fitted_machine_makes_the_readings(demo_fit):
    machine = demo_fit.machine
    assert machine.numbers["belt.engine_speed"] == demo_fit.given.numbers["belt.engine_speed"]
    best = {row["unknown"]: row["estimate"] for row in demo_fit.unknowns}
    assert machine.numbers["hatch leak 4.area"] == pytest.approx(best["hatch leak 4.area"])
    state = machine.solve()
    shown = {row["where"]: row["measured"] for row in demo_fit.readings[:5]}
    for where, value in shown.items():
        assert state.ask(f"tapping {where}") == pytest.approx(value, abs=0.06 * abs(value))


@pytest.mark.slow
def test_suspects_rank_the_demonstrations_leak_first():
    found = ds.fit(ds.demo("picker"), READINGS, suspects="leaks")
    rows = found.rows()
    assert rows[0]["suspect"] == "hatch leak 4.area"
    assert rows[0]["chance"] > 0.95
    assert rows[1]["chance"] < 0.6
    assert {"left fan.soiling", "right screen.blinded"} <= {row["suspect"] for row in rows}
    print(found)
    print(found.notes[-1])


def test_suspects_rank_the_one_large_leak_first(small):
    machine, model, _ = small
    truth = 0.3 * np.random.default_rng(6).standard_normal(model.size)
    truth[model.names.index("hatch leak 2.area")] = 1.6  # six times what is likely
    found = ds.fit(machine, read(model, truth, np.random.default_rng(7)), suspects="leaks")
    rows = found.rows()
    assert rows[0]["suspect"] == "hatch leak 2.area"
    assert rows[0]["chance"] > 0.9
    assert rows[1]["chance"] < 0.6
    assert {"left fan.soiling", "left screen.blinded"} <= {row["suspect"] for row in rows}
    assert found.sentences()[0].startswith("Most probably hatch leak 2.area (")
    assert "Next come" in str(found)
    assert sum(chance for _, chance in found.hypotheses) == pytest.approx(1.0)
    many = found.sample(20)
    assert len(many) == 20
    assert np.median(many.numbers["hatch leak 2.area"]) > 0.02
    assert found.machine.numbers["hatch leak 2.area"] > 0.02
    with pytest.raises(ds.UnknownName, match="unknown kind of suspects 'fans'"):
        ds.fit(machine, read(model, truth, np.random.default_rng(7)), suspects="fans")


# ---- derivatives


def test_derivatives_of_readings_are_those_of_differences(small):
    machine, _, truth = small
    readings = [
        *plan(machine),
        ds.Reading("door 1", 0.0, "total", engine_speed=SPEED, set="D"),
        ds.Reading("door 2", 0.0, "velocity pressure", engine_speed=SPEED, set="D"),
        ds.Reading("door 1", 0.0, "velocity", engine_speed=0.8 * SPEED, set="D"),
        ds.Reading("door 1", 0.0, minus="door 2", engine_speed=SPEED, set="E"),
        ds.Reading("left fan", 0.0, "speed", engine_speed=SPEED, set="E"),
        ds.Reading("left fan", 0.0, "shaft power", set="F"),
        ds.Reading("air box", 0.0, set="F", weather=(("temperature", 280.0), ("relative_humidity", 0.8))),
    ]
    model = model_of(machine, readings)
    z = np.zeros(model.size)
    z[: len(truth)] = 0.5 * truth[: model.size][: len(z)]
    value, slopes = model.jacobian(z)
    h = 1e-3
    steps = h * np.eye(model.size)
    both = model.predict(np.concatenate([z[:, None] + steps, z[:, None] - steps], axis=1))
    by_difference = (both[:, : model.size] - both[:, model.size :]) / (2 * h)
    np.testing.assert_allclose(value, model.predict(z[:, None])[:, 0], rtol=1e-7, atol=1e-6)
    scale = np.abs(by_difference).max(axis=1, keepdims=True)
    np.testing.assert_allclose(slopes / scale, by_difference / scale, atol=2e-4)


def test_blanked_openings_carry_no_air(small):
    machine, _, _ = small
    model = model_of(machine, plan(machine))
    shut = {f"{o}.area": 0.0 for o in openings(machine)}
    values = model.predict(np.zeros((model.size, 1)))[:, 0]
    middle = {a: float(v[0]) for a, v in model.machine_numbers(np.zeros((model.size, 1))).items()}
    state = machine.change({**middle, "belt.engine_speed": SPEED, **shut}).solve()
    assert values[3] == pytest.approx(state.ask("tapping door 1"), rel=1e-6)


# ---- what is told, what is not


@few_and_all("which", ("hatch leak 2.area", "box leak.coefficient"), None)
def test_what_only_the_prior_tells_follows_the_prior(small, small_readings, which):
    """Of twice as large a leak beforehand, twice as large a leak comes out; told ones stay.

    By how much follows by hand from how far the readings narrowed its prior: that is normal in the square
    root of the leak (nothing to four times what is likely), and precisions of prior and readings add up.
    """
    machine = small[0]
    unknowns, readings = unknowns_of(machine), ds.Readings(small_readings)
    first = explained(machine, readings, unknowns, draws=60)
    asked = [row for row in first.unknowns if which is None or row["unknown"] in which]
    for row in asked:
        name, left = row["unknown"], row["scale_ratio"] ** 2
        if row["told"] != "only by the prior" and (row["ratio"] > 0.2 or row["low"] == 0.0):
            continue  # one that came out at next to nothing does not move as a normal one
        doubled = [
            replace(u, likely=2 * u.likely, high=2 * u.high) if u.address == name else u for u in unknowns
        ]
        second = explained(machine, readings, doubled, draws=1)
        now = next(r["estimate"] for r in second.unknowns if r["unknown"] == name) / row["estimate"]
        root = np.sqrt(row["estimate"] / row["likely"])
        by_readings = (root - left) / (1.0 - left)
        news = 1.0 / left - 1.0  # precision of the readings over that of the first prior; of the second, 1/2
        hand = ((np.sqrt(2.0) / 2.0 + news * by_readings) / (0.5 + news) / root) ** 2
        if left < 0.95:  # above it, 1 - left is the difference of nearly equal numbers
            assert now == pytest.approx(hand, rel=0.07), name  # the readings bend a little with the leak
        assert now > 1.6 if row["told"] == "only by the prior" else now < 1.5
    assert {"box leak.coefficient", "cuff leak 1.coefficient"} <= told(first, "only by the prior")


def test_an_interval_holds_its_estimate_and_lies_within_the_possible(small, small_readings):
    fit = ds.fit(small[0], small_readings, draws=60)
    for row in fit.unknowns:
        assert 0.0 <= row["low"] <= row["estimate"] <= row["high"]
        assert row["prior_low"] < row["likely"] < row["prior_high"]
    assert len(fit.instruments) == 12  # zero, scale and tachometer of three sets, facing of three tappings
    assert set(fit.tables()) == {"unknowns", "readings", "alike", "instruments", "others"}
    assert fit.table().shape[0] == len(fit.wanted)


def test_coverage_on_a_few_synthetic_machines(small):
    """The small version of the long test of coverage: 3 machines, 7 intervals each."""
    machine, model, _ = small
    rng = np.random.default_rng(20)
    held = []
    for _ in range(3):
        truth = rng.standard_normal(model.size)
        fit = explained(machine, ds.Readings(read(model, truth, rng)), unknowns_of(machine), draws=150)
        true = fit.model.machine_numbers(truth[:, None])
        held += [row["low"] <= float(true[row["unknown"]][0]) <= row["high"] for row in fit.unknowns]
    assert sum(held) >= 17  # of 21 independent intervals of 95 %: fewer happen in 1 of 300 cases


# ---- odd readings


def test_an_outlier_is_named(small, small_readings):
    spoilt = list(small_readings)
    spoilt[4] = replace(spoilt[4], value=spoilt[4].value * 0.6)
    fit = ds.fit(small[0], spoilt, draws=1)
    assert fit.chance < 0.01
    assert 5 in [row["line"] for row in fit.outliers]
    assert "The readings do not fit together" in str(fit)
    assert "line 5, door 2" in str(fit)
    assert "stands out" in str(fit)


def test_one_reading_is_a_fit_mostly_of_the_prior(small, small_readings):
    fit = ds.fit(small[0], small_readings[:1], draws=50)
    assert "One reading is fewer than the 7 unknowns" in str(fit)
    assert len(told(fit, "by the readings")) <= 1
    two = ds.fit(small[0], small_readings[:2], draws=50)
    assert "2 readings are fewer than the 7 unknowns" in str(two)


def test_without_engine_speeds_only_ratios_count(small, small_readings):
    """Readings all larger by a common factor mean the same leaks."""
    machine = small[0]
    unread = [replace(r, engine_speed=None) for r in small_readings]
    larger = [replace(r, value=1.3 * r.value, sd=1.3 * r.sd) for r in unread]
    one, two = (ds.fit(machine, r, draws=1) for r in (unread, larger))
    assert "only ratios between readings do" in " ".join(one.notes)
    for a, b in zip(one.wanted, two.wanted, strict=True):
        assert a == b
    first, second = (f.machine.numbers["hatch leak 1.area"] for f in (one, two))
    assert second == pytest.approx(first, rel=0.15)
    read_too = ds.fit(machine, [replace(r, value=1.3 * r.value) for r in small_readings], draws=1)
    assert read_too.chi_square > two.chi_square + 3.0


def test_relative_mode_is_that_for_all_readings(small, small_readings):
    fit = ds.fit(small[0], small_readings, relative=True, draws=1)
    assert fit.relative
    assert not any(name.startswith("tachometer") for name in fit.model.names)
    assert [n for n in fit.model.names if n.startswith("engine speed under condition")]


def test_a_fan_known_by_its_wheel_only_still_tells_one_unit_from_its_neighbour():
    machine = small_picker()
    model = model_of(machine, plan(machine))
    truth = np.zeros(model.size)
    truth[model.names.index("left fan.total_pressure")] = -7.0  # a quarter less than the curve says
    truth[model.names.index("hatch leak 1.area")] = 1.3
    fit = ds.fit(machine, read(model, truth, np.random.default_rng(4)), relative=True, draws=80)
    rows = {row["unknown"]: row for row in fit.unknowns}
    assert rows["hatch leak 1.area"]["low"] > rows["hatch leak 2.area"]["estimate"]


def test_several_readings_of_one_place_are_surer_than_one(small, small_readings):
    """What the machine makes at a door is known better after four readings of everything than after one."""
    machine = small[0]
    once = explained(machine, ds.Readings(small_readings), unknowns_of(machine), draws=1)
    often = [replace(r, note=str(k)) for r in small_readings for k in range(4)]
    more = explained(machine, ds.Readings(often), unknowns_of(machine), draws=1)

    def sd(fit):
        slopes = fit.estimate.slopes[0] * fit.sd[0]
        return float(np.sqrt(slopes @ fit.estimate.covariance @ slopes))

    assert sd(more) < 0.75 * sd(once)


def test_no_fit_compiles_a_network_again(small, small_readings):
    before = Compiled.count
    ds.fit(small[0], small_readings, draws=20).unknowns
    assert Compiled.count == before


# ---- unknowns


def test_unknowns_come_from_the_call_the_file_or_all_leaks():
    machine = ds.demo("picker")
    assert len(unknowns_of(machine)) == 16
    one = unknowns_of(machine, {"hatch leak 4.area": ("0 cm2", "60 cm2", "0.05 m2")})[0]
    assert (one.low, one.likely, one.high) == (0.0, pytest.approx(0.006), 0.05)
    assert len(unknowns_of(machine, "hose *.roughness")) == 5
    assert unknowns_of(machine, ["jet 1.nozzle_loss"])[0].low == pytest.approx(0.08 * np.exp(-0.8))
    assert {u.address for u in unknowns_of(ds.demo("suction"))} >= {
        "boot leak 1.area",
        "separator door leak.width",
    }
    assert unknowns_of(machine, ["left fan.soiling"])[0].high == 0.4


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (["hatch leak 9.area"], "unknown address 'hatch leak 9.area'"),
        ({"hatch leak 4.area": (1, 2)}, "is no range; (low, likely, high)"),
        ({"hatch leak 4.area": ("1 cm2", "60 kg", "90 cm2")}, "unknown hatch leak 4.area, likely"),
        ({"hatch leak 4.area": ("90 cm2", "60 cm2", "70 cm2")}, "do not rise from zero"),
        (["hatch leak 4.area", "hatch leak *.area"], "is named twice"),
        (["jet 1.angle"], "how large may it be?"),
        (7, "names no numbers"),
    ],
)
def test_wrong_unknowns_have_their_sentence(asked, words):
    with pytest.raises(ds.InputError) as err:
        unknowns_of(ds.demo("picker"), asked)
    assert words in str(err.value)


def test_a_machine_without_leaks_needs_unknowns_named():
    with pytest.raises(ds.InputError, match="nothing is unknown"):
        unknowns_of(ds.demo("bench"))


def test_only_single_machines_are_fitted(small, small_readings):
    with pytest.raises(ds.InputError, match="has columns"):
        ds.fit(small[0].change({"belt.slip": [0.01, 0.02]}), small_readings)
    with pytest.raises(ds.InputError, match="is not a machine"):
        ds.fit("picker", small_readings)


def test_every_other_uncertain_number_is_carried_along():
    machine = ds.demo("picker")
    names = nuisances(machine, [u.address for u in unknowns_of(machine)])
    spread = {row["address"].partition("[")[0] for row in machine.describe().rows() if row["spread"] > 0}
    missing = spread - set(names) - {u.address for u in unknowns_of(machine)} - {"belt.engine_speed"}
    assert all(machine.numbers[a] == 0.0 for a in missing if not a.startswith("crop."))
    assert default_scale(machine, "left fan.total_pressure").centre == 1.0
    assert default_scale(machine, "hose 1.stretch").kind == "below"


# ---- told


def test_a_length_is_said_in_the_measure_of_its_table(small, small_readings):
    """What stands as 259 mm in the table is no 0.259 m in the sentence."""
    fit = ds.fit(small[0], small_readings, {"duct 1.diameter": (0.12, 0.16, 0.21)}, draws=30)
    (row,) = fit.unknowns
    assert row["measure"] == "m" and 0.1 < row["estimate"] < 0.5
    table = fit.table(measures="metric").iloc[0]
    assert "mm" in table.tolist() and float(table["estimate"]) == round(1000 * row["estimate"])
    assert f"duct 1.diameter: {1000 * row['estimate']:.0f} mm (95 %: " in str(fit)
    assert f"duct 1.diameter: {row['estimate'] / 0.0254:.1f} in (95 %: " in fit.sentences("inch")[0]
