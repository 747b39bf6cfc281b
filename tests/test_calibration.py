"""What an owner has seen, turned into the least value that the machine needs."""

import numpy as np
import pytest
from refused_files import refusal
from scipy.stats import norm

import ductsim as ds
from ductsim.crop.crop import UNCERTAIN
from ductsim.errors import InputError
from ductsim.speed import Run
from ductsim.speed.calibrating import weighed


@pytest.fixture(scope="module")
def picker():
    return ds.demo("picker")


def test_calibration_narrows_down_what_was_assumed(picker):
    seen = [
        {"ground_speed": "5 km/h", "crop_yield": "0.40 kg/m2"},
        {"ground_speed": "5.6 km/h"},
        {"ground_speed": "6.5 km/h", "blocked": "4"},
    ]
    found = ds.Crop.calibrate(picker, seen)
    low, high = found.interval()
    assert 0.3 < low < found.median < high < 0.75
    assert found.spread < 0.5 * 0.4 and found.density.sum() == pytest.approx(1.0)
    assert found.crop.opening_ratio == found.median
    assert found.crop.slip == picker.crop.slip
    text = str(found)
    assert "From 3 observations the least opening ratio is" in text
    rows = found.tables()
    assert [r["seen"] for r in rows["observations"]] == ["ran", "ran", "unit 4 blocked"]
    assert rows["opening_ratio"][1]["likely"] == found.median
    draws = found.sample(4000, seed=1)
    assert np.mean((draws > low) & (draws < high)) == pytest.approx(0.9, abs=0.02)
    # an observation at twice the speed in half the yield is the same observation
    same = ds.calibrate(picker, [{"ground_speed": "10 km/h", "crop_yield": "0.2 kg/m2"}])
    assert same.there == pytest.approx(ds.calibrate(picker, [{"ground_speed": "5 km/h"}]).there, rel=1e-9)
    assert "hardly tell" in str(ds.calibrate(picker, [{"ground_speed": "2 km/h"}]))
    odd = ds.calibrate(picker, [*seen, {"ground_speed": "3 km/h", "blocked": "1"}], scatter=0.05)
    assert "hardly fit" in str(odd)


def test_calibration_recovers_the_need_as_often_as_it_says(picker):
    """300 owners, eight observations each: nine of ten intervals hold the truth, within 3 deviations."""
    rng = np.random.default_rng(20)
    loaded = picker.with_crop()
    speeds = rng.uniform(3.0, 9.0, 400) / 3.6
    pool = ds.calibrate(loaded, [{"ground_speed": float(v)} for v in speeds])
    held, count = 0, 300
    for _ in range(count):
        need = 0.6 * np.exp(0.4 * rng.standard_normal())
        chosen = rng.choice(len(speeds), 8, replace=False)
        runs = []
        for i in chosen:
            felt = pool.there[i] * np.exp(0.15 * rng.standard_normal(5))
            blocked = tuple(u for u, air in zip("12345", felt, strict=True) if air < need)
            runs.append(Run(pool.runs[i].ground_speed, pool.runs[i].crop_yield, blocked))
        found = weighed(loaded, "opening_ratio", runs, pool.there[chosen], (0.6, 0.4), 0.15)
        low, high = found.interval()
        held += low < need < high
    assert 0.9 - 3.0 * np.sqrt(0.09 / count) < held / count < 0.9 + 3.0 * np.sqrt(0.09 / count)


@pytest.mark.parametrize(
    ("observations", "options", "words"),
    [
        ([], {}, "there is no observation"),
        ([{"speed": 1.0}], {}, "observation 1: unknown key 'speed'; known: 'ground_speed'"),
        ([{"crop_yield": 0.4}], {}, "observation 1: the key 'ground_speed' is missing"),
        ([{"ground_speed": "5 km/h", "blocked": "6"}], {}, "observation 1: unknown unit '6'"),
        ([{"ground_speed": -1.0}], {}, "observation 1, ground_speed: -1.0 is out of range"),
        ([{"ground_speed": "5 Pa"}], {}, "observation 1, ground_speed"),
        (["5 km/h"], {}, "is no observation"),
        ([{"ground_speed": 1.0}], {"number": "slip"}, "unknown number of a crop to calibrate 'slip'"),
        ([{"ground_speed": 1.0}], {"scatter": 0.0}, "calibrate, scatter: 0.0 is out of range"),
    ],
)
def test_bad_observations_get_one_sentence(picker, observations, options, words):
    with pytest.raises(InputError) as err:
        ds.calibrate(picker, observations, **options)
    assert words in str(err.value) and "\n" not in str(err.value)


