"""Plots of studies that change the machine: what fixes are worth, what a number does, what trims do."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..quantity import measure_key
from . import style
from .plots_common import (
    before_after,
    differences_in,
    finding,
    height,
    in_measures,
    light_grid,
    name_rows,
    some,
)

MOST_DOTS = 4000
MOST_FIXES = 24


# ---- compare


def gains(found: Any, ax: Any, measures: str) -> None:
    """The gain of every fix alone, and its worth in the company of the others."""
    measure = found.question.measure
    rows = [row for row in found.rows() if measure_key("gain", measure) in row][:MOST_FIXES]
    some(rows, "no fix could be computed")

    def column(key: str) -> Any:
        return differences_in([row.get(measure_key(key, measure), np.nan) for row in rows], measure, measures)

    alone, worth = column("gain"), column("worth")
    y = np.arange(len(rows))
    bad = [i for i, row in enumerate(rows) if str(row.get("remark", "")).startswith("not allowed")]
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
    for i, row in enumerate(rows):
        ax.text(max(ends[i], 0.0) + 0.025 * reach, i, f"{row['time_min']:g} min", va="center", fontsize=7.5)
    ax.set_xlim(low - 0.04 * reach, max(float(ends.max(initial=0.0)), 0.0) + 0.18 * reach)
    ax.axvline(0.0, color=style.INK, lw=0.7)
    name_rows(ax, [row["fix"] for row in rows])
    light_grid(ax)
    ax.set_xlabel(style.measure(f"gain: {style.plain(found.question.label, 40)}", measure, measures))
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, borderaxespad=0.2, handlelength=1.4)


def front(found: Any, ax: Any, measures: str) -> None:
    """Gain against working time: every set of fixes, and the sets that no other beats."""
    table = found.solved
    measure = found.question.measure
    gain = differences_in(table.gain, measure, measures)
    every = max(1, len(gain) // MOST_DOTS)
    may, must_not = np.flatnonzero(table.allowed)[::every], np.flatnonzero(~table.allowed)[::every]
    ax.plot(
        table.minutes[must_not],
        gain[must_not],
        ls="",
        marker="x",
        ms=3,
        color=style.MIST,
        label="not allowed",
        rasterized=len(must_not) > 800,
    )
    ax.plot(
        table.minutes[may],
        gain[may],
        ls="",
        marker="o",
        ms=2.2,
        color=style.TEAL,
        mew=0,
        label="a set of fixes",
        rasterized=len(may) > 800,
    )
    rows = found.tables().get("front", [])
    minutes = np.array([row["time_min"] for row in rows])
    best = differences_in([row[measure_key("gain", measure)] for row in rows], measure, measures)
    ax.step(minutes, best, where="post", color=style.DEEP)
    ax.plot(minutes, best, ls="", marker="s", ms=5, color=style.DEEP, label="beaten by none")
    if found.recommended and table.has(found.recommended):
        row = table.row(found.recommended)
        x, y = float(table.minutes[row]), float(gain[row])
        ax.plot(
            [x], [y], ls="", marker="*", ms=15, mfc=style.MARK, mec=style.PAPER, zorder=6, label="recommended"
        )
    if found.budget is not None:
        ax.axvline(found.budget, color=style.INK, ls=(0, (4, 2)), lw=1.0)
        ax.text(
            found.budget, 0.99, " time there is", transform=ax.get_xaxis_transform(), va="top", fontsize=7.5
        )
    ax.axhline(0.0, color=style.INK, lw=0.7)
    ax.set_xlabel("working time [min]")
    ax.set_ylabel(style.measure("gain", measure, measures))
    light_grid(ax, "both")
    ax.legend(
        loc="lower left",
        bbox_to_anchor=(-0.12, 1.0),
        ncols=4,
        borderaxespad=0.2,
        handlelength=1.0,
        columnspacing=1.0,
    )


def units_after(found: Any, ax: Any, measures: str) -> None:
    """Vacuum, opening air and duct air of every unit before and after the recommended fixes."""
    unit_rows(ax, some(found.units(), "the machine has no units"), measures)


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


SIZES = {
    "gains": lambda found: (style.WIDTH, height(min(len(found.rows()), MOST_FIXES), 1.1)),
    "front": (style.WIDTH, 3.3),
    "units_after": lambda found: (style.WIDTH, height(len(found.machine.layout.units), 1.1)),
}


# ---- sweep


def swept(found: Any, ax: Any, measures: str) -> None:
    """The answer over the number that is swept; where another unit becomes the weakest is marked."""
    asked = found.questions[0]
    x, order = _swept(found, measures)
    answer = in_measures(found.answers[asked.of], asked.measure, measures)[order]
    middle = np.array([style.middle(row) for row in answer])
    fine = np.array([not found.passed[v] for v in order])
    if found.machines > 1:
        ends = np.array([style.spread(row) for row in answer])
        ax.fill_between(x, ends[:, 0], ends[:, 1], color=style.MIST, lw=0, label="nine in ten")
    ax.plot(x, middle, color=style.DEEP, label="_")
    ax.plot(x[fine], middle[fine], ls="", marker="o", color=style.DEEP)
    if not fine.all():
        bad = ~fine
        ax.plot(x[bad], middle[bad], ls="", marker="X", ms=7, color=style.MARK, label="not allowed")
    if asked.of.startswith("weakest"):
        _mark_changes(found, ax, measures)
    ax.set_xlabel(_swept_label(found, measures))
    ax.set_ylabel(style.measure(style.plain(asked.label, 40), asked.measure, measures))
    light_grid(ax, "both")
    if ax.get_legend_handles_labels()[0]:
        ax.legend(loc="best")


def swept_units(found: Any, ax: Any, measures: str) -> None:
    """The vacuum of every unit over the number that is swept."""
    some(found.vacuum, "the machine has no units")
    x, order = _swept(found, measures)
    for i, (unit, values) in enumerate(found.vacuum.items()):
        rows = in_measures(values, "Pa", measures)[order]
        ax.plot(
            x,
            [style.middle(row) for row in rows],
            color=style.SERIES[i % len(style.SERIES)],
            ls=style.LINES[i % len(style.LINES)],
            marker=style.MARKERS[i % len(style.MARKERS)],
            markevery=max(1, len(x) // 9),
            label=f"unit {style.plain(unit, 14)}",
        )
    ax.set_xlabel(_swept_label(found, measures))
    ax.set_ylabel(style.measure("vacuum", "Pa", measures))
    light_grid(ax, "both")
    if len(found.vacuum) <= 12:
        ax.legend(loc="center left", bbox_to_anchor=(1.0, 0.5))


def swept_power(found: Any, ax: Any, measures: str) -> None:
    """The shaft power of all fans over the number that is swept."""
    x, order = _swept(found, measures)
    power = in_measures(found.power, "W", measures)[order]
    ax.plot(x, [style.middle(row) for row in power], color=style.PLUM, marker="D")
    bad = np.array([bool(found.passed[v]) for v in order])
    if bad.any():
        y = np.array([style.middle(row) for row in power])[bad]
        ax.plot(x[bad], y, ls="", marker="X", ms=8, color=style.MARK, zorder=4, label="not allowed")
        ax.legend(loc="best")
    ax.set_ylim(bottom=0.0)
    ax.set_xlabel(_swept_label(found, measures))
    ax.set_ylabel(style.measure("shaft power of all fans", "W", measures))
    light_grid(ax, "both")


def _swept(found: Any, measures: str) -> tuple[Any, Any]:
    """The values in rising order as they are shown, and that order."""
    order = np.argsort(found.values, kind="stable")
    return _as_shown(found, found.values[order], measures), order


def _as_shown(found: Any, values: Any, measures: str) -> Any:
    return np.asarray(values, float) if found.scaled else in_measures(values, found._suited, measures)


def _swept_label(found: Any, measures: str) -> str:
    name = style.plain(found.name, 46)
    return f"factor on {name}" if found.scaled else style.measure(name, found._suited, measures)


def _mark_changes(found: Any, ax: Any, measures: str) -> None:
    """A line where the weakest unit changes, the old one named on its left and the new one on its right."""
    changes = found.changes[:6]
    for i, change in enumerate(changes):
        x = float(_as_shown(found, [change.value], measures)[0])
        ax.axvline(x, color=style.MARK, lw=1.1, ls=(0, (4, 2)))
        place = {"transform": ax.get_xaxis_transform(), "fontsize": 7.5, "va": "bottom"}
        level = 0.02 + 0.07 * (i % 3)
        ax.text(x, level, f"unit {style.plain(change.before, 12)} ", ha="right", **place)
        ax.text(x, level, f" unit {style.plain(change.after, 12)}", ha="left", **place)
    if changes:
        finding(
            ax, "Which unit is weakest changes" if len(found.changes) == 1 else "The weakest unit changes"
        )
    elif found.weakest and found.weakest[0] and len(found.vacuum) > 1:
        finding(ax, f"Unit {style.cut(found.weakest[0], 20)} is weakest throughout")


SIZES |= {"swept": (style.WIDTH, 3.2), "swept_units": (style.WIDTH, 3.2), "swept_power": (style.WIDTH, 3.0)}


# ---- balance


def balanced(found: Any, ax: Any, measures: str) -> None:
    """Vacuum, opening air and duct air of every unit before and after the trims are set."""
    rows = found.rows()
    if rows and "unit" in rows[0]:
        unit_rows(ax, rows, measures)
        return
    measure = found.questions[0].measure
    before, after = ([row[measure_key(key, measure)] for row in rows] for key in ("before", "after"))
    label = "answer" if len(rows) > 1 else found.questions[0].label
    before_after(ax, [row["of"] for row in rows], [(style.plain(label), measure, before, after)], measures)


def trims(found: Any, ax: Any, measures: str) -> None:
    """Where every trim stands between its limits, before and after."""
    rows = found.trim_rows()[:40]
    low = np.array([row["low"] for row in rows])
    span = np.maximum(np.array([row["high"] for row in rows]) - low, 1e-300)
    y = np.arange(len(rows))
    old = (np.array([row["before"] for row in rows]) - low) / span
    new = (np.array([row["value"] for row in rows]) - low) / span
    ax.hlines(y, 0.0, 1.0, color=style.MIST, lw=5.0, zorder=1)
    ax.plot(old, y, ls="", marker="o", mfc=style.PAPER, mec=style.DEEP, mew=1.3, label="before", zorder=3)
    ax.plot(new, y, ls="", marker="D", color=style.MARK, label="set", zorder=4)
    for i, row in enumerate(rows):
        limit, small = {"m": (0.5, "mm"), "m2": (0.1, "cm2")}.get(row["measure"], (0.0, ""))
        spelled = small if abs(row["value"]) < limit else row["measure"]
        ax.text(
            max(1.0, new[i]) + 0.05,
            i,
            style.shown(row["value"], spelled, measures),
            va="center",
            fontsize=7.5,
        )
    ax.set_xlim(min(-0.03, float(old.min(initial=0.0)) - 0.05), 1.35)
    ax.set_xticks([0.0, 1.0], ["low limit", "high limit"])
    name_rows(ax, [row["number"] for row in rows])
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)


SIZES |= {
    "balanced": lambda found: (style.WIDTH, height(len(found.rows()), 1.1)),
    "trims": lambda found: (style.WIDTH, height(len(found.dials), 1.1)),
}
