"""Loaded parts: nothing changes without crop, slopes are exact, and a tall duct with a weak jet chokes."""

import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import ductsim as ds
from ductsim.checking.physical import meets_itself, slopes
from ductsim.checking.probing import flows, usual
from ductsim.conveying import LOAD, Load, loaded_class, loaded_schema, plain_schema
from ductsim.errors import InputError
from ductsim.laws.card import LAWS, card_of
from ductsim.laws.card import law as a_law
from ductsim.laws.conveying import carrying, crop_velocity, load_outside, loaded_friction, loaded_jet
from ductsim.laws.friction import friction
from ductsim.laws.jets import jet
from ductsim.parts.declare import LocalAir
from ductsim.sources import SOURCES

AIR = LocalAir(1.1, 1.85e-5, 1.13)
DUCT = ds.Duct(length=3.2, diameter=0.2764, roughness=2e-4, loss_coefficient=1.2, rise=2.4)
JET = ds.Jet(nozzle_area=75e-4, mixing_area=600e-4, nozzle_loss=0.08, suction_loss=0.12, mixing_loss=0.08)
MOUTH = ds.Opening(area=0.024, loss_coefficient=1.5)
PARTS = [
    DUCT,
    ds.Duct(length=4.0, width=0.3, height=0.2, rise=-1.0, bends=[ds.Bend(angle="60 deg", radius=0.4)]),
    ds.Hose(length=1.8, diameter=0.2, stretch=0.9),
    MOUTH,
    ds.Gate(area=0.04, opening=0.6),
    ds.Screen(area=0.05, open_fraction=0.5),
]


def drop(part, flow, density=1.1):
    path = part.paths()[0]
    return path.law(flow, LocalAir(density, 1.85e-5, 1.13), **path.coefficients)


# ---- without crop


@pytest.mark.parametrize("part", PARTS, ids=lambda p: p.kind)
def test_without_crop_a_loaded_part_is_the_part_to_the_last_bit(part):
    flow = np.concatenate([-np.geomspace(1e-9, 10, 40), [0.0], np.geomspace(1e-9, 10, 40)])
    for plain, loaded in zip(drop(part, flow), drop(ds.Loaded(part), flow), strict=True):
        assert np.array_equal(np.broadcast_to(plain, flow.shape), np.broadcast_to(loaded, flow.shape))


def test_without_crop_a_loaded_jet_is_the_jet_to_the_last_bit():
    rng = np.random.default_rng(0)
    x, y = rng.uniform(-2, 2, (2, 500))
    air = LocalAir((1.12, 1.1, 1.09), 1.85e-5, 1.13, (1.1e-5,) * 3)
    plain, loaded = JET.paths()[0], ds.Loaded(JET).paths()[0]
    assert plain.law is jet and loaded.law is loaded_jet
    one = plain.law((x, y), air, **plain.coefficients)
    two = loaded.law((x, y), air, **loaded.coefficients)
    for a, b in zip(one, two, strict=True):
        for p, q in zip(
            np.ravel(np.asarray(a, dtype=object)), np.ravel(np.asarray(b, dtype=object)), strict=True
        ):
            assert np.array_equal(p, q)


# ---- slopes


@pytest.mark.parametrize("part", PARTS, ids=lambda p: p.kind)
@pytest.mark.parametrize(
    "load",
    [
        {"crop_flow": 0.6},
        {"crop_flow": 0.6, "start_share": 0.0, "arrival_area": 0.05},
        {"crop_flow": 1.5, "start_share": 0.4, "slip": 9.0, "plug_density": 30.0},
        {"crop_flow": 0.01, "slip": 0.0},
    ],
    ids=["starts", "carried on", "mixed", "no slip"],
)
def test_slopes_of_loaded_parts_agree_with_differences(part, load):
    loaded = ds.Loaded(part, **load)
    path = loaded.paths()[0]
    for m in flows(path):
        value, slope, in_density = drop(loaded, m)
        h = max(1e-6 * abs(m), 1e-7 * usual(path))
        by_flow = (drop(loaded, m + h)[0] - drop(loaded, m - h)[0]) / (2 * h)
        by_rho = (drop(loaded, m, 1.1 + 1e-4)[0] - drop(loaded, m, 1.1 - 1e-4)[0]) / 2e-4
        size = 1e-3 * abs(value) / usual(path)
        assert slope == pytest.approx(by_flow, rel=3e-5, abs=3e-5 * size), m
        assert in_density == pytest.approx(by_rho, rel=1e-5, abs=1e-8 * (1.0 + abs(value))), m
    meets_itself(loaded)


