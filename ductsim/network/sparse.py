"""A sparse matrix that never changes, times columns of numbers.

As long as nothing else has loaded the sparse library, products are added up by NumPy, in the order in which
the library adds them, so that the last digit does not tell which of the two it was: loading it takes longer
than a single solve, and than what a few searches with thousands of scenarios lose without it. When they
have lost as much, it is loaded.
"""

from __future__ import annotations

import sys
from functools import cached_property
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

FEW_TERMS = 5_000  # in a product: 40 us, where the library takes 8 us but 0.15 s to load
MANY_TERMS = 30_000_000  # in all large products so far: the library would have saved a third of its loading
BLOCK = 256  # scenarios whose terms stay in cache
MANY_ENTRIES = 10_000  # the sparse library sorts faster, and a network of this size loads it anyway


class Sparse:
    """A sparse matrix, sorted by rows, then by columns; no place may be given twice.

    Parameters
    ----------
    values, rows, columns : arrays of one length
        The entries that are not zero, and where they stand.
    shape : (rows, columns)
    """

    added: ClassVar[int] = 0
    """Terms of all large products of this process."""

    def __init__(self, values: Any, rows: Any, columns: Any, shape: tuple[int, int]) -> None:
        self.shape = shape
        self._by_precision: dict[str, Any] = {}
        if len(rows) > MANY_ENTRIES:
            from scipy.sparse import csr_matrix

            made: Any = csr_matrix((values, (rows, columns)), shape=shape)
            self.values, self.columns = made.data, made.indices
            self.rows: NDArray[np.intp] = np.repeat(np.arange(shape[0], dtype=np.int32), np.diff(made.indptr))
        else:
            order = np.lexsort((columns, rows))
            self.values = np.asarray(values, dtype=float)[order]
            self.rows, self.columns = np.asarray(rows)[order], np.asarray(columns)[order]

    def __matmul__(self, right: NDArray[Any]) -> NDArray[Any]:
        """The product with `right` (columns, S), in its precision; what is not finite stays in its rows."""
        count, size = right.shape[1], self.shape[0]
        many = count * len(self.values)
        if many > FEW_TERMS or right.itemsize < 8:
            Sparse.added += many
            if Sparse.added > MANY_TERMS or "scipy.sparse" in sys.modules:
                return np.asarray(self._in(right.dtype) @ right)
            return self._in_turns(right)
        if count == 1:  # most often in a single solve: as few calls as can be
            terms = right.ravel().take(self.columns)
            terms *= self.values
            where = self.rows
        else:
            terms = right[self.columns] * self.values[:, None]
            where = self.rows[:, None] * count + np.arange(count)
        found = np.bincount(where.ravel(), terms.ravel(), size * count)
        return found.astype(float, copy=False).reshape(size, count)  # of no terms it makes whole numbers

    @cached_property
    def _turns(self) -> tuple[NDArray[np.intp], list[tuple[NDArray[np.intp], NDArray[np.float64]]]]:
        """Where each row stands when those with most entries come first; the columns and values of each turn.

        In the first turn all rows with an entry get their first one, in the second those that have another.
        """
        entries = np.bincount(self.rows, minlength=self.shape[0])
        order = np.argsort(-entries, kind="stable")
        first = np.searchsorted(self.rows, order)
        place = np.empty(len(order), dtype=np.intp)
        place[order] = np.arange(len(order))
        turns = []
        for turn in range(entries.max(initial=0)):
            at = first[: int((entries > turn).sum())] + turn
            turns.append((self.columns[at], self.values[at, None]))
        return place, turns

    def _in_turns(self, right: NDArray[Any]) -> NDArray[Any]:
        """The product, some columns at a time, the terms of each row added one after the other."""
        place, turns = self._turns
        out = np.empty((self.shape[0], right.shape[1]), dtype=right.dtype)
        for begin in range(0, right.shape[1], BLOCK):
            own = np.ascontiguousarray(right[:, begin : begin + BLOCK])
            found = np.zeros((self.shape[0], own.shape[1]), dtype=right.dtype)
            with np.errstate(all="ignore"):  # what is not finite is no news here
                for columns, values in turns:
                    terms = own.take(columns, axis=0)
                    terms *= values.astype(right.dtype, copy=False)
                    found[: len(columns)] += terms
            out[:, begin : begin + BLOCK] = found.take(place, axis=0)
        return out

    def _in(self, precision: Any) -> Any:
        """The sparse library's matrix in this precision."""
        name = np.dtype(precision).name
        if name not in self._by_precision:
            from scipy.sparse import csr_matrix

            starts = np.searchsorted(self.rows, np.arange(self.shape[0] + 1))
            values = self.values.astype(precision, copy=False)
            self._by_precision[name] = csr_matrix((values, self.columns, starts), shape=self.shape)
        return self._by_precision[name]

    def toarray(self) -> NDArray[np.float64]:
        """The whole matrix, zeros and all."""
        out = np.zeros(self.shape)
        out[self.rows, self.columns] = self.values
        return out
