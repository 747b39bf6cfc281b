"""How fast the demonstration picker can drive: what limits, what comes behind it, what a fix changes."""

import json
import time

import numpy as np
import pytest
from scipy.stats import norm

import ductsim as ds
from ductsim.crop import solving
from ductsim.crop.crop import LEAST, UNCERTAIN
from ductsim.crop.margins import CONVEYING, margins, places
from ductsim.errors import InputError
from ductsim.speed.limit import margins_at, place_limits, speed_limit
from ductsim.studies.ground_speed.curves import by_engine_speed, by_front_share, by_yield
from ductsim.studies.ground_speed.narrowing import deciding, most_telling

SEALED = {"hatch leak 4.area": "64 cm2"}


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


@pytest.fixture(scope="module")
def found(picker):
    fixes = [
        ds.Fix("seal hatch 4", change=SEALED, minutes=25, cost=12.0),
        ds.Fix("seal joint 4", change={"joint leak 4.coefficient": 0.0}),
        ds.Fix("no such part", change={"hose 9.length": "1 m"}),
    ]
    return ds.ground_speed(picker, fixes=fixes, season_area="400 ha", price_per_hour=300.0, efficiency=0.7)


# ---- the answer for the demonstration


def test_unit_4_limits_at_its_opening_at_six_km_h(found):
    assert found.unit == "4" and found.limiting.part == "front 4"
    assert found.limiting.what == "air-to-crop ratio"
    assert 5.9 < 3.6 * found.limit < 6.5
    assert found.crop_flow == pytest.approx(0.4 * 1.0 * found.limit, rel=1e-12)
    assert 0.65 < found.crop_flow < 0.75
    assert found.speed == found.limit  # the maker's 8 km/h come later
    assert found.sentences()[0].startswith("seal hatch 4: +")
    assert "Unit 4 limits, at front 4" in str(found)


def test_fixes_tried_together_come_to_what_each_comes_to_alone(picker):
    fixes = [
        ds.Fix("seal", change={"hatch leak 4.area": 0.0}),
        ds.Fix("no such", change={"hatch leak 4.area": -1.0}),
        ds.Fix("faster", change={"belt.engine_speed": "2200 rpm"}),
    ]
    together = ds.ground_speed(picker, fixes=fixes, samples=20).gains
    assert [gain.fix.name for gain in together] == ["seal", "no such", "faster"]
    for gain in together:
        alone = ds.ground_speed(picker, fixes=[gain.fix], samples=20).gains[0]
        assert (gain.place, gain.problem) == (alone.place, alone.problem)
        assert gain.speed == pytest.approx(alone.speed, rel=1e-6, nan_ok=True)
        assert gain.ratio == pytest.approx(alone.ratio, rel=2e-3, nan_ok=True)


def test_with_its_hatch_sealed_another_unit_limits_at_a_higher_speed(picker, found):
    sealed = ds.ground_speed(picker.change(SEALED), samples=20)
    assert sealed.unit == "5" and sealed.limiting.part == "front 5"
    assert 7.4 < 3.6 * sealed.limit < 8.2
    gain = found.gains[0]
    assert gain.place.units == ("5",)  # a tuple: names of several letters are one name each
    assert gain.speed == pytest.approx(sealed.limit, rel=1e-6) and gain.unit == "5"
    assert gain.change == pytest.approx(sealed.limit / found.limit - 1.0, abs=0.02)


def test_a_gain_from_a_standstill_has_no_upper_end(picker):
    """Where some possible machines could not drive at all before, nothing says how many times faster."""
    found = ds.ground_speed(picker, fixes=[ds.Fix("seal hatch 4", change=SEALED)], samples=20)
    found.gains[0].ratio[-3:] = np.inf
    assert " and more in nine of ten)" in found.sentences()[0]
    assert "inf" not in str(found)


