"""Laws and parts against examples worked by hand, against what their cards say, and by their properties."""

import math
import re

import fluids
import numpy as np
import pytest

from ductsim.conveying import Load, Loaded
from ductsim.crop.box import Box
from ductsim.crop.crop import Crop
from ductsim.laws.bends import RADII
from ductsim.laws.conveying import carrying, load_outside, loaded_jet
from ductsim.laws.fans import monotone_slopes
from ductsim.laws.friction import friction, friction_factor, friction_outside
from ductsim.laws.jets import jet
from ductsim.laws.leaks import MEASURED
from ductsim.laws.losses import quadratic
from ductsim.laws.tees import merge, split
from ductsim.parts import KINDS, LocalAir
from ductsim.parts.bend import Bend
from ductsim.parts.declare import Number
from ductsim.parts.duct import Duct
from ductsim.parts.fan import DESIGN, SHAPE, Fan
from ductsim.parts.hose import Hose
from ductsim.parts.jet import Jet
from ductsim.parts.leak import Leak
from ductsim.parts.tee import Merge, Split
from ductsim.parts.transition import ENTRY
from ductsim.sources import SOURCES

AIR = LocalAir(1.2, 1.81e-5, 1.2)
SAME = LocalAir((1.2,) * 3, 1.81e-5, 1.2, (0.0,) * 3)


def rise(fan, volume, density=1.2):
    path = fan.paths()[0]
    return -path.law(density * np.asarray(volume), LocalAir(density, 1.8e-5), **path.coefficients)[0]


# ---- fans known by their wheel, or by one point


def test_a_wheel_by_hand():
    """Flow over pi D b u and pressure over rho u^2 / 2, with u = pi D n the speed of the tips (definitions).

    0.5 m at 3600 rpm: u = 94.248 m/s; 120 mm wide: pi D b u = 17.765 m3/s; rho u^2 / 2 = 5329.6 Pa. So the
    point 0.18, 0.86 of the assumed shape is 3.198 m3/s at 4583 Pa.
    """
    wheel = Fan.typical(wheel_diameter="500 mm", width="120 mm", speed="3600 rpm")
    tip = math.pi * 0.5 * 60.0
    assert tip == pytest.approx(94.248, abs=1e-3)
    assert wheel.flow == pytest.approx([x * 17.765 for x, _ in SHAPE], rel=1e-4)
    assert wheel.total_pressure == pytest.approx([y * 5329.6 for _, y in SHAPE], rel=1e-4)
    assert rise(wheel, 3.1977) == pytest.approx(4583.4, rel=1e-4)
    assert rise(wheel, 4.2636) == pytest.approx(3197.8, rel=1e-4)  # the last but one, 0.24 and 0.60
    assert wheel.speed == wheel.curve_speed == pytest.approx(120.0 * math.pi)
    assert wheel.curve == "assumed"


def test_a_wheel_in_other_air():
    """The same wheel: pressure goes with the density that its curve is stated for (fan laws)."""
    wheel = {"wheel_diameter": 0.5, "width": 0.12, "speed": 377.0}
    dense, thin = Fan.typical(**wheel), Fan.typical(**wheel, curve_density=0.9)
    assert thin.total_pressure == pytest.approx([0.75 * p for p in dense.total_pressure])
    assert rise(thin, 2.0, 0.9) == pytest.approx(0.75 * float(rise(dense, 2.0)), rel=1e-6)
    assert rise(thin, 2.0) == pytest.approx(float(rise(dense, 2.0)), rel=1e-6)


def test_the_design_point_is_that_of_most_air_power():
    """Of the shape's points, the one that a measured point is taken as carries the most power to the air."""
    assert max(SHAPE, key=lambda point: point[0] * point[1]) == DESIGN
    made = Fan.through(flow=2.0, total_pressure=4000.0, speed=300.0)
    power = [q * p for q, p in zip(made.flow, made.total_pressure, strict=True)]
    assert max(power) == pytest.approx(8000.0)


