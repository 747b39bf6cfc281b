"""Ensembles: distributions of scipy.stats, a correlation matrix, and the numbers that were drawn."""

import pickle

import numpy as np
import pandas as pd
import pytest
from scipy import stats

import ductsim as ds
from ductsim.description.distributions import read_distribution
from ductsim.digest import digest
from ductsim.errors import InputError, UnknownName
from ductsim.studies.ensemble import study

ADDRESSES = ("left duct.diameter", "right duct.diameter", "fan.speed")


@pytest.fixture(scope="module")
def bench():
    return ds.demo("bench")


def diameters(bench):
    """A normal spread of both ducts' diameters, of the third number another."""
    both = {a: stats.norm(bench.numbers[a], 0.01 * bench.numbers[a]) for a in ADDRESSES[:2]}
    return both | {"fan.speed": {"sd": 0.02}}


# ---- what was drawn


@pytest.mark.parametrize("method", ["latin hypercube", "sobol", "random"])
@pytest.mark.parametrize("shares", [False, True])
def test_the_numbers_drawn_give_the_answers_exactly(bench, method, shares):
    found = ds.ensemble(bench, diameters(bench), samples=10, chunk=4, method=method, seed=7, shares=shares)
    drawn = found.inputs_drawn()
    assert set(drawn) == set(ADDRESSES)
    for start in (0, 4, 8):  # chunk by chunk: how many are solved at once shows in the last digits
        state = bench.change({a: values[start : start + 4] for a, values in drawn.items()}).solve()
        assert np.array_equal(state.ask("weakest vacuum"), found.answers[0, start : start + 4])


def test_some_of_the_numbers_drawn(bench):
    found = ds.ensemble(bench, diameters(bench), samples=20, seed=1)
    every = found.inputs_drawn()
    some = found.inputs_drawn("* duct.diameter")
    assert list(some) == list(ADDRESSES[:2])
    assert all(np.array_equal(some[a], every[a]) for a in some)
    assert not some[ADDRESSES[0]].flags.writeable
    with pytest.raises(UnknownName, match="left duct"):
        found.inputs_drawn("left duct.length")
    with pytest.raises(UnknownName, match="lefd duct"):
        found.inputs_drawn("lefd duct.diameter")


# ---- distributions of scipy.stats


@pytest.mark.parametrize(
    "law",
    [
        stats.norm(0.2, 0.01),
        stats.beta(2.0, 3.0, loc=0.1, scale=0.2),
        stats.weibull_min(c=1.8, scale=0.2),
        stats.rv_histogram((np.array([1.0, 3.0, 2.0]), np.array([0.1, 0.15, 0.2, 0.25]))),
    ],
    ids=["norm", "beta", "weibull", "histogram"],
)
def test_numbers_follow_the_distribution_that_is_given(bench, law):
    """Against its own distribution function, by the Kolmogorov-Smirnov test of scipy.stats."""
    spread = {"left duct.diameter": law}
    found = ds.ensemble(bench, spread, samples=400, method="random", seed=2)
    values = found.inputs_drawn()["left duct.diameter"]
    assert stats.kstest(values, law.cdf).pvalue > 0.001
    again = ds.ensemble(
        bench, [ds.Spread("left duct.diameter", *spread.values())], samples=400, method="random", seed=2
    )
    assert np.array_equal(again.answers, found.answers)


def test_a_normal_distribution_is_the_normal_spread(bench):
    middle = bench.numbers["left duct.diameter"]
    law = ds.ensemble(bench, {"left duct.diameter": stats.norm(middle, 0.02 * middle)}, samples=16)
    kind = ds.ensemble(bench, {"left duct.diameter": {"kind": "normal", "sd": 0.02}}, samples=16)
    np.testing.assert_allclose(law.answers, kind.answers, rtol=1e-9)


def test_values_of_a_distribution_stay_within_the_range_of_the_number(bench):
    found = ds.ensemble(bench, {"left duct.diameter": stats.uniform(-1.0, 1.3)}, samples=20)
    declared = bench.layout.declaration("left duct.diameter")
    assert found.inputs_drawn()["left duct.diameter"].min() == declared.low


def test_a_distribution_has_one_digest_whatever_was_drawn_elsewhere():
    one = digest(read_distribution(stats.norm(1.0, 2.0), ""))
    np.random.random()  # noqa: NPY002 - the state that distributions of scipy.stats carry along
    assert digest(read_distribution(stats.norm(1.0, 2.0), "")) == one
    assert digest(read_distribution(stats.norm(1.0, scale=2.0), "")) != one  # said otherwise
    assert digest(read_distribution(stats.norm(1.0, 2.1), "")) != one


