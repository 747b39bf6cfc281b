"""The nodal system, solved three ways: LAPACK, elimination across scenarios, sparse SuperLU.

All three take the matrix as *slots*: the values at a fixed pattern of (row, column) places, an array of
shape (slots, S). Which one is used follows from the size of the network and the number of scenarios.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .factors import Ordered
from .sparse import Sparse

Array = NDArray[np.float64]
Again = Callable[[Array], Array]
"""Solutions of systems with known factors, for right-hand sides (size, S)."""

# A pivot smaller than this share of its column's largest original entry sends that scenario to LAPACK.
SMALLEST_PIVOT = {8: 1e-8, 4: 1e-5}  # by the bytes of a number
LARGEST_RESIDUAL = {8: 1e-10, 4: 1e-4}
CONTRAST = 1e8
"""Largest over smallest conductance; beyond, rounding in the diagonal hides what leaves a piece."""
LARGEST_DENSE = 150
FEW_SCENARIOS = 6


@dataclass(frozen=True)
class Pattern:
    """The places of a square matrix that can be other than zero.

    Attributes
    ----------
    size : int
        Number of rows.
    rows, columns : int arrays
        The place of each slot, row by row; every diagonal place is among them.
    """

    size: int
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]

    @cached_property
    def elimination(self) -> Elimination:
        """The order and the places of an elimination without pivoting."""
        return Elimination.plan(self)

    @cached_property
    def ordered(self) -> Ordered:
        """Its matrices as they are factorised one by one."""
        return Ordered(self.size, self.rows, self.columns)

    @cached_property
    def diagonal(self) -> NDArray[np.intp]:
        """The slots of the diagonal places."""
        return np.flatnonzero(self.rows == self.columns)

    @cached_property
    def places(self) -> NDArray[np.intp]:
        """The place of each slot in the flat square matrix."""
        return self.rows * self.size + self.columns

    def solve(
        self, slots: Array, right: Array, leaks: Array | None = None, keep: list[Again] | None = None
    ) -> Array:
        """The solutions (size, S) of the S systems with these slots and right-hand sides (size, S).

        `keep` gets what solves the same systems for other right-hand sides, where factors are at hand.
        `leaks` (size, S), what each column adds up to, is given where entries are far apart. A singular
        system gives NaN in its own column and spoils no other.
        """
        if self.size == 0:
            return np.zeros_like(right)
        scenarios = right.shape[1]
        if leaks is not None and self.size <= LARGEST_DENSE:
            return solve_by_leaks(self, slots, leaks, right)
        if self.size > LARGEST_DENSE:
            if scenarios > FEW_SCENARIOS and self.elimination.cheap:
                return self.elimination.solve(slots, right, keep)
            return solve_sparse(self, slots, right, keep)
        if scenarios <= FEW_SCENARIOS:
            return solve_dense(self, slots, right, keep)
        return self.elimination.solve(slots, right, keep)


def solve_dense(pattern: Pattern, slots: Array, right: Array, keep: list[Again] | None = None) -> Array:
    """LAPACK, scenario by scenario, after scaling rows and columns by the diagonal."""
    scenarios, size = right.shape[1], pattern.size
    diagonal = np.abs(slots[pattern.diagonal])
    diagonal[diagonal == 0.0] = 1.0
    scale = 1.0 / np.sqrt(diagonal)
    flat = np.zeros((scenarios, size * size))
    flat[:, pattern.places] = (slots * scale[pattern.rows] * scale[pattern.columns]).T
    full = flat.reshape(scenarios, size, size)

    def again(right: Array) -> Array:
        return scale * _solved_dense(full, right * scale)

    if keep is not None:
        keep.append(again)
    return again(right)


def _solved_dense(full: Array, right: Array) -> Array:
    """Solutions (size, S) of a stack of matrices (S, size, size); NaN where one is singular."""
    try:
        return np.asarray(np.linalg.solve(full, right.T[:, :, None])[:, :, 0].T, dtype=float)
    except np.linalg.LinAlgError:
        out = np.full(right.shape, np.nan)
        for s, matrix in enumerate(full):
            try:
                out[:, s] = np.linalg.solve(matrix, right[:, s])
            except np.linalg.LinAlgError:
                continue
        return out


def solve_by_leaks(pattern: Pattern, slots: Array, leaks: Array, right: Array) -> Array:
    """Elimination that never subtracts alike conductances; largest pivots first in each scenario.

    A column's entries add up to what leaves to known pressures, `leaks` (size, S), known by itself. So a
    diagonal entry is what leaves less the other entries: air that runs in a ring within a piece, however
    easily, does not drown the narrow ways out of it (the method of Grassmann, Taksar and Heyman for Markov
    chains, from memory).
    """
    full = np.zeros((pattern.size, pattern.size, right.shape[1]))
    full[pattern.rows, pattern.columns] = slots
    diagonal = np.arange(pattern.size)
    scale = np.abs(full[diagonal, diagonal])
    full[diagonal, diagonal] = 0.0
    order = np.argsort(-scale, axis=0, kind="stable")
    each = np.arange(right.shape[1])
    a = full[order[:, None], order[None], each]
    b, c = right[order, each], leaks[order, each]
    pivots, x = np.empty_like(b), np.empty_like(b)
    for k in range(pattern.size):
        below = a[k + 1 :, k]
        pivots[k] = c[k] - below.sum(axis=0)
        across = a[k, k + 1 :] / pivots[k]
        c[k + 1 :] -= c[k] * across
        b[k + 1 :] -= below * (b[k] / pivots[k])
        a[k + 1 :, k + 1 :] -= below[:, None] * across
    for k in range(pattern.size - 1, -1, -1):
        x[k] = (b[k] - (a[k, k + 1 :] * x[k + 1 :]).sum(axis=0)) / pivots[k]
    out = np.empty_like(right)
    out[order, each] = x
    return out


def solve_sparse(pattern: Pattern, slots: Array, right: Array, keep: list[Again] | None = None) -> Array:
    """SuperLU, scenario by scenario."""
    out = np.empty(right.shape)
    for s in range(right.shape[1]):
        out[:, s] = pattern.ordered.solve(slots[:, s], right[:, s])
    if keep is not None:
        keep.append(lambda other: solve_sparse(pattern, slots, other))
    return out


@dataclass(frozen=True)
class Elimination:
    """Gaussian elimination in a fixed order, each operation one NumPy call across scenarios.

    Attributes
    ----------
    pattern : Pattern
    order : the node eliminated at each step.
    slots : number of places including fill.
    steps : per pivot: its place, then per row below (place, row, [(own place, pivot row's place), ...]).
    back : per pivot: its place, its row, and (place, column) of what stands right of it.
    """

    pattern: Pattern
    order: tuple[int, ...]
    slots: int
    steps: tuple[tuple[int, int, tuple[tuple[int, int, tuple[tuple[int, int], ...]], ...]], ...]
    back: tuple[tuple[int, int, tuple[tuple[int, int], ...]], ...]
    operations: int

    @property
    def cheap(self) -> bool:
        """True when so few operations are needed that they beat one factorisation a scenario."""
        return self.operations <= 60 * self.pattern.size

    @classmethod
    def plan(cls, pattern: Pattern) -> Elimination:
        """Minimum degree on the pattern made symmetric; both places of a pair are kept, filled or not."""
        place: dict[tuple[int, int], int] = {}
        for slot, (i, j) in enumerate(zip(pattern.rows.tolist(), pattern.columns.tolist(), strict=True)):
            place[i, j] = slot
        beside: list[set[int]] = [set() for _ in range(pattern.size)]
        for i, j in list(place):
            if i != j:
                beside[i].add(j)
                beside[j].add(i)
        count = len(pattern.rows)

        def slot_of(i: int, j: int) -> int:
            nonlocal count
            if (i, j) not in place:
                place[i, j] = count
                count += 1
            return place[i, j]

        order, steps, back, operations = [], [], [], 0
        heap = [(len(b), i) for i, b in enumerate(beside)]
        heapq.heapify(heap)
        gone = [False] * pattern.size
        while heap:
            degree, k = heapq.heappop(heap)
            if gone[k] or degree != len(beside[k]):
                continue
            gone[k] = True
            order.append(k)
            near = sorted(beside[k])
            below = []
            for i in near:
                pairs = tuple((slot_of(i, j), slot_of(k, j)) for j in near)
                below.append((slot_of(i, k), i, pairs))
                operations += 2 + len(pairs)
            steps.append((slot_of(k, k), k, tuple(below)))
            back.append((slot_of(k, k), k, tuple((slot_of(k, j), j) for j in near)))
            for i in near:
                beside[i].discard(k)
                beside[i].update(j for j in near if j != i)
                heapq.heappush(heap, (len(beside[i]), i))
        return cls(pattern, tuple(order), count, tuple(steps), tuple(reversed(back)), operations)

    def solve(self, slots: Array, right: Array, keep: list[Again] | None = None) -> Array:
        """Solutions (size, S); scenarios whose pivots or residual are doubtful are solved by LAPACK."""
        with np.errstate(all="ignore"):
            factors, good = self._factorise(slots)
            out = self.substitute(factors, right)
            good &= np.isfinite(out).all(axis=0)
            miss, size = self._miss(slots, right, out)
            most = LARGEST_RESIDUAL[slots.itemsize]
            again = good & ~(miss <= most * size)
            if again.any():
                left = right[:, again] - self._times(slots[:, again], out[:, again])
                out[:, again] += self.substitute([f[again] for f in factors], left)
                miss, size = self._miss(slots, right, out)
                good &= miss <= most * size
        bad = ~good
        if bad.any():
            out[:, bad] = solve_dense(self.pattern, slots[:, bad], right[:, bad])

        def other(right: Array) -> Array:
            found = self.substitute(factors, right)
            found[:, bad] = np.nan  # not good enough for another right-hand side either
            return found

        if keep is not None:
            keep.append(other)
        return out

    def _factorise(self, slots: Array) -> tuple[list[Array], NDArray[np.bool_]]:
        """Lower factors, upper rows and inverse pivots, all in place of the slots; and which are good."""
        scenarios = slots.shape[1]
        work: list[Array] = list(slots.copy())
        work += [np.zeros(scenarios, dtype=slots.dtype) for _ in range(self.slots - len(work))]
        largest = np.abs(slots[[p for p, _, _ in self.steps]])
        good = np.ones(scenarios, dtype=bool)
        smallest = SMALLEST_PIVOT[slots.itemsize]
        for at, (pivot, _, below) in enumerate(self.steps):
            good &= np.abs(work[pivot]) > smallest * largest[at]
            inverse = np.reciprocal(work[pivot])
            work[pivot] = inverse
            for lower, _, pairs in below:
                factor = work[lower] * inverse
                work[lower] = factor
                for own, above in pairs:
                    work[own] -= factor * work[above]
        return work, good

    def negative_pivots(self, slots: Array) -> NDArray[np.intp]:
        """How many eigenvalues of symmetric matrices are negative; -1 where a pivot is too small to tell."""
        work, good = self._factorise(slots)
        pivots = np.array([work[p] for p, _, _ in self.steps])
        good &= np.isfinite(pivots).all(axis=0)
        return np.where(good, (pivots < 0.0).sum(axis=0), -1)

    def substitute(self, factors: list[Array], right: Array) -> Array:
        """Solutions (size, S) by factors that are there already, unchecked."""
        out = right.copy()
        for _, k, below in self.steps:
            for lower, i, _ in below:
                out[i] -= factors[lower] * out[k]
        for pivot, k, beyond in self.back:
            for place, j in beyond:
                out[k] -= factors[place] * out[j]
            out[k] *= factors[pivot]
        return out

    def _times(self, slots: Array, vector: Array) -> Array:
        out = np.zeros_like(vector)
        terms = slots * vector[self.pattern.columns]
        np.add.at(out, self.pattern.rows, terms)
        return out

    def _miss(self, slots: Array, right: Array, out: Array) -> tuple[Array, Array]:
        """Largest residual of each scenario, and the size it is judged against."""
        terms = slots * out[self.pattern.columns]
        left = self._row_sums @ terms
        left -= right
        np.abs(terms, out=terms)
        return np.abs(left).max(axis=0), terms.max(axis=0)

    @cached_property
    def _row_sums(self) -> Sparse:
        """Adds up the slots of each row."""
        rows = self.pattern.rows
        return Sparse(np.ones(len(rows)), rows, np.arange(len(rows)), (self.pattern.size, len(rows)))