# ---- fans beyond their points

CURVE = {"flow": [0.5, 1.0, 2.0], "total_pressure": [900.0, 800.0, 300.0]}


def test_beyond_the_last_point_the_curve_is_a_parabola_of_the_same_slope():
    """Its second difference is the same everywhere; twice as far on it has lost its peak pressure more."""
    fan = Fan(**CURVE, curve_speed=100.0, speed=100.0)
    h = 1e-4
    slope = (rise(fan, 2.0) - rise(fan, 2.0 - h)) / h
    beyond = rise(fan, np.array([2.0, 3.0, 4.0, 5.0]))
    assert np.diff(beyond, 2) == pytest.approx([np.diff(beyond, 2)[0]] * 2, rel=1e-6)
    # from the end, along the slope there, and down by the peak pressure
    assert beyond[2] == pytest.approx(300.0 + 2.0 * slope - 900.0, rel=1e-3)
    below = rise(fan, np.array([0.5, 0.0, -0.5, -1.0]))
    assert np.diff(below, 2) == pytest.approx([np.diff(below, 2)[0]] * 2, rel=1e-6)
    assert np.all(np.diff(rise(fan, np.linspace(-9.0, 0.5, 200)), 2) > 0.0)


@pytest.mark.parametrize("soiling", [0.0, 0.25])
def test_a_stopped_fan_resists_with_the_peak_pressure_of_the_clean_one_at_its_largest_flow(soiling):
    still = Fan(**CURVE, curve_speed=100.0, speed=0.0, soiling=soiling)
    assert rise(still, 2.0) == pytest.approx(-900.0, rel=1e-5)
    assert rise(still, 1.0) == pytest.approx(-225.0, rel=1e-5)
    assert 900.0 <= rise(still, -2.0) <= 1.2 * 900.0


def test_a_stopped_fan_turns_linear_at_a_millionth_of_its_largest_flow():
    """There the line and the square are alike, so it resists with twice the square; whatever the measures."""
    for size in (1.0, 1e3):
        flow = [q * size for q in CURVE["flow"]]
        still = Fan(flow=flow, total_pressure=CURVE["total_pressure"], curve_speed=100.0, speed=0.0)
        assert rise(still, 2e-6 * size) == pytest.approx(2.0 * -900.0 * 1e-12, rel=0.01)


@pytest.mark.parametrize("pressure", [[900, 800, 300], [5, 900, 899], [900, 900, 2], [300, 800, 790, 100]])
def test_the_slopes_of_a_curve_do_not_know_its_measures(pressure):
    """Pressures in other measures have slopes in those measures, at the ends too (scaling)."""
    flow = [0.5, 1.0, 2.0, 2.5][: len(pressure)]
    slopes = np.array([float(s) for s in monotone_slopes(flow, pressure)])
    for size in (1e-6, 1e6):
        scaled = [float(s) for s in monotone_slopes(flow, [size * p for p in pressure])]
        assert scaled == pytest.approx(size * slopes, rel=1e-9, abs=1e-12 * size)


# ---- jets


def nozzle_density(y, beta):
    """The density at the nozzle's exit over that before it, from what the nozzle alone loses."""
    part = Jet(nozzle_area=0.0075, mixing_area=0.06, nozzle_loss=0.0)
    pair, x = part.paths()[0], 0.009  # so slow that its air neither cools nor thins by its own velocity
    air = LocalAir((1.2,) * 3, 1.8e-5, 1.2, (beta,) * 3)
    (d1, d2), _, _ = pair.law((x, y), air, **pair.coefficients)
    suction = 1.1 * (y / 0.0525) ** 2 / 2.4
    return x * x / (2.0 * 0.0075**2 * (d1 - d2 + suction)) / 1.2, beta * suction / 1.2