def test_by_duct_air_alone_the_answer_would_be_wrong(picker):
    """The leaky unit has the fastest duct: by duct air it is never named, and sealing looks useless."""
    machine = picker.with_crop()
    limits = place_limits(machine, 1.4, 6.0)
    judged = places(machine.layout)
    ducts = {p.unit: v for p, v in zip(judged, limits, strict=True) if p.what == CONVEYING}
    first = min(ducts, key=ducts.get)
    assert first == "5" and ducts["4"] > ducts[first]
    assert ducts[first] > 1.5 * limits.min()  # and the speed would be far too high
    sealed = picker.change(SEALED).with_crop()
    after = place_limits(sealed, 1.4, 6.0)
    own = next(v for p, v in zip(judged, after, strict=True) if p.what == CONVEYING and p.unit == "4")
    assert own < ducts["4"]  # by duct air sealing the hatch harms its own unit
    assert after.min() > 1.2 * limits.min()  # in truth the machine gains


def test_it_says_that_the_ducts_mislead(found):
    assert any("The air in the ducts alone would name unit 5" in note for note in found.notes)


# ---- roots, curves


def test_the_limit_is_that_of_a_fine_sweep(picker):
    machine = picker.with_crop()
    limit = speed_limit(machine)
    speeds = np.linspace(1.5, 1.9, 801)
    margin = margins_at(machine, speeds).min(axis=0)
    i = int(np.flatnonzero(margin < 1.0)[0])
    swept = np.interp(0.0, -np.log(margin[i - 1 : i + 1]), speeds[i - 1 : i + 1])
    assert limit == pytest.approx(swept, rel=1e-6)
    assert margins_at(machine, [limit]).min() == pytest.approx(1.0, abs=1e-7)
    assert speed_limit(machine, 0.05) == pytest.approx(limit, rel=1e-7)
    assert speed_limit(machine, 12.0) == pytest.approx(limit, rel=1e-7)
    assert picker.ask("ground speed") == pytest.approx(limit, rel=1e-7)


def test_every_limit_of_a_place_is_its_own_root(picker):
    machine = picker.with_crop()
    limits = place_limits(machine, 1.4, 5.0)
    assert np.isfinite(limits).sum() > 12
    for i in np.flatnonzero(np.isfinite(limits)):
        assert margins_at(machine, [limits[i]])[i, 0] == pytest.approx(1.0, abs=1e-6)
    for i in np.flatnonzero(np.isinf(limits)):
        assert margins_at(machine, [5.0])[i, 0] > 1.0


def test_columns_of_possible_machines(picker):
    leak = np.array([64.0, 200.0, 400.0]) * 1e-4
    many = picker.change({"hatch leak 4.area": leak})
    speeds = many.ask("ground speed")
    for i in range(3):
        assert many[i].ask("ground speed") == pytest.approx(speeds[i], rel=1e-6)
    assert speeds[0] > speeds[1] > speeds[2]


def test_a_fit_is_taken_as_possible_machines(picker, monkeypatch):
    rng = np.random.default_rng(0)
    possible = picker.change({"hatch leak 4.area": rng.uniform(300e-4, 500e-4, 40)})
    monkeypatch.setattr(ds.Fit, "sample", lambda self, count: possible)
    found = ds.ground_speed(object.__new__(ds.Fit), samples=40)
    assert found.machine.columns is None and found.speeds.shape == (40,) and found.unit == "4"


