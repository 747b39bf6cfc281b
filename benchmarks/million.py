"""A million scenarios of the picker on two processes, what the second one brings, and the memory of each.

`python benchmarks/million.py [--samples N]`. Spreads are the usual ones of all numbers; kept is the vacuum of
the weakest unit and which unit it is.
"""

from __future__ import annotations

import os

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS"):
    os.environ[_threads] = "1"

import argparse  # noqa: E402
import json  # noqa: E402
import resource  # noqa: E402
import sys  # noqa: E402
from concurrent.futures import ProcessPoolExecutor  # noqa: E402
from pathlib import Path  # noqa: E402
from typing import Any  # noqa: E402

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

from measuring import Spent, Table, timed  # noqa: E402
from planar import peak_memory  # noqa: E402

import ductsim as ds  # noqa: E402


def ensemble(samples: int, processes: int) -> tuple[Spent, Any]:
    """What an ensemble takes on so many processes, their start included, and what it found."""
    machine = ds.demo("picker")
    found: list[Any] = []

    def whole() -> None:
        with ProcessPoolExecutor(processes) as pool:
            found.append(ds.ensemble(machine, samples=samples, executor=pool))

    return timed(whole), found[0]


def measure(table: Table, samples: int) -> None:
    """So many on two processes, then a quarter of them on one."""
    two, found = ensemble(samples, 2)
    table.time(f"{samples:,} scenarios drawn, solved and reduced on two processes", two, 32.0 * samples / 1e6)
    table.add("  of these without an answer", len(found.failed), f"{len(found.failed):,}")
    workers = 1024.0 * resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    for what, peak in (("this process", peak_memory()), ("the largest worker", workers)):
        table.add(f"  peak memory of {what}", peak, f"{peak / 1e6:,.0f} MB", "aim: below 400", peak < 4e8)
    few = max(samples // 4, 1000)
    one, _ = ensemble(few, 1)
    table.ratio("  scenarios a second, over those on one process", one.wall / few / (two.wall / samples))


def main() -> None:
    """The rows by themselves, in a process whose peak memory is its own."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--samples", type=int, default=1_000_000, metavar="N")
    parser.add_argument("--json", action="store_true", help="print the rows as JSON at the end")
    given = parser.parse_args()
    table = Table()
    table.section("a million")
    measure(table, given.samples)
    if given.json:
        print(json.dumps(table.rows))


if __name__ == "__main__":
    main()
