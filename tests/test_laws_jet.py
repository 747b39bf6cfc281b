"""The jet in every flow state: against a general library's jet pump, uniqueness, reversal, edges."""

import math

import fluids
import numpy as np
import pytest
from fluids.jet_pump import liquid_jet_pump
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from ductsim.laws.jets import jet
from ductsim.parts import LocalAir
from ductsim.parts.jet import Jet


def call(part, x, y, density=(1.1, 1.1, 1.1), per_pressure=(0.0, 0.0, 0.0)):
    pair = part.paths()[0]
    return pair.law((x, y), LocalAir(density, 1.8e-5, 1.1, per_pressure), **pair.coefficients)


@given(
    share=st.floats(0.03, 0.45),
    pace=st.floats(0.02, 1.2),
    losses=st.tuples(st.floats(0.0, 0.3), st.floats(0.0, 0.4), st.floats(0.01, 0.4)),
    rho=st.tuples(st.floats(0.9, 1.3), st.floats(0.9, 1.3)),
    speed=st.floats(60.0, 120.0),
)
def test_against_the_jet_pump_of_a_general_library(share, pace, losses, rho, speed):
    """fluids.jet_pump with `nozzle_retracted=False` (ESDU 85032, Karassik): both pressures to 1e-9.

    The library's total discharge pressure stands when it is given no diffuser; its mixture has the mass
    per volume of both flows.
    """
    k_j, k_s, k_m = losses
    d_mix = 0.25
    d_nozzle = d_mix * math.sqrt(share)
    a_m, a_j = 0.25 * math.pi * d_mix**2, 0.25 * math.pi * d_nozzle**2
    q_p = speed * a_j
    q_s = pace * speed * (a_m - a_j)
    mixed = (rho[0] * q_p + rho[1] * q_s) / (q_p + q_s)
    part = Jet(nozzle_area=a_j, mixing_area=a_m, nozzle_loss=k_j, suction_loss=k_s, mixing_loss=k_m)
    (d1, d2), _, _ = call(part, rho[0] * q_p, rho[1] * q_s, (rho[0], rho[1], mixed))
    reference = liquid_jet_pump(
        rhop=rho[0],
        rhos=rho[1],
        Kp=k_j,
        Ks=k_s,
        Km=k_m,
        Kd=0.0,
        d_nozzle=d_nozzle,
        d_mixing=d_mix,
        Qp=q_p,
        Qs=q_s,
        P2=1e6,  # far from a vacuum, where the library stops
        nozzle_retracted=False,
    )
    scale = 0.5 * rho[0] * speed**2
    # the smoothing adds half the pressure of 1 mm/s to each loss, 1e-10 of the nozzle's here
    assert d1 == pytest.approx(reference["P1"] - reference["P5"], abs=1e-9 * scale)
    assert d2 == pytest.approx(reference["P2"] - reference["P5"], abs=1e-9 * scale)


def test_regression_values_of_the_closed_form():
    """P5 - P2 of fluids.jet_pump (not retracted), 50/150 mm, 80 m/s, 1.2 kg/m3, losses .05 .1 .25."""
    a_m, a_j = 0.25 * math.pi * 0.15**2, 0.25 * math.pi * 0.05**2
    part = Jet(nozzle_area=a_j, mixing_area=a_m, nozzle_loss=0.05, suction_loss=0.1, mixing_loss=0.15)
    x = 1.2 * 80.0 * a_j
    (d1, d2), _, _ = call(part, x, 2.0 * x, (1.2, 1.2, 1.2))
    reference = liquid_jet_pump(
        rhop=1.2, rhos=1.2, Kp=0.05, Ks=0.1, Km=0.15, Kd=0.0, d_nozzle=0.05, d_mixing=0.15,
        Qp=80.0 * a_j, Qs=160.0 * a_j, P2=1e5, nozzle_retracted=False,
    )  # fmt: skip
    assert -d2 == pytest.approx(reference["P5"] - 1e5, rel=1e-8)
    assert d1 - d2 == pytest.approx(3768.0, abs=1.0)


STATES = [
    ("both forward", 1, 1, None),
    ("suction blown back, duct forward", 1, -1, 1),
    ("suction blown back, duct plugged and reversed", 1, -1, -1),
    ("both reversed", -1, -1, None),
]


