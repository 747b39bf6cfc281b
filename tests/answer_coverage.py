"""How often the truth lies within the bands that are stated of answers.

    python tests/answer_coverage.py --machine jets --truths 10000 --described 300

A user describes a machine by what a tape tells and by typical values and words; the true machine has other
numbers. They are drawn here by scipy.stats, from nothing but the spreads that `describe()` states: no code of
ensembles has a hand in it. Each way of being wrong is a column of the table that is printed.
"""

from __future__ import annotations

import argparse
import time
import warnings

import numpy as np
from scipy import stats

import ductsim as ds
from ductsim.commands.checking import checked
from ductsim.files.start import start_files

MACHINES = ("jets", "suction", "demo:picker", "demo:suction")
BAND = (0.05, 0.95)
WAYS = ("each by itself", "another shape", "typicals in common")
"""Lognormal numbers; gamma of the same mean and deviation; words and defaults alike in all units."""


def described(name: str) -> ds.Machine:
    """A machine as its user describes it, by typical values."""
    if name.startswith("demo:"):
        return ds.demo(name.removeprefix("demo:"))
    return ds.Machine.of(start_files(name, 4, 1, "metric")["machine.toml"])


def asked(machine: ds.Machine) -> list[str]:
    """What is asked: the weakest vacuum and that of every unit."""
    return ["weakest vacuum", *(f"vacuum {unit.name}" for unit in machine.layout.units)]


def groups(machine: ds.Machine, way: str) -> dict[str, str]:
    """Address of every number that has a spread -> what it scatters with.

    The points of a curve scatter together, as its documentation says. With typicals in common, so do equal
    defaults and words of units alike, of which a user knows no more of one than of another.
    """
    out = {}
    for row in machine.describe().rows():
        address = row["address"]
        if not row["spread"] or float(machine.numbers[address]) == 0.0:
            continue
        out[address] = address.partition("[")[0]
        if way == WAYS[2] and (row["origin"] == "default" or row["choice"]):
            owner, _, key = address.partition(".")
            out[address] = f"{owner.rstrip('0123456789')}{key} {row['value']}"
    return out


def drawn(machine: ds.Machine, way: str, count: int, rng: np.random.Generator) -> dict[str, np.ndarray]:
    """The numbers of true machines: address -> column."""
    spread = {row["address"]: row["spread"] for row in machine.describe().rows()}
    shares: dict[str, np.ndarray] = {}
    out = {}
    for address, group in groups(machine, way).items():
        sd, value = spread[address], float(machine.numbers[address])
        share = shares.setdefault(group, rng.random(count))
        if way == WAYS[1]:
            factor = stats.gamma(1.0 / sd**2, scale=sd**2).ppf(share)
        else:
            width = np.sqrt(np.log(1.0 + sd**2))
            factor = stats.lognorm(width, scale=np.exp(-0.5 * width**2)).ppf(share)
        known = machine.layout.declaration(address)
        out[address] = np.clip(value * factor, known.low, known.high)
    return out


def truth(machine: ds.Machine, numbers: dict[str, np.ndarray], of: list[str]) -> np.ndarray:
    """The answers of the true machines, (questions, machines)."""
    state = machine.rebuilt({**machine.numbers, **numbers}).solve(raise_error=False)
    return np.array([state.ask(words) for words in of])


def coverage(name: str, way: str, truths: int, samples: int, seed: int) -> dict[str, float]:
    """Question -> share of the true machines whose answer lies in the band that an ensemble states."""
    machine = described(name)
    of = asked(machine)
    rng = np.random.default_rng(seed)
    true = truth(machine, drawn(machine, way, truths, rng), of)
    found = ds.ensemble(machine, of=of, samples=samples, seed=seed + 1)
    bands = {words: [found.quantile(words, share) for share in BAND] for words in of}
    return {
        words: float(np.mean((low <= own) & (own <= high)))
        for own, (words, (low, high)) in zip(true, bands.items(), strict=True)
    }


def within_doubt(name: str, truths: int, seed: int) -> float:
    """Share of the true machines whose weakest unit has a vacuum as close as two in three by `check`."""
    machine = described(name)
    state = machine.solve()
    found = checked(state)
    doubt = float(np.sqrt(sum(own.effect**2 for own in found.first)))
    unit = str(state.weakest)
    true = truth(machine, drawn(machine, WAYS[0], truths, np.random.default_rng(seed)), [f"vacuum {unit}"])
    return float(np.mean(np.abs(true[0] - state.vacuum[unit]) <= doubt))


def described_anew(name: str, machines: int, samples: int, seed: int) -> dict[str, float]:
    """The same with a true machine for each description, its measured numbers read with the spread's error.

    What is measured scatters about the truth; words and defaults stay typical, with the truth about them.
    """
    typical = described(name)
    of = asked(typical)
    rng = np.random.default_rng(seed)
    rows = {row["address"]: row for row in typical.describe().rows()}
    true = drawn(typical, WAYS[0], machines, rng)
    answers = truth(typical, true, of)
    error = drawn(typical, WAYS[0], machines, rng)
    inside = np.zeros((len(of), machines), dtype=bool)
    for i in range(machines):
        told = {
            a: float(v[i] * error[a][i] / typical.numbers[a])
            for a, v in true.items()
            if rows[a]["origin"] == "given" and not rows[a]["choice"]
        }
        known = typical.layout.declaration
        told = {a: float(np.clip(v, known(a).low, known(a).high)) for a, v in told.items()}
        machine = typical.rebuilt({**typical.numbers, **told})
        found = ds.ensemble(machine, of=of, samples=samples, seed=seed + i)
        for q, words in enumerate(of):
            inside[q, i] = found.quantile(words, BAND[0]) <= answers[q, i] <= found.quantile(words, BAND[1])
    return dict(zip(of, inside.mean(axis=1).tolist(), strict=True))


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--machine", action="append", choices=MACHINES)
    parser.add_argument("--truths", type=int, default=10_000)
    parser.add_argument("--samples", type=int, default=10_000)
    parser.add_argument("--described", type=int, default=0)
    parser.add_argument("--seed", type=int, default=0)
    args = parser.parse_args()
    warnings.simplefilter("ignore", ds.OutsideRange)
    error = 100.0 * np.sqrt(BAND[0] * 2.0 * (1.0 - 2.0 * BAND[0]) / args.truths)
    print(f"share of true answers within the 90 % band [%], standard error {error:.2f} %")
    for name in args.machine or MACHINES:
        for way in WAYS:
            begun = time.perf_counter()
            found = coverage(name, way, args.truths, args.samples, args.seed)
            words = ", ".join(f"{100.0 * share:.1f}" for share in found.values())
            print(f"{name:13s} {way:19s} {words}   ({time.perf_counter() - begun:.0f} s)", flush=True)
        print(f"{name:13s} 'two in three' of check: {100.0 * within_doubt(name, args.truths, args.seed):.1f}")
        if args.described:
            begun = time.perf_counter()
            found = described_anew(name, args.described, 400, args.seed)
            words = ", ".join(f"{100.0 * share:.1f}" for share in found.values())
            print(
                f"{name:13s} described anew     {words}   ({time.perf_counter() - begun:.0f} s)", flush=True
            )


if __name__ == "__main__":
    main()
