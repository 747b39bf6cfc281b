"""A network compiled to index arrays, once per layout, and the way home to names.

The numbers (part fields, air, held pressures, supplies) are arguments, so sweeps, fits and comparisons
never compile twice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..parts.declare import Pair, Part, Path
from .factors import MANY_NODES
from .groups import (
    Entry,
    Index,
    Kept,
    LawGroup,
    PathName,
    grouped,
    incidence,
    law_key,
    order_nodes,
    stacked_column,
)
from .linear import Pattern
from .many import Many, ManyNumbers
from .sparse import Sparse

MOST_KEPT = 64  # patterns of open paths whose loops are kept
MOST_REMEMBERED = 10_000  # numbers of a group that are compared with the last ones
Array = NDArray[np.float64]


class Compiled:
    """Counts the systems compiled; tests read it."""

    count = 0


@dataclass(frozen=True)
class Level:
    """Nodes that the air reaches together, and the paths that end at them.

    Attributes
    ----------
    nodes : the nodes.
    paths : the paths with an end at one of them.
    into : (nodes, paths): which node each path runs into.
    """

    nodes: Index
    paths: Index
    into: Sparse


@dataclass(frozen=True)
class Stream:
    """The free nodes ordered down one pattern of flow directions.

    Attributes
    ----------
    forward : the pattern, per path.
    up : the node each path's air comes from.
    warmed : level by level the nodes that air from a fan reaches, with the paths into them.
    ring : True where air runs in a ring, so that no order is right.
    """

    forward: NDArray[np.bool_]
    up: Index
    warmed: tuple[Level, ...]
    ring: bool


class Rows(Mapping[PathName, int]):
    """Path name -> row; the names are gone through when one is asked for."""

    def __init__(self, system: System) -> None:
        self._system = system

    @cached_property
    def _known(self) -> dict[PathName, int]:
        return {name: row for row, name in enumerate(self._system.path_names)}

    def __getitem__(self, name: PathName) -> int:
        return self._known[name]

    def get(self, name: Any, default: Any = None) -> Any:
        """The row of a path, or `default`."""
        return self._known.get(name, default)

    def __iter__(self) -> Iterator[PathName]:
        return iter(self._known)

    def __len__(self) -> int:
        return self._system.paths


class System:
    """A compiled layout.

    Parameters
    ----------
    entries : sequence of Entry
    held : sequence of str
        Nodes whose total pressure is given (address `NODE.pressure`); outside is always held at 0 Pa.
    supplied : sequence of str
        Nodes into which a fixed flow is put (address `NODE.mass_flow`).
    numbers : mapping
        Any valid numbers of this layout, only to learn which laws its parts follow.
    many : sequence of Many
        Parts that were added at once.
    """

    def __init__(
        self,
        entries: Sequence[Entry],
        held: Sequence[str],
        supplied: Sequence[str],
        numbers: Mapping[str, Any],
        many: Sequence[Many] = (),
    ) -> None:
        Compiled.count += 1
        self.held = tuple(held)
        self.supplied = tuple(supplied)
        self.nodes, self._node_of = order_nodes(entries, many, self.held)
        for node in self.supplied:
            if node not in self._node_of:
                raise InputError(f"the supply's node {node!r} has no part", place="supply")
        self.free = len(self.nodes) - len(self.held) - 1
        self.groups = grouped(entries, many, self._node_of)
        self._kept: list[Kept | None] = [None] * len(self.groups)
        self.gathered: dict[int, Any] = {}
        """What equations made of the paths of each of the `laws` in the last single scenario."""
        self.joined: Index | None = None
        """The lowest node that each one is joined to with all paths open, once it has been asked for."""
        self._lay_rows(self.build(self.stack(numbers)))
        self._lay_matrix()
        self._streams: dict[bytes, Stream] = {}
        self._loops: dict[bytes, Array] = {}
        self.slope_notes: list[str] | None = None if has_foreign_laws(self) else []
        """What `foreign.wrong_slopes` found; None until it has looked."""

    # ---- numbers -> stacked parts

    def stack(self, numbers: Mapping[str, Any]) -> list[list[Array]]:
        """Per group and number, an array (members, 1) or (members, S) of the numbers.

        The arrays of a group whose numbers are those of the last single scenario are that one's.
        """
        out = []
        single = numbers.own if isinstance(numbers, ManyNumbers) else numbers
        columns = np.ndarray in set(map(type, single.values()))
        for i, (group, kept) in enumerate(zip(self.groups, self._kept, strict=True)):
            if group.many is not None and isinstance(numbers, ManyNumbers):
                out.append(numbers.many[group.many].columns())
                continue
            own = [[numbers[a] for a in number_key] for number_key in group.addresses]
            many = len(own) * len(group.names) > MOST_REMEMBERED
            if many or (columns and any(np.ndarray in set(map(type, values)) for values in own)):
                out.append([stacked_column(values) for values in own])
                continue
            if kept is None or kept.numbers != own:
                kept = self._kept[i] = Kept(own, [stacked_column(values) for values in own])
            out.append(kept.arrays)
        return out

    def build(self, values: list[list[Array]], columns: slice | None = None) -> list[Part]:
        """The stacked parts, of all scenarios or of a slice of them."""
        if columns is not None:
            values = [
                [v if v.shape[1] == 1 else v[:, columns] for v in numbers_of_group]
                for numbers_of_group in values
            ]
        out = []
        for group, kept, arrays in zip(self.groups, self._kept, values, strict=True):
            if kept is None or kept.arrays is not arrays:
                out.append(group.schema.build(arrays))
                continue
            if kept.part is None:
                kept.part = group.schema.build(arrays)
            out.append(kept.part)
        return out

    def paths_of(self, parts: list[Part]) -> list[tuple[Path | Pair, ...]]:
        """The paths of the stacked parts; the same objects where a single scenario's part is unchanged."""
        out = []
        for kept, part in zip(self._kept, parts, strict=True):
            if kept is None or kept.part is not part:
                out.append(part.paths())
                continue
            if kept.paths is None:
                kept.paths = part.paths()
            out.append(kept.paths)
        return out

    # ---- rows

    def _lay_rows(self, parts: list[Part]) -> None:
        """Give every path a row so that a law's paths stand together, pairs after single paths."""
        laws: dict[Any, LawGroup] = {}
        ends: dict[tuple[int, int], Any] = {}
        powered: set[tuple[int, int]] = set()
        for g, stacked in enumerate(parts):
            place = 0
            for p, path in enumerate(stacked.paths()):
                key = law_key(path)
                lg = laws.setdefault(key, LawGroup(path.law, path.density, []))
                lg.sources.append((g, p, place))
                ends[g, p] = path.ends
                if isinstance(path, Path) and path.power is not None:
                    powered.add((g, p))
                place += 2 if isinstance(path, Pair) else 1
        singles = [lg for lg in laws.values() if isinstance(lg.density, str)]
        pairs = [lg for lg in laws.values() if not isinstance(lg.density, str)]
        self.laws = singles + pairs
        self.pairs = pairs
        self.fan_rows: list[int] = []
        start: list[Index] = []
        finish: list[Index] = []
        self._runs: dict[tuple[int, int], int] = {}
        self.paths = 0
        for lg in self.laws:
            pair = not isinstance(lg.density, str)
            marks = [self.paths]
            for side in (0, 1) if pair else (0,):
                for g, p, place in lg.sources:
                    both = ends[g, p][side] if pair else ends[g, p]
                    start.append(self.groups[g].ends[both[0]])
                    finish.append(self.groups[g].ends[both[1]])
                    self._runs[g, place + side] = self.paths
                    self.paths += len(start[-1])
                    if (g, p) in powered:
                        self.fan_rows += range(self._runs[g, place + side], self.paths)
                marks.append(self.paths)
            lg.rows = slice(marks[0], marks[1])
            if pair:
                lg.partners = slice(marks[1], marks[2])
                lg.ends = np.concatenate([self.groups[g].ends for g, _, _ in lg.sources], axis=1)
        none = np.empty(0, dtype=np.intp)
        self.start, self.finish = np.concatenate([none, *start]), np.concatenate([none, *finish])
        self.singles = max((lg.rows.stop for lg in singles), default=0)
        for lg in pairs:
            assert lg.partners is not None and lg.ends is not None
            lg.incidence = incidence(lg.ends, self.start, self.finish, (lg.rows, lg.partners))
        self.rows: Mapping[PathName, int] = Rows(self)

    def path_name(self, row: int) -> PathName:
        """The name of the path that has a row."""
        (group, place), first = max((r for r in self._runs.items() if r[1] <= row), key=itemgetter(1))
        return self._path_name(group, place, self.groups[group].names[row - first])

    def _path_name(self, group: int, place: int, name: str) -> PathName:
        words = self.groups[group].schema.part.path_names  # type: ignore[attr-defined]
        return name if len(words) == 1 else (name, words[place])

    @property
    def path_names(self) -> tuple[PathName, ...]:
        """The names of all paths, row by row."""
        return tuple(
            self._path_name(group, place, name)
            for group, place in self._runs
            for name in self.groups[group].names
        )

    # ---- the nodal matrix's pattern

    def _lay_matrix(self) -> None:
        """The slots of the nodal matrix and the sparse maps that fill them.

        `entries_row/entries_node`: the flow of row r answers to the pressure of node n; single paths come
        first (all their first ends, then all their second ends), then three nodes for each row of a pair.
        """
        single = np.arange(self.singles)
        rows = [single, single]
        nodes = [self.start[: self.singles], self.finish[: self.singles]]
        for lg in self.laws:
            if lg.partners is not None:
                assert lg.ends is not None
                for side in (lg.rows, lg.partners):
                    for end in lg.ends:
                        rows.append(np.arange(side.start, side.stop))
                        nodes.append(end)
        self.answer_row = np.concatenate(rows)
        self.answer_node = np.concatenate(nodes)
        free, count = self.free, len(self.answer_row)
        i = np.concatenate([self.start[self.answer_row], self.finish[self.answer_row], np.arange(free)])
        j = np.concatenate([self.answer_node, self.answer_node, np.arange(free)])
        value = np.concatenate([np.ones(count), -np.ones(count), np.zeros(free)])
        entry = np.concatenate([np.arange(count), np.arange(count), np.zeros(free, dtype=np.intp)])
        keep = (i < free) & (j < free)
        places, slot = np.unique(i[keep] * max(free, 1) + j[keep], return_inverse=True)
        self.pattern = Pattern(free, places // max(free, 1), places % max(free, 1))
        self.fill = Sparse(value[keep], slot, entry[keep], (len(places), count))
        gone = (self.start[self.answer_row] < free).astype(float) - (self.finish[self.answer_row] < free)
        known = (self.answer_node < free) & (gone != 0.0)
        self.leaks = Sparse(gone[known], self.answer_node[known], np.flatnonzero(known), (free, count))
        path = np.arange(self.paths)
        ends = np.concatenate([self.start, self.finish])
        sign = np.concatenate([np.ones(self.paths), -np.ones(self.paths)])
        inner = ends < free
        self.outflow = Sparse(
            sign[inner], ends[inner], np.concatenate([path, path])[inner], (free, self.paths)
        )
        self.diagonal = np.searchsorted(places, np.arange(free) * (max(free, 1) + 1))

    @cached_property
    def mixing(self) -> Pattern:
        """The pattern of the temperatures' matrix, which of large networks has factors of its own."""
        whole = self.pattern
        return whole if whole.size < MANY_NODES else Pattern(whole.size, whole.rows, whole.columns)

    @cached_property
    def fans(self) -> Index:
        """The `fan_rows` as an array."""
        return np.array(self.fan_rows, dtype=np.intp)

    @cached_property
    def fan_groups(self) -> list[tuple[int, slice, Any]]:
        """Groups of single paths with fans among them: their place, their rows, the fans among these."""
        out: list[tuple[int, slice, Any]] = []
        for i, lg in enumerate(self.laws):
            rows = lg.rows
            among = [r - rows.start for r in self.fan_rows if rows.start <= r < rows.stop]
            if lg.partners is None and among:
                out.append((i, rows, slice(None) if len(among) == rows.stop - rows.start else among))
        return out

    @cached_property
    def start_share(self) -> Array:
        """The share that the pressure at its start has in a single path's density; 0 where `follows`."""
        share = {"mean": 0.5, "inlet": 1.0}
        rules = [
            lg.density for lg in self.laws if lg.partners is None for _ in range(*lg.rows.indices(self.paths))
        ]
        return np.array([share.get(rule, 0.0) for rule in rules])[:, None]

    @cached_property
    def follows(self) -> NDArray[np.bool_] | None:
        """Single paths whose density is that of the end where air enters, (singles, 1); None without any."""
        rules = [
            lg.density for lg in self.laws if lg.partners is None for _ in range(*lg.rows.indices(self.paths))
        ]
        out = np.array([rule not in ("mean", "inlet") for rule in rules], dtype=bool)[:, None]
        return out if out.any() else None

    @cached_property
    def rough(self) -> System:
        """The same system for numbers in single precision."""
        out = copy(self)
        out.start_share = self.start_share.astype(np.float32)
        return out

    @cached_property
    def into(self) -> Sparse:
        """Sparse (free, 2 paths): the node that each path runs into, forward and then backward."""
        node = np.concatenate([self.finish, self.start])
        inner = np.flatnonzero(node < self.free)
        return Sparse(np.ones(len(inner)), node[inner], inner, (self.free, 2 * self.paths))

    @cached_property
    def carry(self) -> Sparse:
        """Sparse (slots, 2 paths): -1 where a node's air comes from another's, forward, then backward."""
        path, free = np.arange(self.paths), max(self.free, 1)
        node = np.concatenate([self.finish, self.start])
        other = np.concatenate([self.start, self.finish])
        inner = (node < self.free) & (other < self.free)
        slot = np.searchsorted(self.pattern.rows * free + self.pattern.columns, (node * free + other)[inner])
        columns = np.concatenate([path, path + self.paths])[inner]
        return Sparse(np.full(len(slot), -1.0), slot, columns, (len(self.pattern.rows), 2 * self.paths))

    def stream(self, forward: NDArray[np.bool_]) -> Stream:
        """The free nodes in the order in which air that flows this way reaches them, level by level."""
        key = forward.tobytes()
        if key not in self._streams:
            self._streams[key] = _stream(self, forward)
        return self._streams[key]

    def loops(self, is_open: NDArray[np.bool_]) -> Array:
        """Flows round and round that leave all free nodes balanced, (open paths, loops), orthonormal."""
        key = is_open.tobytes()
        if key not in self._loops:
            if len(self._loops) >= MOST_KEPT:
                self._loops.clear()
            self._loops[key] = _null_space(self.outflow.toarray()[:, is_open])
        return self._loops[key]

    def rows_of(self, group: int) -> NDArray[np.intp]:
        """The rows of each part's paths, (members, paths of one)."""
        own = self.groups[group]
        first = [self._runs[group, place] for place in range(len(own.schema.part.path_names))]  # type: ignore[attr-defined]
        return np.add.outer(np.arange(len(own.names)), np.array(first, dtype=np.intp))

    def node(self, name: str) -> int:
        """The index of a node."""
        return self._node_of[name]

    @property
    def node_names(self) -> Mapping[str, int]:
        """Node name -> index; free nodes first, then held ones, then outside."""
        return self._node_of


def _null_space(matrix: Array) -> Array:
    if not matrix.size:
        return np.eye(matrix.shape[1])
    _, size, right = np.linalg.svd(matrix)
    rank = int((size > 1e-12 * size.max(initial=1.0)).sum())
    out: Array = right[rank:].T
    return out


def is_foreign(obj: Any) -> bool:
    """Whether a law or a part's class stems from outside the package."""
    return str(getattr(obj, "__module__", "")).partition(".")[0] != __name__.partition(".")[0]


def has_foreign_laws(system: System) -> bool:
    """Whether some path follows a law from outside the package, or stems from such a part."""
    return any(is_foreign(lg.law) for lg in system.laws) or any(
        is_foreign(base) and base is not object for g in system.groups for base in g.schema.part.__mro__
    )


def _stream(system: System, forward: NDArray[np.bool_]) -> Stream:
    """Levels by the longest way from outside."""
    up = np.where(forward, system.start, system.finish)
    down = np.where(forward, system.finish, system.start)
    free = system.free
    waiting = np.bincount(down[(up < free) & (down < free)], minlength=free)[:free]
    left = np.ones(free, dtype=bool)
    warm = np.zeros(len(system.nodes), dtype=bool)
    warm[down[system.fan_rows]] = True
    warmed: list[Level] = []
    while left.any():
        nodes = np.flatnonzero(left & (waiting == 0))
        if not len(nodes):
            return Stream(forward, up, (), True)
        left[nodes] = False
        here = np.isin(down, nodes)
        warm[down[here & warm[up]]] = True
        hot = nodes[warm[nodes]]
        if len(hot):
            warmed.append(_level(system, hot, down))
        gone = np.isin(up, nodes) & (down < free)
        waiting -= np.bincount(down[gone], minlength=free)[:free]
    return Stream(forward, up, tuple(warmed), False)


def _level(system: System, nodes: Index, down: Index) -> Level:
    paths = np.flatnonzero(np.isin(down, nodes))
    at = np.full(len(system.nodes), -1)
    at[nodes] = np.arange(len(nodes))
    into = Sparse(np.ones(len(paths)), at[down[paths]], np.arange(len(paths)), (len(nodes), len(paths)))
    return Level(nodes, paths, into)
