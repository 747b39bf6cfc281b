"""Its pictures."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np

from ...display import style
from ...display.charts import bars, finding, height, in_measures, legend, light_grid, name_rows, some
from ...display.presentation import Plot
from .result import Ensemble

MOST_QUESTIONS = 3


MOST_SHARES = 14


def answers(found: Ensemble, ax: Any, measures: str) -> None:
    """How often each answer comes out: a histogram, the middle 95 of 100 marked."""
    asked = found.questions[:MOST_QUESTIONS]
    panes = [ax] if len(asked) == 1 else style.panels(ax, [1.0] * len(asked), 0.08)
    for pane, words in zip(panes, asked, strict=True):
        values = in_measures(found.answer(words.of), words.measure, measures)
        _histogram(pane, values[np.isfinite(values)], len(asked) > 1)
        label = style.measure(style.plain(words.label, 40), words.measure, measures)
        pane.set_xlabel(label if len(asked) == 1 else textwrap.fill(label, 18))
    panes[0].set_ylabel("share of all machines [%]" if len(asked) == 1 else "how often")
    finding(ax, f"{len(found):,} machines within their spreads")


def _histogram(ax: Any, values: Any, small: bool) -> None:
    if not values.size:
        ax.text(0.5, 0.5, "no answers", ha="center", transform=ax.transAxes)
        return
    low, middle, high = np.quantile(values, (0.025, 0.5, 0.975))
    ends = np.quantile(values, (0.001, 0.999))
    if ends[1] <= ends[0]:
        ends = np.array([middle - 1e-9 - 0.01 * abs(middle), middle + 1e-9 + 0.01 * abs(middle)])
    counts, edges = np.histogram(
        np.clip(values, *ends), bins=min(40, max(8, values.size // 25)), range=tuple(ends)
    )
    share = 100.0 * counts / values.size
    centres = 0.5 * (edges[1:] + edges[:-1])
    inside = (centres >= low) & (centres <= high)
    width = 0.92 * np.diff(edges)
    ax.bar(centres[~inside], share[~inside], width[~inside], color=style.MIST, lw=0)
    ax.bar(centres[inside], share[inside], width[inside], color=style.DEEP, lw=0)
    top = 1.2 * float(share.max())
    ax.plot([middle, middle], [0.0, 0.92 * top], color=style.MARK, lw=1.8)
    ax.text(middle, 0.94 * top, style.number(middle), ha="center", va="bottom", fontsize=8, fontweight="bold")
    for end, side in ((low, "right"), (high, "left")):
        ax.plot([end, end], [0.0, 0.6 * top], color=style.INK, lw=1.0, ls=(0, (4, 2)))
        if not small:
            ax.text(end, 0.62 * top, style.number(end), ha=side, va="bottom", fontsize=8)
    if small:
        ax.set_yticks([])
        ax.set_xticks([low, high], [style.number(low), style.number(high)])
    ax.set_ylim(0.0, 1.06 * top)


def weakest(found: Ensemble, ax: Any, measures: str) -> None:
    """The chance that each unit is the weakest."""
    names = some(list(found.chance_weakest), "the machine has no units")
    values = [100.0 * found.chance_weakest[name] for name in names]
    top = [int(np.argmax(values))] if values else []
    bars(
        ax,
        values,
        top,
        texts=[f"{value:.0f} %" if value >= 0.5 or not value else "< 1 %" for value in values],
        most=100.0,
    )
    name_rows(ax, [f"unit {name}" for name in names], 24)
    ax.set_xlabel("chance of being the weakest unit [%]")
    if top:
        finding(ax, f"Unit {style.cut(names[top[0]], 20)} is weakest most often")


def shares(found: Ensemble, ax: Any, measures: str) -> None:
    """How much of the variance each number brings: alone, and with all it acts together with."""
    asked = found.questions[0]
    every = some(found.tables().get("shares", []), "shares of the variance were not asked for")
    rows = [row for row in every if row["of"] == asked.of][:MOST_SHARES]
    y = np.arange(len(rows))
    total = np.array([100.0 * row["total"] for row in rows])
    first = np.array([100.0 * row["first_order"] for row in rows])
    error = np.array([100.0 * 1.96 * row["total_error"] for row in rows])
    ax.barh(y, total, height=0.62, color=style.MIST, lw=0, label="with all that it acts with")
    ax.barh(y, first, height=0.3, color=style.DEEP, lw=0, label="alone")
    ax.errorbar(total, y, xerr=error, fmt="none", ecolor=style.INK, elinewidth=1.0, capsize=2.0)
    name_rows(ax, [row["number"] for row in rows])
    ax.set_xlim(left=min(0.0, 1.05 * float(first.min(initial=0.0))))
    ax.axvline(0.0, color=style.INK, lw=0.7)
    light_grid(ax)
    ax.set_xlabel(f"share of the variance: {style.plain(asked.label, 34)} [%]")
    legend(ax, lines_below=3)
    finding(ax, "Where the scatter comes from")


PLOTS = {
    "answers": Plot(answers, "How the answers scatter", (style.WIDTH, 2.9)),
    "weakest": Plot(
        weakest,
        "How probably each unit is the weakest",
        lambda found: (style.WIDTH, height(len(found.chance_weakest))),
    ),
    "shares": Plot(
        shares,
        "Where the scatter comes from",
        lambda found: (style.WIDTH, height(min(len(found.inputs), MOST_SHARES))),
    ),
}
