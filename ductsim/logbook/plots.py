"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..display import style
from ..display.charts import finding, in_measures, light_grid, some
from ..display.presentation import Plot
from ..statistics import quantile
from .result import History

MOST = 6


def weakest(found: History, ax: Any, measures: str) -> None:
    """The vacuum of the weakest unit at every look with its 95 %, and the work done in between."""
    looks = some(
        [appearance for appearance in found.looks if len(appearance.weakest)],
        "no visit has readings of units",
    )
    middle, low, high = (
        in_measures([quantile(appearance.weakest, share) for appearance in looks], "Pa", measures)
        for share in (0.5, 0.025, 0.975)
    )
    x = np.arange(len(looks))
    ax.vlines(x, low, high, color=style.DEEP, lw=1.4)
    ax.plot(x, middle, color=style.DEEP, marker="o")
    for b in found.brought:
        if b.after in looks:
            ax.axvline(looks.index(b.after) - 0.5, color=style.MARK, lw=1.1, ls=(0, (4, 2)))
    ax.set_ylabel(style.measure("weakest vacuum", "Pa", measures))
    _moments(found, ax, looks)
    if found.brought:
        finding(ax, "Dashed: work was done in between")


def leaks(found: History, ax: Any, measures: str) -> None:
    """The unknowns that were farthest from what was likely, over what was likely, at every look."""
    looks = some(found.looks, "no visit has readings")
    rows = [{row["unknown"]: row for row in appearance.fit.unknowns} for appearance in looks]
    names = list(dict.fromkeys(name for own in rows for name in own))
    names.sort(key=lambda name: -max(own[name]["low"] / own[name]["likely"] for own in rows if name in own))
    shift = 0.3 / MOST
    for i, name in enumerate(names[:MOST]):
        own = [(k, row[name]) for k, row in enumerate(rows) if name in row]
        x = np.array([k for k, _ in own]) + (i - 0.5 * (min(len(names), MOST) - 1)) * shift
        low, middle, high = (
            np.array([row[key] / row["likely"] for _, row in own]) for key in ("low", "estimate", "high")
        )
        colour = style.SERIES[i % len(style.SERIES)]
        ax.vlines(x, low, high, color=colour, lw=1.1)
        marker = style.MARKERS[i % len(style.MARKERS)]
        ax.plot(x, middle, color=colour, marker=marker, label=style.plain(name, 24))
    ax.axhline(1.0, color=style.INK, lw=0.7)
    ax.set_ylim(bottom=0.0)
    ax.set_ylabel("times what was likely")
    ax.legend(loc="lower left", bbox_to_anchor=(-0.05, 1.0), ncols=2, borderaxespad=0.2)
    _moments(found, ax, looks)


def _moments(found: History, ax: Any, looks: list[Any]) -> None:
    twice = {appearance.visit for appearance in looks if appearance.when == "after"}
    names = [
        f"{appearance.visit}\n{appearance.when}" if appearance.visit in twice else appearance.visit
        for appearance in looks
    ]
    ax.set_xticks(range(len(looks)), names)
    ax.set_xlim(-0.6, len(looks) - 0.4)
    if len(looks) > 3:
        ax.tick_params(axis="x", labelrotation=60)
    light_grid(ax, "y")


PLOTS = {
    "weakest": Plot(weakest, "The weakest unit from visit to visit", (style.WIDTH, 3.2)),
    "leaks": Plot(leaks, "Leaks from visit to visit", (style.WIDTH, 3.8)),
}
