"""Quantiles of columns: what is unknown is left out, and what is infinite stays infinite."""

import math

import numpy as np
import pytest
from scipy import special

from ductsim import statistics
from ductsim.statistics import chance_beyond, first_least, middle, normal_at, normal_below, quantile

INF = math.inf


def test_a_quantile_is_that_of_a_general_library_where_all_is_finite():
    values = np.random.default_rng(0).normal(size=101)
    holes = np.where(np.arange(101) % 7 == 0, np.nan, values)
    for share in (0.0, 0.05, 0.31, 0.5, 1.0):
        assert quantile(values, share) == np.quantile(values, share)
        assert quantile(holes, share) == np.nanquantile(holes, share)


@pytest.mark.parametrize(
    ("values", "share", "expected"),
    [
        ([1.0, 2.0, 3.0, INF], 0.5, 2.5),
        ([1.0, 2.0, INF], 0.5, 2.0),
        ([1.0, INF, INF], 0.5, INF),
        ([1.0, INF], 0.5, INF),
        ([1.0, INF], 0.0, 1.0),
        ([INF, INF], 0.05, INF),
        ([math.nan, INF, 1.0, 2.0], 0.5, 2.0),
    ],
)
def test_infinite_values_are_beyond_all_others(values, share, expected):
    assert quantile(values, share) == expected


def test_what_is_unknown_stays_so():
    assert math.isnan(quantile([math.nan], 0.5)) and math.isnan(middle(math.nan))
    assert math.isnan(middle([math.nan, math.nan])) and middle(INF) == INF and middle([1.0, math.nan]) == 1.0


@pytest.mark.parametrize("few", [20_000, 0])
def test_normal_chances_are_those_of_the_library(monkeypatch, few):
    monkeypatch.setattr(statistics, "FEW", few)
    z = np.linspace(-8.0, 8.0, 1601).reshape(1, -1)
    np.testing.assert_allclose(normal_below(z), special.ndtr(z), rtol=1e-13)
    share = special.ndtr(z[:, z[0] <= 0.5])
    np.testing.assert_allclose(normal_at(share), special.ndtri(share), rtol=3e-15, atol=1e-15)
    assert normal_below(0.0) == 0.5 and normal_at(0.5) == 0.0


@pytest.mark.parametrize("count", [1, 2, 3, 8, 33, 150, 299, 300])
def test_chances_beyond_a_chi_square_are_those_of_the_library(count):
    for chi_square in (1e-9, 0.1, 1.0, 10.0, 0.5 * count, count, 2.0 * count, 5.0 * count + 50.0):
        expected = special.gammaincc(0.5 * count, 0.5 * chi_square)
        assert chance_beyond(chi_square, count) == pytest.approx(expected, rel=1e-12)


def test_chances_at_the_ends():
    assert chance_beyond(3.0, 0) == chance_beyond(0.0, 4) == 1.0
    assert chance_beyond(math.inf, 4) == chance_beyond(1e9, 300) == 0.0
    assert math.isnan(chance_beyond(math.nan, 4))


def test_of_what_is_alike_but_for_rounding_the_first_is_least():
    assert first_least([3.0, 1.0 + 1e-9, 1.0, 2.0]) == 1
    assert first_least([-1.0, -1.0 - 1e-9, 0.0]) == 0
    assert first_least([1.0, 1.0 - 1e-3]) == 1
    assert first_least([math.nan, 2.0, INF]) == 1 and first_least([INF, INF]) == 0
    assert first_least([0.0, -INF, -INF]) == 1 and first_least([1e-300, 0.0]) == 1
    assert list(first_least(np.array([[1.0, 2.0], [1.0, 1.0]]))) == [0, 1]
