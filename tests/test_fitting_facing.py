"""Tappings that read total instead of static pressure, and readings that are all in another measure."""

from dataclasses import replace

import numpy as np
import pytest
from synthetic_readings import model_of, plan, read, small_picker

import ductsim as ds
from ductsim.readings.unknowns import unknowns_of
from ductsim.studies.fit.study import explained


@pytest.fixture(scope="module")
def small():
    machine = small_picker()
    return machine, model_of(machine, plan(machine))


def test_a_tapping_that_faces_the_air_wholly_reads_total_pressure(small):
    machine, model = small
    total = model_of(machine, [replace(r, quantity="total") for r in model.readings])
    facing = [model.facing_of(r.tapping) for r in model.readings]
    assert None not in facing and total.facing_of("door 1") is None
    z = np.zeros((model.size, 1))
    z[facing] = 1.0 / model.errors.facing
    there = total.predict(np.zeros((total.size, 1)))
    assert model.predict(z) == pytest.approx(there, rel=1e-9)
    slopes = model.jacobian(z[:, 0])[1]
    assert slopes[0, facing[0]] * z[facing[0], 0] == pytest.approx(
        float(there[0, 0] - model.predict(0.0 * z)[0, 0]), rel=1e-9
    )


def test_a_door_that_reads_total_is_named(small):
    machine, model = small
    rng = np.random.default_rng(2)
    truth = 0.3 * rng.standard_normal(model.size)
    truth[model.facing_of("door 1")] = 1.0 / model.errors.facing
    fit = explained(machine, ds.Readings(read(model, truth, rng)), unknowns_of(machine), draws=0)
    assert [(g.kind, g.name) for g in fit.slips] == [("facing", "door 1")]
    assert fit.aside == set() and fit.chance < 0.01 < fit.chance_left
    (words,) = [s for s in fit.sentences() if "total pressure" in s]
    assert words.startswith("door 1 reads as if it showed total pressure")
    assert "Before anybody drills, take two more there" in words


def test_readings_all_in_inches_of_water_are_said_to_be(small):
    machine, model = small
    rows = read(model, np.zeros(model.size), np.random.default_rng(3))
    inches = [replace(r, value=r.value / 249.089, sd=None) for r in rows]
    fit = explained(machine, ds.Readings(inches), unknowns_of(machine), draws=0)
    assert "of what the machine makes, as if inches of water had been written as pascals" in str(fit)
