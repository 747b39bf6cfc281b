"""The demonstration picker: import, first answer, single solves, many scenarios, the cost of one step."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
from measuring import Table, best, exponent, seconds, together
from oracle import Oracle, plain

import ductsim as ds
from ductsim.network.network import stacked
from ductsim.network.newton import newton_step
from ductsim.network.warmth import settled

ROOT = Path(__file__).resolve().parent.parent
# MINPACK's own default, looser than the library's 1e-10: one iteration less for the peer
PEERS_TOLERANCE = 1.49012e-8


def starting(table: Table, repeats: int) -> None:
    """What a user waits for before anything is calculated."""

    def run(*words: str) -> float:
        command = [sys.executable, *words]
        environment = os.environ | {"PYTHONPATH": str(ROOT)}
        return best(
            lambda: subprocess.run(command, check=True, capture_output=True, env=environment), repeats
        )

    nothing = run("-c", "pass")
    table.time("starting Python", nothing)
    table.time("import ductsim, beyond that", run("-c", "import ductsim") - nothing)
    numpy = run("-c", "import numpy") - nothing
    table.time("import numpy, beyond that", numpy)
    first = run("-m", "ductsim", "solve", "demo:picker")
    table.add("first answer at the command line", first, f"{first:.2f} s", "aim: 0.7 s", first <= 0.7)


def single(table: Table, repeats: int) -> None:
    """One picker against hybr on the oracle's residual."""
    machine = ds.demo("picker")
    state = machine.solve()
    o = Oracle(plain(machine))
    answer, cold = o.pack(state), o.cold()
    rng = np.random.default_rng(0)
    near = answer * (1.0 + 0.03 * rng.uniform(-1.0, 1.0, len(answer)))
    peers = [
        (x, name, given) for x, name in ((cold, "cold"), (near, "warm (3 % off)")) for given in (False, True)
    ]
    found = [o.solve(x, given, PEERS_TOLERANCE) for x, _, given in peers]
    if not all(np.allclose(f.x, answer, rtol=1e-5, atol=1e-7) for f in found):
        raise RuntimeError("the peer ended elsewhere")
    calls = [lambda x=x, given=given: o.solve(x, given, PEERS_TOLERANCE) for x, _, given in peers]
    ours, one, *spent = together([machine.solve, lambda: o.residual(answer), *calls], repeats)
    table.time(f"ours, from cold, {state.steps} steps", ours)
    table.time("one evaluation of the peer's residual", one)
    for (_, name, given), f, peer in zip(peers, found, spent):
        table.time(f"scipy.optimize.root, {name}{', Jacobian given' if given else ''}", peer)
        bar = 6.0 if name == "cold" and not given else None
        table.ratio(f"  over ours ({f.nfev} evaluations)", peer / ours, bar)


def columns(machine: Any, count: int, seed: int = 0) -> Any:
    """The machine with numbers of every part as columns, up to 5 % off."""
    rng = np.random.default_rng(seed)
    fields = (
        "belt.engine_speed",
        "air.temperature",
        "* screen.area",
        "* fan.total_pressure[*]",
        "box leak.coefficient",
        "hose *.length",
        "hose *.diameter",
        "hose *.bend 1.radius",
        "cuff leak *.coefficient",
        "jet *.nozzle_area",
        "front *.area",
        "rear *.area",
        "hatch leak *.area",
        "joint leak *.coefficient",
        "duct *.diameter",
        "duct *.loss_coefficient",
    )
    change: dict[str, Any] = {}
    for pattern in fields:
        for address in machine.layout.expand(pattern):
            spread = 0.01 if address.startswith("air") else 0.05
            change[address] = ds.times(1.0 + spread * rng.uniform(-1.0, 1.0, count))
    return machine.change(change)


def scenarios(table: Table, sizes: list[int], sample: int) -> None:
    """Many pickers in one solve against a loop of warm-started hybr solves."""
    machine = ds.demo("picker")
    nominal = machine.solve()
    times: dict[int, float] = {}
    for size in sizes:
        many = columns(machine, size)
        if size == sizes[0]:
            many.solve()
        times[size] = best(many.solve, 3 if size <= 10_000 else 1)
        state = many.solve() if size <= 10_000 else None
        steps = "" if state is None else f", {state.steps.mean():.1f} steps on average"
        table.time(f"{size:,} scenarios in one solve{steps}", times[size])
        table.time("  a scenario", times[size] / size)
        if state is not None and not np.all(state.solved):
            raise RuntimeError("not all scenarios were solved")
    size = max(s for s in sizes if s <= 10_000)
    many = columns(machine, size)
    state = many.solve()
    start = Oracle(plain(machine)).pack(nominal)
    oracles = [Oracle(plain(many[s])) for s in range(sample)]
    for given in (False, True):
        calls = [lambda o=o, g=given: o.solve(start, g, PEERS_TOLERANCE) for o in oracles]
        for s, (o, call) in enumerate(zip(oracles, calls)):
            if not np.allclose(call().x, o.pack(state[s]), rtol=1e-5, atol=1e-6):
                raise RuntimeError("the peer ended elsewhere")
        ours, *spent = together([many.solve, *calls], 4)
        loop = sum(spent) / sample * size
        words = "scipy.optimize.root in a loop, warm from the nominal" + (", Jacobian given" if given else "")
        table.time(f"{words} (from {sample} of them)", loop)
        words = f"  over {size:,} scenarios in one solve, {seconds(ours)} in turn with these"
        table.ratio(words, loop / ours, None if given else 500.0)
    slope = exponent([float(s) for s in sizes], list(times.values()))
    table.add("cost exponent in scenarios", slope, f"{slope:.2f}", "aim: at most 1.1", slope <= 1.1)


def step(table: Table, count: int, repeats: int) -> None:
    """One Newton step of a chunk of scenarios, and what it consists of."""
    many = columns(ds.demo("picker"), count)
    state = many.solve()
    system = many.system
    numbers, _ = stacked(system, many.part_numbers(), many.air())
    eq = numbers.equations(system)
    point = state.arrays.point
    stream = system.stream(point.flow[:, 0] >= 0.0)
    values = eq.evaluate(point.flow, point.pressure, point.warmth)

    def one_step() -> None:
        move = newton_step(eq, values, point, None)
        flow, pressure = point.flow + move.flow, point.pressure + move.pressure
        warmth = settled(eq, flow, values.density, stream)
        eq.evaluate(flow, pressure, warmth)

    out = np.empty_like(point.flow)
    laws, whole, linear, warm, product = together(
        [
            lambda: eq.evaluate(point.flow, point.pressure, point.warmth),
            one_step,
            lambda: newton_step(eq, values, point, None),
            lambda: settled(eq, point.flow, values.density, stream),
            lambda: np.multiply(point.flow, values.drop, out=out),
        ],
        3 * repeats,
    )
    table.time(f"evaluation of all laws, {count:,} scenarios", laws)
    table.time("  a path and scenario", laws / point.flow.size)
    table.ratio("  over one np.multiply of the same shape", laws / product)
    table.time("nodal system: assembly, elimination, flows", linear)
    table.time("temperatures down the stream", warm)
    table.time("one whole step", whole)
    table.ratio("  over one evaluation of its laws", whole / laws, at_most=2.5)