def test_all_curves_in_well_under_a_second(picker):
    """The time is printed, not asserted."""
    machine = picker.with_crop()
    limit = speed_limit(machine)
    before = time.perf_counter()
    engine = by_engine_speed(machine, limit)
    share = by_front_share(machine, limit)
    mass = by_yield(machine.crop, limit)
    print(f"three curves in {time.perf_counter() - before:.2f} s")
    here = next(row for row in engine if row["factor"] == pytest.approx(1.0))
    assert here["ground_speed_km_h"] == pytest.approx(3.6 * limit, rel=1e-6) and here["unit"] == "4"
    assert np.all(np.diff([row["ground_speed_km_h"] for row in engine]) > 0.0)
    assert here["beyond_limit_of"] == "" and engine[-1]["beyond_limit_of"] != ""
    # speed times yield is constant until the machine's own top speed
    for row in mass:
        free = row["limited_by"] == "crop"
        product = row["crop_yield_kg_m2"] * row["ground_speed_km_h"]
        assert (product == pytest.approx(0.4 * 3.6 * limit)) if free else row["ground_speed_km_h"] == 8.0
    assert {row["limited_by"] for row in mass} == {"crop", "top speed"}
    # equal openings are best fed equally
    best = max(share, key=lambda row: row["ground_speed_km_h"])
    assert best["front_share"] == pytest.approx(0.5)
    assert share[0]["place"].startswith("rear") and share[-1]["place"].startswith("front")


def test_curves_that_do_not_apply_are_empty(picker):
    crop = ds.Crop(crop_yield=0.1, row_spacing=1.0)
    bench = ds.demo("bench").with_crop(crop)
    assert by_front_share(bench, 1.0) == []
    assert len(by_engine_speed(bench, 1.0)) == 9  # its fan has a speed of its own
    document = {
        "format": 1,
        "air": {"density": 1.2},
        "hold": [{"node": "tank", "pressure": -800.0}],
        "part": [
            {
                "name": "mouth",
                "kind": "opening",
                "from": "outside",
                "to": "head",
                "area": 0.03,
                "loss_coefficient": 1.0,
            },
            {"name": "duct", "kind": "duct", "from": "head", "to": "tank", "diameter": 0.2, "length": 3.0},
        ],
        "tapping": [{"name": "t", "path": "duct", "end": "from", "area": 0.03}],
        "unit": [{"name": "1", "vacuum_at": "t", "duct": "duct", "openings": ["mouth"]}],
    }
    still = ds.Machine.of(document)
    assert by_engine_speed(still.with_crop(crop), 1.0) == []
    assert ds.ground_speed(still, crop, samples=20).unit == "1"


# ---- money, bands, words


def test_hectares_and_money_by_hand(found):
    # 5 rows of 1 m at 70 % of the time
    assert found.area_rate(1.5) == pytest.approx(1.5 * 5.0 * 0.7)
    rows = {row["fix"]: row for row in found.tables()["fixes"]}
    row = rows["seal hatch 4"]
    ratio = found.gains[0].speed / found.limit
    assert row["area_rate_ha_h"] == pytest.approx(found.area_rate(found.gains[0].speed) * 0.36)
    hours = 400.0 / (found.area_rate(found.limit) * 0.36)
    assert row["season_saved_h"] == pytest.approx(hours * (1.0 - 1.0 / ratio))
    assert row["season_saved_money"] == pytest.approx(300.0 * row["season_saved_h"])
    assert row["pay_back_h"] == pytest.approx(12.0 / ((ratio - 1.0) * 300.0))
    assert rows["seal joint 4"]["speed_change_share"] < 0.0  # more duct air, less at the openings
    assert rows["seal joint 4"]["pay_back_h"] is None
    assert "hose 9" in rows["no such part"]["remark"]
    assert any(note.startswith("no such part:") for note in found.notes)


def test_the_maker_s_top_speed_caps_areas_and_curves(picker):
    slow = ds.ground_speed(picker.change({"crop.highest_speed": "4 km/h"}), samples=20)
    assert 3.6 * slow.speed == pytest.approx(4.0)
    assert slow.area_rate(slow.limit) == pytest.approx(4.0 / 3.6 * 5.0)
    assert "The machine's own top speed of 4.0 km/h comes first." in slow.sentences()


