"""The answers for whole machines against a residual written anew and solved by MINPACK.

`oracle.py` imports nothing of the library: the same documented equations, other formulas (Newton on
Colebrook's equation, scipy's monotone cubic, temperatures as unknowns) and another method, hybr of
`scipy.optimize.root` (MINPACK, Moré, Garbow and Hillstrom 1980).
"""

import ast
from pathlib import Path

import numpy as np
import pytest
from oracle import Oracle, plain
from oracle_parts import colebrook, darcy

import ductsim as ds

# the variants leave the published ranges on purpose
pytestmark = pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")

DEMOS = ("bench", "suction", "picker")

# every kind of number of the demos changed, openings and leaks closed, slow air, a plugged duct
VARIANTS = {
    "picker, hatches sealed": ("picker", {"hatch leak *.area": 0.0, "cuff leak 3.coefficient": 0.0}),
    "picker, doors blanked": ("picker", {"front *.area": 0.0, "rear *.area": 0.0}),
    "picker, duct 2 plugged": ("picker", {"duct 2.loss_coefficient": 4000.0}),
    "picker, slow": ("picker", {"belt.engine_speed": "150 rpm"}),
    "picker, hoses squeezed": (
        "picker",
        {"hose *.stretch": 0.9, "hose 1.kink": 0.3, "hose 2.bend 1.radius": "0.2 m", "hose 3.length": "x3"},
    ),
    "picker, jets aside": (
        "picker",
        {"jet *.angle": "20 deg", "jet *.suction_angle": "25 deg", "jet *.mixing_effectiveness": 0.8},
    ),
    "picker, leaks of thin air": (
        "picker",
        {"* leak *.reference_density": 0.9, "joint leak *.exponent": 0.7},
    ),
    "picker, right fan nearly stopped": ("picker", {"right fan.curve_speed": "600 rad/s"}),
    "suction, idling": ("suction", {"fan.speed": "20 rpm"}),
    "suction, heads closed": ("suction", {"mouth 2.area": 0.0, "boot leak 2.area": "1 mm2"}),
    "suction, fast": ("suction", {"fan.speed": "2400 rpm", "air.temperature": "5 degC"}),
    "bench, thin ducts": ("bench", {"left duct.diameter": "25 mm", "right duct.roughness": "5 mm"}),
}


def agree(machine, state, answer):
    """Flows, pressures and temperatures as `scipy.optimize.root` found them, to 1e-8."""
    o = Oracle(plain(machine))
    ours, theirs = o.pack(state), answer.x
    n, c = o.paths, o.count
    for what, part in (
        ("flow", slice(0, n)),
        ("pressure", slice(n, n + c)),
        ("temperature_rise", slice(n + c, None)),
    ):
        a, b = ours[part], theirs[part]
        if len(a):
            # below a thousandth of the largest, of 1 g/s, 1 Pa or 10 mK the difference is taken of that
            scale = np.maximum(np.abs(b), max(1e-3 * np.abs(b).max(), 1e-3))
            assert np.max(np.abs(a - b) / scale) < 1e-8, what


@pytest.mark.parametrize("given", [False, True], ids=["differenced", "jacobian given"])
@pytest.mark.parametrize("name", DEMOS)
def test_demos_from_a_cold_start(name, given):
    machine = ds.demo(name)
    state = machine.solve()
    o = Oracle(plain(machine))
    answer = o.solve(o.cold(), jacobian=given)
    assert np.abs(o.residual(answer.x)).max() < 1e-9
    agree(machine, state, answer)


@pytest.mark.parametrize("name", DEMOS)
def test_nothing_is_lost_between_the_paths(name):
    state = ds.demo(name).solve()
    inflow = sum(abs(m) for m in state.flow.values())
    assert state.imbalance < 1e-9 * inflow
    balance = dict.fromkeys(state.pressure, 0.0)
    for entry in state.machine.layout.parts:
        for key, (a, b) in ends_of(entry).items():
            balance[a] += state.flow[key]
            balance[b] -= state.flow[key]
    del balance["outside"]
    assert max(map(abs, balance.values())) < 1e-9 * inflow


