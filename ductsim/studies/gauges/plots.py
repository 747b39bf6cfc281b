"""Its picture."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...display import style
from ...display.charts import in_measures, light_grid
from ...display.presentation import Plot
from ...quantity import RPM
from .result import Gauges

MOST = 40


def ranges(found: Gauges, ax: Any, measures: str) -> None:
    """The range at every tapping, at the first of the speeds."""
    names = list(found.shown)[:MOST]
    values = in_measures(np.array([found.shown[name][0] for name in names]), "Pa", measures)
    rows = np.arange(len(names))[::-1]
    ax.hlines(rows, values[:, 0], values[:, 2], color=style.DEEP, lw=3)
    ax.plot(values[:, 1], rows, ls="", marker="o", color=style.MARK)
    ax.axvline(0.0, color=style.MIST, lw=1.0)
    ax.set_yticks(rows, [style.plain(name, 24) for name in names])
    speed = found.speeds[0]
    at = "" if np.isnan(speed) else f" at {speed * RPM:,.0f} rpm"
    ax.set_xlabel(style.measure(f"static pressure{at}", "Pa", measures))
    light_grid(ax, "x")


PLOTS = {"ranges": Plot(ranges, "What a gauge shows on a healthy machine", (style.WIDTH, 4.2))}
