"""Planar networks of a thousand to a million paths against one factorisation of their own nodal matrix."""

from __future__ import annotations

import json
import math
import os
import resource
import subprocess
import sys
import time
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


def run(paths: int) -> dict[str, float]:
    """Build, compile and solve one such network; times [s], steps, peak memory [byte]."""
    import numpy as np
    from measuring import best

    from ductsim.network.linear import factorise
    from ductsim.network.network import solve_system, stacked
    from ductsim.network.step import newton_step

    warnings.simplefilter("ignore")  # the fans of a random mesh may run beyond their curves
    build(800).solve()  # whatever is imported on first use
    marks = [time.perf_counter()]
    net = build(paths)
    marks.append(time.perf_counter())
    system = net.system()
    marks.append(time.perf_counter())
    numbers = net.numbers()
    repeats = 3 if paths <= 200_000 else 1  # shortest of as many as of its peer, the factorisation
    solved: list[Any] = []
    solve_ = best(lambda: solved.append(solve_system(system, numbers, net.air)), repeats)
    state = solved[-1]
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
    spent = []
    for _ in range(repeats):
        begun = time.perf_counter()
        factor = factorise(system.pattern, slots[0])
        spent.append(time.perf_counter() - begun)
        if factor is None:
            raise RuntimeError("the nodal matrix is singular")
    laws = []
    for _ in range(3):
        begun = time.perf_counter()
        eq.evaluate(point.flow, point.pressure, point.temperature_rise)
        laws.append(time.perf_counter() - begun)
    build_, compile_ = np.diff(marks)
    return {
        "paths": system.paths,
        "build": build_,
        "compile": compile_,
        "solve": solve_,
        "steps": int(state.steps),
        "imbalance": float(state.imbalance),
        "factorisation": min(spent),
        "laws": min(laws),
        "peak": peak,
    }


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
    from measuring import exponent

    found = []
    for size in sizes:
        environment = os.environ | {"PYTHONPATH": str(HERE.parent)}
        command = [sys.executable, str(HERE / "planar.py"), str(size)]
        done = subprocess.run(command, check=True, capture_output=True, text=True, env=environment)
        row = json.loads(done.stdout)
        found.append(row)
        print(f"  {row['paths']:,} paths, {row['steps']} steps, peak memory {row['peak'] / 1e6:,.0f} MB")
        for name in ("build", "compile", "solve", "factorisation"):
            table.time(f"  {name}", row[name])
        table.time("  one evaluation of all laws", row["laws"])
        table.add("  peak memory a path", row["peak"] / row["paths"], f"{row['peak'] / row['paths']:,.0f} B")
        bar = 15.0 if 50_000 < row["paths"] < 200_000 else None
        table.ratio("  solve over one factorisation", row["solve"] / row["factorisation"], at_most=bar)
    names = [row["paths"] for row in found]
    for name in ("build", "compile", "solve", "factorisation"):
        slope = exponent(names, [row[name] for row in found])
        aim = {"aim": "aim: at most 1.3", "met": slope <= 1.3} if name == "solve" else {}
        table.add(f"cost exponent in paths: {name}", slope, f"{slope:.2f}", **aim)


if __name__ == "__main__":
    print(json.dumps(run(int(sys.argv[1]))))
