"""When a start counts as too far off, and when a state is no answer: the words of the solver, one by one."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.network.network import stacked
from ductsim.network.point import Point
from ductsim.network.solve import solve
from ductsim.network.stability import FAR, FAR_RISE, SOUND, _motions, start_too_far, supersonic
from ductsim.network.transient import inertance


@pytest.fixture
def joined():
    """Two mouths that join in a merge, drawn by a fan: equations, and their solution."""
    net = ds.Network(ds.Air(density=1.2, viscosity=1.8e-5))
    net.add("one", ds.Opening(area=0.02, loss_coefficient=1.5), "outside", "a")
    net.add("two", ds.Opening(area=0.01, loss_coefficient=1.5), "outside", "b")
    net.add("tee", ds.Merge(straight_area=0.03, branch_area=0.02, angle="45 deg"), "a", "b", "c")
    net.add("fan", ds.Fan.through(flow=0.6, total_pressure=900.0, speed=200.0), "c", "outside")
    system = net.system()
    numbers, _ = stacked(system, net.numbers(), net.air)
    solved, _ = solve(system, numbers)
    assert solved.good.all()
    return numbers.equations(system), solved


@pytest.mark.parametrize(("share", "far"), [(0.0, False), (0.9 * FAR, False), (1.1 * FAR, True)])
def test_a_start_is_far_off_by_what_the_tee_s_flows_have_moved(joined, share, far):
    """Up to a quarter of what the tee carries is near, either way."""
    eq, solved = joined
    for sign in (1.0, -1.0):
        start = Point(
            solved.point.flow * (1.0 + sign * share), solved.point.pressure, solved.point.temperature_rise
        )
        assert start_too_far(eq, start, solved).tolist() == [far]


@pytest.mark.parametrize(("degrees", "far"), [(0.9, False), (1.1, True)])
def test_a_start_is_far_off_by_its_temperatures(joined, degrees, far):
    eq, solved = joined
    start = Point(solved.point.flow, solved.point.pressure, None)
    solved.point.temperature_rise = np.full_like(solved.point.pressure, degrees * FAR_RISE)
    assert start_too_far(eq, start, solved).tolist() == [far]


@pytest.mark.parametrize("share", [0.97, 1.03])
def test_no_air_is_faster_than_sound(joined, share):
    """Mass flow over density and section, path by path, against 340 m/s or what stands for it."""
    eq, solved = joined
    assert 330.0 <= SOUND <= 350.0
    area = np.broadcast_to(eq.area, solved.point.flow.shape)
    for path in range(len(solved.point.flow)):
        flow = np.zeros_like(solved.point.flow)
        flow[path] = -share * SOUND * solved.density[path] * area[path]
        solved.point.flow = flow
        assert supersonic(eq, solved).tolist() == [share > 1.0]


def test_a_disturbance_in_one_loop_dies_by_its_slopes_over_its_inertances():
    """One ring of air: m d(dm)/dt = -(s1 + s2) dm, worked by hand."""
    net = ds.Network(ds.Air(density=1.2, viscosity=1.8e-5))
    net.add("hole", ds.Opening(area=0.02, loss_coefficient=1.5), "outside", "box")
    net.add("fan", ds.Fan.through(flow=0.6, total_pressure=900.0, speed=200.0), "box", "outside")
    system = net.system()
    numbers, _ = stacked(system, net.numbers(), net.air)
    solved, _ = solve(system, numbers)
    eq = numbers.equations(system)
    rate, way = _motions(eq, solved.point)
    assert rate == pytest.approx([-solved.slope.sum() / inertance(eq).sum()], rel=1e-9)
    assert way[0] == pytest.approx(way[1])
