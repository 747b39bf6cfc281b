"""Quantiles of columns: what is unknown is left out, and what is infinite stays infinite."""

import math

import numpy as np
import pytest

from ductsim.statistics import finite_quantile, median, middle, quantile

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


@pytest.mark.parametrize("shape", [(1,), (2,), (5,), (8,), (6, 3), (7, 2)])
def test_a_median_is_that_of_a_general_library(shape):
    values = np.random.default_rng(0).normal(size=shape)
    assert np.array_equal(median(values), np.median(values, axis=0))
    values[0] = math.nan
    assert np.isnan(median(values)).all()


@pytest.mark.parametrize("count", [1, 2, 5, 100])
def test_finite_quantiles_are_those_of_a_general_library(count):
    values = np.random.default_rng(0).normal(size=(3, count))
    for share in (0.0, 0.025, 0.31, 0.5, 0.975, 1.0):
        np.testing.assert_allclose(
            finite_quantile(values, share), np.quantile(values, share, axis=1), rtol=1e-14
        )
