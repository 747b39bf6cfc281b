"""A million scenarios of the picker on two processes, and what the second one brings.

`python benchmarks/million.py [--samples N]`. Spreads are the usual ones of all numbers; kept is the vacuum of
the weakest unit and which unit it is.
"""

from __future__ import annotations

import os

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS"):
    os.environ[_threads] = "1"

import argparse  # noqa: E402
import resource  # noqa: E402
import sys  # noqa: E402
import time  # noqa: E402
from concurrent.futures import ProcessPoolExecutor  # noqa: E402
from pathlib import Path  # noqa: E402

sys.path[:0] = [str(Path(__file__).resolve().parents[1])]

import ductsim as ds  # noqa: E402


def seconds(samples: int, processes: int) -> float:
    """Time of an ensemble on so many processes, started beforehand."""
    machine = ds.demo("picker")
    with ProcessPoolExecutor(processes) as pool:
        ds.ensemble(machine, samples=processes * 200, chunk=100, executor=pool)
        begun = time.perf_counter()
        found = ds.ensemble(machine, samples=samples, executor=pool)
        spent = time.perf_counter() - begun
    print(f"{processes} process(es): {samples:,} scenarios in {spent:.1f} s, {samples / spent:,.0f} a second")
    print("  " + "\n  ".join(found.sentences()))
    return spent


def main() -> None:
    """Two processes, then one on a quarter of the scenarios."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--samples", type=int, default=1_000_000, metavar="N")
    given = parser.parse_args()
    two = seconds(given.samples, 2) / given.samples
    few = max(given.samples // 4, 1000)
    one = seconds(few, 1) / few
    print(f"two processes over one: {one / two:.2f} x")
    for what, who in (("this process", resource.RUSAGE_SELF), ("largest worker", resource.RUSAGE_CHILDREN)):
        print(f"peak memory of {what}: {resource.getrusage(who).ru_maxrss / 1024:,.0f} MB")


if __name__ == "__main__":
    main()