def ends_of(entry):
    """Path name -> (from, to), by what the parts' documentation says of their ends."""
    if entry.schema.part.kind == "jet":
        motive, suction, discharge = entry.ends
        return {(entry.name, "motive"): (motive, discharge), (entry.name, "suction"): (suction, discharge)}
    if entry.schema.part.kind == "merge":
        straight, branch, combined = entry.ends
        return {(entry.name, "straight"): (straight, combined), (entry.name, "branch"): (branch, combined)}
    return {entry.name: entry.ends}


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")  # variants go far on purpose
@pytest.mark.parametrize("case", VARIANTS)
def test_changed_machines(case):
    name, change = VARIANTS[case]
    machine = ds.demo(name).change(change)
    state = machine.solve()
    o = Oracle(plain(machine))
    ours = o.pack(state)
    assert np.abs(o.residual(ours)).max() < 1e-7  # kPa, kg/s and 10 K kg/s
    # a start off the answer by up to 2 %, whatever that does to small numbers
    start = ours * (1.0 + 0.02 * np.random.default_rng(1).uniform(-1.0, 1.0, len(ours)))
    answer = o.solve(start, jacobian=True)
    assert np.abs(o.residual(answer.x)).max() < 1e-9
    agree(machine, state, answer)


@pytest.mark.filterwarnings("ignore::ductsim.errors.OutsideRange")
def test_flow_states_of_the_variants():
    """The variants reach what the demos as they stand do not."""
    plugged = ds.demo("picker").change(VARIANTS["picker, duct 2 plugged"][1]).solve()
    assert plugged.flow["jet 2", "suction"] < 0.0 < plugged.flow["jet 2", "motive"]
    stopped = ds.demo("picker").change(VARIANTS["picker, right fan nearly stopped"][1]).solve()
    assert stopped.flow["right fan"] < 0.0
    idle = ds.demo("suction").change(VARIANTS["suction, idling"][1]).solve()
    reynolds = [abs(idle.flow[f"duct {i}"]) * 0.125 / (np.pi / 4 * 0.125**2 * 1.8e-5) for i in range(1, 9)]
    assert min(reynolds) < 4000.0
    blanked = ds.demo("picker").change(VARIANTS["picker, doors blanked"][1]).solve()
    assert all(blanked.flow[f"front {i}"] == 0.0 for i in range(1, 6))


@pytest.mark.parametrize("name", DEMOS)
def test_oracles_own_jacobian(name):
    o = Oracle(plain(ds.demo(name)))
    rng = np.random.default_rng(2)
    u = o.pack(ds.demo(name).solve())
    u = u * (1.0 + 0.3 * rng.uniform(-1.0, 1.0, len(u)))
    u[rng.integers(0, o.paths, 3)] *= -1.0
    exact = o.jacobian(u)
    for i in range(o.size):
        step = 1e-6 * max(abs(u[i]), 1e-2)
        up, down = u.copy(), u.copy()
        up[i], down[i] = up[i] + step, down[i] - step
        slope = (o.residual(up) - o.residual(down)) / (up[i] - down[i])
        np.testing.assert_allclose(exact[:, i], slope, atol=1e-6 * max(1.0, np.abs(exact[:, i]).max()))


def test_oracle_sees_a_wrong_answer():
    machine = ds.demo("picker")
    o = Oracle(plain(machine))
    right = o.pack(machine.solve())
    for i in range(o.size):
        wrong = right.copy()
        wrong[i] += 1e-4 * max(abs(right[i]), 1e-2)
        assert np.abs(o.residual(wrong)).max() > 1e-7


def test_oracle_stands_alone():
    for name in ("oracle.py", "oracle_parts.py"):
        tree = ast.parse((Path(__file__).parent / name).read_text(encoding="utf-8"))
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                assert not any(alias.name.startswith("ductsim") for alias in node.names)
            if isinstance(node, ast.ImportFrom):
                assert not (node.module or "").startswith("ductsim")


def test_oracles_friction():
    """Colebrook's own equation holds; the blend meets 64/Re and Colebrook with their slopes."""
    reynolds, rough = np.geomspace(4e3, 1e8, 60), np.tile([0.0, 1e-4, 1e-2], 20)
    f, _ = colebrook(reynolds, rough)
    np.testing.assert_allclose(
        1 / np.sqrt(f), -2 * np.log10(rough / 3.7 + 2.51 / (reynolds * np.sqrt(f))), rtol=1e-13
    )
    edge = np.array([2000.0, 4000.0])
    below, above = darcy(edge * (1 - 1e-9), np.full(2, 1e-3)), darcy(edge * (1 + 1e-9), np.full(2, 1e-3))
    np.testing.assert_allclose(below, above, rtol=1e-7)