def test_the_band_is_wide_until_calibrated(picker, found):
    low, high = found.band
    assert low < found.limit < high and high / low > 1.5
    assert any("assumed" in note for note in found.notes) and "not calibrated" in str(found)
    seen = [{"ground_speed": "5.5 km/h"}, {"ground_speed": "6 km/h", "blocked": "4"}]
    seen += [{"ground_speed": "5 km/h"}, {"ground_speed": "6.5 km/h", "blocked": "4"}]
    told = ds.ground_speed(picker, ds.calibrate(picker, seen))
    assert told.band[1] / told.band[0] < 0.75 * high / low
    assert told.calibrated and "not calibrated" not in str(told)
    # what a fix changes is surer than the speed itself
    gain = found.gains[0]
    assert gain.band[1] - gain.band[0] < high / low - 1.0


SEEN = [{"ground_speed": "5 km/h"}, {"ground_speed": "6.5 km/h", "blocked": "4"}]


def test_the_same_observations_give_one_answer(picker):
    """Whichever number is calibrated: 5.9 or 5.2 km/h, and 7.7 or 6.7 sealed, when only that one moves."""
    told = [
        ds.calibrate(picker, seen, number)
        for seen, number in ((SEEN, "opening_ratio"), (SEEN[::-1], "conveying_velocity"))
    ]
    one, other = (ds.ground_speed(picker, own, samples=20) for own in told)
    assert other.limit == pytest.approx(one.limit, rel=1e-6)
    assert np.sort(other.speeds) == pytest.approx(np.sort(one.speeds), rel=1e-6)
    for name in UNCERTAIN:
        assert getattr(other.crop, name) == pytest.approx(getattr(one.crop, name), rel=1e-6)
    assert 5.0 < 3.6 * one.limit < 6.5 and one.effective > 100.0
    # all numbers move, not the calibrated one alone
    assert set(one.deciding) == {f"crop.{name}" for name in UNCERTAIN}
    rows = {row["number"]: row["standing"] for row in one.tables()["crop"]}
    assert rows["crop.surge"] == rows["crop.opening_ratio"] == "calibrated" != rows["crop.plug_density"]


def test_a_pass_drives_with_the_same_crop():
    bench = ds.demo("bench").with_crop(ds.Crop(crop_yield=0.2, row_spacing=1.0))
    seen = [{"ground_speed": 0.4}, {"ground_speed": 1.5, "blocked": "right"}]
    told = ds.calibrate(bench, seen, "capture_velocity")
    passed = ds.field_pass(bench, [0.1, 0.1], speed=1.0, crop=told)
    assert passed.machine.crop == told.believed() and told.believed().surge != 1.25


def test_draws_agree_with_what_was_seen(picker, found):
    """Where chance has no part, every draw runs at the speed that ran and blocks where it blocked."""
    told = ds.calibrate(picker, SEEN, scatter=0.01)
    speeds = ds.ground_speed(picker, told, samples=20).speeds
    assert 0.97 * 5.0 / 3.6 < speeds.min() < speeds.max() < 1.03 * 6.5 / 3.6
    assert found.speeds.min() < 5.0 / 3.6 and found.speeds.max() > 6.5 / 3.6


def test_draws_without_news_keep_their_spreads():
    bench = ds.demo("bench").with_crop(ds.Crop(crop_yield=0.2, row_spacing=1.0, conveying_velocity=2.0))
    told = ds.calibrate(bench, [{"ground_speed": 1e-3}]).conditioned(4000)
    assert told.effective == pytest.approx(4800, rel=0.05)
    for name in LEAST[:4]:
        declared = bench.layout.declaration(f"crop.{name}")
        own = np.log(told.draws[f"crop.{name}"])
        assert own.std() == pytest.approx(declared.spread, rel=0.05)
        assert told.centre[f"crop.{name}"] == pytest.approx(bench.numbers[f"crop.{name}"], rel=0.02)
    other = ds.calibrate(bench, [{"ground_speed": 1e-3}]).conditioned(50, seed=3)
    assert len(other.draws["crop.slip"]) == 50