def test_the_air_of_the_nozzle_thins_as_its_gas_law_says_and_never_below_half():
    """rho / rho_1 = 1 - beta dp / rho_1 to three quarters, then bent smoothly, never below one half."""
    shares = []
    for y in np.linspace(0.05, 30.0, 200):
        ratio, loss = nozzle_density(y, 1.1e-5)
        if loss < 0.2499:
            assert ratio == pytest.approx(1.0 - loss, rel=1e-6)
        assert ratio >= 0.5 - 1e-9
        shares.append(ratio)
    assert np.all(np.diff(shares) < 1e-9) and shares[-1] < 0.501


# ---- junctions


def tee(law, x, y, degrees, branch):
    c = {"straight_area": 0.03, "branch_area": 0.03 * branch, "combined_area": 0.03}
    drops, _, _ = law((1.2 * 0.03 * 20.0 * x, 1.2 * 0.03 * 20.0 * y), SAME, **c, angle=np.radians(degrees))
    return [d / 240.0 for d in drops]


def crane(law, side, q, degrees, branch):
    """Crane TP-410 as in the general library fluids."""
    name = f"K_{('run', 'branch')[side]}_{'converging' if law is merge else 'diverging'}_Crane"
    d = math.sqrt(4.0 * 0.03 / math.pi)
    size = {"D_run": d, "D_branch": d * math.sqrt(branch)}
    return getattr(fluids, name)(**size, Q_run=1.0 - q, Q_branch=q, angle=degrees)


@pytest.mark.parametrize("degrees", [30, 45, 60])
@pytest.mark.parametrize("branch", [1.0, 0.8, 0.6])
def test_a_wide_branch_where_crane_takes_the_same_part_of_the_momentum(degrees, branch):
    """Crane's factor on the balance of a wide branch is 0.9 (1 - q): 0.7 where its share q is two ninths."""
    q = 2.0 / 9.0
    ours = tee(merge, 1.0 - q, q, degrees, branch)[1]
    assert ours == pytest.approx(crane(merge, 1, q, degrees, branch), abs=0.014)


@pytest.mark.parametrize("degrees", [30, 45, 60])
@pytest.mark.parametrize("q", [0.15, 0.35, 0.55, 0.85])
def test_a_narrow_branch_bears_the_whole_balance(degrees, q):
    """Below a share of 0.3 of the section Crane's factor is 1: nothing is left to fit."""
    assert tee(merge, 1.0 - q, q, degrees, 0.2)[1] == pytest.approx(
        crane(merge, 1, q, degrees, 0.2), abs=0.03, rel=0.004
    )


@pytest.mark.parametrize("q", [0.05, 0.15, 0.35, 0.45, 0.65, 0.85])
@pytest.mark.parametrize(("law", "side", "least"), [(merge, 0, 0.05), (split, 0, 0.051)])
def test_the_straight_way_between_the_shares_that_were_fitted(law, side, least, q):
    for degrees in (30, 45, 60, 90):
        for branch in (1.0, 0.75, 0.4, 0.2):
            ours, reference = (
                tee(law, 1.0 - q, q, degrees, branch)[side],
                crane(law, side, q, degrees, branch),
            )
            assert abs(ours - reference) < least + 0.01, (degrees, branch)


@pytest.mark.parametrize("law", [merge, split])
@pytest.mark.parametrize("small", [0.1, 0.15])
def test_a_branch_that_flows_against_the_straight_way_costs_it_what_a_merge_costs(law, small):
    """The combined stream's pressure goes with (x + y)^2, so the interplay of the streams is 2 x y."""
    sense = 1.0 if law is merge else -1.0
    alone = tee(law, sense, 0.0, 45, 0.5)[0]
    opposed = tee(law, sense, -sense * small, 45, 0.5)[0]
    assert sense * (opposed - alone) == pytest.approx(2.0 * small, rel=0.05)


# ---- friction between laminar and turbulent


