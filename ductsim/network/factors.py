"""SuperLU factors of large nodal matrices: one order for all of a pattern, factors used again nearby.

What keeps the factors small is an order of the nodes, which follows from the pattern alone: it is found
with the first factors and kept. Newton's last steps hardly change the matrix: factors of an earlier one then
lead a Krylov method (GMRES, Saad and Schultz 1986, from memory) to the solution in a few steps.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]

MANY_NODES = 10_000  # with fewer, factors are soon made and using them costs as much
LEAF = 1_000  # nodes that are dissected no further
WIDEST = 3.0  # times the root of the nodes that it parts: separators of what lies flat are about the root
ENOUGH = 1e-7  # of the right-hand side: what may be left over, far below what a Newton step leaves
MOST_STEPS = 15  # making factors takes as long as twenty to forty of these steps


class Factors:
    """The factors of one matrix, whose rows and columns stand in `order`."""

    def __init__(self, lu: Any, order: Index) -> None:
        self.lu, self.order = lu, order

    def solve(self, right: Array) -> Array:
        """The solution for a right-hand side (size,)."""
        out = np.empty_like(right)
        out[self.order] = self.lu.solve(right[self.order])
        return out


class Ordered:
    """The matrices of one pattern, laid out in the order that keeps their factors small.

    Parameters
    ----------
    size, rows, columns : as those of a `Pattern`.
    """

    def __init__(self, size: int, rows: Index, columns: Index) -> None:
        self.size = size
        self._rows, self._columns = rows, columns
        self._order: Index | None = None
        self._latest: Factors | None = None

    def __getstate__(self) -> dict[str, Any]:
        return {**self.__dict__, "_latest": None}

    def forget(self) -> None:
        """Give back the memory of the latest factors."""
        self._latest = None

    def factorise(self, slots: Array) -> Factors | None:
        """The factors of a matrix; None when it is singular or not finite."""
        from scipy.sparse.linalg import splu

        if not np.isfinite(slots).all():
            return None
        known = self._order is not None
        try:
            lu = splu(
                self._matrix(slots),
                permc_spec="NATURAL" if known else "MMD_AT_PLUS_A",
                diag_pivot_thresh=1e-3,
                options={"SymmetricMode": True, "Equil": True},
            )
        except RuntimeError:
            return None
        if known:
            assert self._order is not None
            return Factors(lu, self._order)
        self._lay(self._dissected(lu.perm_c) if self.size >= MANY_NODES else np.argsort(lu.perm_c))
        return Factors(lu, np.arange(self.size))

    def _dissected(self, rank: Index) -> Index:
        """The nodes half by half with what parts the halves last; within these in the order of `rank`.

        Dissection (George 1973, from memory) leaves larger dense blocks than the least degree that `rank`
        stands for: as many entries in two thirds of the time.
        """
        from scipy.sparse import csr_matrix

        shape = (self.size, self.size)
        whole = csr_matrix((np.ones(len(self._rows)), (self._rows, self._columns)), shape=shape)
        waiting = [(np.arange(self.size), whole)]
        pieces: list[Index] = []
        while waiting:
            nodes, graph = waiting.pop()
            parted = _parted(graph) if len(nodes) > LEAF else None
            if parted is None:
                pieces.append(nodes[np.argsort(rank[nodes])])
                continue
            *halves, between = parted
            pieces.append(nodes[between][np.argsort(rank[nodes[between]])])
            waiting += [(nodes[half], graph[half][:, half]) for half in halves]
        return np.concatenate(pieces[::-1])

    def _lay(self, order: Index) -> None:
        """Where each slot stands when the nodes stand in `order`."""
        place = np.empty_like(order)
        place[order] = np.arange(self.size)
        rows, columns = place[self._rows], place[self._columns]
        self._slots = np.lexsort((rows, columns))
        self._inner = rows[self._slots].astype(np.int32)
        self._starts = np.searchsorted(columns[self._slots], np.arange(self.size + 1)).astype(np.int32)
        self._order = order

    def _matrix(self, slots: Array) -> Any:
        """The matrix, in order once that is known."""
        from scipy.sparse import csc_matrix

        shape = (self.size, self.size)
        if self._order is None:
            return csc_matrix((slots, (self._rows, self._columns)), shape=shape)
        return csc_matrix((slots[self._slots], self._inner, self._starts), shape=shape)

    def solve(self, slots: Array, right: Array) -> Array:
        """The solution of one system; NaN when it is singular or not finite."""
        found = self._nearby(slots, right) if self._latest is not None else None
        if found is not None:
            return found
        self._latest = None  # its memory is needed
        factors = self.factorise(slots)
        if factors is None:
            return np.full(self.size, np.nan)
        if self.size >= MANY_NODES and factors.order is self._order:
            self._latest = factors
        return factors.solve(right)

    def _nearby(self, slots: Array, right: Array) -> Array | None:
        """The solution by the latest factors; None when these are of a matrix that is too different."""
        latest = self._latest
        if latest is None or not np.isfinite(slots).all():
            return None
        matrix, given = self._matrix(slots), right[latest.order]
        found = _gmres(matrix, latest.lu.solve, given)
        if found is None:
            return None
        miss = np.linalg.norm(given - matrix @ found)
        if not miss <= 10.0 * ENOUGH * np.linalg.norm(given):
            return None
        out = np.empty_like(right)
        out[latest.order] = found
        return out


def _parted(graph: Any) -> tuple[Index, Index, Index] | None:
    """Two halves of a graph, and the nodes between them; None where these are too many."""
    from scipy.sparse.csgraph import breadth_first_order

    count = graph.shape[0]
    reached = breadth_first_order(graph, 0, return_predecessors=False)
    inside = np.zeros(count, dtype=bool)
    if len(reached) < count:  # in pieces already
        inside[reached] = True
    else:
        from_afar = breadth_first_order(graph, reached[-1], return_predecessors=False)
        inside[from_afar[: count // 2]] = True
    between = (graph @ inside.astype(float) > 0.0) & ~inside
    if between.sum() > WIDEST * np.sqrt(count):
        return None
    return np.flatnonzero(inside), np.flatnonzero(~inside & ~between), np.flatnonzero(between)


def _gmres(matrix: Any, nearly: Any, right: Array) -> Array | None:
    """The solution of `matrix`, where `nearly` solves one like it; None as soon as that takes too long."""
    length = float(np.linalg.norm(right))
    if length == 0.0:
        return np.zeros_like(right)
    basis, moved = [right / length], []
    projected = np.zeros((MOST_STEPS + 1, MOST_STEPS))
    for k in range(MOST_STEPS):
        moved.append(nearly(basis[k]))
        new = matrix @ moved[k]
        for i, known in enumerate(basis):
            projected[i, k] = known @ new
            new -= projected[i, k] * known
        projected[k + 1, k] = np.linalg.norm(new)
        if not np.isfinite(projected).all():
            return None
        left, wanted = projected[: k + 2, : k + 1], np.zeros(k + 2)
        wanted[0] = length
        share = np.linalg.lstsq(left, wanted, rcond=None)[0]
        miss = float(np.linalg.norm(left @ share - wanted)) / length
        if miss <= ENOUGH:
            return np.asarray(sum(s * z for s, z in zip(share, moved, strict=True)))
        if k >= 2 and miss > ENOUGH ** ((k + 1) / MOST_STEPS):
            return None
        basis.append(new / projected[k + 1, k])
    return None
