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
from ..display.presentation import Plot
from ..parts.measuring import can_be_changed
from .sensitivity import Sensitivity

MOST_BARS = 12


def elasticities(found: Sensitivity, ax: Any, measures: str) -> None:
    """How many per cent the answer changes when a number is one per cent larger; the steepest.

    Of the numbers that work on the machine changes; of all where there are none of these.
    """
    every = [own for own in found.slopes if np.isfinite(own.elasticity) and own.elasticity]
    sizes = {f"{part.name}.{part.size}" for part in found.machine.layout.parts if part.size}
    known = [own for own in every if own.address in sizes or can_be_changed(own.address)] or every
    steep = sorted(known, key=lambda own: -abs(own.elasticity))[:MOST_BARS]
    _signed_bars(ax, [own.address for own in steep], [own.elasticity for own in steep])
    ax.set_xlabel("change of the answer for 1 % more of the number [%]")
    finding(ax, f"What the {style.cut(found.question.label, 34)} hangs on, of what can be changed")


def effects_of_spread(found: Sensitivity, ax: Any, measures: str) -> None:
    """How far the answer may be off because a number is only known within its spread; the largest."""
    measure = found.question.measure
    known = [own for own in found.slopes if own.effect_of_spread > 0.0][:MOST_BARS]
    bars(ax, differences_in([own.effect_of_spread for own in known], measure, measures))
    name_rows(ax, [own.address for own in known])
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