@pytest.mark.parametrize("rough", [0.0, 1e-3, 0.03])
def test_where_laminar_flow_ends_and_turbulent_flow_begins(rough):
    """64 / Re to 2000 and Colebrook's equation from 4000, as the card says, and neither one in between."""
    for reynolds in (10.0, 1500.0, 1999.9):
        assert friction_factor(reynolds, rough)[0] == pytest.approx(64.0 / reynolds, rel=1e-12)
    for reynolds in (4000.1, 4500.0):
        assert friction_factor(reynolds, rough)[0] == pytest.approx(fluids.Clamond(reynolds, rough), rel=1e-9)
    between = friction_factor(2200.0, rough)[0]
    assert between > 1.005 * 64.0 / 2200.0
    before = friction_factor(3800.0, rough)[0]
    assert abs(before / fluids.Clamond(3800.0, rough) - 1.0) > 2e-4


# ---- limits, as the sentences themselves put them

FRICTION = {
    "length": 3.0,
    "hydraulic_diameter": 0.2,
    "area": 0.0314,
    "roughness": 9e-5,
    "loss": 0.3,
    "rise": 0.0,
    "factor": 1.0,
}
JET = Jet(nozzle_area=0.0075, mixing_area=0.06).paths()[0].coefficients
LOADED = {"crop_flow": 0.6, "area": 0.02, "slip": 6.0, "length": 1.0}


def by_hose(bore, percent):
    """Friction of a hose compressed by some percent, as ASHRAE's equation 23 has it."""
    factor = 1.0 + 0.58 * percent * math.exp(-0.00496 * 1e3 * bore)
    return friction_outside(0.8, AIR, **FRICTION | {"hydraulic_diameter": bore, "factor": factor})


LIMITS = [
    (lambda v: friction_outside(0.8, AIR, **FRICTION | {"roughness": 0.002 * v}), "over 5 %", 5.0),
    (
        lambda v: friction_outside(v * 1e8 * 0.0314 * 1.81e-5 / 0.2, AIR, **FRICTION),
        "Reynolds number is over 1e8",
        1.0,
    ),
    (lambda v: by_hose(0.2, v), "more than 30 %", 30.0),
    (lambda v: by_hose(0.001 * v, 10.0), "to 250 mm", 252.5),
    (lambda v: by_hose(0.001 / v, 10.0), "150 to", 1.0 / 149.7),
    (
        lambda v: quadratic.card.outside(v * 1.2 * 0.03, AIR, area=0.03, loss=1.0),
        "faster than 100 m/s",
        100.0,
    ),
    (lambda v: jet.card.outside((v * 1.2 * 0.0075, 0.5), SAME, **JET), "faster than 150 m/s", 150.0),
    (
        lambda v: jet.card.outside((0.5, 0.5), SAME, **JET | {"nozzle_area": v, "suction_area": 1.0 - v}),
        "more than half",
        0.5,
    ),
    (lambda v: merge.card.outside((0.5, -0.5 * v), SAME), "opposite senses", 0.01),
    (lambda v: load_outside(0.6 / v, AIR, **LOADED), "more than 15 kg", 15.0),
    (lambda v: load_outside(1.2 * 0.02 * 6.0 / v, AIR, **LOADED), "no faster than the crop's slip", 1.0),
]


@pytest.mark.parametrize(("outside", "words", "limit"), LIMITS, ids=[words for _, words, _ in LIMITS])
def test_a_limit_lies_where_its_words_say(outside, words, limit):
    def said(value):
        return [text for mask, text in outside(value) if np.any(mask) and words in text]

    assert not said(0.985 * limit) and len(said(1.015 * limit)) == 1


