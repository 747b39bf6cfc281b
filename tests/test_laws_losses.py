"""Square laws, plates, screens, changes of section, leaks: against a general library and by definition."""

import math

import fluids
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from ductsim.air import Air
from ductsim.laws.bends import angle_share, mitre_loss, round_bend_loss, square_bend_loss
from ductsim.laws.leaks import crack, leakage_coefficient, power_leak, power_resistance
from ductsim.laws.losses import (
    contraction_loss,
    diffuser_loss,
    grille_loss,
    plate_loss,
    quadratic,
    thin_plate_loss,
    two_way,
    wire_mesh_loss,
)
from ductsim.parts import LocalAir

AIR = LocalAir(1.2, 1.81e-5, 1.2)


# ---- square laws


@given(st.floats(0.01, 10.0), st.floats(1e-4, 1.0), st.floats(0.01, 100.0))
def test_quadratic_is_the_velocity_pressure(flow, area, loss):
    flow = flow * area * 12.0 + area
    pressure = 0.5 * 1.2 * (flow / (1.2 * area)) ** 2
    assert quadratic(flow, AIR, area=area, loss=loss)[0] == pytest.approx(loss * pressure, rel=2e-6)


def test_worked_numbers_of_the_docstrings():
    assert quadratic(1.2, AIR, area=0.1, loss=1.5)[0] == pytest.approx(90.0, rel=1e-6)
    there = two_way(1.2, AIR, area=0.1, forward=0.5, backward=1.0)[0]
    back = two_way(-1.2, AIR, area=0.1, forward=0.5, backward=1.0)[0]
    assert there == pytest.approx(30.0, rel=3e-4)
    assert back == pytest.approx(-60.0, rel=3e-4)
    assert power_resistance(10.0, AIR, coefficient=2.0, exponent=1.85)[0] == pytest.approx(141.6, rel=1e-3)
    assert power_leak(1.2 * 0.04755, AIR, coefficient=0.003, exponent=0.6)[0] == pytest.approx(
        100.0, rel=1e-3
    )
    assert crack(1.2 * 3.556e-3, AIR, length=1.0, width=1e-3, depth=0.05, bends=0.0)[0] == pytest.approx(
        50.0, rel=1e-4
    )
    assert 1e3 * leakage_coefficient(0.004, 46.5) * 750.0**0.65 == pytest.approx(13.7, abs=0.06)
    assert plate_loss(0.25) == pytest.approx(29.06, abs=0.05)
    assert grille_loss(0.5) == 4.0
    assert thin_plate_loss(0.2) == pytest.approx(48.1, abs=0.05)
    assert wire_mesh_loss(0.5) == pytest.approx(1.56)
    assert angle_share(np.pi / 4) == pytest.approx(0.618, abs=1e-3)
    assert mitre_loss(np.pi / 3) == pytest.approx(0.558, abs=1e-3)
    assert round_bend_loss(np.pi / 2, 1.5) == pytest.approx(0.150, abs=1e-3)
    assert square_bend_loss(np.pi / 2, 1.0) == pytest.approx(0.21, abs=1e-9)


def test_gap_is_an_orifice():
    """m = Cd A sqrt(2 rho dp): a gap of 1 cm2 with Cd 0.61 passes 0.7875 L/s at 100 Pa."""
    m = 0.61 * 1e-4 * np.sqrt(2.0 * 1.2 * 100.0)
    assert m / 1.2 == pytest.approx(0.7875e-3, rel=1e-4)
    assert quadratic(m, AIR, area=1e-4, loss=1.0 / 0.61**2)[0] == pytest.approx(100.0, rel=1e-7)


@pytest.mark.parametrize("beta", [0.4, 0.5, 0.6, 0.7, 0.8])
def test_plate_against_an_orifice(beta):
    """Orifice in a pipe, discharge coefficient 0.61, by the general library fluids (ISO 5167 relations)."""
    reference = fluids.discharge_coefficient_to_K(D=1.0, Do=beta, C=0.61)
    assert plate_loss(beta**2) == pytest.approx(reference, rel=0.07)


@pytest.mark.parametrize("share", [0.1, 0.3, 0.5, 0.7, 0.95, 1.0])
def test_grille_against_the_library(share):
    """Blevins' square-edged grille as in the general library fluids."""
    assert grille_loss(share) == pytest.approx(fluids.filters.square_edge_grill(share), rel=1e-12)