def test_calibration_refuses_columns_and_places_that_are_not_there(picker):
    with pytest.raises(InputError, match="the machine has columns"):
        ds.calibrate(picker.change({"crop.slip": [5.0, 6.0]}), [{"ground_speed": 1.0}])
    bench = ds.demo("bench").with_crop(ds.Crop(crop_yield=0.1, row_spacing=1.0))
    with pytest.raises(InputError, match="no place with a suction velocity"):
        ds.calibrate(bench, [{"ground_speed": 1.0}], "suction_velocity")


def test_observations_from_a_file(picker, tmp_path):
    place = tmp_path / "seen.csv"
    place.write_text(
        "# ours\nground_speed;crop_yield;blocked\n5 km/h;0,40 kg/m2;\n5,6 km/h;;\n6.5 km/h;;4\n",
        encoding="utf-8",
    )
    seen = [
        {"ground_speed": "5 km/h"},
        {"ground_speed": "5.6 km/h"},
        {"ground_speed": "6.5 km/h", "blocked": "4"},
    ]
    assert ds.calibrate(picker, place).median == ds.calibrate(picker, seen).median
    for text, words in (
        ("ground_speed,blocked\n5 km/h,6\n", "line 2: unknown unit '6'"),
        ("ground_speed,crop_yield\n,0.4\n", "line 2: has no ground_speed; one for each observation"),
        ("speed\n5\n", "header: unknown column 'speed'; known: 'ground_speed'"),
        ("ground_speed\n5 Pa\n", "line 2, ground_speed"),
        ("ground_speed\n-5\n", "line 2, ground_speed: -5.0 is out of range"),
        ("", "is empty"),
    ):
        assert words in refusal(place, text, lambda: ds.calibrate(picker, place))


def test_weighed_draws_are_those_that_make_what_was_seen():
    """By brute force: of crops drawn beforehand those are kept with which the same happens by chance."""
    crop = ds.Crop(crop_yield=0.2, row_spacing=1.0, conveying_velocity="9 m/s", capture_velocity="4 m/s")
    bench = ds.demo("bench").with_crop(crop)
    seen = [{"ground_speed": 0.6}, {"ground_speed": 1.6, "blocked": "right"}]
    told = ds.calibrate(bench, seen, scatter=0.3).conditioned(3000, seed=4)
    rng, count = np.random.default_rng(5), 6000
    drawn = {
        f"crop.{name}": bench.numbers[f"crop.{name}"]
        * np.exp(ds.Crop.declared[name].spread * rng.standard_normal(count))
        for name in UNCERTAIN
    }
    drawn["crop.surge"] = np.maximum(drawn["crop.surge"], 1.0)
    # the least values are known for this crop, whatever its slip turns out to be
    drawn["crop.reference_slip"] = drawn["crop.slip"]
    drawn["crop.choke_ratio"] = np.maximum(drawn["crop.choke_ratio"], 1.0)
    kept = np.ones(count, bool)
    for speed, blocked in ((0.6, ()), (1.6, ("right",))):
        state = bench.change(drawn | {"crop.ground_speed": np.full(count, speed)}).solve(raise_error=False)
        for unit in ("left", "right"):
            margin = state.ask(f"carrying margin {unit}") * np.exp(0.3 * rng.standard_normal(count))
            kept &= (margin < 1.0) == (unit in blocked)
    assert 200 < kept.sum() < 0.7 * count  # it tells something, and there is enough to compare with
    moved = []
    for address, values in drawn.items():
        prior, after, own = (np.log(v) for v in (values, values[kept], told.draws[address]))
        error = prior.std() * np.sqrt(1.0 / kept.sum() + 1.0 / min(told.effective, 300))
        assert own.mean() == pytest.approx(after.mean(), abs=4.0 * error)
        assert own.std() == pytest.approx(after.std(), rel=0.25)
        moved.append(abs(own.mean() - prior.mean()) / error)
    assert max(moved) > 4.0


def test_what_tells_nothing_leaves_the_prior():
    """A run far below every limit: the quantiles are of the lognormal prior, of 0.6 and a spread of 0.4."""
    bench = ds.demo("bench").with_crop(ds.Crop(crop_yield=0.2, row_spacing=1.0))
    found = ds.calibrate(bench, [{"ground_speed": 1e-3}])
    for share in (0.05, 0.25, 0.5, 0.75, 0.95):
        assert found.quantile(share) == pytest.approx(0.6 * np.exp(0.4 * norm.ppf(share)), rel=0.003)
