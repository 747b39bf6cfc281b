"""Its pictures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from ...display import style
from ...display.charts import (
    MOST_SUSPECTS,
    MOST_UNKNOWNS,
    bars,
    finding,
    height,
    in_measures,
    light_grid,
    name_rows,
    reading_name,
)
from ...display.presentation import Plot
from ...errors import UnknownName
from ...quantity import RPM
from ...wording import gathered
from .costing import LEAST
from .result import Fit, Suspects
from .summary import measure_for

FACE = {"by the readings": style.DEEP, "in part": style.TEAL, "only by the prior": style.PAPER}
LONGEST_WAY = 26
MARKER = {"by the readings": "o", "in part": "^", "only by the prior": "s"}


def unknowns(found: Fit, ax: Any, measures: str) -> None:
    """Every unknown: its interval after the readings on the interval before them, all on one scale.

    The scale is the prior's own 95 %: 0 is its lower end, 1 its upper end, so that unlike numbers compare.
    The leak that most probably costs the weakest unit most is at the top, with what it costs.
    """
    rows = found.unknowns[:MOST_UNKNOWNS]
    y = np.arange(len(rows))
    first = np.array([row["prior_low"] for row in rows])
    span = np.array([row["prior_high"] for row in rows]) - first

    def on_scale(key: str) -> Any:
        return (np.array([row[key] for row in rows]) - first) / span

    ax.barh(y, np.ones(len(rows)), height=0.66, color=style.MIST, lw=0, label="before the readings")
    likely = on_scale("likely")
    ax.plot(likely, y, ls="", marker="|", ms=11, mew=1.6, color=style.PAPER, zorder=3)
    ax.hlines(y, on_scale("low"), on_scale("high"), color=style.INK, lw=1.8, zorder=4)
    estimate = on_scale("estimate")
    for told, face in FACE.items():
        own = [i for i in y if rows[i]["told"] == told]
        if own:
            ax.plot(
                estimate[own],
                own,
                ls="",
                marker=MARKER[told],
                ms=6.5,
                mfc=face,
                mec=style.INK,
                mew=0.9,
                zorder=5,
                label=f"told {told}",
            )
    high = max(1.0, float(np.nanmax(on_scale("high"), initial=1.0)))
    for i, row in enumerate(rows):
        text = _value(row, "estimate", measures)
        if row.get("cost_Pa", 0.0) > LEAST:
            text += f", costs {style.shown(row['cost_Pa'], 'Pa', measures)}"
        ax.text(high + 0.03 * high, i, text, va="center", fontsize=7.5)
    ax.set_xlim(-0.02 * high, 1.34 * high)
    ax.set_xticks([0.0, 1.0], ["lower end", "upper end\nof what was believed"])
    name_rows(ax, [row["unknown"] for row in rows], 26)
    ax.legend(loc="lower left", bbox_to_anchor=(-0.3, 1.0), ncols=2, borderaxespad=0.2, handlelength=1.2)


def _value(row: Mapping[str, Any], key: str, measures: str) -> str:
    """A row's number in a measure that suits it."""
    try:
        return style.shown(row[key], measure_for(row), measures)
    except UnknownName:  # a coefficient's own measure
        return f"{style.number(row[key])} {row['measure']}".strip()


def readings(found: Fit, ax: Any, measures: str) -> None:
    """Measured against fitted: every reading on the line where both are equal, outliers named."""
    rows = [row for row in found.readings if row["measure"] == found.readings[0]["measure"]]
    measure = rows[0]["measure"]
    x = in_measures([row["fitted"] for row in rows], measure, measures)
    y = in_measures([row["measured"] for row in rows], measure, measures)
    bar = 1.96 * np.abs(in_measures([row["sd"] for row in rows], measure, measures))
    ends = float(np.nanmin([x, y])), float(np.nanmax([x, y]))
    room = 0.06 * max(ends[1] - ends[0], 1e-12)
    line = (ends[0] - room, ends[1] + room)
    ax.plot(line, line, color=style.MIST, lw=1.4, zorder=1)
    shown = _ways(found, rows)
    ways = list(dict.fromkeys(shown))
    for k, way in enumerate(ways):
        own = np.array([text == way for text in shown])
        colour = style.SERIES[k % len(style.SERIES)]
        ax.errorbar(
            x[own],
            y[own],
            bar[own],
            ls="",
            marker=style.MARKERS[k % len(style.MARKERS)],
            ms=5,
            mec=style.PAPER,
            mew=0.5,
            color=colour,
            elinewidth=0.9,
            label=style.plain(way, 44),
        )
    outliers = [i for i, row in enumerate(rows) if row["outlier"]]
    for i in outliers:
        ax.plot([x[i]], [y[i]], ls="", marker="o", ms=13, mfc="none", mec=style.MARK, mew=1.6, zorder=6)
        ax.annotate(
            style.plain(rows[i]["where"], 18),
            (x[i], y[i]),
            xytext=(9, -3),
            textcoords="offset points",
            fontsize=7.5,
        )
    if max(map(abs, ends)) > 4.0 * float(np.median(np.abs(y))):
        _spread_small(ax)
    ax.set_xlabel(style.measure("fitted", measure, measures))
    ax.set_ylabel(style.measure("measured", measure, measures))
    light_grid(ax, "both")
    if len(ways) > 1:
        ax.legend(loc="upper left", handlelength=1.0)  # nothing lies off the line of equal readings
    words = (
        f"{len(outliers)} of {len(rows)} readings do not fit the others" if outliers else "All readings fit"
    )
    finding(ax, words if len(outliers) != 1 else f"One of {len(rows)} readings does not fit the others")


