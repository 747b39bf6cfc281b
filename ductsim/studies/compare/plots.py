"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...display import style
from ...display.charts import (
    differences_in,
    height,
    legend,
    light_grid,
    name_rows,
    some,
    unit_rows,
)
from ...display.presentation import Plot
from ...fixes.sets import NOT_ALLOWED
from ...quantity import measure_key
from .result import Comparison
from .rows import by_worth, fix_rows, front_rows

MOST_DOTS = 4000
MOST_FIXES = 24


def gains(found: Comparison, ax: Any, measures: str) -> None:
    """The gain of every fix alone, and its worth in the company of the others."""
    measure = found.question.measure
    shown = some(by_worth(found), "no fix could be computed")[:MOST_FIXES]
    rows = fix_rows(found)[: len(shown)]

    def column(key: str) -> Any:
        return differences_in([row.get(measure_key(key, measure), np.nan) for row in rows], measure, measures)

    alone, worth = column("gain"), column("worth")
    y = np.arange(len(rows))
    alone_is = [found.sure.verdict(found.sure.row(1 << k)) for k in shown]
    bad = [i for i, verdict in enumerate(alone_is) if verdict == NOT_ALLOWED]
    for i in y:
        ax.barh(
            i,
            np.nan_to_num(alone[i]),
            height=0.6,
            color=style.MIST if i in bad else style.DEEP,
            hatch="xxx" if i in bad else None,
            lw=0,
            label="alone"
            if i == next((k for k in y if k not in bad), -1)
            else "not allowed"
            if bad[:1] == [i]
            else None,
        )
    ranges = column("gain_low"), column("gain_high")
    ends = np.nan_to_num(np.fmax.reduce([alone, worth, ranges[1]]))
    if np.isfinite(ranges[0]).any():
        ax.hlines(y, *ranges, color=style.PAPER, lw=3.0, zorder=4)
        ax.hlines(y, *ranges, color=style.INK, lw=1.2, label="nine in ten", zorder=4)
    ax.plot(
        worth,
        y,
        ls="",
        marker="D",
        mfc=style.MARK,
        mec=style.PAPER,
        mew=0.8,
        ms=6.5,
        label="in company",
        zorder=5,
    )
    low = float(min(np.nan_to_num(np.fmin.reduce([alone, worth, ranges[0]])).min(initial=0.0), 0.0))
    reach = max(float(ends.max(initial=0.0)) - low, 1e-30)
    for k, row in enumerate(rows):
        ax.text(max(ends[k], 0.0) + 0.04 * reach, k, f"{row['time_min']:g} min", va="center", fontsize=7.5)
    ax.set_xlim(low - 0.04 * reach, max(float(ends.max(initial=0.0)), 0.0) + 0.18 * reach)
    ax.axvline(0.0, color=style.INK, lw=0.7)
    name_rows(ax, [row["fix"] for row in rows])
    light_grid(ax)
    ax.set_xlabel(style.measure(f"gain: {style.plain(found.question.label, 40)}", measure, measures))
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, borderaxespad=0.2, handlelength=1.4)


def front(found: Comparison, ax: Any, measures: str) -> None:
    """Gain against working time: every set of fixes, and the sets that no other beats."""
    solved = found.solved
    measure = found.question.measure
    gain = differences_in(solved.gain, measure, measures)
    every = max(1, len(gain) // MOST_DOTS)
    may, must_not = np.flatnonzero(solved.allowed)[::every], np.flatnonzero(~solved.allowed)[::every]
    ax.plot(
        solved.minutes[must_not],
        gain[must_not],
        ls="",
        marker="x",
        ms=3,
        color=style.MIST,
        label="not allowed",
        rasterized=len(must_not) > 800,
    )
    ax.plot(
        solved.minutes[may],
        gain[may],
        ls="",
        marker="o",
        ms=2.2,
        color=style.TEAL,
        mew=0,
        label="a set of fixes",
        rasterized=len(may) > 800,
    )
    rows = front_rows(found)
    minutes = np.array([row["time_min"] for row in rows])
    best = differences_in([row[measure_key("gain", measure)] for row in rows], measure, measures)
    ax.step(minutes, best, where="post", color=style.PAPER, lw=3.5)  # above the crowd of all sets
    ax.step(minutes, best, where="post", color=style.DEEP)
    look = {"marker": "s", "ms": 4.5, "mec": style.PAPER, "mew": 0.6, "color": style.DEEP}
    ax.plot(minutes, best, ls="", label="beaten by none", **look)
    if found.recommended and solved.has(found.recommended):
        row = solved.row(found.recommended)
        x, y = float(solved.minutes[row]), float(gain[row])
        ax.plot(
            [x], [y], ls="", marker="*", ms=15, mfc=style.MARK, mec=style.PAPER, zorder=6, label="recommended"
        )
    if found.budget is not None:
        ax.axvline(found.budget, color=style.INK, ls=(0, (4, 2)), lw=1.0, label="time there is")
    ax.axhline(0.0, color=style.INK, lw=0.7)
    ax.set_xlabel("working time [min]")
    ax.set_ylabel(style.measure("gain", measure, measures))
    light_grid(ax, "both")
    legend(ax, 3)


def units_after(found: Comparison, ax: Any, measures: str) -> None:
    """Vacuum, opening air and duct air of every unit before and after the recommended fixes."""
    unit_rows(ax, some(found.units(), "the machine has no units"), measures)


PLOTS = {
    "gains": Plot(
        gains,
        "Gain of each fix alone, and its worth in company",
        lambda found: (style.WIDTH, height(min(len(found.fixes), MOST_FIXES), 1.1)),
    ),
    "front": Plot(front, "Gain against working time, all sets of fixes", (style.WIDTH, 3.6)),
    "units": Plot(
        units_after,
        "Every unit before and after the recommended fixes",
        lambda found: (style.WIDTH, height(len(found.machine.layout.units), 1.1)),
    ),
}
