"""Friction against a general library, the blend, the slopes, the stack effect, the hose correction."""

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ductsim.laws.friction import (
    LAMINAR,
    TURBULENT,
    colebrook,
    compression_correction,
    friction,
    friction_factor,
    friction_outside,
)
from ductsim.parts import LocalAir

AIR = LocalAir(1.1, 1.85e-5, 1.13)
REYNOLDS = st.floats(4000.0, 1e8)
ROUGH = st.one_of(st.just(0.0), st.floats(1e-7, 0.05))


def numbers(**more):
    c = {
        "length": 3.0,
        "hydraulic_diameter": 0.2,
        "area": 0.0314,
        "roughness": 9e-5,
        "loss": 0.3,
        "rise": 0.0,
        "factor": 1.0,
    }
    return c | more


@given(REYNOLDS, ROUGH)
def test_colebrook_against_the_library(reynolds, rough):
    """The general library fluids solves Colebrook's equation to machine precision (fluids.Clamond)."""
    ours, _ = colebrook(reynolds, rough)
    assert ours == pytest.approx(fluids.Clamond(reynolds, rough), rel=1e-9)


@given(REYNOLDS, ROUGH)
def test_colebrook_solves_its_own_equation(reynolds, rough):
    """1/sqrt(f) = -2 log10(e/3.7 + 2.51 / (Re sqrt(f))), Colebrook (1939)."""
    f, _ = colebrook(reynolds, rough)
    right = -2.0 * np.log10(rough / 3.7 + 2.51 / (reynolds * np.sqrt(f)))
    assert 1.0 / np.sqrt(f) == pytest.approx(right, rel=1e-9)


@given(st.floats(1.0, 1e8), ROUGH)
def test_log_slope(reynolds, rough):
    _, slope = friction_factor(reynolds, rough)
    h = 1e-5
    up, down = (friction_factor(reynolds * np.exp(k), rough)[0] for k in (h, -h))
    at_switch = min(abs(np.log(reynolds / s)) for s in (LAMINAR, TURBULENT)) < 2 * h
    if not at_switch:
        assert slope == pytest.approx(np.log(up / down) / (2 * h), abs=2e-6)


@given(ROUGH)
def test_blend_meets_both_sides_and_rises(rough):
    """f Re^2, which is the drop, rises all the way; at 2000 and 4000 value and slope meet."""
    reynolds = np.linspace(1900.0, 4100.0, 400)
    f, slope = friction_factor(reynolds, rough)
    assert np.all(np.diff(f * reynolds**2) > 0.0)
    for switch in (LAMINAR, TURBULENT):
        (below, b), (above, a) = (friction_factor(switch * s, rough) for s in (1 - 1e-9, 1 + 1e-9))
        assert below == pytest.approx(above, rel=1e-7)
        assert b == pytest.approx(a, abs=1e-6)
    assert slope.shape == reynolds.shape


def test_laminar_is_exact():
    """Hagen-Poiseuille: dp = 32 mu L V / D^2."""
    c = numbers(loss=0.0, area=0.25 * np.pi * 0.2**2)
    m = 1000.0 * c["area"] * AIR.viscosity / 0.2
    drop, slope, _ = friction(m, AIR, **c)
    speed = m / (AIR.density * c["area"])
    assert drop == pytest.approx(32.0 * AIR.viscosity * 3.0 * speed / 0.2**2, rel=1e-12)
    assert slope == pytest.approx(drop / m, rel=1e-12)
    assert friction(0.0, AIR, **c)[1] == pytest.approx(slope, rel=1e-12)


def test_mixed_regimes_in_one_call_equal_single_calls():
    c = numbers()
    per = c["area"] * AIR.viscosity / c["hydraulic_diameter"]
    flows = np.array([0.0, 1e-9, 100.0, 1999.0, 2000.0, 3000.0, 4000.0, 1e5, -3000.0]) * per
    together = friction(flows, AIR, **c)
    for i, m in enumerate(flows):
        for t, s in zip(together, friction(m, AIR, **c), strict=True):
            assert t[i] == pytest.approx(s, rel=1e-13, abs=1e-300)


def test_factor_scales_friction_only():
    base = friction(0.8, AIR, **numbers(loss=0.0))[0]
    assert friction(0.8, AIR, **numbers(loss=0.0, factor=2.5))[0] == pytest.approx(2.5 * base)
    local = friction(0.8, AIR, **numbers())[0] - base
    assert local == pytest.approx(0.3 * 0.8**2 / (2 * 1.1 * 0.0314**2))


def test_stack_effect_is_the_weight_difference():
    """(rho - rho_outside) g rise, as in ASHRAE Handbook: Fundamentals (2021), chapter 21, example 1."""
    drop, _, in_density = friction(0.0, AIR, **numbers(rise=2.4))
    assert drop == pytest.approx((1.1 - 1.13) * 9.80665 * 2.4)
    assert in_density == pytest.approx(9.80665 * 2.4)


def test_hose_correction_falls_with_diameter_and_is_one_when_pulled_out():
    assert compression_correction(1.0, 0.2) == 1.0
    assert compression_correction(0.9, 0.15) > compression_correction(0.9, 0.25) > 1.0


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"roughness": 0.02}, "roughness"),
        ({"factor": 1.5, "hydraulic_diameter": 0.10}, "150 to 250 mm"),
        ({"factor": compression_correction(0.6, 0.2)}, "30 %"),
    ],
)
def test_outside_the_range(more, words):
    said = [s for mask, s in friction_outside(0.8, AIR, **numbers(**more)) if mask]
    assert len(said) == 1 and words in said[0]


def test_inside_the_range_nothing_is_said():
    assert not [s for mask, s in friction_outside(0.8, AIR, **numbers(factor=2.0)) if mask]
    assert [s for mask, s in friction_outside(900.0, AIR, **numbers()) if mask]
