"""Planned visits against a fixed sheet, on synthetic machines: `python tests/visit_trials.py 200`.

A truth is drawn from the beliefs that the fits state, every number off by its spread, and the instruments.
The fixed sheet reads every door and the air box in five configurations: at work, at a lower speed, with all
openings taped shut, with the front ones, with those of the first unit. The planned visit reads what
`ds.visit` asks for, a round at a time, until that is enough. Then each takes the fix that it holds for best.
A fix is right where no other gains more by half a per cent of the weakest vacuum, what counts as none.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
from scipy import stats
from synthetic_readings import SPEED, openings, small_picker

import ductsim as ds
from ductsim.deciding.belief import Belief
from ductsim.deciding.candidates import minutes_of
from ductsim.deciding.choices import Offer, choices
from ductsim.readings.model import ReadingModel
from ductsim.readings.unknowns import default_scale, nuisances, unknowns_of

ROUNDS = 8
WORK = 60.0  # minutes for each fix: one fits into a visit, two do not


class Truth:
    """A machine as it really is, and what gauges show of it; errors common to a set stay as they are."""

    def __init__(self, machine: ds.Machine, seed: int) -> None:
        self.machine = machine
        self.rng = np.random.default_rng(seed)
        self.scales = {u.address: u.scale(machine.layout) for u in unknowns_of(machine)}
        self.scales.update({n: default_scale(machine, n) for n in nuisances(machine, self.scales)})
        self.z: dict[str, float] = {}

    def _coordinates(self, model: ReadingModel) -> np.ndarray:
        for name in model.names:
            if name not in self.z:
                self.z[name] = float(self.rng.standard_normal())
        return np.array([self.z[name] for name in model.names])

    def read(self, readings: list[ds.Reading]) -> list[ds.Reading]:
        """The readings with what the instruments show."""
        model = ReadingModel(self.machine, readings, self.scales)
        true = model.predict(self._coordinates(model)[:, None])[:, 0]
        shown = true + model.noise(true) * self.rng.standard_normal(len(true))
        return [replace(r, value=float(v)) for r, v in zip(readings, shown, strict=True)]

    def gains(self, fixes: list[ds.Fix]) -> tuple[np.ndarray, float]:
        """What each fix really gains, and the answer with nothing done."""
        first = ds.Reading(self.machine.layout.tappings[0].name, 0.0, engine_speed=SPEED)
        model = ReadingModel(self.machine, [first], self.scales)
        own = model.machine_numbers(self._coordinates(model)[:, None])
        real = self.machine.rebuilt({**self.machine.numbers, **own})
        base = float(np.squeeze(real.solve(raise_error=False).ask("weakest vacuum")))
        after = [
            float(np.squeeze(fix.on(real).solve(raise_error=False).ask("weakest vacuum"))) for fix in fixes
        ]
        return np.array(after) - base, base


@dataclass
class Trial:
    """Minutes until each way had decided, the fix that it took, and what was right."""

    minutes: tuple[float, float]
    fixes: tuple[str, str]
    right: tuple[bool, bool]
    lost: tuple[float, float]
    rounds: int


def setting(units: int = 3) -> tuple[ds.Machine, list[ds.Fix], list[ds.Reading], float]:
    """The machine, the fixes, the fixed sheet, and the minutes of the visit."""
    machine = small_picker(units, cuffs=False)
    names = [u.name for u in machine.layout.units]
    fixes = [ds.Fix(f"seal hatch {n}", {f"hatch leak {n}.area": 0.0}, minutes=WORK) for n in names]
    fixes.append(ds.Fix("patch air box", {"box leak.coefficient": 0.0}, minutes=WORK))
    places = [*(u.vacuum_at for u in machine.layout.units), "air box"]
    ways = (
        (SPEED, ()),
        (SPEED * 18 / 21, ()),
        (SPEED, openings(machine)),
        (SPEED, openings(machine, "front")),
        (SPEED, machine.layout.units[0].openings),
    )
    sheet = [
        ds.Reading(place, 0.0, engine_speed=speed, set="visit", blanked=taped)
        for speed, taped in ways
        for place in places
    ]
    return machine, fixes, sheet, minutes_of(machine.layout, sheet, SPEED) + WORK + 8.0


def trial(seed: int, units: int = 3) -> Trial:
    """One machine, visited both ways."""
    machine, fixes, sheet, minutes = setting(units)
    truth = Truth(machine, seed)
    gains, base = truth.gains(fixes)
    none = 0.005 * abs(base)
    worth = {(): 0.0} | {(fix.name,): float(gain) for fix, gain in zip(fixes, gains, strict=True)}
    most = max(worth.values())

    taken: list[ds.Reading] = []
    plan = ds.visit(machine, fixes, minutes, seed=seed)
    rounds = 0
    while plan.next is not None and plan.next.kind == "read" and rounds < ROUNDS:
        taken += truth.read([replace(r, value=0.0) for r in plan.next.readings])
        plan = ds.visit(machine, fixes, minutes, ds.Readings(taken), seed=seed)
        rounds += 1
    chosen = plan.fixes[:1]

    fit = ds.fit(machine, ds.Readings(truth.read(sheet)), draws=200, seed=seed)
    offer = Offer.on(machine, fit.wanted, fixes, "weakest vacuum")
    found, belief = choices(Belief.of(fit, 200, seed), offer)
    by_sheet = found.fixes[found.best(belief.weights)]
    return Trial(
        minutes=(plan.spent, minutes_of(machine.layout, sheet, SPEED)),
        fixes=(", ".join(chosen), ", ".join(by_sheet)),
        right=(most - worth[chosen] <= none, most - worth[by_sheet] <= none),
        lost=(most - worth[chosen], most - worth[by_sheet]),
        rounds=rounds,
    )


def table(trials: list[Trial]) -> str:
    """Both ways side by side."""
    count = len(trials)
    lines = [f"{count} machines: planned visit, fixed sheet"]
    for words, value in (
        ("mean minutes until the first fix is chosen", lambda t, k: t.minutes[k]),
        ("wrong first fixes [%]", lambda t, k: 100.0 * (not t.right[k])),
        ("gain lost by the choice, mean [Pa]", lambda t, k: t.lost[k]),
    ):
        both = [float(np.mean([value(t, k) for t in trials])) for k in (0, 1)]
        lines.append(f"{words}: {both[0]:.2f}, {both[1]:.2f}")
    quicker = np.mean([t.minutes[0] < t.minutes[1] for t in trials])
    worse = sum(t.right[1] and not t.right[0] for t in trials)
    better = sum(t.right[0] and not t.right[1] for t in trials)
    lines.append(f"quicker on {quicker:.1%}; only the sheet right {worse}, only the visit right {better}")
    lines.append(f"chance of so many more wrong if both are as good: {no_more(worse, better):.2f}")
    return "\n".join(lines)


def no_more(worse: int, better: int) -> float:
    """How often chance alone makes the visit wrong so often where the sheet is right (sign test)."""
    if not worse + better:
        return 1.0
    return float(stats.binomtest(worse, worse + better, alternative="greater").pvalue)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    trials = []
    for seed in range(count):
        trials.append(trial(1000 + seed))
        t = trials[-1]
        print(seed, t.minutes, t.fixes, t.right, [round(x, 1) for x in t.lost], t.rounds, flush=True)
        if (seed + 1) % 20 == 0 or seed + 1 == count:
            print(table(trials), flush=True)


if __name__ == "__main__":
    main()
