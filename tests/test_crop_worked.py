"""Crop: calibration against closed forms, flows by hand, what lands in the box against a library."""

import numpy as np
import pytest
from scipy.stats import norm, skewnorm, triang

import ductsim as ds
from ductsim.crop.crop import LEAST
from ductsim.description.crop_way import unit_flows
from ductsim.speed import Run
from ductsim.speed.calibrating import PRIOR_SPREAD, SCATTER, likelihood, weighed

FAR = 1e9  # so much air that a unit says nothing


@pytest.fixture(scope="module")
def loaded():
    return ds.demo("picker").with_crop()


def calibration(machine, there, blocked="", scatter=0.15, count=1):
    runs = [Run(1.5, 0.4, blocked)] * count
    air = np.tile(np.array([[there, FAR, FAR, FAR, FAR]]), (count, 1))
    return weighed(machine, "opening_ratio", runs, air, (0.6, 0.4), scatter)


SHARES = np.array([0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99])


def test_what_says_nothing_leaves_the_lognormal_prior(loaded):
    """Quantiles, spread and draws are those of the normal distribution (scipy)."""
    found = calibration(loaded, FAR)
    expected = 0.6 * np.exp(0.4 * norm.ppf(SHARES))
    assert [found.quantile(s) for s in SHARES] == pytest.approx(expected, rel=1e-4)
    assert found.spread == pytest.approx(0.4, rel=1e-3)
    assert found.interval(0.8) == pytest.approx(tuple(0.6 * np.exp(0.4 * norm.ppf([0.1, 0.9]))), rel=1e-4)
    draws = np.log(found.sample(20_000, seed=3) / 0.6) / 0.4
    assert draws.mean() == pytest.approx(0.0, abs=0.03) and draws.std() == pytest.approx(1.0, abs=0.03)
    assert np.quantile(draws, [0.1, 0.9]) == pytest.approx(norm.ppf([0.1, 0.9]), abs=0.05)


@pytest.mark.parametrize(("blocked", "side"), [("1", 1.0), ("", -1.0)])
@pytest.mark.parametrize("scatter", [0.15, 0.4])
def test_one_unit_at_the_prior_s_median_makes_it_skew_normal(loaded, blocked, side, scatter):
    """A normal density times a normal probability is the skew normal one of scipy, shape spread / scatter."""
    found = calibration(loaded, 0.6, blocked, scatter)
    expected = 0.6 * np.exp(0.4 * skewnorm.ppf(SHARES, side * 0.4 / scatter))
    assert [found.quantile(s) for s in SHARES] == pytest.approx(expected, rel=2e-4)
    assert found.spread == pytest.approx(0.4 * skewnorm.std(0.4 / scatter), rel=1e-3)
    draws = np.log(found.sample(20_000, seed=5) / 0.6) / 0.4
    assert np.quantile(draws, [0.1, 0.5, 0.9]) == pytest.approx(
        skewnorm.ppf([0.1, 0.5, 0.9], side * 0.4 / scatter), abs=0.05
    )


def test_how_likely_an_observation_was(loaded):
    """With nothing learnt, a need of 0.6 e^(0.4 z) is above 0.5 e^(0.15 z') as often as normal sums are."""
    found = calibration(loaded, FAR)
    runs, there = [Run(1.5, 0.4, "1"), Run(1.5, 0.4, "")], np.array([[0.5] + [FAR] * 4] * 2)
    units, air, (blocked, ran) = likelihood("12345", runs, there, 0.15, found.values, found.density)
    chance = norm.cdf(np.log(0.6 / 0.5) / np.hypot(0.4, 0.15))
    assert blocked == pytest.approx(chance, rel=1e-3) and ran == pytest.approx(1.0 - chance, rel=1e-3)
    assert units == ["1", "1"] and air.tolist() == [0.5, 0.5]
    (row,) = found.rows()
    assert (row["unit"], row["value"]) == ("1", FAR) and row["ground_speed_km_h"] == pytest.approx(5.4)


def test_an_observation_made_often_tells_as_much_as_it_should(loaded):
    """Many units that ran and as many that blocked at one value pin the need there."""
    runs = [Run(1.5, 0.4, "1"), Run(1.5, 0.4, "")] * 200
    air = np.tile(np.array([[0.8, FAR, FAR, FAR, FAR]]), (400, 1))
    found = weighed(loaded, "opening_ratio", runs, air, (0.6, 0.4), 0.15)
    assert found.median == pytest.approx(0.8, rel=0.01)
    # Fisher's information of a probit at its middle: 2 / (pi scatter^2) an observation
    assert found.spread == pytest.approx(0.15 * np.sqrt(np.pi / 2.0 / 400.0), rel=0.02)


def test_what_calibration_assumes_is_what_its_words_say(loaded):
    """A factor of 1.5 either way is one standard deviation; the scatter is our assumption: 15 %."""
    found = ds.calibrate(loaded, [{"ground_speed": "5 km/h"}])
    assert found.prior == (loaded.crop.opening_ratio, PRIOR_SPREAD)
    assert np.exp(PRIOR_SPREAD) == pytest.approx(1.5, abs=0.02)
    assert found.scatter == SCATTER == pytest.approx(0.15)


