"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...display import style
from ...display.charts import finding, in_measures, light_grid, some
from ...display.presentation import Plot
from .result import FieldPass


def pass_margins(found: FieldPass, ax: Any, measures: str) -> None:
    """The smallest carrying margin along the row; where it is below one the crop stays behind."""
    x = in_measures(found.distance, "m", measures)
    ax.stairs(found.margin, x, color=style.DEEP, lw=1.6, baseline=None)
    short = found.margin < 1.0
    for i in np.flatnonzero(short):
        ax.axvspan(x[i], x[i + 1], color="#f3cdb9", lw=0, zorder=0)
    ax.axhline(1.0, color=style.MARK, lw=1.8)
    ax.set_xlim(x[0], x[-1])
    ax.set_ylim(0.0, 1.15 * max(1.2, float(np.nanmax(found.margin))))
    ax.set_xlabel(style.measure("distance along the row", "m", measures))
    ax.set_ylabel("smallest margin")
    light_grid(ax, "y")
    share = float(np.diff(found.distance)[short].sum() / (found.distance[-1] - found.distance[0]))
    finding(ax, f"It would block on {100.0 * share:.0f} % of the way" if short.any() else "Nothing blocks")


def pass_speed(found: FieldPass, ax: Any, measures: str) -> None:
    """The ground speed along the row."""
    x = in_measures(found.distance, "m", measures)
    speed = in_measures(found.speed, "km/h", measures)
    ax.stairs(speed, x, color=style.DEEP, lw=1.6, baseline=None)
    ax.set_xlim(x[0], x[-1])
    ax.set_ylim(0.0, 1.15 * float(np.nanmax(speed)))
    ax.set_xlabel(style.measure("distance along the row", "m", measures))
    ax.set_ylabel(style.measure("ground speed", "km/h", measures))
    light_grid(ax, "y")
    low, high = (style.shown(end, "km/h", measures, 2) for end in (found.speed.min(), found.speed.max()))
    finding(ax, f"Driven at {low}" if low == high else f"Driven at {low} to {high}")


def pass_level(found: FieldPass, ax: Any, measures: str) -> None:
    """How full the fullest place of the box is along the row."""
    (level,) = some([] if found.level is None else [found.level], "no box was given")
    x = in_measures(found.distance, "m", measures)
    ax.plot(x, 100.0 * level, color=style.TEAL, lw=2.0)
    ax.axhline(100.0, color=style.MARK, lw=1.6)
    ax.set_xlim(x[0], x[-1])
    ax.set_ylim(bottom=0.0)
    ax.set_xlabel(style.measure("distance along the row", "m", measures))
    ax.set_ylabel("level of the fullest place [%]")
    light_grid(ax, "both")


PLOTS = {
    "margins": Plot(pass_margins, "The smallest margin along the row", (style.WIDTH, 2.8)),
    "speed": Plot(pass_speed, "The ground speed along the row", (style.WIDTH, 2.6)),
    "level": Plot(pass_level, "The level of the box along the row", (style.WIDTH, 2.6)),
}