def test_a_distribution_of_another_support_keeps_itself():
    class Narrow(stats.rv_continuous):
        def _ppf(self, q):
            return 0.1 + 0.1 * q

    own = read_distribution(Narrow(name="norm")(), "")
    assert own.name == "" and own.quantile(np.array([0.5])) == pytest.approx(0.15)


def test_folders_know_the_distribution(bench, tmp_path):
    middle = bench.numbers["left duct.diameter"]
    options = {"samples": 8, "folder": tmp_path / "e"}
    first = ds.ensemble(bench, {"left duct.diameter": stats.norm(middle, 0.01)}, **options)
    np.random.random()  # noqa: NPY002
    again = ds.ensemble(bench, {"left duct.diameter": stats.norm(middle, 0.01)}, **options)
    assert np.array_equal(first.answers, again.answers) and first.sha256 == again.sha256
    with pytest.raises(InputError, match="chunks of another input"):
        ds.ensemble(bench, {"left duct.diameter": stats.norm(middle, 0.02)}, **options)


@pytest.mark.parametrize(
    ("spreads", "words"),
    [
        (
            {"left duct.diameter": stats.norm},
            "'norm' has no parameters; a frozen distribution of scipy.stats",
        ),
        ({"left duct.diameter": 0.1}, "is not a mapping; a distribution of scipy.stats, or a mapping"),
        ({"left duct.diameter": stats.norm([0.1, 0.2], 0.01)}, "without values"),
        ({"left duct.diameter": stats.norm(0.1, -1.0)}, "without values"),
        ([ds.Spread("left duct.diameter", stats.norm(0.2, 0.01), sd=0.1)], "sd beside a distribution"),
        ([ds.Spread("left duct.diameter", 3)], "3 is no distribution"),
        ({"left duct.diameter": {"number": "x"}}, "stands there twice"),
        ({"lefd duct.diameter": stats.norm(0.2, 0.01)}, "lefd duct"),
    ],
)
def test_distributions_that_are_none(bench, spreads, words):
    with pytest.raises(InputError, match=words):
        ds.ensemble(bench, spreads, samples=4)


# ---- a correlation matrix

MATRIX = [[1.0, 0.8], [0.8, 1.0]]


def test_numbers_scatter_together_as_the_matrix_says(bench):
    given = (ADDRESSES[:2], MATRIX)
    found = ds.ensemble(bench, diameters(bench), samples=4000, correlation=given, method="random", seed=3)
    drawn = found.inputs_drawn()
    seen = np.corrcoef([drawn[a] for a in ADDRESSES])
    assert seen[0, 1] == pytest.approx(0.8, abs=0.03)
    assert np.abs(seen[2, :2]).max() < 0.06
    for address in ADDRESSES[:2]:  # each by itself as before
        middle = bench.numbers[address]
        own = stats.norm(middle, 0.01 * middle)
        assert stats.kstest(drawn[address], own.cdf).pvalue > 0.001
    frame = pd.DataFrame(MATRIX, ADDRESSES[:2], ADDRESSES[:2])
    again = ds.ensemble(bench, diameters(bench), samples=4000, correlation=frame, method="random", seed=3)
    assert np.array_equal(found.answers, again.answers)


def test_the_variance_of_an_answer_follows_the_matrix(bench):
    """Of an answer nearly linear in the numbers it is g C g with its slopes g (propagation of errors)."""
    given = (ADDRESSES[:2], [[1.0, -0.9], [-0.9, 1.0]])
    spreads = {a: spread for a, spread in diameters(bench).items() if a in ADDRESSES[:2]}
    found = ds.ensemble(bench, spreads, "fan.flow", samples=2048, correlation=given, method="sobol")
    _, slopes = bench.jacobian(["fan.flow"], ADDRESSES[:2])
    step = slopes[0] * 0.01 * np.array([bench.numbers[a] for a in ADDRESSES[:2]])
    expected = np.sqrt(step @ np.array(given[1]) @ step)
    assert found.answers[0].std() == pytest.approx(expected, rel=0.05)


