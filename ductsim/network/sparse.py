"""A sparse matrix that never changes, times columns of numbers.

Small products are added up by NumPy, in the order in which the sparse library adds them, so that the last
digit does not tell which of the two it was: loading that library takes longer than a single solve does. Large
products of small matrices are NumPy's too, until they have taken about as long as loading would.
"""

from __future__ import annotations

import sys
from typing import Any

import numpy as np
from numpy.typing import NDArray

FEW_TERMS = 5_000  # in a product: 40 us, where the library takes 8 us but 0.15 s to load
MANY_ENTRIES = 10_000  # the sparse library sorts faster, and a network of this size loads it anyway
FEW_ENTRIES = 500
WORTH_LOADING = 150_000
"""Entries times wide rows, one by one, after which the library is loaded: each takes NumPy 1 us."""
_rows_added = 0  # so far in this process


class Sparse:
    """A sparse matrix, sorted by rows, then by columns; no place may be given twice.

    Parameters
    ----------
    values, rows, columns : arrays of one length
        The entries that are not zero, and where they stand.
    shape : (rows, columns)
    """

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
        if count * len(self.values) > FEW_TERMS or right.itemsize < 8:
            if len(self.values) > FEW_ENTRIES or _library_serves(len(self.values)):
                return np.asarray(self._in(right.dtype) @ right)
            return self._row_by_row(right)
        if count == 1:  # most often in a single solve: as few calls as can be
            terms = right.ravel().take(self.columns)
            terms *= self.values
            where = self.rows
        else:
            terms = right[self.columns] * self.values[:, None]
            where = self.rows[:, None] * count + np.arange(count)
        found = np.bincount(where.ravel(), terms.ravel(), size * count)
        return found.astype(float, copy=False).reshape(size, count)  # of no terms it makes whole numbers

    def _row_by_row(self, right: NDArray[Any]) -> NDArray[Any]:
        """The product from whole rows of `right`, one entry after the other."""
        out = np.zeros((self.shape[0], right.shape[1]), right.dtype)
        sums, given = list(out), list(right)
        values = self.values.astype(right.dtype, copy=False)
        with np.errstate(all="ignore"):  # the library says nothing of what is not finite
            for value, row, column in zip(values, self.rows.tolist(), self.columns.tolist(), strict=True):
                if value == 1.0:
                    sums[row] += given[column]
                elif value == -1.0:
                    sums[row] -= given[column]
                else:
                    sums[row] += value * given[column]
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


def _library_serves(entries: int) -> bool:
    """Whether the sparse library is loaded, or becomes worth loading with so many entries more."""
    global _rows_added
    _rows_added += entries
    return "scipy.sparse" in sys.modules or _rows_added > WORTH_LOADING
