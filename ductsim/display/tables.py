"""The one place that turns rows into text, HTML, JSON and DataFrames.

A row is a plain dict whose keys carry their measure (`vacuum_Pa`). Rows of unlike quantities have a
`measure` of their own, which holds for their `value` and the like (`OWN_MEASURE`). No way of showing drops
a row; a text table too wide for the page goes on below, its first column repeated.
"""

from __future__ import annotations

import math
import re
import textwrap
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import visible
from ..quantity import SUITED, convert, display_measure, key_measure, suited
from .figures import BLANK, figure, figures, is_number
from .rows import Rows

if TYPE_CHECKING:
    import pandas as pd

Row = Mapping[str, Any]
WIDTH = 100
GAP = "  "

OWN_MEASURE = (
    "value",
    "low",
    "likely",
    "high",
    "before",
    "after",
    "measured",
    "predicted",
    "estimate",
    "reduced",
    "fitted",
    "mean",
    "least",
    "expected",
)
OWN_DIFFERENCE = ("sd", "change", "difference", "residual", "gain", "loss", "error")
UNSURE = frozenset(("sd", "low", "high", "p50"))  # rows with one of these show three digits, not four
SHARES = ("share", "chance")  # words of keys whose ratios read better in per cent; and "spread" itself
HTML_ROWS = 40
_RIGHT = ' class="number" style="text-align:right"'
LONGEST_WORD = 30  # characters of a word that are kept together where room is short
HIGHEST = 6  # lines that a row of few columns may take before its long texts are set as a small page
FEW = 5


@dataclass(frozen=True)
class Column:
    """One column as it is shown.

    Attributes
    ----------
    key : str
        The key of the rows.
    words : str
        What it is, in words.
    measure : str
        The measure of its cells; empty where they have none, or each its own.
    values : list
        Converted numbers, texts or None, one for each row.
    """

    key: str
    words: str
    measure: str
    values: list[Any]

    @property
    def numeric(self) -> bool:
        """Whether the column holds numbers."""
        known = [v for v in self.values if v is not None and v != ""]
        return bool(known) and all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in known)

    @property
    def blank(self) -> bool:
        """Whether no row has anything here."""
        return all(v is None or v == "" for v in self.values)


# ---- rows to columns


def columns(rows: Sequence[Row], measures: str = "metric") -> list[Column]:
    """The rows as columns in the order in which keys appear, numbers in the system of measures asked for.

    Raises
    ------
    UnknownName
        For a system of measures that is neither "metric" nor "inch".
    """
    display_measure("m", measures)  # refuses an unknown system, even with no rows
    keys = list(dict.fromkeys(key for row in rows for key in row))
    own = "measure" in keys and any(map(_is_own, keys))
    return [_column(key, rows, measures, own) for key in keys]


def _column(key: str, rows: Sequence[Row], measures: str, own: bool) -> Column:
    values = [plain(row.get(key)) for row in rows]
    if own and key == "measure":
        shown = [_own_measure(row, measures) for row in rows]
        return Column(key, "", "", shown)
    if own and key == "derivative":
        return Column(key, "derivative", "SI", values)
    if own and _is_own(key) and not all(isinstance(value, int) for value in values):
        cells = [_in_own(value, row, key, measures) for value, row in zip(values, rows, strict=True)]
        return Column(key, _words(key), "", cells)
    name, measure = key_measure(key)
    if not measure:
        if _is_share(key) and all(is_number(v) or v is None for v in values):
            return Column(key, _words(key), "%", [None if v is None else plain(100.0 * v) for v in values])
        return Column(key, _words(key), "", values)
    label = display_measure(measure, measures)
    cells = [plain(convert(value, measure, label)) if is_number(value) else value for value in values]
    return Column(key, _words(name), label, cells)


def _is_own(key: str) -> bool:
    """Whether a key stands for a number in its row's own measure, a quantile ("p97.5") among them."""
    word = key.rpartition("_")[2]
    if _is_share(key) or key_measure(key)[1]:
        return False
    return word in OWN_MEASURE or word in OWN_DIFFERENCE or re.fullmatch(r"p\d+(\.\d+)?", key) is not None


def _is_share(key: str) -> bool:
    return key == "spread" or any(word in SHARES for word in key.split("_"))


def _words(key: str) -> str:
    return key.replace("_", " ").strip()


def _own_measure(row: Row, measures: str) -> str:
    """The measure in which a row of unlike quantities shows its numbers: one that suits the largest."""
    measure = str(row.get("measure") or "")
    if measure in SUITED:
        measure = suited(measure, _largest(row))
    try:
        return display_measure(measure, measures)
    except ValueError:  # a coefficient's own measure, of which no list knows
        return measure


def _largest(row: Row) -> float:
    """The size of the largest of a row's own numbers, SI; 0 where there is none."""
    cells = [plain(value) for key, value in row.items() if _is_own(key)]
    numbers = [item for cell in cells for item in (cell if isinstance(cell, list) else [cell])]
    return max((abs(item) for item in numbers if isinstance(item, float)), default=0.0)


