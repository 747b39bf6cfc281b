"""Merges and splits: against Crane's branch coefficients, smooth everywhere, never a source of power."""

import fluids
import numpy as np
import pytest

from ductsim.laws.tees import merge, split
from ductsim.parts import LocalAir

AIR = LocalAir((1.2, 1.2, 1.2), 1.8e-5, 1.2, (0.0,) * 3)
SECTION = 0.03
SHARES = np.linspace(0.1, 0.9, 9)
ANGLES = (30, 45, 60, 90)
BRANCHES = (1.0, 0.7, 0.5, 0.3, 0.15)
CRANE = {
    ("merge", 0): fluids.K_run_converging_Crane,
    ("merge", 1): fluids.K_branch_converging_Crane,
    ("split", 0): fluids.K_run_diverging_Crane,
    ("split", 1): fluids.K_branch_diverging_Crane,
}
# (absolute in velocity pressures, share of the value): what the docstring of `merge` promises, or better
ALLOWED = {
    ("merge", 0): (0.05, 0.0),
    ("merge", 1): (0.16, 0.05),
    ("split", 0): (0.05, 0.0),
    ("split", 1): (0.2, 0.25),
}


def areas(branch, degrees):
    return {
        "straight_area": SECTION,
        "branch_area": branch * SECTION,
        "combined_area": SECTION,
        "angle": np.radians(degrees),
    }


def coefficients(law, degrees, branch, shares):
    """Both coefficients on the combined velocity, for shares of the flow in the branch."""
    total = 1.2 * SECTION * 20.0
    d, _, _ = law((total * (1.0 - shares), total * shares), AIR, **areas(branch, degrees))
    return [v / (0.5 * 1.2 * 20.0**2) for v in d]


def crane(kind, degrees, branch, shares):
    """Crane TP-410 as in the general library fluids."""
    d = np.sqrt(4.0 * SECTION / np.pi)
    return np.array(
        [
            CRANE[kind](D_run=d, D_branch=d * np.sqrt(branch), Q_run=1.0 - q, Q_branch=q, angle=degrees)
            for q in shares
        ]
    )


@pytest.mark.parametrize("kind", CRANE, ids=lambda k: f"{k[0]}-{('straight', 'branch')[k[1]]}")
@pytest.mark.parametrize("degrees", ANGLES)
def test_against_published_branch_coefficients(kind, degrees):
    law = merge if kind[0] == "merge" else split
    absolute, share = ALLOWED[kind]
    for branch in BRANCHES:
        ours = coefficients(law, degrees, branch, SHARES)[kind[1]]
        reference = crane(kind, degrees, branch, SHARES)
        assert np.all(np.abs(ours - reference) <= np.maximum(absolute, share * np.abs(reference))), branch


def test_mean_deviation_is_what_the_docstring_says():
    gaps = [
        np.abs(coefficients(merge if k[0] == "merge" else split, a, b, SHARES)[k[1]] - crane(k, a, b, SHARES))
        for k in CRANE
        for a in ANGLES
        for b in BRANCHES
    ]
    assert np.mean(gaps) < 0.04


@pytest.mark.parametrize("degrees", ANGLES)
def test_joining_streams_have_a_unique_flow(degrees):
    """Where both streams join, the 2 x 2 slope is a P-matrix."""
    rng = np.random.default_rng(3)
    n = 20_000
    branch, straight = rng.uniform(0.1, 1.0, n), rng.uniform(0.5, 1.0, n)
    c = areas(branch, degrees) | {"straight_area": straight * SECTION}
    x, y = rng.uniform(0.0, 1.0, n) * straight, rng.uniform(0.0, 1.0, n) * branch
    _, s, _ = merge((x, y), AIR, **c)
    assert np.all(s[0][0] > 0.0)
    assert np.all(s[1][1] > 0.0)
    assert np.all(s[0][0] * s[1][1] > s[0][1] * s[1][0])


@pytest.mark.parametrize("degrees", ANGLES)
def test_no_state_gives_power_to_the_air(degrees):
    rng = np.random.default_rng(4)
    n = 20_000
    branch, straight = rng.uniform(0.1, 1.0, n), rng.uniform(0.5, 1.0, n)
    c = areas(branch, degrees) | {"straight_area": straight * SECTION}
    x, y = rng.uniform(-1.0, 1.0, n) * straight, rng.uniform(-1.0, 1.0, n) * branch
    d, _, _ = merge((x, y), AIR, **c)
    assert np.all(x * d[0] + y * d[1] > 0.0)


def test_a_split_is_a_merge_turned_round():
    c = areas(0.5, 60)
    (a1, a2), s, q = split((0.4, 0.2), AIR, **c)
    (b1, b2), t, p = merge((-0.4, -0.2), AIR, **c)
    assert (a1, a2) == (-b1, -b2)
    assert s == t
    assert q[0] == tuple(-v for v in p[0])


@pytest.mark.parametrize("law", [merge, split])
def test_slopes_do_not_jump_where_a_stream_turns(law):
    """On both sides of a still branch and of a still straight way the slopes meet."""
    c = areas(0.5, 45)
    for flow, tiny in (((0.5, 0.0), (0.0, 1e-9)), ((0.0, 0.5), (1e-9, 0.0)), ((-0.5, 0.0), (0.0, 1e-9))):
        sides = [law((flow[0] + k * tiny[0], flow[1] + k * tiny[1]), AIR, **c)[1] for k in (1, -1)]
        np.testing.assert_allclose(np.array(sides[0]), np.array(sides[1]), atol=1e-3 * np.abs(sides[0]).max())


def test_worked_numbers_of_the_docstrings():
    along, aside = coefficients(merge, 90, 1.0, np.array([0.25]))
    assert float(along[0]) == pytest.approx(0.35, abs=5e-3)
    assert float(aside[0]) == pytest.approx(-0.07, abs=5e-3)
    along, aside = coefficients(split, 45, 1.0, np.array([5.0 / 13.0]))
    assert float(along[0]) == pytest.approx(-0.03, abs=5e-3)
    assert float(aside[0]) == pytest.approx(0.49, abs=2e-2)


def test_opposed_streams_are_outside_the_range():
    c = areas(0.5, 45)
    for law in (merge, split):
        assert [s for mask, s in law.card.outside((0.5, -0.2), AIR, **c) if mask]
        assert not [s for mask, s in law.card.outside((0.5, 0.2), AIR, **c) if mask]
        assert not [s for mask, s in law.card.outside((0.5, -1e-6), AIR, **c) if mask]
