"""Which laws and parts a solved network uses outside the range of their sources."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..laws.card import card_of
from ..parts.declare import LocalAir
from .equations import Equations
from .heat import HOTTEST, STILL_AIR
from .numbers import Numbers
from .point import Solved
from .system import System
from .values import Coefficients

MOST_SCENARIOS = 1024  # of many columns the first ones are looked at
MOST_NAMES = 4


def outside_range(system: System, numbers: Numbers, solved: Solved) -> list[str]:
    """A sentence for each range that is left, naming the parts; evaluated once, after a solve."""
    count = min(numbers.scenarios, MOST_SCENARIOS)
    columns = slice(0, count)
    values = numbers if numbers.scenarios == 1 else numbers.some(columns)
    eq = values.equations(system)
    found: dict[str, dict[str, None]] = {}
    with np.errstate(all="ignore"):
        for c in eq.coefficients:
            card = card_of(c.group.law)
            if card is not None and card.outside is not None:
                first, end, _ = c.group.rows.indices(system.paths)
                for mask, sentence in _of_law(card.outside, eq, c, solved, columns):
                    for row in _touched(mask, end - first):
                        found.setdefault(sentence, {})[_name(system, first + row)] = None
        for group, stacked in zip(system.groups, system.build(values.parts), strict=True):
            for mask, sentence in stacked.outside():
                for member in _touched(mask, len(group.names)):
                    found.setdefault(sentence, {})[group.names[member]] = None
    if hot := _at_the_hottest(system, solved, columns):
        found[f"air would be hotter still than {HOTTEST:.0f} K above outside's, where following ends"] = hot
    return [f"{_listed(list(names))}: {sentence}." for sentence, names in found.items()]


def _at_the_hottest(system: System, solved: Solved, columns: slice) -> dict[str, None]:
    """Nodes whose air fans heat by more than it carries away, but for closed-off and all but still ones."""
    rise = solved.point.temperature_rise
    if rise is None or not (rise[:, columns] >= HOTTEST).any():
        return {}
    flow = np.nan_to_num(solved.point.flow[:, columns])
    through = system.into @ np.concatenate([np.maximum(flow, 0.0), np.maximum(-flow, 0.0)])
    known = np.isfinite(solved.point.pressure[: system.free, columns])
    hot = (rise[: system.free, columns] >= HOTTEST) & (through > STILL_AIR) & known
    return dict.fromkeys(str(system.nodes[i]) for i in np.flatnonzero(hot.any(axis=1)))


def _of_law(outside: Any, eq: Equations, c: Coefficients, solved: Solved, columns: slice) -> Any:
    """The masks of one law, at the flows and densities of the solution."""
    flow, density = solved.point.flow[:, columns], solved.density[:, columns]
    rows, partners = c.group.rows, c.group.partners
    if partners is None:
        return outside(flow[rows], LocalAir(density[rows], eq.viscosity, eq.outside), **c.values)
    three = (density[rows], density[partners], density[partners])
    air = LocalAir(three, eq.viscosity, eq.outside, (0.0, 0.0, 0.0))
    return outside((flow[rows], flow[partners]), air, **c.values)


def _touched(mask: Any, count: int) -> list[int]:
    """Which of so many paths or parts a mask names, in any scenario."""
    mask = np.asarray(mask)
    if not mask.any():
        return []
    rows = np.broadcast_to(mask, (count, mask.shape[-1] if mask.ndim else 1)).any(axis=1)
    found: list[int] = np.flatnonzero(rows).tolist()
    return found


def _name(system: System, row: int) -> str:
    path = system.path_name(row)
    return path if isinstance(path, str) else path[0]


def _listed(names: list[str]) -> str:
    if len(names) <= MOST_NAMES:
        return ", ".join(names)
    return f"{', '.join(names[:MOST_NAMES])} and {len(names) - MOST_NAMES} more"