def _spread_small(ax: Any) -> None:
    """Scales that go with the square root, so that small readings are seen beside a large one."""
    both = (lambda v: np.sign(v) * np.sqrt(np.abs(v)), lambda v: np.sign(v) * np.square(v))
    ax.set_xscale("function", functions=both)
    ax.set_yscale("function", functions=both)
    ax.tick_params(axis="x", labelrotation=45)


def misfits(found: Fit, ax: Any, measures: str) -> None:
    """How far each reading is from the fit, in its standard deviations; beyond 2 is one in twenty."""
    rows = sorted(found.readings, key=lambda row: -abs(row["misfit"]))[:MOST_UNKNOWNS]
    rows.sort(key=lambda row: row["line"])
    values = np.array([row["misfit"] for row in rows])
    y = np.arange(len(rows))
    ax.axvspan(-2.0, 2.0, color="#eef1f1", zorder=0)
    ax.hlines(y, 0.0, values, color=style.DEEP, lw=1.4)
    out = np.array([row["outlier"] for row in rows], dtype=bool)
    ax.plot(values[~out], y[~out], ls="", marker="o", color=style.DEEP)
    ax.plot(values[out], y[out], ls="", marker="X", ms=8, color=style.MARK, label="does not fit the others")
    ax.axvline(0.0, color=style.INK, lw=0.7)
    reach = max(3.0, 1.1 * float(np.abs(values).max(initial=0.0)))
    ax.set_xlim(-reach, reach)
    name_rows(ax, [reading_name(row) for row in rows], 40)
    ax.set_xlabel("measured less fitted, in standard deviations")
    if out.any():
        ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), borderaxespad=0.2)


def _ways(found: Fit, rows: Sequence[Mapping[str, Any]]) -> list[str]:
    """How each reading was taken, in a few words; of many taped openings their number."""
    texts = {how: str(how) or "as it is" for how in (row["how"] for row in rows)}
    for reading, row in zip(found.taken, found.readings, strict=True):
        if len(texts.get(row["how"], "")) > LONGEST_WAY and reading.blanked:
            speed = reading.engine_speed
            rpm = "" if speed is None else f"{speed * RPM:,.0f} rpm, "
            texts[row["how"]] = f"{rpm}{_named(reading.blanked)} taped"
    return [texts[row["how"]] for row in rows]


def _named(names: Sequence[str]) -> str:
    """Names, those that differ in a number only together; many of them by their number."""
    words = gathered(names)
    return words if len(words) <= LONGEST_WAY else f"{len(names)} openings"


def chances(found: Suspects, ax: Any, measures: str) -> None:
    """How probably each suspect is at fault."""
    rows = found.rows()[:MOST_SUSPECTS]
    values = [100.0 * row["chance"] for row in rows]
    named = set(found.hypotheses[0][0])
    texts = [
        f"{value:.0f} %, {_value(row, 'estimate', measures)}" if value >= 1.0 else f"{value:.1f} %"
        for value, row in zip(values, rows, strict=True)
    ]
    bars(ax, values, [i for i, row in enumerate(rows) if row["suspect"] in named], texts=texts)
    name_rows(ax, [row["suspect"] for row in rows], 26)
    ax.set_xlim(0.0, 100.0)  # the words beside a long bar stand beyond the axis
    ax.set_xticks([0, 25, 50, 75, 100])
    ax.set_xlabel("chance of being at fault [%]")


FIT_PLOTS = {
    "unknowns": Plot(
        unknowns,
        "Every unknown before and after the readings",
        lambda found: (style.WIDTH, height(min(len(found.unknowns), MOST_UNKNOWNS), 1.1)),
    ),
    "readings": Plot(readings, "Measured against fitted", (style.WIDTH, 3.5)),
    "misfits": Plot(
        misfits,
        "How far each reading is from the fit",
        lambda found: (style.WIDTH, height(min(len(found.readings), MOST_UNKNOWNS))),
    ),
}


SUSPECTS_PLOTS = {
    "chances": Plot(
        chances,
        "How probably each suspect is at fault",
        lambda found: (style.WIDTH, height(min(len(found.suspects), MOST_SUSPECTS))),
    ),
}
