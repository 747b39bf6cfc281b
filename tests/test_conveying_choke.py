"""Loaded parts choke: a tall duct with a weak jet has a fold, beyond which no running state is left."""

import numpy as np
import pytest
from scipy.optimize import brentq
from test_conveying import AIR, DUCT, JET, drop

import ductsim as ds
from ductsim.crop.solving import Ducts
from ductsim.laws.conveying import loaded_friction, loaded_jet
from ductsim.parts.declare import LocalAir

# ---- choke

ALMOST_BLOCKED = pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")


TALL = ds.Duct(length=14.0, diameter=0.276, roughness=2e-4, loss_coefficient=1.2, rise=12.0)
WEAK = ds.Jet(nozzle_area=45e-4, mixing_area=598e-4, nozzle_loss=0.08, suction_loss=0.12, mixing_loss=0.08)


def _bench(crop, duct=DUCT, nozzle=JET, box=4500.0, outflow=None):
    """A box of given pressure, a jet, an opening, and a duct (or a given outflow in its place)."""
    net = ds.Network(ds.Air(density=1.1, viscosity=1.85e-5), free_ends=False)
    net.hold("box", box)
    net.add(
        "mouth",
        ds.Loaded(ds.Opening(area=0.048, loss_coefficient=1.5), crop_flow=crop),
        "outside",
        "door",
    )
    net.add("jet", ds.Loaded(nozzle, crop_flow=crop), "box", "door", "foot")
    if outflow is None:
        net.add("duct", ds.Loaded(duct, crop_flow=crop, start_share=0.0), "foot", "outside")
    else:
        net.supply("foot", -outflow)
    return net


def _crop_at(flow):
    """The crop flow at which the tall duct carries this air: what the jet gives meets what the duct needs."""

    def gap(crop):
        foot = _bench(crop, nozzle=WEAK, box=1500.0, outflow=flow).solve().pressure["foot"]
        return foot - drop(ds.Loaded(TALL, crop_flow=crop, start_share=0.0), flow, 1.1)[0] + stack

    stack = (1.1 - 1.13) * 9.80665 * 12.0  # `drop` sees other outside air than the bench
    return brentq(gap, 0.0, 2.0, xtol=1e-12) if gap(0.0) > 0.0 else np.nan


@pytest.fixture(scope="module")
def branch():
    """Continuation along the curve of solutions in the air's velocity: (velocity, crop flow)."""
    velocity = np.linspace(6.8, 9.8, 31)
    area = TALL.section()[0]
    return velocity, np.array([_crop_at(v * 1.1 * area) for v in velocity])


@ALMOST_BLOCKED
def test_the_curve_of_solutions_folds_back(branch):
    """Less air goes with more crop down to some velocity; beyond, with less: no running state is left."""
    velocity, crop = branch
    top = int(np.argmax(crop))
    assert 3 < top < len(crop) - 4
    assert np.all(np.diff(crop[: top + 1]) > 0.0) and np.all(np.diff(crop[top:]) < 0.0)
    assert velocity[top] > 6.0  # above the slip velocity


@ALMOST_BLOCKED
def test_newton_finds_both_branches_below_the_fold_and_neither_above(branch):
    velocity, crop = branch
    top = int(np.argmax(crop))
    area = TALL.section()[0]
    upper = top + 4
    calm = _bench(0.0, TALL, WEAK, 1500.0).solve()
    state = _bench(float(crop[upper]), TALL, WEAK, 1500.0).solve(start=calm)
    assert state.flow["duct"] == pytest.approx(velocity[upper] * 1.1 * area, rel=1e-6)
    # the slope of the whole loop changes its sign between the branches
    assert _stiffness(velocity[upper] * 1.1 * area, crop[upper]) > 0.0
    assert _stiffness(velocity[top - 3] * 1.1 * area, crop[top - 3]) < 0.0
    beyond = _bench(1.02 * float(crop[top]), TALL, WEAK, 1500.0).solve(raise_error=False)
    assert not (beyond.solved and beyond.flow["duct"] > 6.0 * 1.1 * area)


def _stiffness(flow, crop):
    """How much more pressure the loop needs than it has, per flow: positive where running is stable."""

    def need(m):
        foot = _bench(crop, nozzle=WEAK, box=1500.0, outflow=m).solve().pressure["foot"]
        return drop(ds.Loaded(TALL, crop_flow=crop, start_share=0.0), m)[0] - foot

    return (need(flow + 1e-4) - need(flow - 1e-4)) / 2e-4


