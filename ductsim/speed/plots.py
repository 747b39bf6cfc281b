"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..display import style
from ..display.charts import finding, in_measures, legend, light_grid
from ..display.presentation import Plot
from ..wording import counted
from .calibration import Calibration
from .summary import seen


def calibrated(found: Calibration, ax: Any, measures: str) -> None:
    """How likely each least value is, before and after what was seen; a mark for each observation."""
    measure = found.measure
    middle, spread = found.prior
    # the calculation has even steps in logarithms: probabilities over values are densities on this axis
    before = np.exp(-0.5 * (np.log(found.values / middle) / spread) ** 2) / found.values
    after = found.density / found.values
    scale = after.max()
    before /= (before * found.values).sum()
    kept = np.abs(np.log(found.values / middle)) < 2.5 * spread
    x = in_measures(found.values, measure, measures)
    low, high = found.interval()
    inside = (found.values >= low) & (found.values <= high)
    ax.fill_between(x[inside], 0.0, after[inside] / scale, color=style.MIST, lw=0, label="nine in ten")
    ax.plot(x[kept], before[kept] / scale, color=style.INK, ls=style.LINES[1], label="before")
    ax.plot(x[kept], after[kept] / scale, color=style.DEEP, lw=2.0, label="after")
    for i, (run, air) in enumerate(zip(found.runs, found.air, strict=True)):
        ran = not run.units
        at, level = float(in_measures(air, measure, measures)), -0.10 - 0.09 * i
        colour, marker = (style.TEAL, "<") if ran else (style.MARK, ">")
        ax.plot(at, level, ls="", marker=marker, ms=7, color=colour, clip_on=False)
        word = "ran: less is needed" if ran else f"{seen(run)}: more is needed"
        ax.annotate(word, (at, level), (9, 0), textcoords="offset points", va="center", fontsize=7)
    ax.axhline(0.0, color=style.INK, lw=0.7)
    ax.set_ylim(-0.10 - 0.09 * len(found.runs), 1.08)
    ax.set_yticks([])
    words = "least " + found.number.replace("_", " ")
    ax.set_xlabel(style.measure(words, measure, measures) if measure else words)
    ax.set_ylabel("how likely")
    legend(ax, 3)
    light_grid(ax)
    known = style.shown(found.median, measure, measures, 3) if measure else f"{found.median:.3g}"
    finding(ax, f"At least {known} is needed, by {counted(len(found.runs), 'observation')}")


PLOTS = {
    "number": Plot(
        calibrated,
        "The least value before and after what was seen",
        lambda found: (style.WIDTH, min(2.8 + 0.17 * len(found.runs), 12.0)),
    ),
}
