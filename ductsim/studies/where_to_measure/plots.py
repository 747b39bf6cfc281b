"""Its pictures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ...display import style
from ...display.charts import (
    MOST_SUSPECTS,
    MOST_UNKNOWNS,
    bars,
    finding,
    height,
    name_rows,
)
from ...display.presentation import Plot
from .result import NextReadings
from .summary import candidates


def telling(found: NextReadings, ax: Any, measures: str) -> None:
    """How far the uncertainty shrinks by each of the best single readings."""
    rows = candidates(found)[:MOST_SUSPECTS]
    values = [100.0 * (1.0 - row["shrinks_to"]) for row in rows]
    texts = [f"{value:.0f} %, {row['minutes']:g} min" for value, row in zip(values, rows, strict=True)]
    bars(ax, values, [0], texts=texts, most=100.0)
    name_rows(ax, [_next(row) for row in rows], 44)
    ax.set_xlabel("uncertainty taken away by this reading alone [%]")
    finding(ax, "Which single reading tells most")


def _next(row: Mapping[str, Any]) -> str:
    """A reading in a few words: where, what is taped."""
    taped = f", taped: {style.cut(row['blanked'], 20)}" if row["blanked"] else ""
    speed = row["engine_speed_rpm"]
    return f"{style.cut(row['where'], 22)}{taped}" + (f", {speed:,.0f} rpm" if speed else "")


def questions(found: NextReadings, ax: Any, measures: str) -> None:
    """The interval of each question now, after the best reading and after the best few, on a common scale."""
    rows = found.questions()[:MOST_UNKNOWNS]
    ways = (
        ("now", "now", style.MIST, 7.0),
        ("after_one", "after the best reading", style.TEAL, 4.5),
        ("together", f"after the best {len(found.together)}", style.DEEP, 2.2),
    )
    for i, row in enumerate(rows):
        middle = 0.5 * (row["now_low"] + row["now_high"])
        half = max(0.5 * (row["now_high"] - row["now_low"]), 1e-300)
        for key, words, colour, width in ways:
            ends = [(row[f"{key}_{end}"] - middle) / half for end in ("low", "high")]
            ax.plot(
                ends, [i, i], color=colour, lw=width, solid_capstyle="butt", label=words if not i else None
            )
    name_rows(ax, [row["question"] for row in rows], 26)
    ax.set_xticks([-1.0, 1.0], ["lower end", "upper end\nof the interval now"])
    ax.legend(loc="lower left", bbox_to_anchor=(-0.2, 1.0), ncols=3, borderaxespad=0.2, handlelength=1.2)


PLOTS = {
    "readings": Plot(telling, "What each single reading would tell", (style.WIDTH, height(MOST_SUSPECTS))),
    "questions": Plot(
        questions,
        "What would be known then",
        lambda found: (style.WIDTH, height(min(len(found.of), MOST_UNKNOWNS), 1.1)),
    ),
}
