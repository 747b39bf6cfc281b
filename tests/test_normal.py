"""The normal distribution and the chi-square, held against a general library."""

import math

import numpy as np
import pytest
from scipy import special

from ductsim.normal import chance_beyond, coordinate, share_below


def test_shares_below_are_those_of_the_library_far_out_too():
    z = np.concatenate([np.linspace(-37.0, 10.0, 4701), [-0.46875 * math.sqrt(2.0), -4.0 * math.sqrt(2.0)]])
    np.testing.assert_allclose(share_below(z), special.ndtr(z), rtol=1e-13)
    near = z[z > -6.0]
    np.testing.assert_allclose(share_below(near), special.ndtr(near), rtol=3e-15)


def test_coordinates_are_those_of_the_library():
    small = 10.0 ** -np.linspace(0.31, 307.0, 3001)
    share = np.concatenate([small, np.linspace(0.01, 0.99, 99), 1.0 - small[:100], [0.075, 0.925]])
    np.testing.assert_allclose(coordinate(share), special.ndtri(share), rtol=3e-15, atol=1e-15)


def test_ends_and_shapes():
    assert share_below(0.0) == 0.5 and coordinate(0.5) == 0.0
    assert list(share_below([-math.inf, math.inf, -60.0, 60.0])) == [0.0, 1.0, 0.0, 1.0]
    assert list(coordinate([0.0, 1.0])) == [-math.inf, math.inf]
    assert np.isnan(share_below(math.nan)) and np.isnan(coordinate([-0.1, 1.1, math.nan])).all()
    assert share_below(np.zeros((2, 3))).shape == coordinate(np.full((2, 3), 0.3)).shape == (2, 3)
    assert type(share_below(1)) is type(coordinate(0.1)) is float


@pytest.mark.parametrize("count", [1, 2, 3, 8, 33, 150, 299, 300])
def test_chances_beyond_a_chi_square_are_those_of_the_library(count):
    for chi_square in (1e-9, 0.1, 1.0, 10.0, 0.5 * count, count, 2.0 * count, 5.0 * count + 50.0):
        expected = special.gammaincc(0.5 * count, 0.5 * chi_square)
        assert chance_beyond(chi_square, count) == pytest.approx(expected, rel=1e-12)


def test_chances_at_the_ends():
    assert chance_beyond(3.0, 0) == chance_beyond(0.0, 4) == 1.0
    assert chance_beyond(math.inf, 4) == chance_beyond(1e9, 300) == 0.0
    assert math.isnan(chance_beyond(math.nan, 4))
