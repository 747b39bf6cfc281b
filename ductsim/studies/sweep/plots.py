"""Its pictures."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np

from ...display import style
from ...display.charts import (
    finding,
    in_measures,
    legend,
    light_grid,
    some,
    steady,
)
from ...display.presentation import Plot
from ...questions.vocabulary import Question
from .result import Sweep

MOST_QUESTIONS = 4
PANE = 2.2  # inches of height for each question, where there are several


def swept(found: Sweep, ax: Any, measures: str) -> None:
    """The answers over the number that is swept, one below the other; a new weakest unit is marked."""
    asked = found.questions[:MOST_QUESTIONS]
    panes = [ax] if len(asked) == 1 else style.stacked(ax, len(asked))
    for pane, own in zip(panes, asked, strict=True):
        _one_answer(found, own, pane, measures)
        if pane is not panes[-1]:
            pane.set_xticklabels([])
            pane.set_xlabel("")
    legend(panes[-1], 2)


def _one_answer(found: Sweep, asked: Question, ax: Any, measures: str) -> None:
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
    label = style.measure(style.plain(asked.label, 40), asked.measure, measures)
    ax.set_ylabel(textwrap.fill(label, 22) if len(found.questions) > 1 else label)
    light_grid(ax, "both")
    steady(ax, middle if found.machines == 1 else ends)


def swept_units(found: Sweep, ax: Any, measures: str) -> None:
    """The vacuum of every unit over the number that is swept."""
    some(found.vacuum, "the machine has no units")
    x, order = _swept(found, measures)

    def shown(values: Any) -> Any:
        return in_measures(values, "Pa", measures)[order]

    for i, (unit, values) in enumerate(found.vacuum.items()):
        rows = shown(values)
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
    steady(ax, [style.middle(row) for values in found.vacuum.values() for row in shown(values)])
    if len(found.vacuum) <= 12:
        legend(ax, 4)


def swept_power(found: Sweep, ax: Any, measures: str) -> None:
    """The shaft power of all fans over the number that is swept."""
    x, order = _swept(found, measures)
    power = in_measures(found.power, "W", measures)[order]
    ax.plot(x, [style.middle(row) for row in power], color=style.PLUM, marker="D")
    bad = np.array([bool(found.passed[v]) for v in order])
    if bad.any():
        y = np.array([style.middle(row) for row in power])[bad]
        ax.plot(x[bad], y, ls="", marker="X", ms=8, color=style.MARK, zorder=4, label="not allowed")
        legend(ax)
    ax.set_ylim(0.0, 1.1 * float(np.nanmax(power)))
    ax.set_xlabel(_swept_label(found, measures))
    ax.set_ylabel(style.measure("shaft power of all fans", "W", measures))
    light_grid(ax, "both")


def _swept(found: Sweep, measures: str) -> tuple[Any, Any]:
    """The values in rising order as they are shown, and that order."""
    order = np.argsort(found.values, kind="stable")
    return _as_shown(found, found.values[order], measures), order


def _as_shown(found: Sweep, values: Any, measures: str) -> Any:
    return np.asarray(values, float) if found.scaled else in_measures(values, found.shown_measure, measures)


def _swept_label(found: Sweep, measures: str) -> str:
    name = style.plain(found.name, 46)
    return f"factor on {name}" if found.scaled else style.measure(name, found.shown_measure, measures)


def _mark_changes(found: Sweep, ax: Any, measures: str) -> None:
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


PLOTS = {
    "answer": Plot(
        swept,
        "The answers over the number that is swept",
        lambda found: (style.WIDTH, max(3.2, PANE * min(len(found.questions), MOST_QUESTIONS))),
    ),
    "units": Plot(swept_units, "The vacuum of every unit over it", (style.WIDTH, 3.4)),
    "power": Plot(swept_power, "The shaft power over it", (style.WIDTH, 3.0)),
}
