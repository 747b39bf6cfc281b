"""How fast it is, measured against general-purpose peers in one run: `python benchmarks/run.py [--quick]`.

One thread on one core, but for a million scenarios. Times are those of the processor, with those by the clock
beside; every ratio compares two times of this run. The peer of a solve is `scipy.optimize.root` on the same
equations written as one vectorised NumPy residual (`tests/oracle.py`); the peers of many solves are that in a
loop, and Newton's method on a stack in plain NumPy; the peer of a large network is one SuperLU factorisation
of its own nodal matrix, in the best of its own orders.
"""

from __future__ import annotations

import os

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "NUMEXPR_NUM_THREADS"):
    os.environ[_threads] = "1"

import argparse  # noqa: E402
import json  # noqa: E402
import platform  # noqa: E402
import subprocess  # noqa: E402
import sys  # noqa: E402
import time  # noqa: E402
from pathlib import Path  # noqa: E402

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent), str(HERE.parent / "tests")]

from measuring import Table  # noqa: E402


def main(arguments: list[str] | None = None) -> Table:
    """Measure everything that was asked for, printing the table as it grows."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="small sizes only, a minute in all")
    parser.add_argument("--only", nargs="+", choices=SECTIONS, default=SECTIONS, help="some sections")
    parser.add_argument("--random", type=int, default=None, metavar="N", help="so many random networks")
    parser.add_argument("--json", type=Path, default=None, metavar="FILE", help="write the rows here too")
    given = parser.parse_args(arguments)
    table = Table()
    begun = time.perf_counter()
    words = f"Python {platform.python_version()} on {platform.machine()}, one thread"
    print(f"{words}{'; quick: sizes are cut down' if given.quick else ''}")
    for name in given.only:
        table.section(name)
        _measure(name, table, given)
    print(f"\n{time.perf_counter() - begun:.0f} s in all")
    if given.json:
        given.json.write_text(json.dumps(table.rows, indent=1), encoding="utf-8")
    return table


SECTIONS = [
    "starting",
    "single solve",
    "scenarios",
    "spreads",
    "step",
    "a million",
    "planar networks",
    "random networks",
]


def _measure(name: str, table: Table, given: argparse.Namespace) -> None:
    import planar
    import random_run
    import solving

    if name == "starting":
        solving.starting(table, repeats=1 if given.quick else 5)
    elif name == "single solve":
        solving.single(table, repeats=3 if given.quick else 15)
    elif name == "scenarios":
        solving.scenarios(
            table, [100, 1000] if given.quick else [1000, 10_000, 100_000], 3 if given.quick else 30
        )
    elif name == "spreads":
        solving.spreads(table, 1000 if given.quick else 10_000, 1 if given.quick else 3)
    elif name == "step":
        solving.step(table, 100 if given.quick else 1000, repeats=3 if given.quick else 20)
    elif name == "a million":
        _million(table, 4000 if given.quick else 1_000_000)
    elif name == "planar networks":
        planar.measure(table, [300, 3000] if given.quick else [1000, 10_000, 100_000, 1_000_000])
    else:
        falling = given.random if given.random is not None else 60 if given.quick else 20_000
        random_run.measure(table, falling, rising=max(falling // 10, 1))


def _million(table: Table, samples: int) -> None:
    """In a process of its own, so that its peak memory is its own."""
    command = [sys.executable, str(HERE / "million.py"), "--samples", str(samples), "--json"]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout.splitlines()
    print("\n".join(said[2:-1]), flush=True)
    table.rows += json.loads(said[-1])


if __name__ == "__main__":
    main()
