"""Which laws and parts a solved network uses outside the range of their sources."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..laws.card import card_of
from ..parts.declare import LocalAir
from .equations import Equations
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
    found: dict[str, list[str]] = {}
    with np.errstate(all="ignore"):
        for c in eq.coefficients:
            card = card_of(c.group.law)
            if card is not None and card.outside is not None:
                names = [_name(system, row) for row in range(*c.group.rows.indices(system.paths))]
                for mask, sentence in _of_law(card.outside, eq, c, solved, columns):
                    _note(found, names, mask, sentence)
        for group, stacked in zip(system.groups, system.build(values.parts), strict=True):
            names = [system.entries[m].name for m in group.members]
            for mask, sentence in stacked.outside():
                _note(found, names, mask, sentence)
    return [f"{_listed(names)}: {sentence}." for sentence, names in found.items()]


def _of_law(outside: Any, eq: Equations, c: Coefficients, solved: Solved, columns: slice) -> Any:
    """The masks of one law, at the flows and densities of the solution."""
    flow, density = solved.point.flow[:, columns], solved.density[:, columns]
    rows, partners = c.group.rows, c.group.partners
    if partners is None:
        return outside(flow[rows], LocalAir(density[rows], eq.viscosity, eq.outside), **c.values)
    three = (density[rows], density[partners], density[partners])
    air = LocalAir(three, eq.viscosity, eq.outside, (0.0, 0.0, 0.0))
    return outside((flow[rows], flow[partners]), air, **c.values)


def _note(found: dict[str, list[str]], names: list[str], mask: Any, sentence: str) -> None:
    mask = np.asarray(mask)
    if not mask.any():
        return
    rows = np.broadcast_to(mask, (len(names), mask.shape[-1] if mask.ndim else 1)).any(axis=1)
    for name in np.array(names, dtype=object)[rows]:
        if name not in found.setdefault(sentence, []):
            found[sentence].append(name)


def _name(system: System, row: int) -> str:
    path = system.path_names[row]
    return path if isinstance(path, str) else path[0]


def _listed(names: list[str]) -> str:
    if len(names) <= MOST_NAMES:
        return ", ".join(names)
    return f"{', '.join(names[:MOST_NAMES])} and {len(names) - MOST_NAMES} more"
