"""The search for the speed at which a margin is one, many in step."""

import numpy as np
import pytest

import ductsim as ds
from ductsim.crop.crop import with_crop
from ductsim.speed import limit
from ductsim.speed.roots import SLOWEST, falling_root, roots_and_slopes
from ductsim.studies.ground_speed.result import near_limit

# ---- roots


def test_roots_in_step():
    at = np.array([0.5, 1.7, 3.0, 12.0])

    def function(x, which):
        return np.where(which == 2, np.where(x < at[2], 1.0, -5.0), np.log(at[which] / x))

    assert falling_root(function, np.full(4, 1.0)) == pytest.approx(at, rel=2e-6)
    edge = falling_root(lambda x, which: np.array([-1.0, 1.0, np.nan])[which] + 0.0 * x, np.ones(3))
    assert edge[0] == 0.0 and np.isinf(edge[1]) and np.isnan(edge[2])


def test_where_nothing_suffices_the_search_asks_no_more_than_twice():
    """Below its limit a machine has blocked ducts, which take long: the way down to nothing is not walked."""
    asked = []

    def function(x, which):
        asked.extend((int(i), float(v)) for i, v in zip(which, x, strict=True))
        return np.array([-20.0, 0.5])[which] - x

    assert falling_root(function, np.array([2.0, 2.0]))[0] == 0.0
    assert [x for i, x in asked if i == 0] == [2.0, SLOWEST]
    assert falling_root(function, np.array([2.0, 2.0]))[1] == pytest.approx(0.5, rel=1e-8)


def test_the_search_goes_up_by_doubling_at_most():
    """What is far beyond a limit is choked, which takes longest to solve."""
    asked = []

    def function(x, which):
        asked.extend(x)
        return np.log(3.0 / x)

    assert falling_root(function, np.array([SLOWEST])) == pytest.approx(3.0, rel=1e-6)
    assert max(asked) <= 6.0
    assert len(asked) < 30


@pytest.mark.parametrize("told", [0.65, 1.3, 2.6])
@pytest.mark.parametrize("off", [2e-5, 4e-4, 3e-3, 0.05, 0.4])
def test_a_slope_told_beforehand_saves_asking_and_no_accuracy(told, off):
    """Right or wrong by a factor of two; beside a jump; bent; one root on either side of the guess."""
    asked = []

    def function(x, which):
        asked.extend(which)
        way = np.log(x / np.array([1.0 - off, 1.0 + off, 1.0 + off, 1.0])[which])
        smooth = -1.3 * way - 0.4 * way * np.abs(way)
        return np.where(which == 2, np.where(way < 0.0, 2e-4 - 0.6 * way, -9.0), smooth)

    found, slopes = roots_and_slopes(function, np.ones(4), accuracy=1e-3, slope=told)
    assert np.abs(found / [1.0 - off, 1.0 + off, 1.0 + off, 1.0] - 1.0).max() <= 1e-3
    assert asked.count(3) == 1 and slopes[3] == told
    plain = len(asked)
    asked.clear()
    again, own = roots_and_slopes(function, np.ones(4), accuracy=1e-3)
    assert np.abs(again / found - 1.0).max() <= 2e-3 and (told != 1.3 or off > 0.1 or plain < len(asked))
    assert own[:2] == pytest.approx(1.3, abs=0.3)


def test_draws_with_a_fix_are_as_exact_as_without_what_is_known():
    """The limits of draws begin at those before the fix, with their slopes, and end within the accuracy."""
    machine = with_crop(ds.demo("picker"))
    rng = np.random.default_rng(3)
    draws = {f"crop.{name}": float(machine.numbers[f"crop.{name}"]) * rng.lognormal(0.0, 0.2, 40)
             for name in ("surge", "slip", "opening_ratio")}  # fmt: skip
    cloud = machine.rebuilt({**machine.numbers, **draws, "crop.surge": np.maximum(draws["crop.surge"], 1.0)})
    before, slopes = limit.limits_and_slopes(cloud, accuracy=limit.ROUGH)
    faster = cloud.change({"belt.engine_speed": "x1.03"})
    told, _ = limit.limits_and_slopes(faster, before, limit.ROUGH, slopes)
    exact = limit.speed_limit(faster, before)
    assert np.isfinite(exact).all() and np.abs(told / exact - 1.0).max() <= limit.ROUGH


def test_searches_on_one_machine_solve_each_speed_once(monkeypatch):
    machine = with_crop(ds.demo("picker"))
    solved = []
    plain = limit.Driven.at

    def counted(driven, speed, which):
        solved.append(len(speed))
        return plain(driven, speed, which)

    monkeypatch.setattr(limit.Driven, "at", counted)
    found = limit.unit_limits(machine)[:, 0]
    assert solved[0] == 1 and max(solved) <= len(found)
    for u, unit in enumerate(machine.layout.units):
        mine = [unit.name in place.units for place in limit.places(machine.layout)]
        ends = limit.margins_at(machine, found[u] * np.array([1.0 - 1e-4, 1.0 + 1e-4]))[mine].min(axis=0)
        assert ends[0] >= 1.0 > ends[1]


def test_a_limit_like_none_is_looked_for_at_the_slowest():
    assert [near_limit(v) for v in (0.0, 1.3, np.inf, np.nan)] == [SLOWEST, 1.3, 1.0, 1.0]
