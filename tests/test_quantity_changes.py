"""Measures of one's own, factors, and changes: what is read, what is refused and in which words."""

import math
import pickle

import numpy as np
import pytest

from ductsim.errors import InputError
from ductsim.measures import find_measure, own_measure
from ductsim.quantity import Times, measure_text, parse_change, si, times

# ---- measures of one's own


def test_a_coefficient_may_have_a_measure_of_its_own():
    own_measure("m3/s Pa^n")
    assert si(0.003, "m3/s Pa^n") == 0.003
    assert si("0.003 m3/s Pa^n", "m3/s Pa^n") == 0.003
    assert measure_text(0.003, "m3/s Pa^n") == "0.003 m3/s Pa^n"
    with pytest.raises(InputError, match=r"lacks its measure; a text needs one, like '1.8 m3/s Pa\^n'"):
        si("0.003", "m3/s Pa^n")
    with pytest.raises(InputError, match=r"a number given in m3/s: .*; allowed: a number in m3/s Pa\^n"):
        si("0.003 m3/s", "m3/s Pa^n")


def test_a_known_measure_stays_what_it_is():
    own_measure("kPa")
    own_measure("m^2")
    assert find_measure("kPa").dimension == "Pa"
    assert find_measure("m^2").dimension == "m2"


# ---- factors and changes


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (2.0, ("set", 2.0)),
        ("2 m", ("set", 2.0)),
        ("2 ft", ("set", 0.6096)),
        ("x0.8", ("times", 0.8)),
        ("X 0.8", ("times", 0.8)),
        ("×1.1", ("times", 1.1)),
        (" x 80 % ", ("times", 0.8)),
        ("x0", ("times", 0.0)),
        (times(0.5), ("times", 0.5)),
    ],
)
def test_changes_that_are_read(value, expected):
    assert parse_change(value, "m") == expected


def test_columns_set_and_scale():
    kind, column = parse_change(np.array([1.0, 2.0]), "m")
    assert kind == "set"
    assert column.tolist() == [1.0, 2.0]
    kind, column = parse_change(times([0.5, 1.0]), "m")
    assert kind == "times"
    assert column.tolist() == [0.5, 1.0]


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ("x", "'x' is no factor: .*; a text like 'x0.8'"),
        ("x0,8", "'x0,8' is no factor: '0,8' has a comma in its number"),
        ("x-1", "a factor of -1"),
        ("x1e400", "no finite number"),
        ("xnan", "no factor"),
        ("x0.8 m", "no factor: a ratio given in m"),
        ("0.8x", "unknown measure 'x'"),
        ("2", "lacks its measure"),
        (None, "is no number"),
    ],
)
def test_changes_that_are_refused(value, words):
    with pytest.raises(InputError, match=words):
        parse_change(value, "m")


@pytest.mark.parametrize("factor", [-0.1, [1.0, -2.0], math.nan, math.inf, "x", True, None])
def test_factors_that_are_refused(factor):
    with pytest.raises(InputError):
        times(factor)


def test_factors_compare_print_and_pickle():
    one, column = times(0.8), times([0.8, 0.9])
    assert repr(one) == "x0.8"
    assert repr(column) == "x<column of 2>"
    assert one == Times(0.8)
    assert one != column
    assert one != 0.8
    assert hash(one) == hash(Times(0.8))
    assert pickle.loads(pickle.dumps(column)) == column