def test_the_machine_s_limit_is_the_fold(branch):
    """With hardly any least values the limit is where the curve folds: yield x width x speed = its top."""
    parts = [
        {"name": "mouth", "kind": "opening", "from": "outside", "to": "door", "area": 0.048},
        {"name": "jet", "kind": "jet", "motive": "box", "suction": "door", "discharge": "foot"},
        {"name": "duct", "kind": "duct", "from": "foot", "to": "outside", **TALL.numbers()},
    ]
    parts[0]["loss_coefficient"] = 1.5
    parts[1].update(WEAK.numbers())
    machine = ds.Machine.of(
        {
            "format": 1,
            "air": {"density": 1.1, "viscosity": 1.85e-5},
            "hold": [{"node": "box", "pressure": 1500.0}],
            "part": parts,
            "tapping": [{"name": "tap", "path": "jet", "end": "suction", "area": 0.06}],
            "unit": [{"name": "1", "vacuum_at": "tap", "duct": "duct", "openings": ["mouth"]}],
        }
    )
    least = dict.fromkeys(
        ("opening_ratio", "capture_velocity", "suction_velocity", "conveying_velocity"), 1e-3
    )
    crop = ds.Crop(crop_yield=1.0, row_spacing=1.0, ground_speed=0.04, surge=1.0, choke_ratio=1.0, **least)
    limit = machine.with_crop(crop).ask("ground speed")
    velocity, curve = branch
    top = int(np.argmax(curve))
    a, b, _ = np.polyfit(velocity[top - 1 : top + 2], curve[top - 1 : top + 2], 2)
    highest = np.polyval(np.polyfit(velocity[top - 1 : top + 2], curve[top - 1 : top + 2], 2), -b / (2 * a))
    assert limit == pytest.approx(highest, rel=2e-3)


def test_a_machine_is_judged_by_how_fast_air_is_in_its_jets_and_ducts_against_the_slip():
    """From the state's own flows and densities; a jet's section is that of its mixed air."""
    machine = ds.demo("picker").with_crop()
    state, numbers = machine.solve(), machine.numbers
    ratio, slope, flowing = Ducts.of(machine, machine.part_numbers()).air(state.arrays)
    for i, unit in enumerate("12345"):
        jet = [(f"jet {unit}", "motive"), (f"jet {unit}", "suction")]
        for row, keys, area in (
            (2 * i, jet, numbers[f"jet {unit}.mixing_area"]),
            (2 * i + 1, [f"duct {unit}"], np.pi / 4.0 * numbers[f"duct {unit}.diameter"] ** 2),
        ):
            air = sum(state.flow[k] for k in keys) / (state.density[keys[-1]] * area)
            slip = machine.part_numbers()[f"{keys[0] if row % 2 else keys[0][0]}.slip"]
            assert ratio[row, 0] == pytest.approx(air / slip, rel=1e-9)
            assert slope[row, 0] == pytest.approx(state.slope[keys[-1]])
    assert flowing.all() and len(ratio) == 10


def test_what_hangs_in_a_riser_by_hand():
    """Crop weighs with its flow over its velocity, but lies no closer than in a plug (statics).

    3 kg/s in a section of 0.06 m2 at 25 m/s of air, 19.003 m/s of crop, 100 kg/m3 in a plug: the volumes of
    air's way and of the crop itself add up, 1.14018 + 0.03 m3/s, so 2.5637 kg/m3 hang: 60.34 Pa over 2.4 m.
    """
    c = {"area": 0.06, "length": 3.0, "hydraulic_diameter": 0.2764, "roughness": 2e-4, "loss": 1.0}
    c |= {"rise": 0.0, "factor": 1.0, "bends": 0.0, "crop_flow": 3.0, "crop_friction": 0.5, "slip": 6.0}
    c |= {"start_velocity": 1.0, "start_share": 1.0, "plug_density": 100.0}
    flow = 25.0 * 1.1 * 0.06
    up, level = (loaded_friction(flow, AIR, **c, crop_rise=rise)[0] for rise in (2.4, 0.0))
    assert up - level == pytest.approx(60.34, rel=1e-3)
    full = loaded_friction(flow, AIR, **c | {"crop_flow": 1e5}, crop_rise=2.4)[0]
    none = loaded_friction(flow, AIR, **c | {"crop_flow": 1e5}, crop_rise=0.0)[0]
    assert full - none == pytest.approx(
        100.0 * 9.80665 * 2.4, rel=2e-3
    )  # a plug: its density times its height


def test_the_drag_in_a_mixing_section_by_hand():
    """K times crop over air, on the mixing section's loss alone: k_m K m_c V / (2 A).

    1.5 kg/s of air at 1.1 kg/m3 in 0.06 m2 is 22.727 m/s; with 0.6 kg/s of crop, K = 0.5 and k_m = 0.08:
    0.08 x 0.5 x 0.6 x 22.727 / 0.12 = 4.545 Pa on both paths.
    """
    path = JET.paths()[0]
    air = LocalAir((1.1, 1.1, 1.1), 1.85e-5, 1.13, (0.0,) * 3)
    own = {"crop_flow": 0.6, "slip": 6.0, "start_velocity": 1.0, "start_share": 1.0}
    rubbed, smooth = (
        np.array(loaded_jet((0.7, 0.8), air, **path.coefficients, **own, crop_friction=k)[0])
        for k in (0.5, 0.0)
    )
    assert rubbed - smooth == pytest.approx([4.545, 4.545], rel=1e-3)


def test_a_column_of_crop_flows_is_one_call():
    flows = np.linspace(0.0, 1.5, 7)
    net = _bench(flows)
    state = net.solve()
    assert state.solved.all()
    for i, crop in enumerate(flows):
        one = _bench(float(crop)).solve()
        assert one.flow["duct"] == pytest.approx(state.flow["duct"][i], rel=1e-9)
    assert np.all(np.diff(state.flow["duct"]) < 0.0)
