"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..display import style
from ..display.charts import (
    bars,
    differences_in,
    finding,
    height,
    name_rows,
)
from ..display.faces import Plot
from ..quantity import measure_key

MOST_BARS = 12


def elasticities(found: Any, ax: Any, measures: str) -> None:
    """How many per cent the answer changes when a number is one per cent larger; the steepest."""
    rows = [row for row in found.rows() if np.isfinite(row["elasticity"]) and row["elasticity"]]
    rows = sorted(rows, key=lambda row: -abs(row["elasticity"]))[:MOST_BARS]
    _signed_bars(ax, [row["address"] for row in rows], [row["elasticity"] for row in rows])
    ax.set_xlabel("change of the answer for 1 % more of the number [%]")
    finding(ax, f"What the {style.cut(found.question.label, 34)} hangs on")


def effects_of_spread(found: Any, ax: Any, measures: str) -> None:
    """How far the answer may be off because a number is only known within its spread; the largest."""
    measure = found.question.measure
    key = measure_key("effect_of_spread", measure)
    rows = [row for row in found.rows() if row[key] > 0.0][:MOST_BARS]
    values = differences_in([row[key] for row in rows], measure, measures)
    bars(ax, values)
    name_rows(ax, [row["address"] for row in rows])
    ax.set_xlabel(style.measure("standard deviation of the answer by this number alone", measure, measures))
    finding(ax, f"Why the {style.cut(found.question.label, 30)} is unsure")


def _signed_bars(ax: Any, names: list[str], values: list[float]) -> None:
    """Bars to both sides of zero; those below zero in another colour and hatched."""
    for i, value in enumerate(values):
        less = value < 0.0
        ax.barh(
            i,
            value,
            height=0.62,
            color=style.PLUM if less else style.DEEP,
            hatch=style.AFTER_HATCH if less else None,
            lw=0,
        )
    reach = max((abs(v) for v in values), default=1.0)
    for i, value in enumerate(values):
        gap = 0.02 * reach if value >= 0.0 else -0.02 * reach
        ax.text(
            value + gap,
            i,
            style.signed(value, 2),
            va="center",
            ha="left" if value >= 0 else "right",
            fontsize=7.5,
        )
    low, high = min([*values, 0.0]), max([*values, 0.0])
    ax.set_xlim(low - (0.16 * reach if low < 0 else 0.02 * reach), high + 0.18 * reach)
    ax.axvline(0.0, color=style.INK, lw=0.7)
    name_rows(ax, names)


PLOTS = {
    "elasticity": Plot(elasticities, "What the answer hangs on", (style.WIDTH, height(MOST_BARS))),
    "spread": Plot(effects_of_spread, "Why the answer is unsure", (style.WIDTH, height(MOST_BARS))),
}
