"""What several plots share: rows of bars and points with their names, before and after."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ..errors import InputError
from ..quantity import display_measure, from_si, measure_key
from . import style

TITLE = 90  # letters of a title, which goes on below itself where the picture is narrow
MOST_UNKNOWNS = 30
MOST_SUSPECTS = 12
ROW = 0.25  # inches for a row of a plot with names at its side


def height(rows: int, more: float = 1.0) -> float:
    """Height of a plot with so many rows [in]."""
    return min(more + ROW * max(rows, 2), 40.0)


def name_rows(ax: Any, names: Sequence[object], longest: int = 30) -> None:
    """Names down the left side, the first on top, without ticks."""
    ax.set_ylim(len(names) - 0.4, -0.6)
    if len(names) > 60:  # too many to read: numbers every so often
        step = math.ceil(len(names) / 40)
        ax.set_yticks(range(0, len(names), step), [style.plain(n, longest) for n in names[::step]])
    else:
        ax.set_yticks(range(len(names)), [style.plain(name, longest) for name in names])
    ax.tick_params(axis="y", length=0)
    ax.spines["left"].set_visible(False)


def no_names(ax: Any, count: int) -> None:
    """The same rows as the panel to the left, without names."""
    ax.set_ylim(count - 0.4, -0.6)
    ax.set_yticks([])
    ax.spines["left"].set_visible(False)


def light_grid(ax: Any, axis: str = "x") -> None:
    """Thin lines to read values by."""
    ax.grid(axis=axis)


def few_ticks(ax: Any, count: int = 4, axis: str = "x") -> None:
    """At most so many ticks, at round numbers."""
    from matplotlib.ticker import MaxNLocator

    (ax.xaxis if axis == "x" else ax.yaxis).set_major_locator(MaxNLocator(count, steps=[1, 2, 5, 10]))


def in_measures(values: Any, si_measure: str, measures: str) -> Any:
    """SI values as an array of numbers to show."""
    spelled = display_measure(si_measure, measures)
    return np.asarray(from_si(np.asarray(values, dtype=float), spelled), dtype=float)


def differences_in(values: Any, si_measure: str, measures: str) -> Any:
    """SI differences as numbers to show: without the zero of a scale of temperature."""
    spelled = display_measure(si_measure, measures)
    values = np.asarray(values, dtype=float)
    return np.asarray(from_si(values, spelled) - np.asarray(from_si(0.0, spelled)), dtype=float)


def bars(
    ax: Any,
    values: Any,
    marked: Sequence[int] = (),
    low: Any = None,
    high: Any = None,
    colour: str = style.DEEP,
    texts: Sequence[str] | None = None,
    most: float = np.inf,
) -> None:
    """A level bar for every row, the marked ones in their own colour and hatched, each with its number.

    The axis ends at `most`, where there can be no more.
    """
    values = np.asarray(values, dtype=float)
    known = np.nan_to_num(values)
    for i, value in enumerate(known):
        weak = i in marked
        ax.barh(
            i,
            value,
            height=0.62,
            color=style.MARK if weak else colour,
            hatch=style.WEAK_HATCH if weak else None,
            lw=0,
        )
    ends = known
    if low is not None:
        low, high = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
        some = np.isfinite(low) & np.isfinite(high)
        rows = np.flatnonzero(some)
        ax.hlines(rows, low[some], high[some], color=style.INK, lw=1.3, zorder=4)
        for end in (low, high):
            ax.plot(end[some], rows, ls="", marker="|", ms=6, color=style.INK, zorder=4)
        ends = np.where(some, high, known)
    if len(values) <= 40:
        texts = texts or [style.number(v) for v in values]
        reach = float(np.max(np.abs(ends), initial=0.0)) or 1.0
        for i, (end, text) in enumerate(zip(ends, texts, strict=True)):
            ax.text(max(end, 0.0) + 0.03 * reach, i, text, va="center", fontsize=7.5)
        left = float(min(np.min(known, initial=0.0), 0.0))
        ax.set_xlim(1.08 * left, min(max(ends.max(initial=0.0), 0.0) + 0.36 * reach, most))
    ax.axvline(0.0, color=style.INK, lw=0.7)


def before_after(
    ax: Any,
    names: Sequence[object],
    columns: Sequence[tuple[str, str, Any, Any]],
    measures: str,
    words: tuple[str, str] = ("before", "after"),
    mark_row: int | None = None,
) -> None:
    """Panels side by side, in each a row for every name with its value before and after.

    `columns` holds (words, SI measure, values before, values after).
    """
    panes = style.panels(ax, [1.0] * len(columns), 0.07)
    for k, (pane, (label, measure, before, after)) in enumerate(zip(panes, columns, strict=True)):
        old, new = in_measures(before, measure, measures), in_measures(after, measure, measures)
        rows = np.arange(len(names))
        pane.hlines(rows, old, new, color=style.MIST, lw=3.0, zorder=1)
        pane.plot(old, rows, ls="", marker="o", mfc=style.PAPER, mec=style.DEEP, mew=1.3, label=words[0])
        pane.plot(new, rows, ls="", marker="D", color=style.MARK, label=words[1])
        if k == 0:
            name_rows(pane, names, 16 if len(columns) > 1 else 34)
        else:
            no_names(pane, len(names))
        pane.set_xlabel(style.measure(label, measure, measures))
        pane.margins(x=0.12)
        few_ticks(pane, 3)
        light_grid(pane)
        if mark_row is not None:
            pane.axhspan(mark_row - 0.42, mark_row + 0.42, color="#fbeee6", zorder=0)
    panes[0].legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)


def finding(ax: Any, words: str) -> None:
    """What the picture shows, above it, on as many lines as it takes."""
    ax.set_title(style.plain(words, TITLE), wrap=True)


def legend(ax: Any, columns: int = 2, lines_below: int = 2, **options: Any) -> None:
    """A legend below the picture, where nothing is drawn, of what is drawn; none where that is nothing.

    `lines_below` is how many lines of text stand between: numbers, and words below them.
    """
    from matplotlib.transforms import ScaledTranslation

    handles, labels = ax.get_legend_handles_labels()
    some = [(own, word) for own, word in zip(handles, labels, strict=True) if _is_drawn(own)]
    if not some:
        return
    down = ScaledTranslation(0.0, -(8.0 + 13.0 * lines_below) / 72.0, ax.get_figure().dpi_scale_trans)
    ax.legend(
        *zip(*some, strict=True),
        loc="upper left",
        bbox_to_anchor=(0.0, 0.0),
        bbox_transform=ax.transAxes + down,
        ncols=columns,
        borderaxespad=0.0,
        **options,
    )


def _is_drawn(artist: Any) -> bool:
    """Whether an entry of a legend has anything in the picture."""
    points = getattr(artist, "get_xdata", None)
    return points is None or bool(np.isfinite(np.asarray(points(), dtype=float)).any())


def steady(ax: Any, values: Any, share: float = 0.05) -> None:
    """Level limits no closer than a share of what is drawn, so that next to no change looks like none."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    if not known.size:
        return
    low, high = float(known.min()), float(known.max())
    least = share * max(abs(low), abs(high))
    if high - low < least:
        middle = 0.5 * (low + high)
        ax.set_ylim(middle - 0.5 * least, middle + 0.5 * least)