@pytest.mark.parametrize(("share", "area"), [(1.0, None), (0.0, 0.05), (0.5, 0.04)])
def test_slopes_of_a_loaded_jet_agree_with_differences(share, area):
    slopes(ds.Loaded(JET, crop_flow=0.7, start_share=share, arrival_area=area))


@given(
    st.floats(-40.0, 60.0),
    st.floats(0.0, 3.0),
    st.floats(0.0, 12.0),
    st.floats(0.0, 1.0),
    st.floats(0.5, 1.6),
)
def test_slope_around_the_slip_velocity(velocity, crop, slip, share, density):
    part = ds.Loaded(DUCT, crop_flow=crop, slip=slip, start_share=share, arrival_area=0.05)
    flow = velocity * density * DUCT.section()[0]
    h = 1e-7  # at zero flow the square law's bend costs the difference a share of h
    _, slope, in_density = drop(part, flow, density)
    by_flow = (drop(part, flow + h, density)[0] - drop(part, flow - h, density)[0]) / (2 * h)
    by_rho = (drop(part, flow, density + h)[0] - drop(part, flow, density - h)[0]) / (2 * h)
    scale = 1.0 + abs(drop(part, flow, density)[0])
    assert slope == pytest.approx(by_flow, rel=1e-4, abs=1e-4 * scale)
    assert in_density == pytest.approx(by_rho, rel=1e-4, abs=1e-4 * scale)


def test_crop_velocity_is_air_less_slip_and_never_negative():
    assert crop_velocity(25.0, 6.0)[0] == pytest.approx(19.0, abs=0.01)
    speeds = np.linspace(-1e6, 1e3, 2001)
    u, slope = crop_velocity(speeds, 6.0)
    assert np.all(u > 0.0) and np.all(slope > 0.0) and np.all(np.diff(u) > 0.0)


# ---- the parts of a drop, by hand


def test_a_loaded_drop_by_hand():
    """Drag, acceleration and weight of 0.5 kg/s at 25 m/s, slip 6, entering at 2 m/s; none on the outlet."""
    area = DUCT.section()[0]
    flow, u = 25.0 * 1.1 * area, crop_velocity(25.0, 6.0)[0]
    bare = drop(DUCT, flow)[0] - (1.1 - 1.13) * 9.80665 * 2.4 - 1.2 * 0.5 * 1.1 * 25.0**2
    drag = 0.5 * 0.5 / flow * bare
    push = 0.5 * (u - 2.0) / area
    weight = 0.5 * 9.80665 * 2.4 / (u * area + 0.5 / 60.0)
    got = drop(ds.Loaded(DUCT, crop_flow=0.5, crop_friction=0.5, start_velocity=2.0), flow)[0]
    assert got - drop(DUCT, flow)[0] == pytest.approx(drag + push + weight, rel=2e-4)


@pytest.mark.parametrize(
    "part",
    [MOUTH, ds.Gate(area=0.04, opening=0.6), ds.Screen(area=0.05, open_fraction=0.5)],
    ids=lambda p: p.kind,
)
def test_drag_multiplies_no_inlet_plate_or_screen(part):
    """1 + K mu stands on the friction term of the line equation after Zenz and Othmer (Agarwal 2005)."""
    one, other = (drop(ds.Loaded(part, crop_flow=0.5, crop_friction=k), 0.8) for k in (0.0, 2.0))
    assert one[0] == other[0] and one[1] == other[1]


@pytest.mark.parametrize("bends", [(), [ds.Bend(angle="60 deg", radius=0.4)]], ids=["straight", "bent"])
def test_drag_multiplies_friction_and_bends_and_no_outlet(bends):
    """mu = 1, K = 1: with the outlet's loss and without it crop adds what friction and bends lose."""
    flow = 1.5
    for loss in (0.0, 1.19):
        duct = ds.Duct(length=3.2, diameter=0.2764, loss_coefficient=loss, bends=bends)
        rubbed = ds.Duct(length=3.2, diameter=0.2764, bends=bends)
        one, other = (drop(ds.Loaded(duct, crop_flow=flow, crop_friction=k), flow)[0] for k in (0.0, 1.0))
        assert other - one == pytest.approx(drop(rubbed, flow)[0], rel=1e-4)


