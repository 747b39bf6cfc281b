"""The long test of broken assumptions: named or covered, and no false alarm on sound readings.

Seeds were fixed beforehand. Run as a script it prints the table: `python tests/test_fitting_slips.py SETS`.
"""

import sys
import time
from dataclasses import replace

import numpy as np
import pytest
from scipy import stats
from synthetic_readings import model_of, plan, read, small_picker

import ductsim as ds
from ductsim.inference.gross import COST
from ductsim.inference.problem import find
from ductsim.readings.unknowns import unknowns_of
from ductsim.studies.fit.study import explained

SEED = 31
SOUND, SETS = 150, 30


def taken(kind, machine, model, truth, rng):
    """Readings of a set in which something is wrong, and the lines that are."""
    if kind == "door reads total":
        total = [replace(r, quantity="total") if r.tapping == "door 1" else r for r in model.readings]
        rows = read(model_of(machine, total), truth, rng)
        return [replace(r, quantity="static") for r in rows], {r.line for r in rows if r.tapping == "door 1"}
    if kind == "speed sags":
        sagging = truth.copy()
        place = model.names.index("tachometer of set B")
        sagging[place] += np.log(0.97) / model.errors.tachometer
        return read(model, sagging, rng), None
    if kind == "unmodelled leak":
        whole = small_picker()
        having = model_of(whole, list(model.readings))
        known = dict(zip(model.names, truth, strict=True))
        leak = {"cuff leak 1.coefficient": 2.5}
        return read(having, np.array([known.get(n, leak.get(n, 0.0)) for n in having.names]), rng), None
    rows = read(model, truth, rng)
    wrong = set()
    if kind == "gross":
        for i in np.flatnonzero(rng.random(len(rows)) < 0.1).tolist():
            factor = float(rng.choice([0.1, 0.5, 0.7, 1.4, 2.0, 10.0]))
            rows[i] = replace(rows[i], value=rows[i].value * factor)
            wrong.add(rows[i].line)
    elif kind == "exchanged":
        name = str(rng.choice(["A", "B", "C"]))
        swap = {"door 1": "door 2", "door 2": "door 1"}
        rows = [replace(r, tapping=swap.get(r.tapping, r.tapping)) if r.set == name else r for r in rows]
        wrong = {r.line for r in rows if r.set == name and r.tapping in swap}
    return rows, wrong


BROKEN = ("gross", "exchanged", "door reads total", "unmodelled leak", "speed sags")


def run(kind, sets, seed):
    """For each set: share of truths held, something said, sound readings named, wrong, named, seconds."""
    machine = small_picker(cuffs=kind != "unmodelled leak")
    model = model_of(machine, plan(machine))
    wanted = unknowns_of(machine)
    rng = np.random.default_rng(seed)
    out = []
    for i in range(sets):
        truth = rng.standard_normal(model.size)
        rows, wrong = taken(kind, machine, model, truth, rng)
        before = time.process_time()
        fit = explained(machine, ds.Readings(rows), wanted, seed=i)
        seconds = time.process_time() - before
        true = model.machine_numbers(truth[:, None])
        inside = [row["low"] <= true[row["unknown"]][0] <= row["high"] for row in fit.unknowns]
        named = {row["line"] for row in fit.outliers}
        facing = [i for group in fit.slips if group.kind == "facing" for i in group.rows]
        named |= {fit.readings[i]["line"] for i in facing}
        alarm = bool(named or fit.slips or fit.chance < 0.01)
        false = len(named - wrong) if wrong is not None else 0
        out.append((np.mean(inside), alarm, false, len(wrong or ()), len(named & (wrong or set())), seconds))
    return np.array(out, dtype=float)


def told(kind, found):
    """A line of the table."""
    inside, alarm, false, wrong, hit, seconds = found.T
    quiet = inside[alarm == 0].mean() if (alarm == 0).any() else np.nan
    return (
        f"{kind:18s} coverage {inside.mean():.3f}, where nothing was said {quiet:.3f}; "
        f"something said {alarm.mean():.3f}; covered or said {np.mean((inside >= 0.8) | (alarm > 0)):.3f}; "
        f"wrong readings {wrong.sum():.0f}, named {hit.sum():.0f}, sound ones named {false.sum():.0f}; "
        f"slowest {seconds.max():.1f} s of the processor"
    )


def log_evidence(machine, rows):
    """Logarithm of the probability of readings, to a constant, and the most probable coordinates."""
    model = model_of(machine, rows)
    estimate = find(model.problem())
    inner = np.eye(len(rows)) + estimate.slopes @ estimate.slopes.T
    return -0.5 * (estimate.chi_square + np.linalg.slogdet(inner)[1]), dict(
        zip(model.names, estimate.x, strict=True)
    )


@pytest.mark.slow
def test_what_is_wrong_alike_in_every_set_cannot_be_told():
    """Doors exchanged throughout are as probable as they are; speeds all 8 % high are a slipping belt."""
    machine = small_picker()
    model = model_of(machine, plan(machine))
    rng = np.random.default_rng(5)
    rows = read(model, rng.standard_normal(model.size), rng)
    swap = {"door 1": "door 2", "door 2": "door 1"}
    right, before = log_evidence(machine, rows)
    exchanged, _ = log_evidence(machine, [replace(r, tapping=swap.get(r.tapping, r.tapping)) for r in rows])
    assert abs(exchanged - right) < 0.5 < COST
    fast, after = log_evidence(machine, [replace(r, engine_speed=1.08 * r.engine_speed) for r in rows])
    assert right - fast < COST
    assert after["belt.slip"] > before["belt.slip"] + 1.0


@pytest.mark.slow
def test_sound_readings_raise_no_alarm():
    found = run("sound", SOUND, SEED)
    print(told("sound", found))
    # at a rate of 3 % 150 sets have 4.5 in the mean, and 8 or more in 1 of 12 runs: no more than 7
    assert found[:, 1].sum() <= stats.binom.ppf(0.90, len(found), 0.03)
    assert found[:, 2].sum() < 0.03 * 9 * len(found)  # sound readings that are named
    assert found[:, 0].mean() > 0.92


@pytest.mark.slow
@pytest.mark.parametrize("kind", BROKEN)
def test_broken_assumptions_are_covered_or_named(kind):
    found = run(kind, SETS, SEED + 1)
    print(told(kind, found))
    assert np.mean((found[:, 0] >= 0.8) | (found[:, 1] > 0)) >= 0.90


if __name__ == "__main__":
    for kind in ("sound", *BROKEN):
        print(told(kind, run(kind, int(sys.argv[1]), SEED)), flush=True)
