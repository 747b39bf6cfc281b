"""Air and crop solved together: the answer is the running state, reached by letting crop into moving air.

A duct that stands full of crop can stay blocked under a load that it would carry when running, so equations
with crop have several answers. The one wanted is that which the running machine comes to: the crop flow is
raised from nothing, in steps where a duct comes near its choke.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..network.network import make_state, stacked
from ..network.newton import Point, Solved
from ..network.solve import Numbers, solve
from ..network.state import State, judge
from ..network.system import System
from .cropway import has_length, section

if TYPE_CHECKING:
    from .machine import Machine

NEAR_CHOKE = 2.5
"""Air velocity over the slip velocity below which the crop flow is raised in steps [-]."""
STEPS = 16
CHUNK = 512


def solve_running(machine: Machine, start: Point | None = None) -> State:
    """The running state of a machine that carries crop; a choked scenario comes out with its duct blocked."""
    system, numbers = machine.system, machine.part_numbers()
    values, columns = stacked(system, numbers, machine.air())
    start = _calm(system, values) if start is None else start
    solved, structures = solve(system, values, start)
    slow = np.flatnonzero(_slow(machine, numbers, solved))
    for first in range(0, len(slow), CHUNK):
        some = slow[first : first + CHUNK]
        _raise_crop(system, values, some, start, solved)
    outcomes, floating, node = judge(solved, structures, system)
    return make_state(system, values, solved, outcomes, floating, columns, node)


def calm_point(machine: Machine) -> Point | None:
    """The machine's air without crop, at the middle of its scenarios; a start for many solves."""
    values, _ = stacked(machine.system, machine.part_numbers(), machine.air())
    return _calm(machine.system, values)


def _calm(system: System, values: Numbers) -> Point | None:
    middle = values if values.scenarios == 1 else values.middle()
    nominal, _ = solve(system, _scaled(system, middle, 0.0))
    return nominal.point if nominal.good[0] else None


def _velocities(machine: Machine, numbers: Any, solved: Solved) -> tuple[Any, Any]:
    """Air velocity over slip in every part that conveys crop, (parts, S), and where crop flows."""
    layout, system = machine.layout, machine.system
    ratios, flowing = [], []
    wide = solved.point.flow.shape[1]
    for c in layout.carried:
        if not has_length(layout.part[c.part]):
            continue
        rows = [system.rows[key] for key in layout.path_keys(c.part)]
        flow = solved.point.flow[rows].sum(axis=0)
        area, slip = section(layout, numbers, c.part), numbers[f"{c.part}.slip"]
        with np.errstate(all="ignore"):
            ratios.append(flow / (solved.density[rows[-1]] * area) / np.maximum(slip, 1e-6))
        flowing.append(np.broadcast_to(np.asarray(numbers[f"{c.part}.crop_flow"]) > 0.0, wide))
    return np.array(ratios).reshape(-1, wide), np.array(flowing).reshape(-1, wide)


def _slow(machine: Machine, numbers: Any, solved: Solved) -> NDArray[np.bool_]:
    """Scenarios in which a duct runs near its choke, or that could not be solved."""
    ratios, flowing = _velocities(machine, numbers, solved)
    slow: NDArray[np.bool_] = (~(ratios > NEAR_CHOKE) & flowing).any(axis=0) | ~solved.good
    return slow


def _raise_crop(
    system: System,
    values: Numbers,
    some: NDArray[np.intp],
    start: Point | None,
    solved: Solved,
) -> None:
    """Raise the crop flow in steps in some scenarios, each from the step before.

    Beyond the fold, where no running state is left, Newton's method is caught by the blocked one, and the
    following steps stay there.
    """
    part = _taken(values, some)
    point = start.wide(len(some)) if start is not None else None
    for share in np.linspace(0.0, 1.0, STEPS + 1) ** 0.5:
        step, _ = solve(system, _scaled(system, part, float(share)), point)
        point = step.point
    kept = np.flatnonzero(step.good)
    solved.put(some[kept], step.take(kept))


def _scaled(system: System, values: Numbers, factor: float) -> Numbers:
    """The numbers with every crop flow scaled."""
    parts = []
    for group, leaves in zip(system.groups, values.parts, strict=True):
        names = group.form.leaves
        parts.append([v * factor if n == "crop_flow" else v for n, v in zip(names, leaves, strict=True)])
    return Numbers(parts, values.air, values.held, values.supply, values.scenarios)


def _taken(values: Numbers, some: NDArray[np.intp]) -> Numbers:
    """The numbers of some of the scenarios."""

    def cut(a: Any) -> Any:
        return a if a.shape[-1] == 1 else a[..., some]

    parts = [[cut(v) for v in leaves] for leaves in values.parts]
    return Numbers(parts, values.air.each(cut), cut(values.held), cut(values.supply), len(some))