def _in_own(value: Any, row: Row, key: str, measures: str) -> Any:
    """A row's own number, or list of numbers, as a text in the row's own measure.

    The numbers of a row get the decimals that suit its largest one.
    """
    if isinstance(value, list):
        return ", ".join(str(_in_own(item, row, key, measures)).replace(",", "") for item in value)
    if not is_number(value):
        return value
    label = _own_measure(row, measures)
    numbers = [
        _converted(row[k], row, k, label) for k in row if _is_own(k) and isinstance(plain(row[k]), float)
    ]
    largest = max(map(abs, numbers), default=0.0)
    shown = _converted(value, row, key, label)
    digits = 4 if UNSURE.isdisjoint(key.rpartition("_")[2] for key in row) else 3
    if shown == 0.0 or abs(shown) >= 1e-2 * largest:
        return figure(shown, digits)
    return figure(round(shown, digits - math.floor(math.log10(largest))), digits)


def _converted(value: Any, row: Row, key: str, label: str) -> float:
    """A row's own number in another spelling of its measure; differences have no zero to shift."""
    measure = str(row.get("measure") or "")
    if label == measure:
        return float(value)
    shown = convert(value, measure, label)
    if key.rpartition("_")[2] in OWN_DIFFERENCE:
        shown -= convert(0.0, measure, label)
    return float(shown)


# ---- single values


def plain(value: Any) -> Any:
    """A value as JSON knows it: NumPy scalars as Python's own, NaN and infinity as None, lists of such."""
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, (str, bool, int)):
        return value
    if isinstance(value, np.ndarray):
        return [plain(item) for item in value.tolist()]
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(item) for item in value]
    return str(value)


def _cell(value: Any) -> str:
    if value is None:
        return BLANK
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):
        return ", ".join(map(_cell, value))
    if isinstance(value, float):
        return figure(value)
    if isinstance(value, dict):
        return ", ".join(f"{key} = {_cell(item)}" for key, item in value.items())
    return visible(str(value))


# ---- text


def text(rows: Sequence[Row], measures: str = "metric", width: int = WIDTH) -> str:
    """The rows as an aligned text table of at most `width` characters a line.

    Numbers stand right, texts left; the measure of a column stands under its words. Columns in which no
    row has anything are left out. A table too wide for the page is continued below itself.
    """
    shown = [column for column in columns(rows, measures) if not column.blank]
    if not shown:
        return "(none)"
    laid = [_Laid(column) for column in shown]
    blocks = _blocks(laid, width)
    if len(laid) <= FEW and any(_height(block, len(rows)) > HIGHEST for block in blocks):
        return "\n\n".join(_record(laid, row, width) for row in range(len(rows)))
    return "\n\n".join(_block(block, len(rows)) for block in blocks)


class _Laid:
    """A column laid out: its cells as texts and its width."""

    def __init__(self, column: Column) -> None:
        own = figures(column.values, column.measure) if column.numeric else None
        self.cells = own or ["" if v == "" else _cell(v) for v in column.values]
        short = max(map(_wide, self.cells)) <= LONGEST_WORD  # longer ones may have to be broken
        numbers = short and _all_figures(column) and not any(map(_is_list, column.values))
        self.right = column.numeric or numbers
        self.words, self.measure = column.words, column.measure
        body = max(map(_wide, [*self.cells, self.measure]))
        self.width = max(body, _wide(self.words))  # all on one line
        word = max(map(_wide, self.words.split()), default=0)
        self.narrow = max(body, min(word, LONGEST_WORD))  # its words below each other
        longest = max((_wide(word) for cell in self.cells for word in cell.split()), default=0)
        self.least = self.narrow if self.right else min(self.narrow, max(14, min(longest, LONGEST_WORD)))

    def header(self) -> list[str]:
        lines = textwrap.wrap(self.words, self.width, break_long_words=True) or [""]
        return [*lines, self.measure] if self.measure else lines

    def broken(self, row: int) -> list[str]:
        cell = self.cells[row]
        return [cell] if _wide(cell) <= self.width else textwrap.wrap(cell, self.width) or [""]


def _all_figures(column: Column) -> bool:
    """Whether a column of texts holds numbers, each in its own measure."""
    return _is_own(column.key)


def _is_list(cell: Any) -> bool:
    return isinstance(cell, str) and ", " in cell


def _wide(text: str) -> int:
    """How many places a text takes on a terminal."""
    if text.isascii():
        return len(text)
    return sum(
        0 if unicodedata.combining(c) else 2 if unicodedata.east_asian_width(c) in "WF" else 1 for c in text
    )


def _blocks(laid: list[_Laid], width: int) -> list[list[_Laid]]:
    """The columns in one block that fits, or in several that begin with the same column."""
    if _total(laid) <= width:
        return [laid]
    for column in laid:
        column.width = column.narrow
    if _total(laid) <= width or _squeezed(laid, width):
        return [laid]
    first, *rest = laid
    blocks: list[list[_Laid]] = []
    block = [first]
    for column in rest:
        if len(block) > 1 and _total([*block, column], least=True) > width:
            blocks.append(block)
            block = [copy(first)]  # each block has its own width of it
        block.append(column)
    blocks.append(block)
    for block in blocks:
        for column in block:
            column.width = column.narrow
        _squeezed(block, width)
    return blocks


