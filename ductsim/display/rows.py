"""Rows by a specification of their columns: how each is called, in which measure, what it is."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from operator import attrgetter
from typing import Any

from ..quantity import measure_key

Row = dict[str, Any]


@dataclass(frozen=True)
class Of:
    """One column of rows that are made of items.

    Attributes
    ----------
    key : str
        Its name, without a measure ("vacuum").
    measure : str
        The SI measure of its cells, which then stands behind the name (`vacuum_Pa`).
    doc : str
        What it is, for whoever reads the table; a DataFrame keeps it (`frame.attrs["columns"]`).
    value : callable, optional
        `value(item)` gives the cell; by default the item's attribute called `key`.
    """

    key: str
    measure: str = ""
    doc: str = ""
    value: Callable[[Any], Any] | None = None

    @property
    def name(self) -> str:
        """The key of the rows."""
        return measure_key(self.key, self.measure) if self.measure else self.key


class Rows(list[Row]):
    """Rows that know what their columns are.

    Attributes
    ----------
    docs : dict
        Key -> what it is, of the columns that say it.
    """

    def __init__(self, rows: Iterable[Row], docs: dict[str, str]) -> None:
        super().__init__(rows)
        self.docs = docs


def rows_of(items: Iterable[Any], *columns: Of) -> Rows:
    """A row for each item, with a cell for each column.

    Examples
    --------
    >>> rows_of([0.5, 2.0], Of("speed", "m/s", value=abs), Of("fast", value=lambda v: v > 1.0))
    [{'speed_m_s': 0.5, 'fast': False}, {'speed_m_s': 2.0, 'fast': True}]
    """
    cells = [(column.name, column.value or attrgetter(column.key)) for column in columns]
    docs = {column.name: column.doc for column in columns if column.doc}
    return Rows(({name: cell(item) for name, cell in cells} for item in items), docs)
