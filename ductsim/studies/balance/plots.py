"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...display import style
from ...display.charts import (
    before_after,
    height,
    name_rows,
    unit_rows,
)
from ...display.presentation import Plot
from ...quantity import measure_key, suited
from .result import Balance
from .summary import trim_rows


def balanced(found: Balance, ax: Any, measures: str) -> None:
    """Vacuum, opening air and duct air of every unit before and after the trims are set."""
    rows = found.rows()
    if found.whole:
        unit_rows(ax, rows, measures)
        return
    measure = found.questions[0].measure
    before, after = ([row[measure_key(key, measure)] for row in rows] for key in ("before", "after"))
    label = "answer" if len(rows) > 1 else found.questions[0].label
    before_after(ax, [row["of"] for row in rows], [(style.plain(label), measure, before, after)], measures)


def trims(found: Balance, ax: Any, measures: str) -> None:
    """Where every trim stands between its limits, before and after."""
    rows = trim_rows(found)[:40]
    low = np.array([row["low"] for row in rows])
    span = np.maximum(np.array([row["high"] for row in rows]) - low, 1e-300)
    y = np.arange(len(rows))
    old = (np.array([row["before"] for row in rows]) - low) / span
    new = (np.array([row["value"] for row in rows]) - low) / span
    ax.hlines(y, 0.0, 1.0, color=style.MIST, lw=5.0, zorder=1)
    ax.plot(old, y, ls="", marker="o", mfc=style.PAPER, mec=style.DEEP, mew=1.3, label="before", zorder=3)
    ax.plot(new, y, ls="", marker="D", color=style.MARK, label="set", zorder=4)
    for i, row in enumerate(rows):
        spelled = suited(row["measure"], row["value"])
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


PLOTS = {
    "units": Plot(
        balanced,
        "Every unit before and after the trims are set",
        lambda found: (style.WIDTH, height(len(found.rows()), 1.1)),
    ),
    "trims": Plot(
        trims,
        "The trims between their limits",
        lambda found: (style.WIDTH, height(len(found.variables), 1.1)),
    ),
}