def test_a_law_of_ones_own_says_what_crop_drags_along():
    def lining(flow, air, *, area):
        """All of it along walls, as its card says."""
        return 7.0 * flow, 7.0 + 0.0 * flow, 0.0 * flow

    try:
        a_law(
            equation="7 m", valid="", sources=("our_assumption",), walls=lambda found, flow, air, **_: found
        )(lining)
        load = {
            "crop_friction": 0.5,
            "slip": 0.0,
            "plug_density": 60.0,
            "start_velocity": 0.0,
            "start_share": 0.0,
        }
        got = [carrying(lining)(2.0, AIR, area=0.02, crop_flow=c, **load)[0] for c in (0.0, 1.0)]
        assert got[1] / got[0] == pytest.approx(1.25, rel=1e-3)
        with pytest.raises(InputError, match="walls = 3"):
            a_law(equation="x", valid="", sources=("our_assumption",), walls=3)
    finally:
        LAWS.pop("lining", None)
        LAWS.pop("loaded_lining", None)


def test_crop_takes_its_momentum_from_the_jet():
    """1 kg/s sped up by 15 m/s costs 15 N, 250 Pa on 0.06 m2 (momentum balance)."""
    y = 15.0 * 1.1 * 0.0525  # 15 m/s beside the nozzle
    x = 30.0 * 1.1 * 0.06 - y  # 30 m/s behind it
    plain, air = ds.Loaded(JET).paths()[0], LocalAir((1.1,) * 3, 1.85e-5, 1.1, (0.0,) * 3)
    loaded = ds.Loaded(JET, crop_flow=1.0, crop_friction=0.0, start_share=0.0, slip=0.0).paths()[0]
    (a1, a2), _, _ = plain.law((x, y), air, **plain.coefficients)
    (b1, b2), _, _ = loaded.law((x, y), air, **loaded.coefficients)
    assert b1 - a1 == pytest.approx(250.0, rel=2e-4)
    assert b2 - a2 == pytest.approx(250.0, rel=2e-4)


def test_slopes_of_a_loaded_jet_keep_their_minors_positive():
    """Crop keeps the 2 x 2 slope a P-matrix where the jet's own is one."""
    rng = np.random.default_rng(1)
    x, y = np.abs(rng.uniform(0.01, 2.0, 2000)), rng.uniform(-2.0, 2.0, 2000)
    air = LocalAir((1.1,) * 3, 1.85e-5, 1.1, (0.0,) * 3)
    path = ds.Loaded(JET, crop_flow=1.0).paths()[0]
    _, ((s11, s12), (s21, s22)), _ = path.law((x, y), air, **path.coefficients)
    assert np.all(s11 > 0) and np.all(s22 > 0) and np.all(s11 * s22 - s12 * s21 > 0)


@given(st.floats(0.0, 3.0), st.floats(0.0, 12.0), st.sampled_from([-1.0, 1.0]))
def test_far_out_a_loaded_part_resists(crop, slip, sign):
    flow = sign * 20.0
    for part in PARTS:
        assert drop(ds.Loaded(part, crop_flow=crop, slip=slip), flow)[0] * flow > 0.0


# ---- what a Loaded part is


def test_a_loaded_part_is_a_part_with_more_numbers():
    loaded = ds.Loaded(DUCT, crop_flow="1.8 t/h", slip=5.0)
    assert isinstance(loaded, ds.Duct) and loaded.ends == DUCT.ends and loaded.kind == "duct"
    assert loaded.crop_flow == pytest.approx(0.5)
    assert loaded.schema.number_keys == (*DUCT.schema.number_keys, *LOAD[:-1])
    assert loaded_schema(DUCT.schema) == loaded.schema and plain_schema(loaded.schema) == DUCT.schema
    assert plain_schema(DUCT.schema) == DUCT.schema
    assert pickle.loads(pickle.dumps(loaded.schema)) == loaded.schema
    assert loaded_class(ds.Duct) is type(loaded)
    assert "duct" in ds.extend.KINDS and ds.extend.KINDS["duct"] is ds.Duct


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: ds.Loaded("duct"), "is not a part; a part, like"),
        (lambda: ds.Loaded(ds.Loaded(DUCT)), "carries crop already"),
        (lambda: ds.Loaded(ds.Leak(area=1e-3, discharge_coefficient=0.6), crop_flow=-1.0), "crop_flow"),
        (lambda: ds.Loaded(ds.Leak(coefficient=1e-3, exponent=0.6)), "no crop passes through a leak"),
        (lambda: ds.Loaded(ds.Resistance(coefficient=2.0)), "no crop passes through a resistance"),
        (lambda: ds.Loaded(DUCT, crop_flow="5 kPa"), "crop_flow"),
        (lambda: ds.Loaded(DUCT, cropflow=1.0), "did you mean 'crop_flow'?"),
        (lambda: ds.Loaded(DUCT, crop_flow=float("nan")), "crop_flow"),
        (lambda: ds.Loaded(DUCT, start_share=1.2), "start_share"),
    ],
)
def test_bad_loads_get_one_sentence(make, words):
    with pytest.raises(InputError) as err:
        make()
    assert words in str(err.value) and "\n" not in str(err.value)


