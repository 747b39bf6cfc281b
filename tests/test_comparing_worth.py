"""The worth of fixes in company: definitions, textbook games, and what fixes do to each other."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ductsim.studies.compare.worth import best_within, interactions, sampled_worths, shapley

numbers = st.floats(-100, 100).map(lambda x: round(x, 3))


def games(n):
    return st.lists(numbers, min_size=2**n, max_size=2**n).map(lambda v: np.array([0.0, *v[1:]]))


def by_definition(gain, n):
    """The mean marginal gain over all n! orders, in so many words."""
    out = np.zeros(n)
    for order in itertools.permutations(range(n)):
        done = 0
        for i in order:
            out[i] += gain[done | 1 << i] - gain[done]
            done |= 1 << i
    return out / math.factorial(n)


@given(games(4))
def test_the_worth_is_the_mean_marginal_gain_over_all_orders(gain):
    assert shapley(gain) == pytest.approx(by_definition(gain, 4), abs=1e-9)


@given(games(5))
def test_worths_add_up_to_the_gain_of_all_together(gain):
    assert shapley(gain).sum() == pytest.approx(gain[-1], abs=1e-9)


@given(games(3), numbers)
def test_a_fix_that_adds_a_constant_is_worth_it_and_changes_no_other(gain, constant):
    larger = np.concatenate([gain, gain + constant])
    assert shapley(larger) == pytest.approx([*shapley(gain), constant], abs=1e-9)


@given(st.lists(numbers, min_size=6, max_size=6))
def test_twins_are_equal(values):
    # fixes 0 and 1 may be exchanged: a set's gain hangs on how many of them it holds
    a, b, c, d, e, _ = values
    gain = np.array([0.0, a, a, b, c, d, d, e])
    worths = shapley(gain)
    assert worths[0] == pytest.approx(worths[1], abs=1e-12)


def test_the_glove_game():
    """One left glove, two right ones; only a pair is worth anything: 2/3, 1/6, 1/6.

    A textbook example of the value that L. S. Shapley defined in "A Value for n-Person Games" (1953); the
    numbers are from memory and follow from counting the six orders.
    """
    gain = np.array([float(s & 1 and s & 6 != 0) for s in range(8)])
    assert shapley(gain) == pytest.approx([2 / 3, 1 / 6, 1 / 6])


def test_many_machines_at_once_are_the_single_ones():
    gains = np.random.default_rng(3).normal(size=(16, 5))
    gains[0] = 0.0
    assert shapley(gains) == pytest.approx(np.column_stack([shapley(g) for g in gains.T]))


def test_no_fixes_and_one_fix():
    assert shapley(np.zeros(1)).shape == (0,)
    assert shapley(np.array([0.0, 7.0])) == pytest.approx([7.0])


def test_where_fixes_contradict_the_best_part_counts():
    gain = np.array([0.0, 5.0, 3.0, np.nan, 1.0, 6.0, 4.0, np.nan])
    assert best_within(gain) == pytest.approx([0, 5, 3, 5, 1, 6, 4, 6])
    assert shapley(best_within(gain)).sum() == pytest.approx(6.0)


def test_sampled_worths_are_exact_where_every_order_is_taken():
    rng = np.random.default_rng(5)
    gain = np.concatenate([[0.0], rng.normal(size=15)])
    orders = np.array(list(itertools.permutations(range(4))))
    steps = np.array([[gain[sum(1 << i for i in order[:k])] for k in range(5)] for order in orders])
    worths, errors = sampled_worths(steps, orders)
    assert worths == pytest.approx(shapley(gain))
    assert (errors > 0).all()


def found(gain, n=2, **more):
    return [(t.kind, t.fixes) for t in interactions(lambda s: gain[s], range(n), 1.0, **more)]


@pytest.mark.parametrize(
    ("gain", "expected"),
    [
        ([0, 0, 20, 35], [("only together", (0, 1))]),
        ([0, 0, 0, 35], [("only together", (0, 1)), ("only together", (1, 0))]),
        ([0, 10, 20, 30], []),
        ([0, 10, 20, 12], [("cancel", (0, 1))]),
        ([0, 20, -25, 0.5], [("cancel", (0, 1))]),
        ([0, 10, 20, 22], [("overlap", (0, 1))]),
        ([0, 10, 20, 40], [("reinforce", (0, 1))]),
        ([0, 10, 20, np.nan], []),
        ([0, 0.5, 0.5, 1.2], []),
    ],
)
def test_what_two_fixes_do_to_each_other(gain, expected):
    assert found(gain) == expected


def test_the_smallest_company_is_named():
    gain = [0.0, 0, 0, 0, 0, 0, 0, 50]
    assert ("only together", (0, 1, 2)) in found(gain, 3)
    assert found(gain, 3, most=1) == []
