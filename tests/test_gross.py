"""Grossly wrong readings in the linear picture: what is found, what it is worth, against direct refits."""

from itertools import combinations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from ductsim.inference import gross
from ductsim.inference.gross import Group


@pytest.fixture
def linear():
    rng = np.random.default_rng(4)
    slopes = 3.0 * rng.standard_normal((24, 10))
    sound = slopes @ rng.standard_normal(10) + rng.standard_normal(24)
    singles = [Group("reading", str(i), (i,)) for i in range(24)]
    fours = [Group("tapping", str(k), tuple(range(k, 24, 6))) for k in range(6)]
    ways = [Group("tachometer", "set", tuple(range(12)), 3)]
    return slopes, sound, [*singles, *fours, *ways]


def test_sound_readings_are_left_alone(linear):
    slopes, sound, groups = linear
    assert gross.slips(slopes, sound, groups) == []


def test_single_slips_are_found_however_large(linear):
    slopes, sound, groups = linear
    for size in (12.0, 1e2, 1e4):
        spoilt = sound.copy()
        spoilt[[2, 3, 17]] += size * np.array([1.0, -1.0, 0.8])
        assert gross.aside(gross.slips(slopes, spoilt, groups)) == {2, 3, 17}


def test_a_group_and_a_direction_are_found(linear):
    slopes, sound, groups = linear
    spoilt = sound.copy()
    spoilt[1::6] += [40.0, -25.0, 30.0, 50.0]
    (found,) = gross.slips(slopes, spoilt, groups)
    assert (found.kind, found.name) == ("tapping", "1")
    turned = sound.copy()
    turned[:12] += 20.0 * slopes[:12, 3]
    (found,) = gross.slips(slopes, turned, groups)
    assert found.kind == "tachometer" and gross.aside([found]) == set()


def test_one_direction_takes_the_place_of_a_group_that_it_explains(linear):
    slopes, sound, groups = linear
    way = np.zeros((24, 1))
    way[1::6, 0] = [1.0, 0.6, 0.8, 0.1]
    along = Group("facing", "1", tuple(range(1, 24, 6)), 10, 100.0)
    spoilt = sound + 60.0 * way[:, 0]
    assert gross.slips(np.hstack([slopes, way]), spoilt, [*groups, along]) == [along]


def test_a_deleted_reading_misses_as_a_refit_without_it_says(linear):
    """The square is that of the normal prediction from the other readings (general linear algebra)."""
    slopes, sound, _ = linear
    group = Group("reading", "5", (5,))
    ((square, count),) = gross.squares(slopes, sound, [group])
    rest = np.delete(np.arange(24), 5)
    known = np.linalg.inv(np.eye(10) + slopes[rest].T @ slopes[rest])
    mean = known @ slopes[rest].T @ sound[rest]
    miss = sound[5] - slopes[5] @ mean
    assert count == 1
    assert square == pytest.approx(miss**2 / (1.0 + slopes[5] @ known @ slopes[5]), rel=1e-9)


def test_false_alarms_are_rare(linear):
    slopes, _, groups = linear
    rng = np.random.default_rng(8)
    sets = [slopes @ rng.standard_normal(10) + rng.standard_normal(24) for _ in range(300)]
    false = np.mean([bool(gross.slips(slopes, one, groups)) for one in sets])
    assert false < 0.04  # 31 groups, one in 3,000 each: 1 %


@pytest.fixture
def paired(linear):
    """What the unknowns' means would make of 24 places, standard deviations, and groups for any readings."""
    slopes, _, groups = linear
    rng = np.random.default_rng(6)
    centre, sd = rng.uniform(-300.0, 300.0, 24), rng.uniform(1.0, 3.0, 24)

    def looked(values):
        pairs = list(combinations(range(24), 2))
        every = [gross.exchange(f"{i} {k}", (i, k), values, sd, len(pairs)) for i, k in pairs]
        return gross.slips(slopes, (values - centre) / sd, [*groups, *every])

    def drawn(rng):
        return centre + sd * (slopes @ rng.standard_normal(10) + rng.standard_normal(24))

    return slopes, centre, sd, looked, drawn


def test_two_readings_exchanged_are_told_from_two_that_are_wrong(paired):
    *_, looked, drawn = paired
    for seed in range(10):
        rng = np.random.default_rng(seed)
        values = drawn(rng)
        i, k = sorted(rng.choice(np.flatnonzero(np.abs(values - values[3]) > 60.0), 1).tolist() + [3])
        swapped = values.copy()
        swapped[[i, k]] = values[[k, i]]
        (found,) = looked(swapped)
        assert found.kind == "exchanged" and set(found.rows) == {i, k}
        assert gross.aside([found]) == set() and gross.exchanged([found]) == {i: k, k: i}
        wrong = values.copy()
        wrong[[i, k]] += [90.0, 140.0]
        assert {(g.kind, g.rows) for g in looked(wrong)} == {("reading", (i,)), ("reading", (k,))}


def test_pairs_of_sound_readings_are_left_as_they_are(paired):
    *_, looked, drawn = paired
    rng = np.random.default_rng(9)
    assert np.mean([bool(looked(drawn(rng))) for _ in range(100)]) < 0.04


def test_an_exchange_is_as_probable_as_the_normal_law_says(paired):
    """Both ways round, by SciPy's density of all readings at once, of which the rest is the same."""
    slopes, centre, sd, _, drawn = paired
    values = drawn(np.random.default_rng(2))
    group = gross.exchange("2 7", (2, 7), values, sd, 1)
    other, noise = values.copy(), sd.copy()
    other[[2, 7]], noise[[2, 7]] = values[[7, 2]], sd[[7, 2]]
    shape = sd[:, None] * slopes
    ends = [
        multivariate_normal(centre, shape @ shape.T + np.diag(own**2)).logpdf(shown)
        for own, shown in ((sd, values), (noise, other))
    ]
    misfit = (values - centre) / sd
    told = gross.evidence(slopes, misfit, [group]) + group.cost - gross.evidence(slopes, misfit, [])
    assert told == pytest.approx(ends[1] - ends[0], rel=1e-9)