@pytest.mark.parametrize(("state", "sx", "sy", "duct"), STATES, ids=[s[0] for s in STATES])
@pytest.mark.parametrize("beta", [0.0, 1.1e-5])
def test_slopes_keep_the_flow_unique(state, sx, sy, duct, beta):
    """In these states the 2 x 2 slope is a P-matrix (both diagonals and the determinant above zero)."""
    rng = np.random.default_rng(7)
    n = 20_000
    x, y = sx * rng.uniform(0.01, 1.0, n), sy * rng.uniform(0.01, 2.0, n)
    if duct:
        keep = np.sign(x + y) == duct
        x, y = x[keep], y[keep]
    n = x.size
    c = random_jets(rng, n)
    _, s, _ = jet((x, y), LocalAir((1.12, 1.1, 1.1), 1.8e-5, 1.1, (beta,) * 3), **c)
    assert np.all(s[0][0] > 0.0)
    assert np.all(s[1][1] > 0.0)
    assert np.all(s[0][0] * s[1][1] > s[0][1] * s[1][0])


def random_jets(rng, n):
    share = rng.uniform(0.03, 0.45, n)
    k = rng.uniform(0.02, 0.5, (3, n))
    return {
        "nozzle_area": 0.06 * share,
        "suction_area": 0.06 * (1.0 - share),
        "mixing_area": 0.06,
        "nozzle_loss": k[0],
        "suction_loss": k[1],
        "mixing_loss": k[2],
        "cosine": np.cos(rng.uniform(0.0, 0.7, n)),
        "effectiveness": 1.0,
    }


def test_nozzle_backwards_with_suction_forward_still_takes_power_out():
    """The one state without a unique slope: the drops must all the same oppose the flow."""
    rng = np.random.default_rng(8)
    x, y = -rng.uniform(0.01, 1.0, 20_000), rng.uniform(0.01, 2.0, 20_000)
    d, _, _ = jet((x, y), LocalAir((1.1, 1.1, 1.1), 1.8e-5, 1.1, (0.0,) * 3), **random_jets(rng, 20_000))
    assert np.all(x * d[0] + y * d[1] > 0.0)


def test_plugged_duct_blows_back_out_of_the_suction():
    """With no flow out of the discharge the motive air leaves by the suction, against a pressure."""
    part = Jet(nozzle_area=0.0075, mixing_area=0.06, nozzle_loss=0.08, suction_loss=0.12, mixing_loss=0.08)
    (_, d2), _, _ = call(part, 0.6, -0.6)
    assert d2 < 0.0


def test_nozzle_density_follows_the_static_pressure_at_its_exit():
    """rho_j = rho_1 - beta (P_s - p1), and never below half of rho_1."""
    part = Jet(nozzle_area=0.0075, mixing_area=0.06)
    y, beta = 1.0, 1.1e-5
    suction = 1.1 * (y / 0.0525) ** 2 / (2.0 * 1.1)
    thin = 1.1 - beta * suction
    (d1, d2), _, _ = call(part, 0.75, y, per_pressure=(beta,) * 3)
    fall = d1 - d2 + suction  # from P_m to p1
    p1 = thin / beta
    root = math.sqrt(1.0 + 4.0 / 3.5 * 0.75**2 / (2.0 * thin * 0.0075**2) / p1)
    assert fall == pytest.approx(
        p1 * ((0.5 + 0.5 * root) ** 3.5 - 1.0) + 0.05 * 3.5 * p1 * (0.5 * root - 0.5), rel=1e-7
    )
    (far, _), slopes, _ = call(part, 0.75, 300.0, per_pressure=(beta,) * 3)
    assert np.isfinite([far, *slopes[0], *slopes[1]]).all()


@pytest.mark.parametrize("mach", [0.05, 0.25, 0.35, 0.6])
def test_the_nozzle_expands_as_an_ideal_gas(mach):
    """Fall of pressure and thrust of an isentropic nozzle, by stagnation states of the library fluids."""
    p1, t0, area, mixing = 97e3, 320.0, 0.0075, 0.06
    t1 = t0 / (1.0 + 0.2 * mach**2)
    fall = fluids.P_stagnation(p1, t1, t0, 1.4) - p1
    cold = p1 / (287.042 * t1)
    thrust = 1.4 * p1 * mach**2 * area  # rho V^2 A
    x = math.sqrt(cold * thrust * area)
    part = Jet(nozzle_area=area, mixing_area=mixing, nozzle_loss=0.0)
    warm = p1 / (287.042 * t0)
    (d1, d2), _, _ = call(part, x, 0.0, (warm, 1.1, 1.1), (warm / p1, 1.1e-5, 1.1e-5))
    assert d1 - d2 == pytest.approx(fall, rel=1e-6)
    mixed = (1.0 + 0.1) * x**2 / (2.0 * 1.1 * mixing**2)
    assert mixed - d2 == pytest.approx(thrust / mixing, rel=1e-6)