def some(rows: Any, why_not: str) -> Any:
    """The rows, of which there has to be one at least.

    Raises
    ------
    InputError
        Where there is nothing to draw, saying why.
    """
    if not len(rows):
        raise InputError(f"there is nothing to draw: {why_not}", place="plot")
    return rows


def unit_rows(ax: Any, rows: list[dict[str, Any]], measures: str) -> None:
    """Rows with `vacuum_before_Pa` and the like, drawn unit by unit."""
    columns = [
        (
            words,
            measure,
            [row[measure_key(f"{key}_before", measure)] for row in rows],
            [row[measure_key(f"{key}_after", measure)] for row in rows],
        )
        for key, words, measure in (
            ("vacuum", "vacuum", "Pa"),
            ("opening_air", "opening air", "kg/s"),
            ("duct_air", "duct air", "kg/s"),
        )
    ]
    weakest = int(np.nanargmin(columns[0][2])) if rows else None
    before_after(ax, [f"unit {row['unit']}" for row in rows], columns, measures, mark_row=weakest)


def reading_name(row: Mapping[str, Any]) -> str:
    """Where and how a reading was taken, short enough for the side of a plot."""
    return f"{style.cut(row['where'], 18)}, {style.cut(row['how'], 20)}" if row["how"] else str(row["where"])
