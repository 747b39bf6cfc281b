"""Which nodes the open paths leave without a known pressure, before anything is iterated."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .system import System
from .values import some_columns

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
FEW = 1000
"""Nodes up to which labels are handed on: loading the graph library takes longer than many such solves."""


@dataclass(frozen=True)
class Structure:
    """What the open paths connect, for each scenario.

    Attributes
    ----------
    floating : free nodes that no open path joins to a held node or outside, (free, S), or None if none.
    anchors : 1 at one node of each floating piece [kg/(s Pa)], (free, S): pins its level so that flows
        within the piece (a fan in a ring) can still be found; None if nothing floats.
    fed : scenarios in which a floating piece is supplied with air that can go nowhere, shape (S,).
    fed_node : the first such node, or -1.
    """

    floating: Mask | None
    anchors: Array | None
    fed: Mask
    fed_node: int

    def take(self, columns: NDArray[np.intp]) -> Structure:
        """The same for some of the scenarios."""
        fed = self.fed[columns]
        if self.floating is None or self.anchors is None:
            return Structure(None, None, fed, self.fed_node)
        floating, anchors = some_columns(self.floating, columns), some_columns(self.anchors, columns)
        return Structure(floating, anchors, fed, self.fed_node)


def examine(system: System, shut: Mask | None, supply: Array, scenarios: int) -> Structure:
    """The structure of a system whose paths are shut where `shut` (paths, 1 or S) says so."""
    patterns, which = _patterns(system, shut, scenarios)
    piece = _connected(system, ~np.stack(patterns, axis=1))
    pieces = piece[: system.free]
    floating = pieces != piece[-1]
    anchors = (floating & (pieces == np.arange(system.free)[:, None])).astype(float)
    if not floating.any():
        return Structure(None, None, np.zeros(scenarios, dtype=bool), -1)
    fed, node = _fed(floating, pieces, which, np.broadcast_to(supply, (system.free, scenarios)))
    return Structure(some_columns(floating, which), some_columns(anchors, which), fed, node)


def floating_nodes(structures: list[Structure], free: int) -> Mask | None:
    """Which nodes float in the scenarios of several chunks, (free, S); None where none does anywhere."""
    if all(s.floating is None for s in structures):
        return None
    pieces = [
        np.zeros((free, len(s.fed)), dtype=bool) if s.floating is None else s.floating for s in structures
    ]
    return np.concatenate(pieces, axis=1)


def open_patterns(system: System, shut: Mask | None, scenarios: int) -> tuple[list[Mask], NDArray[np.intp]]:
    """The different sets of open paths, and which of them each scenario has."""
    patterns, which = _patterns(system, shut, scenarios)
    return [~p for p in patterns], which


def _patterns(system: System, shut: Mask | None, scenarios: int) -> tuple[list[Mask], NDArray[np.intp]]:
    """The different sets of shut paths, and which of them each scenario has."""
    if shut is None:
        return [np.zeros(system.paths, dtype=bool)], np.zeros(scenarios, dtype=np.intp)
    if shut.shape[1] == 1:
        return [shut[:, 0]], np.zeros(scenarios, dtype=np.intp)
    packed = np.packbits(shut, axis=0).T.copy()
    known: dict[bytes, int] = {}
    patterns: list[Mask] = []
    which = np.empty(scenarios, dtype=np.intp)
    for s, row in enumerate(packed):
        key = row.tobytes()
        if key not in known:
            known[key] = len(patterns)
            patterns.append(shut[:, s])
        which[s] = known[key]
    return patterns, which


def _connected(system: System, is_open: Mask) -> NDArray[np.intp]:
    """The same as `connected`, which the system remembers of the pattern where every path is open."""
    if is_open.shape[1] != 1 or not is_open.all():
        return connected(system, is_open)
    if system.joined is None:
        system.joined = connected(system, is_open)
    return system.joined


def connected(system: System, is_open: Mask) -> NDArray[np.intp]:
    """The lowest node that each node is joined to by the open paths, (nodes, P) for `is_open` (paths, P).

    Held nodes are joined to outside.
    """
    nodes = len(system.nodes)
    held = np.arange(system.free, nodes)
    i = np.concatenate([system.start, held])
    j = np.concatenate([system.finish, np.full(len(held), nodes - 1)])
    joined = np.concatenate([is_open, np.ones((len(held), is_open.shape[1]), dtype=bool)])
    if nodes <= FEW:
        return _lowest_joined(nodes, i, j, joined)
    out = np.empty((nodes, is_open.shape[1]), dtype=np.intp)
    for column, edges in zip(out.T, joined.T, strict=True):
        column[:] = _lowest_in_graph(nodes, i[edges], j[edges])
    return out


def _lowest_joined(nodes: int, i: NDArray[np.intp], j: NDArray[np.intp], joined: Mask) -> NDArray[np.intp]:
    """Labels handed on along the joined edges until none changes."""
    piece = np.repeat(np.arange(nodes)[:, None], joined.shape[1], axis=1)
    while True:
        lowest = np.where(joined, np.minimum(piece[i], piece[j]), nodes)
        new = piece.copy()
        np.minimum.at(new, i, lowest)
        np.minimum.at(new, j, lowest)
        new = np.take_along_axis(new, new, axis=0)
        if np.array_equal(new, piece):
            return piece
        piece = new


def _lowest_in_graph(nodes: int, i: NDArray[np.intp], j: NDArray[np.intp]) -> NDArray[np.intp]:
    from scipy.sparse import csr_matrix
    from scipy.sparse.csgraph import connected_components

    graph = csr_matrix((np.ones(len(i), dtype=bool), (i, j)), shape=(nodes, nodes))
    _, first, label = np.unique(
        connected_components(graph, directed=False)[1], return_index=True, return_inverse=True
    )
    lowest: NDArray[np.intp] = first[label]
    return lowest


def _fed(
    floating: Mask, pieces: NDArray[np.intp], which: NDArray[np.intp], supply: Array
) -> tuple[Mask, int]:
    """Scenarios in which a floating piece has a net supply."""
    scenarios = supply.shape[1]
    fed = np.zeros(scenarios, dtype=bool)
    node = -1
    loaded = np.flatnonzero((supply != 0.0).any(axis=0) & floating[:, which].any(axis=0))
    for s in loaded:
        p = which[s]
        off = floating[:, p]
        net = np.bincount(pieces[off, p], weights=supply[off, s])
        scale = np.abs(supply[off, s]).max(initial=0.0)
        wrong = np.flatnonzero(np.abs(net) > 1e-12 * scale)
        if scale and len(wrong):
            fed[s] = True
            if node < 0:
                node = int(np.flatnonzero(off & (pieces[:, p] == wrong[0]) & (supply[:, s] != 0.0))[0])
    return fed, node
