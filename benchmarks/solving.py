"""The demonstration picker: import, first answer, single solves, many scenarios, the cost of one step."""

from __future__ import annotations

import importlib.util
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from itertools import product
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from batched_newton import Batch
from jax_newton import JaxBatch
from measuring import Spent, Table, best, exponent, seconds, together
from oracle import Oracle, plain

import ductsim as ds
from ductsim.network.equations import Equations
from ductsim.network.heat import settled
from ductsim.network.network import stacked
from ductsim.network.step import newton_step

ROOT = Path(__file__).resolve().parent.parent
BATCH = 256  # scenarios of the peer in plain NumPy: more no longer pay, their Jacobians leave the cache
# MINPACK's own default, looser than the library's 1e-10: one iteration less for the peer
PEERS_TOLERANCE = 1.49012e-8


def starting(table: Table, repeats: int) -> None:
    """What a user waits for before anything is calculated."""

    with TemporaryDirectory() as compiled:  # as an installed package is, whatever the surroundings forbid
        environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONPYCACHEPREFIX": compiled}
        environment.pop("PYTHONDONTWRITEBYTECODE", None)

        def run(*words: str) -> None:
            subprocess.run([sys.executable, *words], check=True, capture_output=True, env=environment)

        answer = ("-m", "ductsim", "solve", "demo:picker")
        run(*answer)
        ways = (("-c", "pass"), ("-c", "import numpy"), ("-c", "import ductsim"), answer)
        nothing, numpy, import_, first = together([partial(run, *words) for words in ways], repeats)
    table.time("starting Python", nothing)
    table.time("starting Python, import numpy", numpy)
    table.time("starting Python, import ductsim", import_)
    table.time("first answer at the command line, from starting Python on", first, at_most=0.35)


def single(table: Table, repeats: int) -> None:
    """One picker against hybr on the oracle's residual, cold and warm on both sides."""
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
    beside = columns(machine, 1, wide=0.03)[0].solve()

    def warm() -> Any:
        return machine.solve(start=beside)

    cold_time, warm_time, one, *spent = together(
        [machine.solve, warm, lambda: o.residual(answer), *calls], repeats
    )
    table.time(f"ours, cold, {state.steps} steps", cold_time)
    table.time(f"ours, warm (every number 3 % off), {warm().steps} steps", warm_time)
    table.time("one evaluation of the peer's residual", one)
    for (_, name, given), f, peer in zip(peers, found, spent):
        table.time(f"scipy.optimize.root, {name}{', Jacobian given' if given else ''}", peer)
        bar = 6.0 if name == "cold" and not given else None
        ours = cold_time if name == "cold" else warm_time
        table.ratio(f"  over ours, {name.split()[0]} too ({f.nfev} evaluations)", peer.cpu / ours.cpu, bar)


def columns(machine: Any, count: int, seed: int = 0, wide: float = 0.05) -> Any:
    """The machine with numbers of every part as columns, up to so much off."""
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
            spread = min(0.01, wide) if address.startswith("air") else wide
            change[address] = ds.times(1.0 + spread * rng.uniform(-1.0, 1.0, count))
    return machine.change(change)


def scenarios(table: Table, sizes: list[int], sample: int) -> None:
    """Many pickers in one solve against a loop of warm-started hybr solves."""
    machine = ds.demo("picker")
    nominal = machine.solve()
    times: dict[int, Spent] = {}
    for size in sizes:
        many = columns(machine, size)
        if size == sizes[0]:
            many.solve()
        times[size] = best(many.solve, 3 if size <= 10_000 else 1)
        state = many.solve() if size <= 10_000 else None
        steps = "" if state is None else f", {state.steps.mean():.1f} steps on average"
        table.time(f"{size:,} scenarios in one solve{steps}", times[size])
        table.time("  a scenario", times[size].over(size))
        if state is not None and not np.all(state.solved):
            raise RuntimeError("not all scenarios were solved")
    size = max(s for s in sizes if s <= 10_000)
    many = columns(machine, size)
    state = many.solve()
    start = Oracle(plain(machine)).pack(nominal)
    oracles = [Oracle(plain(many[s])) for s in range(sample)]
    bars = {("warm", False): 800.0, ("warm", True): 150.0}
    for name, given in product(("cold", "warm"), (False, True)):
        begin = [start if name == "warm" else o.cold() for o in oracles]
        calls = [lambda o=o, x=x, g=given: o.solve(x, g, PEERS_TOLERANCE) for o, x in zip(oracles, begin)]
        ends = [(call().x, o.pack(state[s])) for s, (o, call) in enumerate(zip(oracles, calls))]
        astray = sum(not np.allclose(found, answer, rtol=1e-5, atol=1e-6) for found, answer in ends)
        if astray and name == "warm":
            raise RuntimeError("the peer ended elsewhere")
        ours, *spent = together([many.solve, *calls], 4)
        loop = Spent(*map(sum, zip(*spent))).over(sample / size)
        how = "cold" if name == "cold" else "warm from the nominal"
        words = f"scipy.optimize.root in a loop, {how}{', Jacobian given' if given else ''}"
        table.time(f"{words} (from {sample} of them{f', {astray} ended elsewhere' if astray else ''})", loop)
        words = f"  over {size:,} scenarios in one solve, {seconds(ours.cpu)} in turn with these"
        table.ratio(words, loop.cpu / ours.cpu, bars.get((name, given)))
    batched(table, many, state, start, size)
    large = sizes[-2:]  # what is done once for all hides in the small ones
    slope = exponent([float(s) for s in large], [times[s].cpu for s in large])
    table.add(
        f"cost exponent from {large[0]:,} to {large[-1]:,} scenarios",
        slope,
        f"{slope:.2f}",
        "aim: at most 1.1",
        slope <= 1.1,
    )


