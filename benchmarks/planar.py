"""Planar networks of a thousand to a million paths against one factorisation of their own nodal matrix."""

from __future__ import annotations

import json
import math
import os
import resource
import subprocess
import sys
import warnings
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent


def build(paths: int, seed: int = 0) -> Any:
    """A square mesh of ducts, open at its rim, with fans spread over it; about so many paths."""
    import numpy as np

    import ductsim as ds

    side = max(2, round(math.sqrt(paths / 2.1)))
    rng = np.random.default_rng(seed)
    bores = rng.uniform(0.1, 0.4, 2 * side * side)
    lengths = rng.uniform(0.5, 6.0, 2 * side * side)
    net = ds.Network(ds.Air(density=1.2, viscosity=1.8e-5))
    nodes = [f"n{i},{j}" for i in range(side) for j in range(side)]
    at, across = np.divmod(np.arange(2 * side * side), 2)
    beside, below = (across == 0) & (at % side < side - 1), (across == 1) & (at // side < side - 1)
    kept = np.flatnonzero(beside | below)
    ducts = ds.Duct(length=lengths[kept], diameter=bores[kept], roughness=1e-4)
    on = at[kept] + np.where(beside[kept], 1, side)
    first, second = ([nodes[i] for i in places.tolist()] for places in (at[kept], on))
    net.add_many([f"d{k}" for k in kept.tolist()], ducts, first, second)
    hole = ds.Opening(area=0.05, loss_coefficient=1.5)
    for word, edge in (("w", nodes[::side]), ("e", nodes[side - 1 :: side])):
        net.add_many([f"{word}{i}" for i in range(side)], hole, edge, "outside")
    fan = ds.Fan(flow=[0.0, 2.0, 4.0], total_pressure=[2000.0, 1800.0, 800.0], curve_speed=150.0, speed=150.0)
    for f in range(max(1, side * side // 400)):
        i, j = rng.integers(0, side, 2)
        net.add(f"fan {f}", fan, "outside", f"n{i},{j}")
    return net


def run(paths: int) -> dict[str, Any]:
    """Build, compile and solve one such network; times [s], steps, peak memory [byte]."""
    from measuring import best, timed

    from ductsim.network.network import solve_system, stacked
    from ductsim.network.step import newton_step

    warnings.simplefilter("ignore")  # the fans of a random mesh may run beyond their curves
    build(800).solve()  # whatever is imported on first use
    kept: list[Any] = []
    build_ = timed(lambda: kept.append(build(paths)))
    net = kept.pop()
    compile_ = timed(lambda: kept.append(net.system()))
    system, numbers = kept.pop(), net.numbers()
    repeats = 3 if paths <= 200_000 else 2  # shortest of as many as of its peer, the factorisation

    def solve() -> None:
        vars(system.pattern).pop("ordered", None)  # the order of the nodes is found anew, as its peer's is
        kept.append(solve_system(system, numbers, net.air))

    solve_ = best(solve, repeats)
    state = kept[-1]
    peak = peak_memory()
    values, _ = stacked(system, numbers, net.air)
    eq = values.equations(system)
    point = state.arrays.point
    slots: list[Any] = []
    solver = type(system.pattern).solve

    def remember(pattern: Any, filled: Any, right: Any, *more: Any) -> Any:
        slots.append(filled[:, 0])
        return solver(pattern, filled, right, *more)

    type(system.pattern).solve = remember  # type: ignore[method-assign]
    try:
        newton_step(eq, eq.evaluate(point.flow, point.pressure, point.temperature_rise), point, None)
    finally:
        type(system.pattern).solve = solver  # type: ignore[method-assign]
    system.pattern.ordered.forget()
    peer, how = factorisation(system.pattern, slots[0], repeats)
    laws = best(lambda: eq.evaluate(point.flow, point.pressure, point.temperature_rise), 3)
    return {
        "paths": system.paths,
        "build": build_,
        "compile": compile_,
        "solve": solve_,
        "steps": int(state.steps),
        "imbalance": float(state.imbalance),
        "factorisation": peer,
        "peer": how,
        "laws": laws,
        "peak": peak,
    }


def factorisation(pattern: Any, slots: Any, repeats: int) -> tuple[Any, str]:
    """What SuperLU takes by itself for a nodal matrix, in the best of its own orders; and which that is."""
    from measuring import together
    from scipy.sparse import csc_matrix
    from scipy.sparse.linalg import splu

    matrix = csc_matrix((slots, (pattern.rows, pattern.columns)), shape=(pattern.size, pattern.size))
    symmetric = {"SymmetricMode": True, "Equil": True}
    ways = {
        "MMD_AT_PLUS_A": lambda: splu(
            matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=1e-3, options=symmetric
        ),
        "COLAMD": lambda: splu(matrix),
    }
    if pattern.size > 100_000:  # the other one takes minutes there
        del ways["COLAMD"]
    spent = dict(zip(ways, together(list(ways.values()), repeats)))
    how = min(spent, key=lambda name: spent[name].cpu)
    return spent[how], how


def peak_memory() -> float:
    """Of this process alone [byte]; getrusage counts that of the parent in, from before the program began."""
    try:
        status = Path("/proc/self/status").read_text()
        return 1024.0 * float(status.split("VmHWM:")[1].split()[0])
    except (OSError, IndexError):
        used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return float(used if sys.platform == "darwin" else 1024 * used)


def measure(table: Any, sizes: list[int]) -> None:
    """Each size in a process of its own, so that peak memory is its own."""
    from measuring import Spent, exponent

    found = []
    for size in sizes:
        environment = os.environ | {"PYTHONPATH": str(HERE.parent)}
        command = [sys.executable, str(HERE / "planar.py"), str(size)]
        done = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
        row = json.loads(done.stdout)
        found.append(row)
        print(f"  {row['paths']:,} paths, {row['steps']} steps, peak memory {row['peak'] / 1e6:,.0f} MB")
        for name in ("build", "compile", "solve", "factorisation"):
            row[name] = Spent(*row[name])
            how = f", SuperLU by {row['peer']}" if name == "factorisation" else ""
            table.time(f"  {name}{how}", row[name])
        table.time("  one evaluation of all laws", Spent(*row["laws"]))
        table.add("  peak memory a path", row["peak"] / row["paths"], f"{row['peak'] / row['paths']:,.0f} B")
        over = row["solve"].cpu / row["factorisation"].cpu
        table.ratio("  solve over one factorisation", over, at_most=15.0 if row["paths"] > 50_000 else None)
    large = found[-2:]  # what is done once for all hides in the small ones
    between = f"from {large[0]['paths']:,} to {large[-1]['paths']:,} paths"
    for name in ("build", "compile", "solve", "factorisation"):
        slope = exponent([row["paths"] for row in large], [row[name].cpu for row in large])
        aim = {"aim": "aim: at most 1.2", "met": slope <= 1.2} if name == "solve" else {}
        table.add(f"cost exponent {between}: {name}", slope, f"{slope:.2f}", **aim)


if __name__ == "__main__":
    print(json.dumps(run(int(sys.argv[1]))))
