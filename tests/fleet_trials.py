"""Fleets of synthetic machines: `python tests/fleet_trials.py 20`, or `20 believed`.

Twelve benches of one description whose leaks come from a population of their own: a mean and a spread unlike
what the file believes. Each is read and fitted as it would be by itself; the fleet is learnt from the fits.
Then come machines that are no part of it: do their intervals hold the truth, and how many readings do they
need for the interval that a machine by itself has after all readings? In a second fleet one machine has a
leak that is no part of the population: is it named, and is it alone?

That population is narrower than what is believed beforehand, so that its intervals hold a little more often
than they say (0.965 where all is linear and normal). With `believed` each fleet has a population drawn from
what is believed, over which they should hold as often as they say. Machines of one fleet share what was
learnt, well or badly: the standard error is that of the fleets, not that of single intervals.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from shown_machines import bench_document

import ductsim as ds
from ductsim.inference.population import COMMON
from ductsim.readings.model import ReadingModel
from ductsim.readings.unknowns import default_scale, nuisances, unknowns_of

MACHINES, NEXT, MORE = 12, 3, 9
MEAN, SPREAD, AWAY = (0.9, -0.6), (0.3, 0.4), 3.0
SPEED = float(ds.demo("bench").numbers["fan.speed"])
SIDES = ("left", "right")


def bench() -> ds.Machine:
    """The bench with a leak at each head."""
    document = bench_document()
    for side in SIDES:
        leak = {"name": f"{side} leak", "kind": "leak", "from": "outside", "to": f"{side} head"}
        document["part"].append(leak | {"area": "15 cm2"})
    document["unknown"] = [
        {"number": f"{side} leak.area", "low": "0 cm2", "likely": "15 cm2", "high": "80 cm2"}
        for side in SIDES
    ]
    return ds.Machine.of(document)


def readings() -> list[ds.Reading]:
    """Both heads: at work, with the left mouth taped, with the right one, and so again with another gauge."""
    return [
        ds.Reading(f"{side} tapping", 0.0, engine_speed=SPEED, set=name, blanked=taped)
        for name in ("A", "B")
        for taped in ((), ("left mouth",), ("right mouth",))
        for side in SIDES
    ]


class Bench:
    """One machine of the population, read and fitted."""

    def __init__(
        self, machine: ds.Machine, rng: np.random.Generator, away: bool = False, population: Any = None
    ) -> None:
        self.machine = machine
        wanted = unknowns_of(machine)
        scales = {u.address: u.scale(machine.layout) for u in wanted}
        scales.update({n: default_scale(machine, n) for n in nuisances(machine, scales)})
        points = readings()
        model = ReadingModel(machine, points, scales)
        z = rng.standard_normal(model.size)
        mean, spread = population or (MEAN, SPREAD)
        z[:2] = np.array(mean) + np.array(spread) * z[:2]
        if away:
            z[1] = mean[1] + AWAY
        true = model.predict(z[:, None])[:, 0]
        shown = true + model.noise(true) * rng.standard_normal(len(true))
        self.readings = [replace(r, value=float(v)) for r, v in zip(points, shown, strict=True)]
        own = model.machine_numbers(z[:, None])
        self.truth = {u.address: float(own[u.address][0]) for u in wanted}

    def fit(self, count: int | None = None, unknowns: object = None, draws: int = 200) -> ds.Fit:
        """A fit to the first readings."""
        own = ds.Readings(self.readings[:count])
        return ds.fit(self.machine, own, unknowns, draws=draws)


@dataclass
class Trial:
    """Of one fleet: which intervals of next machines hold, readings needed, whether the odd one is named."""

    held: list[bool]
    needed: list[float]
    named: bool
    alone: bool


def width(fit: ds.Fit) -> np.ndarray:
    """The width of each interval, in the order of the unknowns."""
    rows = {row["unknown"]: row["high"] - row["low"] for row in fit.unknowns}
    return np.array([rows[u.address] for u in fit.wanted])


def holds(one: Bench, learnt: ds.Fleet) -> list[bool]:
    """Which intervals of a machine that begins with what was learnt hold the truth."""
    rows = one.fit(unknowns=learnt.unknowns).unknowns
    return [row["low"] <= one.truth[row["unknown"]] <= row["high"] for row in rows]


def drawn(rng: np.random.Generator) -> Any:
    """A population as it is believed beforehand: means and spreads."""
    wide = np.sqrt([COMMON, 1.0 - COMMON])
    return rng.normal(0.0, wide[0], 2), abs(rng.normal(0.0, wide[1], 2))


def trial(seed: int, following: int = NEXT, more: int = 0, believed: bool = False) -> Trial:
    """One fleet, and a second one with an odd machine in it; `more` machines count for coverage alone."""
    machine = bench()
    rng = np.random.default_rng(seed)
    population = drawn(np.random.default_rng([seed, 1])) if believed else None
    fleet = [Bench(machine, rng, population=population).fit() for _ in range(MACHINES)]
    learnt = ds.learn(fleet)
    held, needed = [], []
    for _ in range(following):
        one = Bench(machine, rng, population=population)
        held += holds(one, learnt)
        alone = width(one.fit())
        count = len(one.readings)
        for few in (2, 4, 6):
            if np.mean(width(one.fit(few, learnt.unknowns)) / alone) <= 1.0:
                count = few
                break
        needed.append(count / len(one.readings))
    odd = ds.learn([*fleet[:-1], Bench(machine, rng, True, population).fit()]).odd
    for _ in range(more):
        held += holds(Bench(machine, rng, population=population), learnt)
    names = {o.name for o in odd}
    return Trial(held, needed, f"machine {MACHINES}" in names, names <= {f"machine {MACHINES}"})


def table(trials: list[Trial]) -> str:
    """What all fleets come to."""
    held = np.array([t.held for t in trials])
    error = held.mean(axis=1).std() / np.sqrt(len(trials))
    needed = [n for t in trials for n in t.needed]
    return "\n".join(
        [
            f"{len(trials)} fleets of {MACHINES}, {len(needed)} next machines",
            f"coverage of the next machine: {held.mean():.3f} +- {error:.3f} of {held.size} intervals",
            f"readings needed for the same interval: {np.median(needed):.2f} of those alone (median), "
            f"{np.mean(needed):.2f} (mean)",
            f"odd machine named: {np.mean([t.named for t in trials]):.0%}, "
            f"no other named: {np.mean([t.alone for t in trials]):.0%}",
        ]
    )


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    trials = []
    for seed in range(count):
        trials.append(trial(200 + seed, more=MORE, believed="believed" in sys.argv))
        print(seed, np.mean(trials[-1].held), np.mean(trials[-1].needed), trials[-1].named, flush=True)
    print(table(trials))


if __name__ == "__main__":
    main()
