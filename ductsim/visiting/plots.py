"""Pictures of a planned visit."""

from __future__ import annotations

from typing import Any

from ..deciding.summary import words_of
from ..display import style
from ..display.charts import MOST_SUSPECTS, bars, height, light_grid, name_rows, some
from ..display.presentation import Plot
from .result import VisitPlan
from .steps import FIX, READ
from .summary import what_of


def timetable(found: VisitPlan, ax: Any, measures: str) -> None:
    """The steps over the time of the visit."""
    steps = some(found.steps, "nothing fits into the time")
    colours = {READ: style.TEAL, FIX: style.DEEP}
    for i, step in enumerate(steps):
        ax.barh(i, step.minutes, left=step.start, height=0.6, color=colours.get(step.kind, style.PLUM))
    ax.axvline(found.minutes, color=style.MARK, lw=1.1, ls=(0, (4, 2)))
    name_rows(ax, [f"{step.kind}: {what_of(found, step)}" for step in steps], 44)
    ax.set_xlim(0.0, 1.02 * max(found.minutes, found.end))
    ax.set_xlabel("time of the visit [min]")
    light_grid(ax)


def decisions(found: VisitPlan, ax: Any, measures: str) -> None:
    """What will be decided after the planned readings, and how probably."""
    rows = found.decisions[:MOST_SUSPECTS]
    values = [100.0 * share for _, share in rows]
    bars(ax, values, [0], texts=[f"{value:.0f} %" for value in values])
    name_rows(ax, [words_of(fixes) for fixes, _ in rows], 44)
    ax.set_xlabel("chance that this is done after the planned readings [%]")


PLOTS = {
    "time": Plot(
        timetable, "The steps of the visit", lambda found: (style.WIDTH, height(len(found.steps), 1.2))
    ),
    "decisions": Plot(
        decisions,
        "What will be decided",
        lambda found: (style.WIDTH, height(min(len(found.decisions), MOST_SUSPECTS))),
    ),
}