def test_few_draws_are_noted(picker):
    odd = [{"ground_speed": "9 km/h"}, {"ground_speed": "2 km/h", "blocked": "1"}]
    found = ds.ground_speed(picker, ds.calibrate(picker, odd, scatter=0.02), samples=20)
    assert found.effective < 100.0 and "few draws" in [note.kind for note in found.notes]


def test_the_observation_that_tells_most(found):
    """Of two speeds one is the limit: driving between them tells which; far from them nothing."""
    telling = most_telling(np.repeat([1.0, 2.0], 50))
    assert 1.2 < telling.speed < 1.7
    assert telling.chance == pytest.approx(0.5, abs=0.02)
    # by hand: chances of blocking of either, Phi(ln(v / limit) / 0.15), and the variance after each outcome
    p, q = (norm.cdf(np.log(telling.speed / limit) / 0.15) for limit in (1.0, 2.0))
    hand = sum(a * b / (a + b) for a, b in ((p, q), (1 - p, 1 - q))) / 2 / 0.25
    assert telling.left == pytest.approx(np.sqrt(hand), rel=1e-6)
    assert most_telling(np.full(5, 1.3)) is None and most_telling(np.array([0.0, np.inf])) is None
    assert most_telling(found.speeds) == found.telling  # the top speed lies far above
    capped = most_telling(found.speeds, 1.0)  # nothing is proposed above a machine's own top speed
    assert capped.speed <= 1.0 < found.telling.speed and capped.left > found.telling.left
    assert most_telling(np.array([3.0, 4.0]), 1.0) is None
    words = " ".join(found.sentences("metric"))
    assert "What would narrow the band most: work with care at about" in words
    low, high = found.band
    assert low < found.telling.speed < high and found.telling.left < 0.9


def test_long_strides_come_to_where_short_steps_do(picker, monkeypatch):
    """Crop let in by strides: the same running and blocked states as by steps of a sixteenth."""
    speeds = np.linspace(1.0, 8.0, 30)
    narrow = picker.change({"hose 4.diameter": "110 mm"}).with_crop()
    many = narrow.change({"crop.ground_speed": speeds})
    strode = many.solve(raise_error=False)
    monkeypatch.setattr(solving, "STRIDES", solving.STEPS)
    stepped = many.solve(raise_error=False)
    assert (strode.solved == stepped.solved).all()
    blocked = np.asarray(margins(many, strode)).min(axis=0) < 0.0
    assert blocked.any() and not blocked.all()
    for name in ("flow", "pressure"):
        ours, theirs = (getattr(state.arrays.point, name) for state in (strode, stepped))
        assert ours == pytest.approx(theirs, abs=1e-7 * np.nanmax(np.abs(theirs)), nan_ok=True)


def test_what_decides_the_band(found):
    """The limit goes as one over the surge where that alone is drawn."""
    surge = np.exp(0.1 * np.random.default_rng(1).standard_normal(60))
    other = np.random.default_rng(2).standard_normal(60)
    shares = deciding({"crop.slip": other, "crop.surge": surge, "crop.friction": np.ones(60)}, 2.0 / surge)
    assert list(shares) == ["crop.surge", "crop.slip"] and shares["crop.surge"] == pytest.approx(1.0)
    assert shares["crop.slip"] < 0.1 and deciding({"crop.slip": other}, np.full(60, 1.0)) == {}
    first = next(iter(found.deciding))
    assert first.removeprefix("crop.").replace("_", " ") in " ".join(found.sentences("metric"))


def test_the_ratio_is_set_beside_the_published_one(found):
    (note,) = [note for note in found.notes if note.kind == "set beside"]
    assert "1.5 kg of air" in note and "not the same quantity" in note and note.value == 0.6


def test_the_band_holds_nine_of_ten_draws(found):
    low, high = found.band
    assert np.mean(found.speeds < low) == pytest.approx(0.05, abs=1.5 / len(found.speeds))
    assert np.mean(found.speeds > high) == pytest.approx(0.05, abs=1.5 / len(found.speeds))


