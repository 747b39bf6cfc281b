"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...display import style
from ...display.charts import finding, in_measures, legend, light_grid
from ...display.presentation import Plot
from .result import Fill


def profile(found: Fill, ax: Any, measures: str) -> None:
    """How full the box is across its width when its first place is full, now and with the best positions."""
    x = in_measures(found.places, "m", measures)
    now = 100.0 * found.profile / found.profile.max()
    ax.fill_between(x, 0.0, now, color=style.DEEP, alpha=0.25, lw=0)
    ax.plot(x, now, color=style.DEEP, label="present positions")
    if found.improves:
        best = found.best_profile
        ax.plot(x, 100.0 * best / best.max(), color=style.MARK, ls=style.LINES[1], label="best positions")
        at = in_measures(found.best, "m", measures)
        ax.plot(at, np.full(len(at), 112.0), ls="", marker="D", ms=5, color=style.MARK, clip_on=False)
    at = in_measures(found.box.positions, "m", measures)
    ax.plot(at, np.full(len(at), 105.0), ls="", marker="v", ms=7, color=style.DEEP, clip_on=False)
    for place, unit in zip(at, found.units, strict=True):
        ax.text(place, 118.0, style.plain(unit, 6), ha="center", va="bottom", fontsize=7.5)
    ax.axhline(100.0, color=style.INK, lw=0.7)
    ax.set_xlim(0.0, float(in_measures(found.box.width, "m", measures)))
    ax.set_ylim(0.0, 128.0)
    ax.set_yticks([0, 25, 50, 75, 100])
    ax.set_xlabel(style.measure("place across the width, from the left wall", "m", measures))
    ax.set_ylabel("level when the first place is full [%]")
    light_grid(ax, "y")
    legend(ax)
    finding(ax, f"{100.0 * found.usable():.0f} % of the box is used when its first place is full")


PLOTS = {
    "profile": Plot(profile, "How full the box is across its width", (style.WIDTH, 3.2)),
}
