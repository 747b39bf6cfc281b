"""Parts: what they refuse and say, sections, bends, screens, gates, transitions, and random ones."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ductsim.errors import InputError, UnknownName
from ductsim.laws.losses import (
    contraction_loss,
    diffuser_loss,
    grille_loss,
    plate_loss,
    thin_plate_loss,
    wire_mesh_loss,
)
from ductsim.parts import KINDS, LocalAir
from ductsim.parts.bend import Bend
from ductsim.parts.declare import Number, Pair
from ductsim.parts.duct import Duct
from ductsim.parts.ends import OpenEnds
from ductsim.parts.fan import Fan
from ductsim.parts.gate import Gate
from ductsim.parts.hose import Hose
from ductsim.parts.jet import Jet
from ductsim.parts.leak import Leak
from ductsim.parts.opening import Opening
from ductsim.parts.resistance import Resistance
from ductsim.parts.screen import Screen
from ductsim.parts.tee import Merge, Split
from ductsim.parts.transition import Entrance, Transition

AIR = LocalAir(1.2, 1.8e-5, 1.2)
CURVE = {
    "flow": [0.0, 1.0, 2.0],
    "total_pressure": [900.0, 800.0, 100.0],
    "curve_speed": 150.0,
    "speed": 150.0,
}


def coefficients(part):
    return part.paths()[0].coefficients


# ---- what is refused, and how it is said


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Duct(length="1 m"), ["duct", "none of them", "diameter or width and height"]),
        (lambda: Duct(length="1 m", diameter=0.2, width=0.2, height=0.1), ["exactly one set"]),
        (lambda: Duct(length="1 m", width=0.2), ["width", "exactly one set"]),
        (lambda: Duct(length="3 kPa", diameter=0.2), ["duct: length", "Pa"]),
        (lambda: Duct(length="1 m", diameter=0.2, shape="flat oval"), ["flat oval", "width and height"]),
        (lambda: Duct(length=1, width=0.1, height=0.2, shape="flat oval"), ["width", "short"]),
        (lambda: Duct(length=1, diameter=0.2, shape="oval"), ["'oval'", "flat oval"]),
        (lambda: Bend(angle=90, radius=0.2), ["bend: angle", "90 deg"]),
        (lambda: Bend(angle="90 deg"), ["radius", "centre-line"]),
        (lambda: Bend(angle="90 deg", radius=0.2, style="six-piece"), ["six-piece"]),
        (lambda: Hose(length=1, diameter=0.2, stretch=1.2), ["hose: stretch", "at most 1"]),
        (
            lambda: Hose(length=1, diameter=0.2, bends=[{"angle": "90 deg", "radius": "-1 m"}]),
            ["bend 1", "radius"],
        ),
        (lambda: Fan(**(CURVE | {"speed": 3600})), ["fan: speed", "3600 rpm"]),
        (lambda: Fan(**(CURVE | {"flow": [0.0, 2.0, 1.0]})), ["flow[2]", "do not rise", "larger"]),
        (lambda: Fan(**(CURVE | {"flow": [0.0, 5e-324, 1.0]})), ["flow[1]", "do not rise", "larger"]),
        (lambda: Fan(**(CURVE | {"flow": [0.0, 1.0]})), ["total_pressure", "3 values for 2 flows"]),
        (lambda: Fan(**(CURVE | {"flow": [0.0], "total_pressure": [1.0]})), ["flow", "2 to 200 points"]),
        (lambda: Fan(**(CURVE | {"total_pressure": [0.0, 0.0, 0.0]})), ["no pressure is above zero"]),
        (lambda: Fan(**CURVE, shaft_power=[1.0]), ["shaft_power", "1 values for 3"]),
        (lambda: Fan(**CURVE, outlet="free"), ["free", "without outlet_area"]),
        (lambda: Fan(**CURVE, inlet_temperature=31), ["inlet_temperature", "45 degC"]),
        (lambda: Jet(nozzle_area=0.06, mixing_area=0.06), ["nozzle_area", "smaller", "mixing_area"]),
        (
            lambda: Jet(nozzle_area=0.01, mixing_area=0.06, nozzle_loss=0, suction_loss=0, mixing_loss=0),
            ["without any loss", "above 0"],
        ),
        (lambda: Jet(nozzle_area=0.01, mixing_area=0.06, angle=45), ["jet: angle", "30 deg"]),
        (lambda: Leak(coefficient=0.1), ["coefficient", "coefficient and exponent"]),
        (lambda: Leak(area=0.1, depth=0.1), ["depth", "length and width"]),
        (lambda: Leak(area=0.1, length=1.0, width=1e-3), ["exactly one set"]),
        (lambda: Merge(straight_area=0.02, branch_area=0.03, angle=1.0), ["merge: branch_area", "combined"]),
        (
            lambda: Split(straight_area=0.05, branch_area=0.01, combined_area=0.03, angle=1.0),
            ["split: straight_area", "combined_area"],
        ),
        (lambda: Merge(straight_area=0.02, branch_area=0.01, angle=45), ["merge: angle", "45 deg"]),
        (lambda: Fan.typical(wheel_diameter=-0.5, width=0.1, speed=300.0), ["wheel_diameter", "above 0"]),
        (lambda: Fan.typical(wheel_diameter=0.5, width=0.1, speed=300.0, lenght=1), ["lenght"]),
        (lambda: Fan.through(flow=0.0, total_pressure=900.0, speed=300.0), ["flow", "above 0"]),
        (lambda: Fan.through(flow=1.0, total_pressure="3 m", speed=300.0), ["m"]),
    ],
)
def test_bad_input_is_one_sentence(make, words):
    with pytest.raises(InputError) as err:
        make()
    text = str(err.value)
    assert "\n" not in text
    for word in words:
        assert word in text, text


def test_unknown_keys_name_the_nearest():
    with pytest.raises(UnknownName) as err:
        Hose.of({"length": 1.0, "diametre": 0.2})
    assert err.value.nearest == "diameter"


# ---- sections


def test_hydraulic_diameters():
    """Four areas over the perimeter: round, rectangular, flat-oval."""
    assert coefficients(Duct(length=1, diameter=0.2))["hydraulic_diameter"] == 0.2
    box = coefficients(Duct(length=1, width=0.4, height=0.2))
    assert box["hydraulic_diameter"] == pytest.approx(4 * 0.08 / 1.2)
    assert box["area"] == pytest.approx(0.08)
    oval = coefficients(Duct(length=1, width=0.4, height=0.2, shape="flat oval"))
    area, perimeter = np.pi * 0.01 + 0.04, np.pi * 0.2 + 0.4
    assert oval["area"] == pytest.approx(area)
    assert oval["hydraulic_diameter"] == pytest.approx(4 * area / perimeter)
    round_one = coefficients(Duct(length=1, width=0.2, height=0.2, shape="flat oval"))
    assert round_one["hydraulic_diameter"] == pytest.approx(0.2)


def test_bends_add_up():
    bend = Bend(angle="90 deg", radius=0.3)
    one, two = (Duct(length=1, diameter=0.2, bends=[bend] * n, loss_coefficient=0.1) for n in (1, 2))
    assert coefficients(one)["bends"] == pytest.approx(0.150, abs=1e-3)
    assert coefficients(two)["bends"] == pytest.approx(2 * 0.150, abs=2e-3)
    assert coefficients(two)["loss"] == 0.1
    square = Duct(length=1, width=0.2, height=0.2, bends=[Bend(angle="90 deg", radius=0.2)])
    assert coefficients(square)["bends"] == pytest.approx(0.21)
    mitre = Duct(length=1, diameter=0.2, bends=[Bend(angle="90 deg", style="mitre")])
    assert coefficients(mitre)["bends"] == pytest.approx(1.19)


def test_a_column_of_radii_and_diameters():
    radius = np.array([0.2, 0.3, 0.5])
    many = coefficients(
        Hose(length=1, diameter=np.array([0.2, 0.2, 0.25]), bends=[Bend(angle="60 deg", radius=radius)])
    )
    for i, (r, d) in enumerate(zip(radius, (0.2, 0.2, 0.25), strict=True)):
        one = coefficients(Hose(length=1, diameter=d, bends=[Bend(angle="60 deg", radius=r)]))
        assert many["bends"][i] == pytest.approx(one["bends"])


@pytest.mark.parametrize(
    ("bend", "shape", "words"),
    [
        (Bend(angle="90 deg", radius=0.05), {"diameter": 0.2}, "0.5 to 2.5"),
        (Bend(angle="90 deg", radius=0.9), {"diameter": 0.2}, "0.5 to 2.5"),
        (Bend(angle="200 deg", radius=0.3), {"diameter": 0.2}, "180 degrees"),
        (Bend(angle="120 deg", style="mitre"), {"diameter": 0.2}, "up to 90 degrees"),
        (Bend(angle="90 deg", radius=0.5), {"width": 0.2, "height": 0.2}, "0.5 to 2"),
    ],
)
def test_bends_outside_their_tables_are_reported(bend, shape, words):
    said = [s for mask, s in Duct(length=1, bends=[bend], **shape).outside() if np.any(mask)]
    assert len(said) == 1 and words in said[0]
    if "diameter" in shape:
        assert [s for mask, s in Hose(length=1, bends=[bend], **shape).outside() if np.any(mask)] == said


def test_bends_within_their_tables_are_not():
    bends = [Bend(angle="90 deg", radius=0.3), Bend(angle="90 deg", radius=0.3, style="three-piece")]
    assert not [s for mask, s in Duct(length=2, diameter=0.2, bends=bends).outside() if np.any(mask)]
    assert Opening(area=0.1, loss_coefficient=1.0).outside() == []


# ---- the smaller parts


def test_a_kink_is_a_plate_and_a_shut_hose_is_closed():
    straight, kinked = (coefficients(Hose(length=1, diameter=0.2, kink=k))["loss"] for k in (0.0, 0.4))
    assert straight == 0.0
    assert kinked == pytest.approx(plate_loss(0.6))
    column = Hose(length=1, diameter=0.2, kink=np.array([0.0, 1.0])).paths()[0]
    assert column.shut.tolist() == [False, True]
    assert np.isfinite(column.coefficients["loss"]).all()


def test_lint_closes_holes_of_a_screen():
    clean, half = (coefficients(Screen(area=0.2, open_fraction=0.6, blinded=b))["loss"] for b in (0.0, 0.5))
    assert clean == pytest.approx(thin_plate_loss(0.6))
    assert half == pytest.approx(thin_plate_loss(0.3))
    assert bool(Screen(area=0.2, open_fraction=0.6, blinded=1.0).paths()[0].shut)
    assert coefficients(Screen(area=0.2, open_fraction=1.0))["loss"] == pytest.approx(1e-3)


@pytest.mark.parametrize(
    ("style", "loss"),
    [("thin plate", thin_plate_loss), ("wire mesh", wire_mesh_loss), ("grille", grille_loss)],
)
def test_a_screen_loses_as_what_it_is_made_of(style, loss):
    screen = Screen(area=0.2, open_fraction=0.5, blinded=0.4, style=style)
    assert coefficients(screen)["loss"] == pytest.approx(loss(0.3))
    assert not any(np.any(mask) for mask, _ in screen.outside())
    nearly_shut = Screen(area=0.2, open_fraction=0.5, blinded=0.95, style=style)
    assert [words for mask, words in nearly_shut.outside() if np.any(mask)] == [
        "less than 5% of the screen is open, beyond the published losses"
    ]


def test_a_screen_of_another_style_is_refused():
    with pytest.raises(UnknownName, match=r"wire mehs.*wire mesh"):
        Screen(area=0.2, open_fraction=0.5, style="wire mehs")


def test_a_gate_closes_and_an_open_one_keeps_its_own_loss():
    path = Gate(area=0.05, opening=np.array([0.0, 0.5, 1.0])).paths()[0]
    assert path.shut.tolist() == [True, False, False]
    assert path.coefficients["loss"][1] == pytest.approx(plate_loss(0.5) + 0.05)
    assert path.coefficients["loss"][2] == pytest.approx(0.05)


def test_a_transition_turned_round_swaps_its_losses():
    one, other = Transition(first_area=0.06, second_area=0.02), Transition(first_area=0.02, second_area=0.06)
    a, b = coefficients(one), coefficients(other)
    assert a["forward"] == b["backward"] == pytest.approx(contraction_loss(1 / 3, np.pi))
    assert a["backward"] == b["forward"] == pytest.approx(diffuser_loss(1 / 3, np.pi))
    assert a["area"] == b["area"] == 0.02


def test_an_entrance_dumps_its_velocity_the_other_way():
    path = Entrance(area=0.03, style="flanged").paths()[0]
    assert path.coefficients["forward"] == 0.49
    assert path.coefficients["backward"] == 1.0


def test_forms_of_a_leak_take_their_laws():
    schemas = {
        "quadratic": [Leak(area=1e-3), Leak(length=0.5, width=2e-3)],
        "crack": [Leak(length=0.5, width=2e-3, depth=0.02)],
        "power_leak": [Leak(coefficient=0.01, exponent=0.6), Leak(leakage_class=0.03, surface=2.0)],
    }
    for name, leaks in schemas.items():
        assert [leak.paths()[0].law.__name__ for leak in leaks] == [name] * len(leaks)


def test_closed_in_some_columns_only():
    path = Leak(length=np.array([0.0, 0.5]), width=2e-3, depth=0.02).paths()[0]
    assert path.shut.tolist() == [True, False]
    jets = Jet(nozzle_area=np.array([0.0, 0.0075]), mixing_area=0.06).paths()[0]
    assert jets.shut[0].tolist() == [True, False]
    assert jets.coefficients["suction_area"].tolist() == [0.06, 0.0525]


def test_resistance_is_its_definition():
    path = Resistance(coefficient=3.0, exponent=1.7).paths()[0]
    for m in (0.01, 0.4, -2.0):
        drop = path.law(m, AIR, **path.coefficients)[0]
        assert drop == pytest.approx(3.0 * abs(m) ** 1.7 * np.sign(m), rel=1e-6)


# ---- every kind at random


def one_number(decl):
    """Numbers within a declared range, small and large ones alike."""
    low = max(decl.low, 1e-4 if decl.low >= 0.0 else -10.0)
    high = min(decl.high, {"m": 5.0, "m2": 1.0, "m3/s": 5.0, "Pa": 5000.0}.get(decl.measure, 50.0))
    return st.floats(max(low, min(0.05 * high, high)), high)


@st.composite
def any_part(draw):
    """A random part of a random kind, in the first of its forms that a mapping of numbers can make."""
    name = draw(st.sampled_from(sorted(KINDS.keys() - {"fan"})))
    kind = KINDS[name]
    chosen = draw(st.sampled_from(kind.choices)) if kind.choices else ()
    others = {f for keys in kind.choices for f in keys} - set(chosen)
    values = {}
    if issubclass(kind, OpenEnds):
        values = draw(st.sampled_from([{}, {"inlet": "rounded", "outlet": "free"}, {"inlet": "in a wall"}]))
        others |= set(OpenEnds.declared) - ({"inlet_radius"} if values.get("inlet") == "rounded" else set())
    values = dict(values)
    for field, decl in kind.declared.items():
        if isinstance(decl, Number) and field not in others and field not in ("depth", "combined_area"):
            values[field] = draw(one_number(decl))
    if name == "jet":
        values["nozzle_area"] = 0.4 * values["mixing_area"] * draw(st.floats(0.05, 1.0))
    if name == "screen" and "hole" in values:
        values["hole"] = 0.9 * values["pitch"] * draw(st.floats(0.3, 1.0))
    if name in ("merge", "split"):
        values["branch_area"] = values["straight_area"] * draw(st.floats(0.05, 1.0))
    if name == "leak" and "exponent" in values:
        values["exponent"] = draw(st.floats(0.5, 1.0))
    return kind(**values)


@given(any_part(), st.floats(-3.0, 1.0), st.booleans(), st.floats(0.5, 1.5))
def test_any_part_at_any_flow(part, size, back, rho):
    """Finite drops that have the sign of the flow, slopes as differences say, for random numbers."""
    path = part.paths()[0]
    if isinstance(path, Pair):
        air = LocalAir((rho, rho, rho), 1.8e-5, rho, (1e-5,) * 3)
        m = 10.0**size * float(path.start[0]) * (-1.0 if back else 1.0)
        drops, slopes, _ = path.law((m, 0.7 * m), air, **path.coefficients)
        h = 1e-6 * abs(m)
        up, down = (path.law((m + k, 0.7 * m), air, **path.coefficients)[0] for k in (h, -h))
        scale = max(np.abs(np.array(slopes)).max(), np.abs(drops).max() / abs(m))
        for i in range(2):
            assert abs((up[i] - down[i]) / (2 * h) - slopes[i][0]) <= 1e-4 * scale
        return
    air = LocalAir(rho, 1.8e-5, rho)
    start = 12.0 * np.asarray(path.area) if path.start is None else path.start
    m = 10.0**size * float(start) * (-1.0 if back else 1.0)
    drop, slope, _ = path.law(m, air, **path.coefficients)
    assert np.isfinite(drop) and drop * m > 0.0 and slope > 0.0
    h = 1e-6 * abs(m)
    up, down = (path.law(m + k, air, **path.coefficients)[0] for k in (h, -h))
    assert (up - down) / (2 * h) == pytest.approx(slope, rel=1e-4)
