"""Variance shares against a function whose shares are known in closed form."""

import numpy as np
import pytest

from ductsim.variance import variance_shares

# Ishigami and Homma (1990), f = sin x1 + a sin^2 x2 + b x3^4 sin x1 with a = 7, b = 0.1 on [-pi, pi]^3;
# shares by the closed form of its variance decomposition (coefficients from memory, integrals redone here).
A, B = 7.0, 0.1


def ishigami(x):
    return np.sin(x[:, 0]) + A * np.sin(x[:, 1]) ** 2 + B * x[:, 2] ** 4 * np.sin(x[:, 0])


def closed_form():
    v1 = 0.5 * (1.0 + B * np.pi**4 / 5.0) ** 2
    v2 = A**2 / 8.0
    v13 = 8.0 * B**2 * np.pi**8 / 225.0
    total = v1 + v2 + v13
    return np.array([v1, v2, 0.0]) / total, np.array([v1 + v13, v2, v13]) / total


def sampled(n, seed):
    from scipy.stats import qmc

    # SciPy before 1.15 knows the generator by this name only
    unit = qmc.Sobol(6, seed=np.random.default_rng(seed)).random(n)
    x = np.pi * (2.0 * unit - 1.0)
    one, two = x[:, :3], x[:, 3:]
    mixed = []
    for i in range(3):
        swapped = one.copy()
        swapped[:, i] = two[:, i]
        mixed.append(ishigami(swapped))
    return variance_shares(ishigami(one), ishigami(two), np.array(mixed))


def test_closed_form_is_the_published_one():
    first, total = closed_form()
    assert first == pytest.approx([0.3139, 0.4424, 0.0], abs=5e-5)
    assert total == pytest.approx([0.5576, 0.4424, 0.2437], abs=5e-5)


def test_shares_of_the_ishigami_function():
    found = sampled(2**14, 1)
    first, total = closed_form()
    assert found.first == pytest.approx(first, abs=0.01)
    assert found.total == pytest.approx(total, abs=0.01)


def test_standard_errors_hold_the_truth():
    first, total = closed_form()
    inside = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        x = np.pi * (2.0 * rng.random((512, 6)) - 1.0)
        one, two = x[:, :3], x[:, 3:]
        mixed = []
        for i in range(3):
            swapped = one.copy()
            swapped[:, i] = two[:, i]
            mixed.append(ishigami(swapped))
        found = variance_shares(ishigami(one), ishigami(two), np.array(mixed))
        inside += np.sum(np.abs(found.first - first) < 2.0 * found.first_error)
        inside += np.sum(np.abs(found.total - total) < 2.0 * found.total_error)
    assert inside >= 0.85 * 120  # 95 % expected; 102 of 120 is five standard deviations below


def test_shares_of_a_sum_are_its_terms():
    rng = np.random.default_rng(0)
    one, two = rng.standard_normal((2, 100_000, 2))
    weights = np.array([3.0, 4.0])
    mixed = [
        np.column_stack([two[:, 0], one[:, 1]]) @ weights,
        np.column_stack([one[:, 0], two[:, 1]]) @ weights,
    ]
    found = variance_shares(one @ weights, two @ weights, np.array(mixed))
    assert found.first == pytest.approx([0.36, 0.64], abs=0.02)
    assert found.total == pytest.approx([0.36, 0.64], abs=0.02)


def test_no_variance_no_shares():
    same = np.ones(8)
    found = variance_shares(same, same, np.ones((2, 8)))
    assert np.all(found.first == 0.0) and np.all(found.total == 0.0)
