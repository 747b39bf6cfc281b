"""Pictures of a fleet."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..display import style
from ..display.charts import MOST_UNKNOWNS, finding, height, light_grid, name_rows
from ..display.presentation import Plot
from .result import Fleet


def usual(found: Fleet, ax: Any, measures: str) -> None:
    """Every machine's unknowns over what was likely before, and what the next one is believed to be."""
    rows = found.wanted[:MOST_UNKNOWNS]
    odd = {(o.name, o.unknown) for o in found.odd}
    for i, u in enumerate(rows):
        now = found.known[u.address]
        before, after = "before", "the next machine"
        ends = np.array([u.low, u.high]) / u.likely
        ax.plot(ends, [i, i], color=style.MIST, lw=9.0, solid_capstyle="butt", label="_" if i else before)
        ends = np.array([now.low, now.high]) / u.likely
        ax.plot(ends, [i, i], color=style.TEAL, lw=4.5, solid_capstyle="butt", label="_" if i else after)
        places = np.linspace(-0.28, 0.28, len(found.members)) if len(found.members) > 1 else [0.0]
        for member, shift in zip(found.members, places, strict=True):
            value = member.values[u.address][1] / u.likely
            is_odd = (member.name, u.address) in odd
            ax.plot(
                [value],
                [i + shift],
                ls="",
                marker="X" if is_odd else "o",
                ms=7.0 if is_odd else 3.0,
                color=style.MARK if is_odd else style.DEEP,
            )
            if is_odd:
                ax.annotate(f" {style.plain(member.name, 18)}", (value, i + shift), fontsize=7.5, va="center")
    name_rows(ax, [u.address for u in rows], 30)
    ax.set_xlabel("times what was likely before")
    ax.legend(loc="lower left", bbox_to_anchor=(-0.2, 1.0), ncols=2, borderaxespad=0.2, handlelength=1.2)
    light_grid(ax)


def learnt(found: Fleet, ax: Any, measures: str) -> None:
    """How much narrower the next machine's intervals begin."""
    rows = sorted(found.shares.items(), key=lambda item: item[1])[:MOST_UNKNOWNS]
    for i, (_, share) in enumerate(rows):
        ax.barh(i, 100.0 * share, height=0.6, color=style.TEAL)
    ax.axvline(100.0, color=style.MARK, lw=1.1, ls=(0, (4, 2)))
    name_rows(ax, [address for address, _ in rows], 30)
    ax.set_xlabel("width of the interval the next machine starts from, over that of before [%]")
    finding(ax, f"Learnt from {len(found.members)} machines")


PLOTS = {
    "usual": Plot(
        usual,
        "What is usual, and which machine is odd",
        lambda found: (style.WIDTH, height(min(len(found.wanted), MOST_UNKNOWNS), 1.2)),
    ),
    "learnt": Plot(
        learnt,
        "What was learnt for the next machine",
        lambda found: (style.WIDTH, height(min(len(found.wanted), MOST_UNKNOWNS), 1.2)),
    ),
}