@pytest.mark.parametrize("share", [0.05, 0.1, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85])
def test_thin_plate_against_the_library(share):
    """Blevins' table of thin plates as in the general library fluids; a grille is up to 42 % off."""
    assert thin_plate_loss(share) == pytest.approx(fluids.filters.square_edge_screen(share), rel=0.08)


@pytest.mark.parametrize("share", [0.05, 0.3, 0.5, 0.8])
def test_wire_mesh_against_the_library(share):
    """Blevins' round-wire screen as in the general library fluids, from a Reynolds number of 400 on."""
    assert wire_mesh_loss(share) == pytest.approx(fluids.filters.round_edge_screen(share, 400.0), rel=1e-12)


@pytest.mark.parametrize("loss", [thin_plate_loss, wire_mesh_loss, grille_loss])
def test_more_open_screens_lose_less_and_open_ones_nothing(loss):
    found = loss(np.linspace(0.01, 1.0, 200))
    assert np.all(np.diff(found) < 0.0) and found[-1] == pytest.approx(0.0, abs=1e-12)


@given(st.floats(0.05, 0.95), st.floats(5.0, 180.0))
def test_contraction_against_the_library(ratio, degrees):
    """Rennels and Hudson's contraction as in the general library fluids, its wall friction taken out."""
    reference = fluids.contraction_conical(Di1=1.0, Di2=ratio, fd=1e-12, angle=degrees)
    ours = contraction_loss(ratio**2, np.radians(degrees))
    assert ours == pytest.approx(reference, rel=1e-6, abs=1e-9)


@given(st.floats(0.05, 0.95), st.floats(1.0, 180.0))
def test_diffuser_against_the_library(ratio, degrees):
    """Crane's diffuser as in the general library fluids (on the velocity in the small section)."""
    reference = fluids.diffuser_conical(Di1=ratio, Di2=1.0, angle=degrees, fd=0.015, method="Crane")
    ours = diffuser_loss(ratio**2, np.radians(degrees))
    # Crane's formula steps by half a percent at 45 degrees, ours does not
    assert ours == pytest.approx(reference, rel=6e-3)


@pytest.mark.parametrize("ratio", [1.0, 1.5, 2.0, 2.5])
def test_smooth_bends_lie_among_the_correlations(ratio):
    """Ito, Miller and Rennels (general library fluids; they hold the arc's friction, added here)."""
    kinds = [
        fluids.bend_rounded(
            Di=0.25, angle=90.0, fd=0.017, bend_diameters=ratio, Re=2e5, roughness=9e-5, method=m
        )
        for m in ("Ito", "Miller", "Rennels")
    ]
    ours = round_bend_loss(np.pi / 2, ratio) + 0.017 * np.pi / 2 * ratio
    assert 0.75 * min(kinds) < ours < 1.1 * max(kinds)


def test_bend_columns():
    angle = np.array([0.5, 1.0, 2.0])
    assert round_bend_loss(angle, np.array([1.0, 1.5, 2.0])).shape == (3,)
    assert square_bend_loss(1.0, np.array([0.1, 9.0])).tolist() == [
        square_bend_loss(1.0, 0.5),
        square_bend_loss(1.0, 2.0),
    ]


# ---- leaks


def power_leak_flow(pressure, density, coefficient, exponent, **more):
    """Volume flow that a pressure drives."""
    c = {"coefficient": coefficient, "exponent": exponent, **more}
    air = LocalAir(density, 1.8e-5)
    return (
        brentq(lambda m: power_leak(m, air, **c)[0] - pressure, 1e-9, 10.0, xtol=1e-14, rtol=1e-13) / density
    )


@pytest.mark.parametrize("height", [0.0, 2500.0])
def test_a_hole_stays_the_same_hole_at_any_density(height):
    """A power law of exponent 0.5 is a sharp-edged gap: Q = 0.61 A sqrt(2 dp / rho) at any height."""
    air = Air.at(altitude=height, temperature="15 degC", relative_humidity=0.0)
    coefficient = 0.61 * 4e-4 * math.sqrt(2.0 / 1.2)
    flow = power_leak_flow(1000.0, air.density, coefficient, 0.5)
    assert flow == pytest.approx(0.61 * 4e-4 * math.sqrt(2000.0 / air.density), rel=3e-6)  # bent at 0.01 Pa


