"""Two readings of one set that were exchanged: named, taken for each other, and told from what is sound."""

from dataclasses import replace

import numpy as np
import pytest
from synthetic_readings import RPM, SPEED, model_of, openings, plan, read, small_picker

import ductsim as ds
from ductsim.readings.unknowns import unknowns_of
from ductsim.studies.fit.study import explained

SWAP = {"door 1": "door 2", "door 2": "door 1"}


@pytest.fixture(scope="module")
def small():
    machine = small_picker()
    rng = np.random.default_rng(11)
    model = model_of(machine, plan(machine))
    return machine, read(model, rng.standard_normal(model.size), rng)


def fitted(machine, rows):
    return explained(machine, ds.Readings(rows), unknowns_of(machine), draws=0)


def swapped(rows, sets, speed=None):
    return [
        replace(r, tapping=SWAP.get(r.tapping, r.tapping))
        if r.set in sets and speed in (None, r.engine_speed)
        else r
        for r in rows
    ]


def test_doors_exchanged_in_one_set_are_named_and_taken_for_each_other(small):
    machine, rows = small
    sound = fitted(machine, rows)
    assert not sound.slips and not sound.outliers
    fit = fitted(machine, swapped(rows, "B"))
    assert [g.kind for g in fit.slips] == ["exchanged"] and fit.aside == set()
    wrong = [r.line for r in rows if r.set == "B" and r.tapping in SWAP]
    assert [row["line"] for row in fit.outliers] == wrong
    assert fit.chance < 0.01 < fit.chance_left
    (words,) = [s for s in fit.sentences() if "exchanged" in s]
    assert words.startswith("line 4, door 2 and line 5, door 1 look exchanged in set B: ")
    assert "Each is taken for the other" in words
    width = np.array([row["prior_high"] - row["prior_low"] for row in fit.unknowns])
    where = {row["unknown"]: row for row in sound.unknowns}
    off = [row["estimate"] - where[row["unknown"]]["estimate"] for row in fit.unknowns]
    assert (np.abs(off) < 0.01 * width).all()


def test_hoses_exchanged_are_found_under_every_condition_of_a_set(small):
    machine, _ = small
    speeds = (SPEED, 1800.0 * RPM)
    slower = [replace(r, set="A", engine_speed=v) for v in speeds for r in plan(machine) if r.set == "A"]
    again = [replace(r, set=name) for name in "BD" for r in plan(machine) if r.set == "A"]
    shut = [replace(r, set="C", blanked=openings(machine)) for r in again if r.set == "B"]
    rng = np.random.default_rng(16)
    model = model_of(machine, [*slower, *again, *shut])
    rows = read(model, rng.standard_normal(model.size), rng)
    (both,) = fitted(machine, swapped(rows, "A")).slips
    assert both.kind == "exchanged" and len(both.rows) == 4
    (one,) = fitted(machine, swapped(rows, "A", speeds[1])).slips
    assert one.kind == "exchanged" and len(one.rows) == 2


def test_doors_exchanged_throughout_are_units_exchanged(small):
    machine, rows = small
    fit = fitted(machine, swapped(rows, "ABC"))
    assert not any(g.kind == "exchanged" for g in fit.slips)