def batched(table: Table, many: Any, state: Any, start: Any, size: int) -> None:
    """Newton's method written for many scenarios at once in plain NumPy, in turn with all in one solve."""
    count = min(BATCH, state.columns)
    oracles = [Oracle(plain(many[s])) for s in range(count)]
    peer = Batch(oracles)
    begin = np.repeat(start[:, None], count, axis=1)
    found, steps = peer.newton(begin)
    for s, o in enumerate(oracles[:20]):
        if not np.allclose(found[:, s], o.pack(state[s]), rtol=1e-5, atol=1e-6):
            raise RuntimeError("the peer ended elsewhere")
    theirs, ours = together([lambda: peer.newton(begin), many.solve], 3)
    each, own = theirs.over(count), ours.over(size)
    table.time(f"Newton on a stack of {count} in plain NumPy, warm, {steps} steps: a scenario", each)
    table.ratio("  over a scenario in one solve", each.cpu / own.cpu, 4.0)
    mapped(table, peer, many, state, begin)


def mapped(table: Table, batch: Batch, many: Any, state: Any, begin: Any) -> None:
    """The same by jax, mapped and compiled beforehand, where that is installed."""
    words = "Newton by jax, vmap and jit, compiled beforehand, warm"
    if importlib.util.find_spec("jax") is None:
        table.said(words, "jax not installed")
        return
    peer = JaxBatch(batch)
    found, steps = peer.newton(begin)
    if not np.allclose(found[:, 0], Oracle(plain(many[0])).pack(state[0]), rtol=1e-5, atol=1e-6):
        raise RuntimeError("the peer ended elsewhere")
    theirs, ours = together([lambda: peer.newton(begin), many.solve], 3)
    each, own = theirs.over(begin.shape[1]), ours.over(state.columns)
    table.time(f"{words}, {steps} steps: a scenario of {begin.shape[1]}", each)
    table.ratio("  over a scenario in one solve", each.cpu / own.cpu)


def spreads(table: Table, count: int, repeats: int) -> None:
    """A sweep whose numbers are off by more and more: wall time, processor time, evaluations of the laws."""
    machine = ds.demo("picker")
    times: dict[float, Spent] = {}
    for wide in (0.05, 0.2, 0.3, 0.5):
        many = columns(machine, count, wide=wide)
        with counted() as calls:
            state = many.solve(raise_error=False)
        spent = times[wide] = best(partial(many.solve, raise_error=False), repeats)
        words = f"up to {wide:.0%} off: "
        table.time(f"{words}a scenario of {count:,}", spent.over(count))
        each = calls[0] / max(int(np.sum(state.solved)), 1)
        met = each <= 3.3 if wide == 0.05 else None
        table.add(
            f"{words}law evaluations a solved scenario",
            each,
            f"{each:.2f}",
            "" if met is None else "aim: at most 3.3",
            met,
        )
        if wide in (0.3, 0.5):
            most = 4.0 if wide == 0.3 else 10.0
            table.ratio("  over one 5 % off", spent.cpu / times[0.05].cpu, at_most=most)


@contextmanager
def counted() -> Iterator[list[int]]:
    """Count scenarios times evaluations of all laws, in a list of one number."""
    whole, calls = Equations.evaluate, [0]

    def evaluate(self: Any, *given: Any, **named: Any) -> Any:
        calls[0] += self.scenarios
        return whole(self, *given, **named)

    Equations.evaluate = evaluate
    try:
        yield calls
    finally:
        Equations.evaluate = whole


def step(table: Table, count: int, repeats: int) -> None:
    """One Newton step of a chunk of scenarios, and what it consists of."""
    many = columns(ds.demo("picker"), count)
    state = many.solve()
    system = many.system
    numbers, _ = stacked(system, many.part_numbers(), many.air())
    eq = numbers.equations(system)
    point = state.arrays.point
    stream = system.stream(point.flow[:, 0] >= 0.0)
    values = eq.evaluate(point.flow, point.pressure, point.temperature_rise)

    def one_step() -> None:
        move = newton_step(eq, values, point, None)
        flow, pressure = point.flow + move.flow, point.pressure + move.pressure
        temperature_rise = settled(eq, flow, values.density, stream)
        eq.evaluate(flow, pressure, temperature_rise)

    out = np.empty_like(point.flow)
    laws, whole, linear, warm, one_product = together(
        [
            lambda: eq.evaluate(point.flow, point.pressure, point.temperature_rise),
            one_step,
            lambda: newton_step(eq, values, point, None),
            lambda: settled(eq, point.flow, values.density, stream),
            lambda: np.multiply(point.flow, values.drop, out=out),
        ],
        3 * repeats,
    )
    table.time(f"evaluation of all laws, {count:,} scenarios", laws)
    table.time("  a path and scenario", laws.over(point.flow.size))
    table.ratio("  over one np.multiply of the same shape", laws.cpu / one_product.cpu)
    table.time("nodal system: assembly, elimination, flows", linear)
    table.time("temperatures down the stream", warm)
    table.time("one whole step", whole)
    table.ratio("  over one evaluation of its laws", whole.cpu / laws.cpu, at_most=2.5)
