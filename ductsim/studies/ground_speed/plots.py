"""Its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...display import style
from ...display.charts import height, in_measures, legend, light_grid, name_rows, some
from ...display.presentation import Plot
from ...quantity import si
from .result import GroundSpeed

MOST_UNITS = 40


def margins(found: GroundSpeed, ax: Any, measures: str) -> None:
    """At today's speed: the air at every section of every unit over the air needed there."""
    known = some(found.margins, "no margins are known")
    units = [unit.name for unit in found.machine.layout.units][:MOST_UNITS]
    place = {name: i for i, name in enumerate(units)}
    kinds = list(dict.fromkeys(margin.place.what for margin in known))
    for k, kind in enumerate(kinds):
        own = [
            (margin.margin, place[unit])
            for margin in known
            for unit in margin.place.units
            if margin.place.what == kind and unit in place
        ]
        if not own:
            continue
        x, y = zip(*own, strict=True)
        shift = 0.16 * (k - 0.5 * (len(kinds) - 1))
        ax.plot(
            x,
            np.array(y) + shift,
            ls="",
            marker=style.MARKERS[k % len(style.MARKERS)],
            color=style.SERIES[k % len(style.SERIES)],
            ms=6,
            mec=style.PAPER,
            mew=0.6,
            label=kind,
        )
    ax.axvline(1.0, color=style.MARK, lw=1.8)
    ax.axvspan(0.0, 1.0, color="#fbeee6", zorder=0)
    ax.text(0.04, 0.02, "too little air", transform=ax.get_xaxis_transform(), va="bottom", fontsize=7.5)
    name_rows(ax, [f"unit {name}" for name in units], 20)
    finite = [margin.margin for margin in known if np.isfinite(margin.margin)]
    ax.set_xlim(0.0, 1.06 * max([1.4, *finite]))
    for i in range(len(units) - 1):
        ax.axhline(i + 0.5, color="#dfe4e5", lw=0.6, zorder=0)
    ax.set_xlabel("margin: air there over air needed")
    ax.legend(loc="lower left", bbox_to_anchor=(-0.12, 1.0), ncols=3, borderaxespad=0.2, handlelength=1.0)
    light_grid(ax)


def speed_against_yield(found: GroundSpeed, ax: Any, measures: str) -> None:
    """The fastest speed over the yield, with the band of nine in ten."""
    rows = some(found.by_yield, "nothing limits the ground speed")
    mass = np.array([row["crop_yield_kg_m2"] for row in rows])
    x = in_measures(mass, "kg/m2", measures)
    y = _speed([row["ground_speed_km_h"] for row in rows], measures)
    own = float(found.crop.mass_yield)
    top = np.inf if found.crop.highest_speed is None else float(found.crop.highest_speed)
    low, high = (np.minimum(end * own / mass, top) for end in found.band)
    ends = in_measures(low, "km/h", measures), in_measures(high, "km/h", measures)
    ax.fill_between(x, *ends, color=style.MIST, lw=0, label="nine in ten")
    crop = np.array([row["limited_by"] == "crop" for row in rows])
    ax.plot(x, y, color=style.DEEP, lw=1.0)
    ax.plot(x[crop], y[crop], color=style.DEEP, lw=2.4, label="the crop limits")
    if not crop.all():
        ax.plot(
            x[~crop], y[~crop], color=style.TEAL, lw=3.0, ls=(0, (4, 1.5)), label="the machine's top speed"
        )
    here = float(in_measures(own, "kg/m2", measures)), float(in_measures(found.speed, "km/h", measures))
    ax.plot(*here, ls="", marker="D", ms=7, mfc=style.MARK, mec=style.PAPER, zorder=5, label="this crop")
    ax.annotate(
        style.shown(found.speed, "km/h", measures, 2),
        here,
        xytext=(8, 6),
        textcoords="offset points",
        fontweight="bold",
        fontsize=8.5,
    )
    ax.set_ylim(0.0, min(1.1 * float(np.nanmax(ends[1])), 4.0 * here[1]))
    ax.set_xlim(left=0.0)
    ax.set_xlabel(style.measure("yield of crop", "kg/m2", measures))
    ax.set_ylabel(style.measure("fastest ground speed", "km/h", measures))
    light_grid(ax, "both")
    legend(ax)