def test_no_correlation_changes_nothing_and_full_correlation_is_one_number(bench):
    spreads = diameters(bench)
    plain = ds.ensemble(bench, spreads, samples=16)
    unit = ds.ensemble(bench, spreads, samples=16, correlation=(ADDRESSES[:2], np.eye(2)))
    np.testing.assert_allclose(unit.answers, plain.answers, rtol=1e-9)
    full = ds.ensemble(bench, spreads, samples=16, correlation=(ADDRESSES[:2], np.ones((2, 2))))
    one, other = (full.inputs_drawn(a)[a] / bench.numbers[a] for a in ADDRESSES[:2])
    np.testing.assert_allclose(one, other, rtol=1e-7)


def test_correlated_numbers_are_one_input_of_the_shares(bench):
    given = (ADDRESSES[:2], MATRIX)
    found = ds.ensemble(
        bench, diameters(bench), "fan.flow", samples=64, correlation=given, shares=True, method="sobol"
    )
    assert found.inputs == ("left duct.diameter with right duct.diameter", "fan.speed")
    assert found.shares["fan.flow"].total.sum() == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ((ADDRESSES[:2], [[1.0, 0.5], [0.4, 1.0]]), "not symmetric"),
        ((ADDRESSES[:2], [[1.0, 1.5], [1.5, 1.0]]), "contradict each other"),
        ((ADDRESSES[:2], [[2.0, 0.5], [0.5, 1.0]]), "with itself is not 1"),
        ((ADDRESSES[:2], [[1.0]]), r"shape \(1, 1\)"),
        ((ADDRESSES[:2], [["a", 0.5], [0.5, 1.0]]), "no matrix of numbers"),
        ((ADDRESSES[:2], [[np.nan, 0.5], [0.5, 1.0]]), "not symmetric"),
        ((("* duct.diameter",), [[1.0]]), "means 2 numbers"),
        ((("left duct.length",), [[1.0]]), "left duct.length"),
        (((ADDRESSES[0], ADDRESSES[0]), MATRIX), "twice"),
        (MATRIX[0] * 2, "is no pair"),
        ("left duct.diameter", "is not a list"),
        (pd.DataFrame(MATRIX, ["a", "b"], ["b", "a"]), "not the same numbers"),
    ],
)
def test_matrices_that_are_none(bench, given, words):
    with pytest.raises(InputError, match=words):
        ds.ensemble(bench, diameters(bench), samples=4, correlation=given)


def test_a_number_of_a_group_is_not_correlated_once_more(bench):
    spreads = [{"number": "* duct.diameter", "sd": 0.1, "group": "ducts"}]
    with pytest.raises(InputError, match="scatters with the group 'ducts' already"):
        ds.ensemble(bench, spreads, samples=4, correlation=(ADDRESSES[:2], MATRIX))


def test_what_was_drawn_travels(bench, tmp_path):
    found = ds.ensemble(
        bench, diameters(bench), samples=12, chunk=5, correlation=(ADDRESSES[:2], MATRIX), shares=True, seed=4
    )
    found.save(tmp_path / "e.result")
    for other in (ds.Ensemble.load(tmp_path / "e.result"), pickle.loads(pickle.dumps(found))):
        assert other.to_json() == found.to_json()
        drawn = other.inputs_drawn()
        assert all(np.array_equal(values, drawn[a]) for a, values in found.inputs_drawn().items())


def test_a_distribution_of_ones_own_is_not_kept_in_a_file(bench, tmp_path):
    law = stats.rv_histogram((np.array([1.0, 2.0]), np.array([0.1, 0.15, 0.2])))
    found = ds.ensemble(bench, {"left duct.diameter": law}, samples=4)
    with pytest.raises(InputError, match="cannot be kept"):
        found.save(tmp_path / "e.result")
    assert not list(tmp_path.iterdir())
    assert pickle.loads(pickle.dumps(found)).to_json() == found.to_json()


def test_chunks_are_as_large_as_fits(monkeypatch, bench):
    """By default 16,384, or of a large machine as many as can be solved at once."""
    few = {"of": "weakest vacuum", "samples": 40, "seed": 1}
    assert ds.ensemble(bench, diameters(bench), **few).chunk == 16384
    monkeypatch.setattr(study, "LARGEST", 24 * (len(bench.numbers) + len(diameters(bench))) * 15.5)
    found = ds.ensemble(bench, diameters(bench), **few)
    assert found.chunk == 15 and len(found) == 40
    with pytest.raises(InputError, match="chunk 16; up to 15 of this machine"):
        ds.ensemble(bench, diameters(bench), chunk=16, **few)
