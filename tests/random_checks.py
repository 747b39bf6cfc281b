"""What is looked at in every random network, in the suite and in the benchmark run."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from random_networks import Case, fed_closed_off, reached

from ductsim.network.nearby import solve_from
from ductsim.network.network import solve_system
from ductsim.network.point import Point
from ductsim.network.stability import supersonic
from ductsim.network.state import Outcome
from ductsim.network.structure import examine as structure_of

SAME = 1e-6  # of the largest flow
ENDS = ("nowhere", "at the answer", "at a second stable point", "at an unstable point")


@dataclass
class Finding:
    """What became of one random network."""

    seed: int
    paths: int
    outcome: Outcome
    steps: int
    structural: bool
    traits: set[str] = field(default_factory=set)
    balanced: bool = True
    closed_off_right: bool = True
    same_from_elsewhere: bool = True
    elsewhere_stable: bool = True
    stable: bool = True
    others: int = 0
    alone: str = ""

    @property
    def right(self) -> bool:
        """Solved, or without an answer for a structural reason that was found independently."""
        wanted = Outcome.FED_CLOSED_OFF if self.structural else Outcome.SOLVED
        return self.outcome is wanted and self.balanced and self.closed_off_right


def examine(case: Case, rising: bool = False, again_too: bool = True) -> Finding:
    """Solve a case, check the answer by independent means, solve it again from elsewhere."""
    net = case.network()
    system, numbers = net.system(), net.numbers()
    state = solve_system(system, numbers, case.air, raise_error=False)
    out = Finding(
        case.seed,
        case.paths,
        state.outcome,
        int(state.steps),
        fed_closed_off(case),
        case.traits | jet_traits(state),
    )
    if not state.solved:
        return out
    out.balanced = balanced(case, state)
    closed = set(case.nodes) - reached(case)
    out.closed_off_right = (
        closed == set(state.closed_off) == {n for n, p in state.pressure.items() if np.isnan(p)}
    )
    if rising and case.fans_rising:
        out.stable, out.others = stable(state)
    elif again_too and not rising:
        begin = elsewhere(case, state)
        again = solve_system(system, numbers, case.air, raise_error=False, start=begin)
        out.same_from_elsewhere = bool(again.solved) and same(state.arrays, again.arrays)
        out.alone = followed(state, begin)
        if not out.same_from_elsewhere:
            out.stable, out.elsewhere_stable = stable(state)[0], bool(again.solved) and stable(again)[0]
    return out


def followed(state: Any, begin: Point) -> str:
    """Where Newton's method by itself ends from a start far off, without the guards of the solver.

    A word of `ENDS`. A second stable point is no fault of the solver as long as it is not answered.
    """
    eq = state._numbers.equations(state.system)
    structure = structure_of(state.system, eq.shut, eq.supply, 1)
    found = solve_from(eq, begin, structure.anchors)
    if not found.good[0] or supersonic(eq, found)[0]:
        return ENDS[0]
    if same(state.arrays, found):
        return ENDS[1]
    return ENDS[2] if stable(state, found.point)[0] else ENDS[3]


def same(one: Any, two: Any) -> bool:
    """Flows within 1e-6 of the largest; or drops within the few uPa at which an answer is accepted."""
    miss = np.abs(one.point.flow - two.point.flow)
    drop = np.abs(one.drop - two.drop)
    near = (miss <= SAME * np.abs(one.point.flow).max(initial=1e-9)) | (
        drop <= 4e-6 + 1e-7 * np.abs(one.drop)
    )
    return bool(near.all())


def jet_traits(state: Any) -> set[str]:
    """In which flow states the jets are."""
    out = set()
    signs = {1: "forward", -1: "backward", 0: "still"}
    jets = [name for g in state.system.groups if g.schema.part.kind == "jet" for name in g.names]
    for name in jets:
        if np.isfinite(state.flow[name, "motive"]):
            x, y = (int(np.sign(state.flow[name, w])) for w in ("motive", "suction"))
            out.add(f"jet with motive {signs[x]}, suction {signs[y]}")
    return out


def balanced(case: Case, state: Any) -> bool:
    """Each free node's balance, summed up from the parts' documented ends, to 1e-9 of the largest flow."""
    ways = {"jet": ((0, 2), (1, 2)), "merge": ((0, 2), (1, 2)), "split": ((0, 1), (0, 2))}
    sums = {n: case.supplies.get(n, 0.0) for n in case.nodes}
    for name, part, ends in case.parts:
        for (a, b), word in zip(ways.get(part.kind, ((0, 1),)), part.path_names):
            flow = state.flow[(name, word) if word else name]
            sums[ends[a]] -= flow
            sums[ends[b]] += flow
    free = [v for n, v in sums.items() if n != "outside" and n not in case.held]
    size = max(map(abs, state.flow.values()))
    return max(map(abs, free), default=0.0) <= 1e-9 * size + 1e-15


def elsewhere(case: Case, state: Any) -> Point:
    """A start far off: random flows both ways, pressures of any size, warm air."""
    rng = np.random.default_rng(case.seed)
    point = state.arrays.point
    size, level = np.abs(point.flow).max(initial=1e-6), np.nanmax(np.abs(point.pressure), initial=1.0)
    flow = size * rng.uniform(-2.0, 2.0, point.flow.shape)
    pressure = level * rng.uniform(-1.0, 1.0, point.pressure.shape)
    temperature_rise = (
        None if point.temperature_rise is None else rng.uniform(0.0, 20.0, point.pressure.shape)
    )
    return Point(flow, pressure, temperature_rise)


def stable(state: Any, at: Point | None = None) -> tuple[bool, int]:
    """Whether a point is stable, by eigenvalues worked out here, and how many other points are listed.

    The point is the answer, or another one that is given.

    The flows obey inertance x dm/dt = P_from - P_to - drop(m); the nodes' balances leave the loop flows
    free. The drops' slopes are taken by differences of the laws, with the nodes' pressures and temperatures
    as they are.
    """
    system, point = state.system, state.arrays.point if at is None else at
    eq = state._numbers.equations(system)
    if not np.abs(point.flow).max() > 0.0:
        return True, 0
    m, p, w = point.flow, np.nan_to_num(point.pressure), point.temperature_rise
    n = system.paths
    steps = 1e-5 * np.maximum(np.abs(m[:, 0]), 1e-4 * np.abs(m).max())
    moved = np.hstack([np.repeat(m, n, axis=1) + s * np.diag(steps) for s in (1.0, -1.0)])
    wide = [np.repeat(a, 2 * n, axis=1) if a is not None else None for a in (p, w)]
    # the air that enters a path changes with its own flow where that is about to turn
    drop = eq.evaluate(moved, wide[0], wide[1], slopes=False).drop
    slope = (drop[:, :n] - drop[:, n:]) / (2.0 * steps)
    kept = np.ones(n, dtype=bool) if eq.shut is None else ~np.broadcast_to(eq.shut, (n, 1))[:, 0]
    _, size, right = np.linalg.svd(system.outflow.toarray()[:, kept])
    loops = right[int((size > 1e-10 * size.max(initial=1.0)).sum()) :].T
    if not loops.shape[1]:
        return True, 0
    area = np.maximum(np.broadcast_to(eq.area, (n, 1))[kept, 0], 1e-6)
    mass = loops.T @ (loops / area[:, None])
    rate = np.linalg.eigvals(-np.linalg.solve(mass, loops.T @ slope[np.ix_(kept, kept)] @ loops))
    steady = bool(rate.real.max() < 1e-6 * np.abs(rate).max())
    return steady, len(state.others) if n <= 60 and at is None else 0


def summary(found: list[Finding]) -> dict[str, Any]:
    """Counts over many findings."""
    solved = [f for f in found if f.outcome is Outcome.SOLVED]
    failed = [f.seed for f in found if not f.right]
    other = [f.seed for f in found if not f.same_from_elsewhere]
    loose = [f.seed for f in found if not (f.stable and f.elsewhere_stable)]
    paths = [f.paths for f in found]
    return {
        "solved": len(solved),
        "structural": sum(f.structural and f.right for f in found),
        "failed": failed,
        "other answers": other,
        "unstable": loose,
        "several points": sum(f.others > 0 for f in found),
        "alone": {end: [f.seed for f in found if f.alone == end] for end in ENDS},
        "steps": [f.steps for f in solved] or [0],
        "traits": Counter(trait for f in found for trait in f.traits),
        "words": f"{min(paths)} to {max(paths)} paths, {sum(paths) / len(paths):.0f} on average",
    }
