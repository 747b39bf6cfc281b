"""Pictures of what to do next."""

from __future__ import annotations

from typing import Any

from ...deciding.candidates import taped_words
from ...deciding.summary import words_of
from ...display import style
from ...display.charts import MOST_SUSPECTS, bars, differences_in, finding, height, name_rows
from ...display.presentation import Plot
from .next_step import NextStep


def worths(found: NextStep, ax: Any, measures: str) -> None:
    """What deciding after each of the best readings gains over deciding now."""
    options = found.options[:MOST_SUSPECTS]
    values = differences_in([max(o.worth, 0.0) for o in options], found.measure, measures).tolist()
    texts = [f"{style.number(v)}, {o.minutes:g} min" for v, o in zip(values, options, strict=True)]
    bars(ax, values, [0] if found.best else [], texts=texts)
    layout = found.given.layout
    names = []
    for o in options:
        taped = taped_words(layout, o.readings[0].blanked)
        where = style.cut(o.where, 22 if taped else 42)
        names.append(where + (f", taped: {style.cut(taped, 14)}" if taped else ""))
    name_rows(ax, names, 44)
    least = float(differences_in([found.noticed], found.measure, measures)[0])
    ax.axvline(least, color=style.MARK, lw=1.1, ls=(0, (4, 2)))
    ax.set_xlabel(style.measure("gained by deciding after it", found.measure, measures))
    now = style.cut(words_of(found.work[0].fixes), 40)
    finding(ax, f"Without a reading: {now}" if found.best else f"Enough: {now}")


def work(found: NextStep, ax: Any, measures: str) -> None:
    """What each fix gains: the mean, and nine of ten possible machines."""
    rows = found.work[:MOST_SUSPECTS]
    for i, row in enumerate(rows):
        low, mid, high = differences_in([row.low, row.gain, row.high], found.measure, measures).tolist()
        ax.plot([low, high], [i, i], color=style.MIST, lw=7.0, solid_capstyle="butt")
        ax.plot([mid], [i], ls="", marker="o", color=style.DEEP if i else style.MARK)
    name_rows(ax, [words_of(row.fixes) for row in rows], 44)
    ax.axvline(0.0, color=style.DEEP, lw=0.8)
    ax.set_xlabel(style.measure(f"gain of the {style.plain(found.label, 40)}", found.measure, measures))


PLOTS = {
    "readings": Plot(
        worths,
        "What each reading adds to the gain of the decision",
        lambda found: (style.WIDTH, height(min(len(found.options), MOST_SUSPECTS))),
    ),
    "work": Plot(
        work,
        "What each fix gains",
        lambda found: (style.WIDTH, height(min(len(found.work), MOST_SUSPECTS))),
    ),
}