@pytest.mark.parametrize(
    ("style", "aspect", "low", "high"),
    [(style, None, *RADII[style]) for style in RADII] + [("smooth", 1.0, 0.5, 2.0)],
)
def test_bends_are_covered_as_far_as_their_sentence_says(style, aspect, low, high):
    """The sentence names the range of the table; at its ends nothing is said."""
    for ratio, said in ((0.99 * low, 1), (low, 0), (high, 0), (1.01 * high, 1)):
        bend = Bend(angle="90 deg", radius=0.2 * ratio, style=style)
        found = [text for mask, text in bend.outside(0.2, aspect) if mask]
        assert len(found) == said, ratio
        for text in found:
            assert [float(v) for v in re.findall(r"from ([\d.]+) to ([\d.]+)", text)[0]] == [low, high]
    for style, inside, out in (("smooth", 180, 181), ("mitre", 90, 91)):
        for degrees, said in ((inside, 0), (out, 1)):
            bend = Bend(angle=f"{degrees} deg", radius=0.3, style=style)
            assert sum(bool(mask) for mask, _ in bend.outside(0.2)) == said


@pytest.mark.parametrize("kind", [Merge, Split])
def test_a_branch_of_30_to_90_degrees(kind):
    sizes = {"straight_area": 0.03, "branch_area": 0.02}
    for degrees in (30, 90):
        assert kind(**sizes, angle=f"{degrees} deg").angle == pytest.approx(math.radians(degrees))
    for degrees in (28, 91):
        with pytest.raises(ValueError, match="angle"):
            kind(**sizes, angle=f"{degrees} deg")


# ---- leaks


def test_a_leakage_class_is_of_the_power_0_65():
    """Q = C_L A dp^0.65 (ASHRAE Handbook: Fundamentals (2021), chapter 21, equations 37 to 39).

    46.5 m2 of class 0.004 let 13.75 L/s through at 750 Pa; ten times the pressure lets 10^0.65 as much.
    """
    path = Leak(leakage_class=0.004, surface=46.5).paths()[0]
    for pascal, litres in ((750.0, 13.75), (75.0, 13.75 / 10.0**0.65), (7500.0, 13.75 * 10.0**0.65)):
        drop = path.law(1.2e-3 * litres, AIR, **path.coefficients)[0]
        assert drop == pytest.approx(pascal, rel=2e-3)


def test_an_exponent_may_miss_its_range_by_the_spread_of_a_measured_one():
    """One usual deviation of an exponent of one half."""
    assert pytest.approx(0.5 * Leak.declared["exponent"].spread) == MEASURED


# ---- crop


def test_a_jet_that_carries_crop_still_says_what_a_jet_says():
    path = Loaded(Jet(nozzle_area=0.0075, mixing_area=0.06), crop_flow=0.5).paths()[0]
    found = loaded_jet.card.outside((2.0, 0.2), SAME, **path.coefficients)
    said = [text for mask, text in found if mask]
    assert len(said) == 2 and "150 m/s" in said[0] and "slip velocity" in said[1]


def lifting(velocity, crop_flow, slip):
    """Weight of the crop in a duct that rises by 2 m: the drop with the rise, less that without [Pa]."""
    drops = []
    for rise_of in (2.0, 0.0):
        duct = Duct(length=2.0, diameter=0.25, rise=rise_of)
        path = Loaded(duct, crop_flow=crop_flow, slip=slip, plug_density=60.0).paths()[0]
        flow = velocity * 1.2 * duct.section()[0]
        drops.append(path.law(flow, AIR, **path.coefficients)[0])
    return drops[0] - drops[1]


@pytest.mark.parametrize("crop_flow", [1.0, 3.0])
def test_below_the_slip_velocity_a_plug_of_crop_hangs_in_the_duct(crop_flow):
    """Hydrostatics: 60 kg/m3 x 9.80665 m/s2 x 2 m = 1176.8 Pa, however much comes after it."""
    assert lifting(4.0, crop_flow, 30.0) == pytest.approx(1176.8, rel=0.02)