def test_the_same_seed_gives_the_same_band():
    bench = ds.demo("bench").with_crop(ds.Crop(crop_yield=0.2, row_spacing=1.0))
    one, two = (ds.ground_speed(bench, samples=30, seed=3) for _ in range(2))
    other = ds.ground_speed(bench, samples=30, seed=4)
    assert np.array_equal(one.speeds, two.speeds) and not np.array_equal(one.speeds, other.speeds)


def test_results_can_be_shown(found):
    tables = found.tables()
    assert list(tables)[:3] == ["units", "fixes", "limits"]
    assert found.rows()[0]["unit"] == "4" and len(found.rows()) == 5
    speeds = [row["ground_speed_km_h"] for row in tables["limits"]]
    assert speeds == sorted(speeds) and tables["limits"][0]["over_first_limit"] == pytest.approx(1.0)
    assert {row["unit"] for row in tables["margins today"]} == set("12345")
    json.dumps(tables)
    assert repr(found) == "<GroundSpeed: 6.2 km/h, unit 4 at front 4 (air-to-crop ratio)>"
    assert any("no permission to drive" in text for text in found.cautions)
    assert "mph" in " ".join(found.sentences("inch")) and "acre/h" in " ".join(found.sentences("inch"))


def test_too_little_air_and_no_limit_at_all(picker):
    starved = ds.ground_speed(picker.change({"crop.conveying_velocity": "30 m/s"}), samples=20)
    assert starved.limit == 0.0 and not starved.limited
    assert starved.sentences()[0].startswith("Even without crop the air does not suffice at duct")
    free = {f"crop.{n}": 1e-6 for n in ("opening_ratio", "capture_velocity", "suction_velocity")}
    free |= {"crop.conveying_velocity": 1e-6, "crop.crop_yield": 1e-3, "crop.slip": 0.0}
    endless = ds.ground_speed(picker.change(free), samples=20)
    assert np.isinf(endless.limit) and endless.sentences()[0].startswith("Nothing limits")
    assert endless.by_yield == [] and endless.rows()[0]["ground_speed_km_h"] is None


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"efficiency": 0.0}, "efficiency: 0.0 is out of range"),
        ({"season_area": "5 kg"}, "season_area"),
        ({"season_area": -1.0}, "season_area: -1.0 is out of range"),
        ({"price_per_hour": -2.0}, "price_per_hour"),
        ({"samples": 3}, "samples: 3 is out of range; 20 to 100,000"),
        ({"fixes": ["seal"]}, "fixes: 'seal' is no fix"),
        ({"crop": "cotton"}, "cotton: no such crop file"),
        ({"crop": 3}, "3 is not a crop"),
    ],
)
def test_bad_options_get_one_sentence(picker, options, words):
    with pytest.raises(InputError) as err:
        ds.ground_speed(picker, **options)
    assert words in str(err.value) and "\n" not in str(err.value)


def test_fixes_may_be_a_mapping_of_changes(picker):
    found = ds.ground_speed(picker, fixes={"seal": SEALED}, samples=20)
    assert found.gains[0].fix.name == "seal" and found.gains[0].change > 0.2
    none = ds.ground_speed(picker, fixes={"worse": {"hatch leak 4.area": "500 cm2"}}, samples=20)
    assert none.sentences()[-1] == "None of the fixes makes it faster."


def test_a_belt_that_slips_under_load_drives_slower(picker):
    slack = picker.change({"belt.slip_rise": 0.1})
    machine = slack.with_crop()
    limit = speed_limit(machine)
    assert limit < 0.99 * picker.ask("ground speed")
    # asked of empty ducts, the belt slips as it does without crop
    assert slack.ask("ground speed") == pytest.approx(limit, rel=1e-3)
    state = machine.change({"crop.ground_speed": limit}).solve()
    assert state.ask("carrying margin") == pytest.approx(1.0, abs=1e-6)