@pytest.mark.parametrize(("exponent", "share"), [(0.5, 1.1180), (0.6, 1.0934), (0.65, 1.0812), (1.0, 1.0)])
def test_a_leak_lets_more_of_thinner_air_through(exponent, share):
    """(rho_0 / rho)^(1 - n) at 0.96 kg/m3, referred to 1.2 (ISO 9972, from memory)."""
    thick, thin = (power_leak_flow(100.0, rho, 0.003, exponent) for rho in (1.2, 0.96))
    assert thin / thick == pytest.approx(share, abs=1e-4)
    measured = power_leak_flow(100.0, 0.96, 0.003, exponent, reference_density=0.96)
    assert measured == pytest.approx(thick, rel=1e-9)


@given(st.floats(0.5, 1.0), st.floats(1e-5, 0.1), st.floats(1.0, 5000.0))
def test_power_leak_gives_its_own_law_back(exponent, coefficient, pressure):
    """Q = C dp^n, but for the smoothing, whose share is (1/n - 1) / 2 (0.01 Pa / dp)^(2 n)."""
    m = 1.2 * coefficient * pressure**exponent
    drop = power_leak(m, AIR, coefficient=coefficient, exponent=exponent)[0]
    share = (0.5 / exponent - 0.5) * (0.01 / pressure) ** (2.0 * exponent)
    assert drop == pytest.approx(pressure * (1.0 + share), rel=1e-9 + 6.0 * share**2)


def test_leaks_of_both_exponent_branches_agree():
    """An exponent of one half alone, and among others, takes two ways through the law."""
    alone = power_leak(0.02, AIR, coefficient=0.001, exponent=0.5)
    among = power_leak(0.02, AIR, coefficient=0.001, exponent=np.array([0.5, 0.6]))
    for a, b in zip(alone, among, strict=True):
        assert a == pytest.approx(b[0], rel=1e-12)


def test_crack_goes_from_laminar_to_turbulent():
    """Exponent of the flow near 1 at 4 Pa and 0.62 at 500 Pa for a crack of 1 mm (quadratic law)."""

    def slope(pressure, flow):
        drop, s, _ = crack(flow, AIR, length=1.0, width=1e-3, depth=0.05, bends=0.0)
        assert drop == pytest.approx(pressure, rel=2e-4)
        return drop / (s * flow)

    assert slope(4.0, 1.2 * 0.3577e-3) == pytest.approx(0.97, abs=0.01)
    assert slope(500.0, 1.2 * 18.297e-3) == pytest.approx(0.62, abs=0.01)


def test_crack_bends_add_to_the_turbulent_part():
    base = {"length": 1.0, "width": 2e-3, "depth": 0.05}
    difference = crack(0.05, AIR, **base, bends=2.0)[0] - crack(0.05, AIR, **base, bends=0.0)[0]
    assert difference == pytest.approx(1.2 * 2.0 / (2.0 * 2e-3**2) * (0.05 / 1.2) ** 2)


@pytest.mark.parametrize(
    ("law", "c", "flow", "words"),
    [
        (quadratic, {"area": 0.01, "loss": 1.0}, 2.0, "100 m/s"),
        (power_leak, {"coefficient": 0.01, "exponent": 0.45}, 0.1, "between 0.5 and 1"),
        (power_resistance, {"coefficient": 1.0, "exponent": 2.4}, 0.1, "between 1 and 2"),
        (crack, {"length": 1.0, "width": 0.01, "depth": 0.005, "bends": 0.0}, 0.01, "wider than deep"),
    ],
)
def test_outside_the_range(law, c, flow, words):
    said = [s for mask, s in law.card.outside(flow, AIR, **c) if mask]
    assert len(said) == 1 and words in said[0]


@pytest.mark.parametrize(
    ("exponent", "says"), [(0.455, 1), (0.465, 0), (0.5, 0), (1.0, 0), (1.035, 0), (1.045, 1)]
)
def test_a_measured_exponent_may_be_off_by_its_spread(exponent, says):
    outside = power_leak.card.outside(0.1, AIR, coefficient=0.01, exponent=exponent)
    assert sum(bool(mask) for mask, _ in outside) == says