def test_a_load_and_a_crop_share_their_declarations():
    for load, crop in LOAD_OF_CROP.items():
        assert ds.Crop.declared[crop] is Load.declared[load]
        assert getattr(ds.Crop(crop_yield=1.0, row_spacing=1.0), crop) == getattr(ds.Loaded(DUCT), load)
    assert ds.Crop.declared["slip"].spread == 0.25


LOAD_OF_CROP = {
    "crop_friction": "friction",
    "slip": "slip",
    "start_velocity": "entry_velocity",
    "plug_density": "plug_density",
}


def test_kinds_say_themselves_what_crop_does_in_them():
    kinds = [kind for kind in ds.extend.KINDS.values() if kind.__module__.startswith("ductsim.")]
    assert {k.kind for k in kinds if k.speeds_crop} == {"duct", "hose", "jet"}
    assert {k.kind for k in kinds if k.carries_on} == {"duct", "hose", "jet", "gate", "transition", "merge"}
    assert {k.kind for k in kinds if not k.crop_ways} == {"fan", "leak", "split"}
    for kind in kinds:
        assert all(0 <= end < len(kind.ends) for way in kind.crop_ways for end in way)
    loaded = loaded_class(ds.Jet)
    assert loaded.plain is ds.Jet and loaded.crop_ways == ds.Jet.crop_ways


def test_crop_goes_on_through_a_part_of_ones_own_that_says_so():
    """A kind that no list in the package knows, between a unit's duct and the next."""
    names = {True: "liner of the tests", False: "sieve of the tests"}
    for carries_on, name in names.items():
        try:

            @ds.part(name)
            class Own(ds.Part):
                carries_on = False
                area: float = ds.number("m2", above=0.0, doc="section")

                def paths(self):
                    return ds.Opening(area=self.area, loss_coefficient=1.0).paths()

            Own.carries_on = carries_on
            duct = {"kind": "duct", "diameter": 0.2, "length": 2.0}
            machine = ds.Machine.of(
                {
                    "format": 1,
                    "hold": [{"node": "tank", "pressure": -1500.0}],
                    "part": [
                        {"name": "mouth", "kind": "opening", "from": "outside", "to": "head"}
                        | {"area": 0.03, "loss_coefficient": 1.0},
                        {"name": "first", "from": "head", "to": "a", **duct},
                        {"name": "own", "kind": name, "from": "a", "to": "b", "area": 0.03},
                        {"name": "second", "from": "b", "to": "tank", **duct},
                    ],
                    "tapping": [{"name": "t", "path": "first", "end": "from", "area": 0.03}],
                    "unit": [{"name": "1", "vacuum_at": "t", "duct": "first", "openings": ["mouth"]}],
                    "crop": {"crop_yield": 0.1, "row_spacing": 1.0},
                }
            )
            carried = {c.part for c in machine.with_crop().layout.carried}
            assert carried == ({"mouth", "first", "own", "second"} if carries_on else {"mouth", "first"})
        finally:
            ds.extend.KINDS.pop(name, None)


def test_unknown_loaded_classes_are_no_attributes():
    import ductsim.conveying as room

    assert room.LoadedDuct is loaded_class(ds.Duct)
    with pytest.raises(AttributeError, match="LoadedNothing"):
        room.LoadedNothing


def test_cards():
    for law in (loaded_friction, loaded_jet):
        card = card_of(law)
        assert LAWS[law.__name__] is law
        assert {"our_assumption", "from_memory_slip"} <= set(card.sources) <= set(SOURCES)
    assert carrying(friction) is loaded_friction
    masks = load_outside(np.array([0.01, 1.5]), AIR, area=0.06, length=3.0, crop_flow=1.0, slip=6.0)
    assert [list(mask) for mask, _ in masks] == [[True, False], [True, False]]