def test_well_above_the_slip_velocity_crop_weighs_its_flux_over_its_velocity():
    """0.6 kg/s at 20 m/s are 30 g a metre: 60 g in 2 m over 0.0491 m2, 12 Pa; the plug's share is 1 %."""
    expected = 0.6 / 20.0 * 2.0 * 9.80665 / (0.25 * math.pi * 0.25**2)
    assert lifting(26.0, 0.6, 6.0) == pytest.approx(
        expected / (1.0 + 0.6 / 60.0 / (20.0 * 0.0490874)), rel=2e-3
    )


def test_added_pressure_of_a_jet_is_one_plus_k_mu():
    """dp (1 + K mu), mu = crop / air (sheet MET-25A6), on the mixing section's wall friction alone.

    In the line equation after Zenz and Othmer (Agarwal 2005) it stands on the friction term, and the entry
    loss beside the nozzle is none.
    """
    part = Jet(nozzle_area=0.0075, mixing_area=0.06, nozzle_loss=0.05, suction_loss=0.12, mixing_loss=0.08)
    x, y, crop = 0.8, 1.1, 0.7
    drops = []
    for k in (0.0, 0.4):
        path = Loaded(part, crop_flow=crop, crop_friction=k).paths()[0]
        drops.append(np.array(path.law((x, y), SAME, **path.coefficients)[0]))
    behind = 0.08 * 0.5 * 1.2 * ((x + y) / (1.2 * 0.06)) ** 2 * 0.4 * crop / (x + y)
    assert drops[1] - drops[0] == pytest.approx([behind, behind], rel=1e-6)


def test_the_load_stops_growing_at_a_tenth_of_a_metre_a_second():
    """K mu / sqrt 2 there, K mu far above it."""
    c = {"length": 2.0, "hydraulic_diameter": 0.16, "area": 0.02, "roughness": 1e-4, "loss": 0.0, "rise": 0.0}
    law, c = carrying(friction), {**c, "factor": 1.0, "bends": 0.3}
    load = {"crop_flow": 0.3, "crop_friction": 0.5, "slip": 6.0, "plug_density": 60.0}
    load |= {"start_velocity": 2.0, "start_share": 0.0}
    for velocity, share in ((0.1, math.sqrt(0.5)), (1.0, 1.0 / math.sqrt(1.01)), (20.0, 1.0)):
        flow = velocity * 1.2 * 0.02
        bare, loaded = friction(flow, AIR, **c)[0], law(flow, AIR, **c, **load)[0]
        assert loaded / bare - 1.0 == pytest.approx(share * 0.5 * 0.3 / flow, rel=1e-3)


# ---- what is taken where nothing is given

DEFAULTS = {
    "duct.roughness": (0.09e-3, "ashrae2021ch21"),  # table 1, galvanised sheet, mean of its category
    "hose.roughness": (0.9e-3, "ashrae2021ch21"),  # table 1, flexible duct pulled out, its category
    "leak.reference_density": (1.2, "iso9972"),
    "leak.discharge_coefficient": (0.61, "orifice_coefficient"),
    "fan.efficiency": (0.60, "our_assumption"),
    "fan.curve_density": (1.2, "common_practice"),  # standard air, as curves are stated
    "fan.standing_loss": (1.0, "our_assumption"),
    "flap.gap": (0.02, "our_assumption"),
    "flap.loss_coefficient": (1.5, "our_assumption"),
    "gate.open_loss": (0.05, "our_assumption"),
    "hose.bend_factor": (2.0, "hose_bends"),
    "jet.nozzle_loss": (0.05, "from_memory_jet_losses"),
    "jet.suction_loss": (0.10, "from_memory_jet_losses"),
    "jet.mixing_loss": (0.10, "from_memory_jet_losses"),
    "resistance.exponent": (2.0, "common_practice"),  # turbulent flow
    "transition.angle": (math.pi, "borda_carnot"),  # a step
}
NEUTRAL = {"hose.stretch": 1.0, "jet.mixing_effectiveness": 1.0}  # pulled out; fully mixed