def test_moist_crop_weighs_as_much_more():
    """0.40 kg/m2 x 1.0 m x 2 rows x 1.5 m/s x 1.1 = 1.32 kg/s in each unit, half of it where half grows."""
    crop = ds.Crop(crop_yield=0.4, row_spacing=1.0, rows_per_unit=2, ground_speed=1.5, moisture=1.1)
    assert unit_flows(2, crop) == pytest.approx([1.32, 1.32])
    halves = ds.Crop(
        crop_yield=0.4,
        row_spacing=1.0,
        rows_per_unit=2,
        ground_speed=1.5,
        moisture=1.1,
        unit_yields=[1.0, 0.5],
    )
    assert unit_flows(2, halves) == pytest.approx([1.32, 0.66])


@pytest.mark.parametrize("spreading", [0.3, 0.9])
def test_crop_lands_as_the_triangular_distribution_of_a_library(spreading):
    """Away from the walls, the share of each strip is the difference of scipy's distribution function."""
    box = ds.Box(width=6.0, length=2.0, height=2.0, positions=[2.5], spreading=spreading)
    edges = np.linspace(0.0, 6.0, 41)
    expected = np.diff(triang.cdf(edges, 0.5, loc=2.5 - spreading, scale=2.0 * spreading))
    assert box.landing([2.5], 40)[0] == pytest.approx(expected, abs=1e-12)


def test_a_wall_throws_back_what_would_land_beyond_it():
    """Next to a wall the strips hold the triangle and its mirror image in the wall (method of images)."""
    box = ds.Box(width=3.0, length=2.0, height=2.0, positions=[0.2], spreading=0.8)
    edges = np.linspace(0.0, 3.0, 61)
    below = triang(0.5, loc=0.2 - 0.8, scale=1.6).cdf
    expected = np.diff(below(edges)) - np.diff(below(-edges))
    assert box.landing([0.2], 60)[0] == pytest.approx(expected, abs=1e-12)


# what a crop takes where nothing is given; values as stated, each with how it is known
DEFAULTS = {
    "lint_share": (0.38, "from memory"),
    "moisture": (1.0, "our assumption"),
    "surge": (1.25, "our assumption"),
    "friction": (0.5, "from memory"),  # K: recalled as 0.3 to 0.5 for grain
    "slip": (6.0, "from memory"),  # the middle of 3 to 9 m/s
    "entry_velocity": (2.0, "our assumption"),
    "plug_density": (60.0, "our assumption"),
    "opening_ratio": (0.6, "our assumption"),
    "capture_velocity": (5.0, "our assumption"),
    "suction_velocity": (9.0, "our assumption"),
    "conveying_velocity": (18.0, "from memory"),
    "choke_ratio": (1.5, "our assumption"),
}


def test_the_defaults_of_a_crop_are_those_that_are_stated():
    rows = ds.Crop(bales=7e-4, row_spacing=1.0).standings()
    found = {row["number"].removeprefix("crop."): (row["value"], row["standing"]) for row in rows}
    weight, known = found.pop("bale_mass")
    assert weight == pytest.approx(480.0 * 0.45359237, abs=0.05) and known == "seen"  # 480 lb, to 0.1 kg
    assert found == DEFAULTS


def test_least_values_belong_to_a_slip_and_follow_it():
    """18 m/s for a slip of 6 are 20 for one of 8 (the crop's own speed stays), 0.6 kg of air are 0.8."""
    plain = {"crop_yield": 0.4, "row_spacing": 1.0}
    heavy = ds.Crop(**plain, slip=8.0)
    assert heavy.reference_slip == 6.0 and ds.Crop(**plain).reference_slip == 6.0
    needs = [heavy.least(name) for name in LEAST]
    assert needs == pytest.approx([0.8, 7.0, 11.0, 20.0, 1.5])
    assert ds.Crop(**plain, slip=0.0).least("capture_velocity") == pytest.approx(5e-3)
    own = ds.Crop(**plain, slip=3.0, conveying_velocity=11.0)
    assert own.reference_slip == 3.0 and own.least("conveying_velocity") == 11.0
    assert ds.Crop(**plain, slip=0.0, conveying_velocity=11.0).reference_slip == 6.0
    changed = ds.demo("picker").change({"crop.slip": [6.0, 8.0]}).crop
    assert changed.least("conveying_velocity") == pytest.approx([18.0, 20.0])


def test_the_slip_of_the_least_values_is_kept_in_a_file(tmp_path):
    ds.demo("picker").change({"crop.slip": 8.0}).write(tmp_path / "heavy.toml")
    again = ds.Machine.read(tmp_path / "heavy.toml").crop
    assert (again.slip, again.reference_slip) == (8.0, 6.0)
