"""What a compiled network consists of: nodes in order, parts of one schema, paths of one law."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..parts.declare import Pair, Part, Path, Schema
from .many import Many

OUTSIDE = "outside"
Array = NDArray[np.float64]
Index = NDArray[np.intp]
PathName = str | tuple[str, str]


class Entry(NamedTuple):
    """One part of the network: its name, its schema, and the nodes at its ends."""

    name: str
    schema: Schema
    ends: tuple[str, ...]


@dataclass(frozen=True)
class Group:
    """Parts of one schema, stacked.

    Attributes
    ----------
    schema : their schema.
    names : their names.
    ends : the nodes at their ends, (ends, members).
    many : which of those that were added at once they are, else None.
    """

    schema: Schema
    names: Sequence[str]
    ends: Index
    many: int | None = None

    @cached_property
    def addresses(self) -> tuple[tuple[str, ...], ...]:
        """Per number of the schema, the addresses of that number in each member."""
        return tuple(
            tuple(f"{name}.{number_key}" for name in self.names) for number_key in self.schema.number_keys
        )


@dataclass
class LawGroup:
    """Paths that follow the same law by the same density rule, whatever part they come from.

    Attributes
    ----------
    law : the law.
    sources : (group, which of its `paths()`, place of its name) in the order in which the rows stand.
    rows : their rows; for a `Pair` the first paths' rows.
    partners : a `Pair`'s second paths' rows, else None.
    density : the rule of `Path.density` or `Pair.density`.
    ends : for a `Pair`, the nodes at its part's three ends, shape (3, K).
    incidence : for a `Pair`, 1 where a path starts at an end, -1 where it finishes; (2, 3, K, 1).
    """

    law: Any
    density: Any
    sources: list[tuple[int, int, int]]
    rows: slice = field(default_factory=lambda: slice(0, 0))
    partners: slice | None = None
    ends: Index | None = None
    incidence: Array = field(default_factory=lambda: np.empty(0))

    @cached_property
    def air_ends(self) -> Index:
        """For a group of pairs the nodes whose pressure is in each of the law's three densities, (3, K)."""
        return self.pair_ends[[end for _, end in self.density]]

    def by_air(self, by_density: Array) -> Array:
        """What belongs to the law's three densities, (2, 3, K, S), by whose air it is: both paths', mixed."""
        if [whose for whose, _ in self.density] == [0, 1, 2]:
            return by_density
        out = np.zeros_like(by_density)
        for at, (whose, _) in enumerate(self.density):
            out[:, whose] += by_density[:, at]
        return out

    @property
    def pair_ends(self) -> Index:
        """The `ends` of a group of pairs."""
        assert self.ends is not None
        return self.ends


@dataclass
class Kept:
    """A group's numbers in the last single scenario, as given and as arrays; and what was made of them."""

    numbers: list[list[Any]]
    arrays: list[Array]
    part: Part | None = None
    paths: tuple[Path | Pair, ...] | None = None


def incidence(ends: Index, start: Index, finish: Index, sides: tuple[slice, slice]) -> Array:
    """How the two paths of a group of pairs begin and finish at the parts' three ends."""
    out = np.zeros((2, *ends.shape, 1))
    for side, rows in enumerate(sides):
        out[side, :, :, 0] += ends == start[rows]
        out[side, :, :, 0] -= ends == finish[rows]
    return out


def order_nodes(
    entries: Sequence[Entry], many: Sequence[Many], held: Sequence[str]
) -> tuple[tuple[str, ...], dict[str, int]]:
    """All nodes: free ones in order of appearance, then held ones, then outside."""
    fixed = dict.fromkeys(held)
    fixed.pop(OUTSIDE, None)
    free = dict.fromkeys(n for e in entries for n in e.ends)
    for group in many:
        free.update(dict.fromkeys(chain.from_iterable(zip(*group.ends, strict=True))))
    for node in (OUTSIDE, *fixed):
        free.pop(node, None)
    nodes = (*free, *fixed, OUTSIDE)
    return nodes, {n: i for i, n in enumerate(nodes)}


def grouped(entries: Sequence[Entry], many: Sequence[Many], node: Mapping[str, int]) -> tuple[Group, ...]:
    """Parts of one schema together, one by one and at once added ones apart; `node` numbers the nodes."""
    by_schema: dict[Schema, list[Entry]] = {}
    for entry in entries:
        by_schema.setdefault(entry.schema, []).append(entry)
    out = []
    for schema, members in by_schema.items():
        ends = np.array([[node[end] for end in entry.ends] for entry in members], dtype=np.intp).T
        out.append(Group(schema, [entry.name for entry in members], ends))
    for i, group in enumerate(many):
        ends = np.array([[node[name] for name in end] for end in group.ends], dtype=np.intp)
        out.append(Group(group.schema, group.names, ends, i))
    return tuple(out)


def stacked_column(values: list[Any]) -> Array:
    """Numbers of the parts in a group, stacked to (members, 1) or (members, S)."""
    if np.ndarray not in set(map(type, values)):
        return np.array(values, dtype=float)[:, None]
    size = max(v.size for v in values if isinstance(v, np.ndarray))
    out = np.empty((len(values), size))
    for row, value in zip(out, values, strict=True):
        row[:] = value
    return out


def law_key(path: Path | Pair) -> Any:
    """What paths must have in common to be evaluated together."""
    shapes = tuple((name, np.shape(c)[:-2]) for name, c in sorted(path.coefficients.items()))
    return path.law, path.density, shapes