@pytest.mark.parametrize(("kilopascal", "percent"), [(4.5, 1.6), (8.0, 2.8)])
def test_a_nozzle_pushes_less_than_twice_its_pressure(kilopascal, percent):
    """dp / (2 kappa p0): what is missing to 2 dp A of a fluid of one density, to first order in dp."""
    part, p1 = Jet(nozzle_area=0.0075, mixing_area=0.06, nozzle_loss=0.0), 97e3
    density = ((1.1, 1.1, 1.1), (1.1 / p1,) * 3)
    x = brentq(lambda m: np.subtract(*call(part, m, 0.0, *density)[0]) - 1e3 * kilopascal, 0.1, 3.0)
    _, d2 = call(part, x, 0.0, *density)[0]
    thrust = (1.1 * x**2 / (2.0 * 1.1 * 0.06**2) - d2) * 0.06
    assert 100.0 * (1.0 - thrust / (2e3 * kilopascal * 0.0075)) == pytest.approx(percent, abs=0.15)


def test_a_suction_stream_from_the_side_pushes_less():
    """Its momentum along the mixing section goes with the cosine of its angle; across it, none is left."""
    pushes = []
    for angle in ("0 deg", "60 deg", "90 deg"):
        part = Jet(nozzle_area=0.0075, mixing_area=0.06, suction_angle=angle)
        pushes.append(call(part, 0.75, 1.0)[0][1])
    momentum = 1.0 / (1.1 * 0.0525 * 0.06)
    assert np.subtract(pushes, pushes[0]) == pytest.approx([0.0, 0.5 * momentum, momentum], rel=1e-9)


def test_a_short_mixing_section_mixes_less():
    """5 to 8 diameters mix in full (from memory): 96 to 99 %; none at all takes half the pressure rise."""
    lengths = np.array([0.0, 2.0, 5.0, 8.0, 1000.0]) * math.sqrt(4.0 * 0.06 / math.pi)
    part = Jet(nozzle_area=0.0075, mixing_area=0.06, mixing_length=lengths)
    share = part.paths()[0].coefficients["effectiveness"]
    assert share == pytest.approx([0.5, 0.816, 0.959, 0.991, 1.0], abs=1e-3)
    half = Jet(nozzle_area=0.0075, mixing_area=0.06, mixing_length=lengths, mixing_effectiveness=0.8)
    assert half.paths()[0].coefficients["effectiveness"] == pytest.approx(0.5 + 0.6 * (share - 0.5))
    assert "mixing_length" not in Jet(nozzle_area=0.0075, mixing_area=0.06).schema.number_keys


def test_an_oblique_or_incomplete_jet_drags_less():
    straight = Jet(nozzle_area=0.0075, mixing_area=0.06)
    lift = call(straight, 0.75, 1.0)[0][1]
    assert call(Jet(nozzle_area=0.0075, mixing_area=0.06, angle="40 deg"), 0.75, 1.0)[0][1] > lift
    assert call(Jet(nozzle_area=0.0075, mixing_area=0.06, mixing_effectiveness=0.7), 0.75, 1.0)[0][1] > lift


def test_effectiveness_takes_its_share_of_the_static_rise():
    """Static rise from the nozzle's exit to the discharge, with full mixing and with 80 % of it."""
    rises = []
    for share in (1.0, 0.8):
        part = Jet(nozzle_area=0.0075, mixing_area=0.06, mixing_loss=0.0, mixing_effectiveness=share)
        (_, d2), _, _ = call(part, 0.75, 1.0)
        p1 = -1.1 * 1.0 / (2.0 * 1.1 * 0.0525**2)
        rises.append(-d2 - p1 - 1.75**2 / (2.0 * 1.1 * 0.06**2))
    assert rises[1] == pytest.approx(0.8 * rises[0], rel=1e-6)


def test_a_closed_nozzle_leaves_the_whole_section_to_the_suction():
    part = Jet(nozzle_area=0.0, mixing_area=0.06, mixing_loss=0.1)
    pair = part.paths()[0]
    assert bool(pair.shut[0]) and not pair.shut[1]
    (_, d2), _, _ = call(part, 0.0, 1.2)
    speed = 1.2 / (1.1 * 0.06)
    assert d2 == pytest.approx((0.1 + 0.1) * 0.5 * 1.1 * speed**2, rel=1e-6)


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [(2.0, 1.0, "150 m/s"), (-0.5, 0.5, "backwards")],
)
def test_outside_the_range(x, y, words):
    pair = Jet(nozzle_area=0.0075, mixing_area=0.06).paths()[0]
    said = [
        s for mask, s in jet.card.outside((x, y), LocalAir((1.1,) * 3, 1.8e-5), **pair.coefficients) if mask
    ]
    assert len(said) == 1 and words in said[0]


def test_a_wide_nozzle_is_outside_the_range():
    pair = Jet(nozzle_area=0.04, mixing_area=0.06).paths()[0]
    said = [
        s
        for mask, s in jet.card.outside((0.5, 0.5), LocalAir((1.1,) * 3, 1.8e-5), **pair.coefficients)
        if mask
    ]
    assert len(said) == 1 and "half" in said[0]