def test_every_default_of_a_part_has_its_standing():
    """All others are zero: no bends, no rise, no loss, no soiling, no lint, no kink."""
    found = {}
    for kind in KINDS.values():
        if not kind.__module__.startswith("ductsim.parts"):
            continue
        for name, field in kind.__dataclass_fields__.items():
            if isinstance(kind.declared[name], Number) and isinstance(field.default, (int, float)):
                found[f"{kind.kind}.{name}"] = field.default
    listed = {name: value for name, (value, _) in DEFAULTS.items()} | NEUTRAL
    assert {name: value for name, value in found.items() if value} == pytest.approx(listed)
    assert {key for _, key in DEFAULTS.values()} <= set(SOURCES)


def test_the_gap_s_default_is_that_of_free_streamlines():
    """pi / (pi + 2) = 0.611 (theory of free streamlines, from memory)."""
    assert Leak(area=1e-3).discharge_coefficient == pytest.approx(math.pi / (math.pi + 2.0), rel=2e-3)


def test_a_hose_of_default_wall_loses_half_as_much_again_as_a_duct():
    """Pulled out against spiral: 11.4 and 7.7 Pa (ASHRAE Fundamentals (2021), chapter 21, example 6)."""
    spiral = Duct(length=1.8, diameter=0.25, roughness=0.12e-3).paths()[0]
    hose = Hose(length=1.8, diameter=0.25).paths()[0]
    drops = [
        path.law(0.470 * 1.204, LocalAir(1.204, 1.81e-5), **path.coefficients)[0] for path in (spiral, hose)
    ]
    assert drops[1] / drops[0] == pytest.approx(11.4 / 7.7, rel=0.015)


def test_a_load_given_by_hand_has_the_defaults_of_a_crop():
    pairs = {"crop_friction": "friction", "slip": "slip", "plug_density": "plug_density"}
    pairs["start_velocity"] = "entry_velocity"
    for own, crop in pairs.items():
        one, other = Load.__dataclass_fields__[own], Crop.__dataclass_fields__[crop]
        assert one.default == other.default
        assert Load.declared[own] == Crop.declared[crop], own


def test_the_mouths_are_those_of_the_table():
    """ACGIH, Industrial Ventilation (2001), figure 3-16, and the grinding hood's tapered take-off."""
    assert ENTRY == {"plain": 0.93, "flanged": 0.49, "bellmouth": 0.04, "tapered": 0.40}


# ---- bends


@pytest.mark.parametrize(
    ("degrees", "factor"),
    [(20, 0.31), (30, 0.45), (45, 0.60), (60, 0.78), (75, 0.90), (110, 1.13), (130, 1.20), (150, 1.28)],
)
@pytest.mark.parametrize("aspect", [1.0, None], ids=["square", "round"])
def test_a_bend_of_another_angle_than_90_degrees(degrees, factor, aspect):
    """SMACNA, HVAC Systems Duct Design, 4th edition, table A-7A: what 90 degrees lose, times a factor."""
    bend, right = (Bend(angle=f"{a} deg", radius=0.3).loss(0.2, aspect) for a in (degrees, 90))
    assert bend / right == pytest.approx(factor, rel=0.035)


def test_a_share_is_at_most_the_whole():
    """Whatever is declared as a share of something takes 1 and nothing above it."""
    found = 0
    for kind in (*KINDS.values(), Load, Crop, Box):
        for name, decl in kind.declared.items():
            if isinstance(decl, Number) and re.search(
                r"\bshare of\b|\bopen share\b|\bshare that\b", decl.doc
            ):
                found += 1
                assert decl.low >= 0.0 and 1.0 - 1e-12 <= decl.high <= 1.0, f"{kind.kind}: {name}"
    assert found >= 6
