"""Its picture."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...display import style
from ...display.charts import bars, finding, in_measures, light_grid, name_rows, some
from ...display.presentation import Plot
from .result import Faults

MOST_SHOWN = 24


def answers(found: Faults, ax: Any, measures: str) -> None:
    """The answer after the worst mishap of each kind, the worst on top; a line where the machine is now."""
    shown = some(found.worst_of_each_kind, "no mishap could be computed")[:MOST_SHOWN]
    asked = found.question
    values = in_measures([own.answer for own in shown], asked.measure, measures)
    blocked = [i for i, own in enumerate(shown) if own.margin < 1.0]
    bars(ax, values, marked=blocked)
    today = float(np.ravel(in_measures([found.before.answer], asked.measure, measures))[0])
    ax.axvline(today, color=style.INK, lw=0.8, ls=(0, (4, 2)), zorder=0)
    ax.text(today, -0.9, "now", ha="center", fontsize=7.5)
    ax.set_xlim(right=max(ax.get_xlim()[1], 1.1 * today))
    name_rows(ax, [own.words for own in shown], 38)
    ax.set_xlabel(style.measure(style.plain(asked.label, 40), asked.measure, measures))
    light_grid(ax)
    if blocked:
        finding(ax, "Hatched: a unit blocks")


PLOTS = {"answers": Plot(answers, "The answer after the worst mishap of each kind", (style.WIDTH, 4.6))}
