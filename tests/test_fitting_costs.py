"""What each leak costs the weakest unit: against a machine solved with and without it."""

from dataclasses import replace

import numpy as np
import pytest
from synthetic_readings import model_of, plan, read, small_picker

import ductsim as ds
from ductsim.readings.unknowns import unknowns_of
from ductsim.studies.fit.study import explained


def test_a_leak_costs_what_the_weakest_unit_gains_without_it():
    machine = small_picker()
    model = model_of(machine, plan(machine))
    truth = np.zeros(model.size)
    truth[model.names.index("hatch leak 2.area")] = 2.5
    rows = read(model, truth, np.random.default_rng(1))
    fit = explained(machine, ds.Readings(rows), unknowns_of(machine), draws=0)
    found = fit.costs(60)
    assert found[0]["leak"] == "hatch leak 2.area" and found[0]["chance_costliest"] > 0.9
    assert 0.98 < sum(row["chance_costliest"] for row in found) <= 1.0
    true = {a: float(v[0]) for a, v in model.machine_numbers(truth[:, None]).items()}
    likely = next(u.likely for u in fit.wanted if u.address == "hatch leak 2.area")
    sealed = {**true, "hatch leak 2.area": likely}
    now, then = (min(machine.change(n).solve().vacuum.values()) for n in (true, sealed))
    assert found[0]["low"] < float(then - now) < found[0]["high"]
    assert all(row["low"] <= row["cost"] <= row["high"] for row in found)
    assert fit.costs(60) == found
    row = fit.unknowns[0]
    assert row["unknown"] == "hatch leak 2.area" and row["chance_costliest"] > 0.9
    assert row["cost_Pa"] == fit.priced[0]["cost"]
    assert "What costs the weakest unit most is hatch leak 2.area (" in str(fit)


def test_costs_are_those_of_every_machine_of_the_sample_with_each_leak_as_likely():
    """Machines that come twice, and leaks that are small anyway, are not solved again."""
    machine = small_picker()
    model = model_of(machine, plan(machine))
    rows = read(model, np.zeros(model.size), np.random.default_rng(2))
    fit = explained(machine, ds.Readings(rows), unknowns_of(machine), draws=40)
    coordinates, which = fit.distinct(60)
    assert coordinates.shape[1] < len(which) == 60
    possible = fit.sample(60)

    def weakest(machine):
        return np.min(list(machine.solve().vacuum.values()), axis=0)

    now = weakest(possible)
    for row in fit.costs(60):
        likely = next(u.likely for u in fit.wanted if u.address == row["leak"])
        sealed = possible.change({row["leak"]: np.minimum(possible.numbers[row["leak"]], likely)})
        cost = weakest(sealed) - now
        expected = np.quantile(cost, [0.025, 0.5, 0.975])
        np.testing.assert_allclose([row[k] for k in ("low", "cost", "high")], expected, rtol=1e-6, atol=1e-6)


def test_leaks_come_in_the_order_of_what_they_cost():
    """A leak far larger than likely where it costs nothing comes after a smaller one that costs most."""
    machine = small_picker()
    model = model_of(machine, plan(machine))
    truth = np.zeros(model.size)
    for name, z in (("hatch leak 2.area", 2.5), ("hatch leak 1.area", 2.5)):
        truth[model.names.index(name)] = z
    rows = read(model, truth, np.random.default_rng(1))
    fit = explained(machine, ds.Readings(rows), unknowns_of(machine), draws=0)
    chances = [row["chance_costliest"] for row in fit.unknowns]
    priced = [row["leak"] for row in fit.priced if row["chance_costliest"] > 0.0]
    assert [row["unknown"] for row in fit.unknowns][: len(priced)] == priced
    known = [c for c in chances if np.isfinite(c)]
    assert known == sorted(known, reverse=True)
    none = replace(fit, priced=[dict(row, chance_costliest=0.0) for row in fit.priced])
    assert "Most probably no leak costs the weakest unit" in str(none)


def test_without_a_leak_sought_there_is_none_that_costs():
    machine = small_picker()
    model = model_of(machine, plan(machine))
    rows = read(model, np.zeros(model.size), np.random.default_rng(1))
    wanted = unknowns_of(machine, {"belt.slip": (0.0, 0.02, 0.1)})
    fit = explained(machine, ds.Readings(rows), wanted, draws=0)
    with pytest.raises(ds.InputError, match="there is no leak that costs a unit"):
        fit.costs()