def _total(laid: Iterable[_Laid], least: bool = False) -> int:
    widths = [column.least if least else column.width for column in laid]
    return sum(widths) + len(GAP) * (len(widths) - 1)


def _squeezed(laid: list[_Laid], width: int) -> bool:
    """Take from the widest columns of text until the block fits; False when it cannot."""
    room = width - _total(laid)
    for cap in range(max(column.width for column in laid), 0, -1):
        if room >= 0:
            return True
        for column in laid:
            if column.width > max(cap, column.least):
                column.width -= 1
                room += 1
    return room >= 0


def _block(laid: list[_Laid], rows: int) -> str:
    headers = [column.header() for column in laid]
    high = max(map(len, headers))
    lines = []
    for line in range(high):
        cells = [h[line - high + len(h)] if line >= high - len(h) else "" for h in headers]
        lines.append(_line(laid, cells))
    lines.append(GAP.join("-" * column.width for column in laid))
    for row in range(rows):
        broken = [column.broken(row) for column in laid]
        for line in range(max(map(len, broken))):
            lines.append(_line(laid, [cell[line] if line < len(cell) else "" for cell in broken]))
    return "\n".join(lines)


def _height(laid: list[_Laid], rows: int) -> int:
    """How many lines the highest row takes."""
    return max((len(column.broken(row)) for column in laid for row in range(rows)), default=0)


def _record(laid: list[_Laid], row: int, width: int) -> str:
    """One row of long texts as a small page: its first cell as the heading, the others below, named."""
    names = [f"{column.words} {f'[{column.measure}]' * bool(column.measure)}".strip() for column in laid]
    indent = max(map(_wide, names[1:]), default=0) + 4
    lines = [laid[0].cells[row]]
    for column, name in zip(laid[1:], names[1:], strict=True):
        start = "  " + name + " " * (indent - 2 - _wide(name))
        cell = column.cells[row]
        lines += textwrap.wrap(
            cell, width, initial_indent=start, subsequent_indent=" " * indent, break_on_hyphens=False
        ) or [start.rstrip()]
    return "\n".join(lines)


def _line(laid: list[_Laid], cells: list[str]) -> str:
    padded = []
    for column, cell in zip(laid, cells, strict=True):
        space = " " * (column.width - _wide(cell))
        padded.append(space + cell if column.right else cell + space)
    return GAP.join(padded).rstrip()


# ---- DataFrame, HTML, JSON


def frame(rows: Sequence[Row], measures: str = "") -> pd.DataFrame:
    """The rows as a DataFrame, keys as columns, in SI as the keys say; `attrs["columns"]` says what they are.

    With `measures` "metric" or "inch" in those, the columns headed by their words and measure.
    """
    import pandas as pd

    if isinstance(measures, str) and not measures:
        made = pd.DataFrame(list(rows))
        if isinstance(rows, Rows) and rows.docs:
            made.attrs["columns"] = dict(rows.docs)
        return made
    shown = columns(rows, measures)
    return pd.DataFrame({f"{c.words} [{c.measure}]" if c.measure else c.words: c.values for c in shown})


def escaped(words: str) -> str:
    """Words as HTML shows them: no markup in them, no control characters."""
    from html import escape

    return escape(visible(words))


def html(sentences: Iterable[str], rows: Sequence[Row], measures: str = "metric") -> str:
    """Sentences and a table for a notebook; of a long table the first rows, and how many more there are."""
    said = "".join(f"<p>{escaped(s)}</p>" for s in sentences)
    rest = len(rows) - HTML_ROWS
    more = f"<p>{rest:,} more rows in <code>.table()</code></p>" if rest > 0 else ""
    return f"<div>{said}{html_table(rows[:HTML_ROWS], measures)}{more}</div>"


def html_table(rows: Sequence[Row], measures: str = "metric") -> str:
    """The rows as an HTML table, everything escaped; numbers carry the class `number`."""
    shown = [column for column in columns(rows, measures) if not column.blank]
    if not shown:
        return ""
    laid = [_Laid(column) for column in shown]
    head = "".join(
        f'<th scope="col"{_RIGHT if own.right else ""}>{_header(column)}</th>'
        for column, own in zip(shown, laid, strict=True)
    )
    body = "".join(
        "<tr>" + "".join(_html_cell(column, row) for column in laid) + "</tr>" for row in range(len(rows))
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _header(column: Column) -> str:
    measure = f"<br>{escaped(column.measure)}" if column.measure else ""
    return escaped(column.words) + measure


def _html_cell(column: _Laid, row: int) -> str:
    cell = escaped(column.cells[row])
    return f"<td{_RIGHT}>{cell}</td>" if column.right else f"<td>{cell}</td>"


def json_rows(rows: Iterable[Row]) -> list[dict[str, Any]]:
    """The rows as JSON holds them: in the measures that their keys say, NaN as null."""
    return [{key: plain(value) for key, value in row.items()} for row in rows]
