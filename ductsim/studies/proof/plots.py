"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...display import style
from ...display.charts import (
    MOST_UNKNOWNS,
    before_after,
    differences_in,
    height,
    light_grid,
    name_rows,
    reading_name,
    some,
)
from ...display.presentation import Plot
from .result import Proof
from .summary import rows as rows_of


def change(found: Proof, ax: Any, measures: str) -> None:
    """At every place that was read: the change expected of the fix and the change measured."""
    rows, measure = _proof_rows(found)
    y = np.arange(len(rows))

    def column(key: str) -> Any:
        return differences_in([row[key] for row in rows], measure, measures)

    low, high = column("expected_low"), column("expected_high")
    least = 0.012 * float(np.ptp(np.concatenate([low, high, [0.0]])))
    ax.barh(y, np.maximum(high - low, least), left=low, height=0.6, color=style.TEAL, lw=0, label="expected")
    if "change" in rows[0]:
        measured, reach = column("change"), 1.96 * column("change_sd")
        ax.errorbar(
            measured,
            y,
            xerr=reach,
            ls="",
            marker="D",
            ms=6,
            mfc=style.MARK,
            mec=style.PAPER,
            ecolor=style.INK,
            elinewidth=1.2,
            capsize=2.5,
            label="measured, 95 %",
            zorder=4,
        )
    ax.axvline(0.0, color=style.INK, lw=0.9)
    name_rows(ax, [reading_name(row) for row in rows], 34)
    light_grid(ax)
    ax.set_xlabel(style.measure("change of the reading, at one speed and density", measure, measures))
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=2, borderaxespad=0.2)


def before_and_after(found: Proof, ax: Any, measures: str) -> None:
    """Every reading before and after the fix, at one speed and density."""
    rows, measure = _proof_rows(found)
    some([row for row in rows if "before" in row], "nothing was measured yet")
    columns = [("reading", measure, [row["before"] for row in rows], [row["after"] for row in rows])]
    before_after(ax, [reading_name(row) for row in rows], columns, measures)


def _proof_rows(found: Proof) -> tuple[list[dict[str, Any]], str]:
    """The rows of the measure that most places have."""
    rows = rows_of(found)
    kinds = [row["measure"] for row in rows]
    measure = max(dict.fromkeys(kinds), key=kinds.count)
    return [row for row in rows if row["measure"] == measure][:MOST_UNKNOWNS], measure


PLOTS = {
    "change": Plot(
        change,
        "The change expected and the change measured",
        lambda found: (style.WIDTH, height(min(len(found.points), MOST_UNKNOWNS), 1.1)),
    ),
    "before and after": Plot(
        before_and_after,
        "Readings before and after",
        lambda found: (style.WIDTH, height(min(len(found.points), MOST_UNKNOWNS), 1.1)),
    ),
}