def speed_against_engine(found: GroundSpeed, ax: Any, measures: str) -> None:
    """The fastest speed over the engine's speed."""
    rows = some(found.by_engine_speed, "no engine or fan speed can be changed")
    x = np.array([row["engine_speed_rpm"] for row in rows])
    _limited_line(ax, x, rows, measures)
    beyond = np.array([bool(row["beyond_limit_of"]) for row in rows])
    y = _speed([row["ground_speed_km_h"] for row in rows], measures)
    if beyond.any():
        ax.plot(
            x[beyond], y[beyond], ls="", marker="X", ms=9, color=style.MARK, zorder=6, label="beyond a limit"
        )
    now = x[int(np.argmin([abs(row["factor"] - 1.0) for row in rows]))]
    ax.axvline(now, color=style.INK, lw=0.9, ls=(0, (4, 2)))
    ax.text(now, 0.02, " now", transform=ax.get_xaxis_transform(), fontsize=7.5)
    ax.set_xlabel("engine speed [rpm]" if found.machine.layout.drives else "fan speed [rpm]")
    legend(ax)


def speed_against_share(found: GroundSpeed, ax: Any, measures: str) -> None:
    """The fastest speed over the share of the crop that enters by the first opening of each unit."""
    rows = some(found.by_front_share, "not every unit has two openings")
    x = np.array([100.0 * row["front_share"] for row in rows])
    _limited_line(ax, x, rows, measures)
    shares = found.crop.shares
    if shares is not None and len(shares) == 2:
        now = 100.0 * float(np.median(shares[0]))
        ax.axvline(now, color=style.INK, lw=0.9, ls=(0, (4, 2)))
        ax.text(now, 0.02, " now", transform=ax.get_xaxis_transform(), fontsize=7.5)
    ax.set_xlabel("share of the crop that enters by the first opening [%]")
    legend(ax)


def _limited_line(ax: Any, x: Any, rows: list[dict[str, Any]], measures: str) -> None:
    """The limiting speed, its points marked by what limits there."""
    y = _speed([row["ground_speed_km_h"] for row in rows], measures)
    ax.plot(x, y, color=style.MIST, lw=1.4, zorder=1)
    kinds = list(dict.fromkeys((row["place"], row["what"]) for row in rows))
    for k, (part, what) in enumerate(kinds):
        own = np.array([(row["place"], row["what"]) == (part, what) for row in rows])
        ax.plot(
            x[own],
            y[own],
            ls="",
            marker=style.MARKERS[k % len(style.MARKERS)],
            color=style.SERIES[k % len(style.SERIES)],
            ms=5.5,
            label=f"{style.plain(part, 20)}: {what}",
        )
    finite = y[np.isfinite(y)]
    ax.set_ylim(0.0, 1.35 * float(finite.max(initial=1.0)))
    ax.set_ylabel(style.measure("fastest ground speed", "km/h", measures))
    light_grid(ax, "both")


def _speed(km_h: Any, measures: str) -> Any:
    """Speeds in km/h as they are shown."""
    one = si("1 km/h", "m/s")
    return in_measures(np.asarray(km_h, dtype=float) * one, "km/h", measures)


def fix_gains(found: GroundSpeed, ax: Any, measures: str) -> None:
    """What each fix makes of the fastest speed, with the range of nine in ten."""
    gains = [gain for gain in found.gains if np.isfinite(gain.change)]
    some(gains, "no fix was tried")
    gains.sort(key=lambda gain: -gain.change)
    y = np.arange(len(gains))
    change = np.array([100.0 * gain.change for gain in gains])
    low, high = (np.array([100.0 * gain.band[end] for gain in gains]) for end in (0, 1))
    for refused in (False, True):  # what passes a limit of the makers is drawn as refused
        own = [i for i, gain in enumerate(gains) if bool(gain.problem) is refused]
        if own:
            look = {"color": style.MIST, "hatch": "xxx", "label": "not allowed"}
            ax.barh(y[own], change[own], height=0.6, lw=0, **(look if refused else {"color": style.DEEP}))
    ax.hlines(y, low, high, color=style.PAPER, lw=3.0, zorder=4)
    ax.hlines(y, low, high, color=style.INK, lw=1.2, zorder=5)
    ax.axvline(0.0, color=style.INK, lw=0.7)
    name_rows(ax, [gain.fix.name for gain in gains])
    light_grid(ax)
    ax.set_xlabel("change of the fastest speed, and nine in ten [%]")
    legend(ax)


PLOTS = {
    "margins": Plot(
        margins,
        "Air there over air needed, at every section",
        lambda found: (
            style.WIDTH,
            max(height(len(found.machine.layout.units), 0.9) * 1.5, 2.4),
        ),
    ),
    "yield": Plot(speed_against_yield, "The fastest speed over the yield", (style.WIDTH, 3.5)),
    "engine speed": Plot(
        speed_against_engine, "The fastest speed over the engine's speed", (style.WIDTH, 3.4)
    ),
    "front share": Plot(
        speed_against_share, "The fastest speed over the openings' shares", (style.WIDTH, 3.4)
    ),
    "fixes": Plot(
        fix_gains,
        "What each fix makes of the fastest speed",
        lambda found: (style.WIDTH, height(len(found.gains))),
    ),
}
