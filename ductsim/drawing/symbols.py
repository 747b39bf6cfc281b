"""The small pictures that stand for the parts of the air path, in inches, and the colour of a pressure."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np

from ..arguments import one_of
from ..display import style
from ..parts.declare import Part

LINE = 0.9
HALF = 0.17  # half of the width of every symbol


def fan(ax: Any, x: float, y: float, colour: str) -> None:
    """A casing with three curved blades."""
    from matplotlib.patches import Circle

    radius = 0.115
    ax.add_patch(Circle((x, y), radius, fc=style.PAPER, ec=colour, lw=LINE + 0.3, zorder=4))
    turn = np.linspace(0.0, 1.0, 12)
    for start in (0.0, 2.0 * math.pi / 3.0, 4.0 * math.pi / 3.0):
        angle = start + 0.9 * turn
        ax.plot(
            x + 0.86 * radius * turn * np.cos(angle),
            y + 0.86 * radius * turn * np.sin(angle),
            color=colour,
            lw=LINE + 0.4,
            zorder=5,
            solid_capstyle="round",
        )


def hose(ax: Any, x: float, y: float, colour: str) -> None:
    """A ribbed tube."""
    ribs = np.linspace(x - HALF, x + HALF, 60)
    bulge = 0.055 + 0.018 * np.cos((ribs - x) / HALF * 5.0 * math.pi)
    ax.fill_between(ribs, y - bulge, y + bulge, fc=style.PAPER, ec=colour, lw=LINE, zorder=4)
    for rib in np.linspace(x - 0.8 * HALF, x + 0.8 * HALF, 5):
        ax.plot([rib, rib], [y - 0.055, y + 0.055], color=colour, lw=0.6, zorder=5)


def duct(ax: Any, x: float, y: float, colour: str) -> None:
    """A smooth tube, cut off."""
    _box(ax, x, y, HALF, 0.06, style.PAPER, style.PAPER)
    for side in (-0.06, 0.06):
        ax.plot([x - HALF, x + HALF], [y + side, y + side], color=colour, lw=LINE + 0.5, zorder=5)


def jet(ax: Any, x: float, y: float, colour: str, motive: float = 0.0, suction: float = 0.0) -> None:
    """A nozzle that blows into a narrowing body; `motive` and `suction` are the heights of their ends."""
    from matplotlib.patches import Polygon

    top, bottom = min(motive, suction) - 0.05, max(motive, suction) + 0.05
    if motive == suction:
        top, bottom = -0.13, 0.13
    body = [(-HALF, top), (-0.05, top), (0.05, -0.06), (HALF, -0.06)]
    body += [(HALF, 0.06), (0.05, 0.06), (-0.05, bottom), (-HALF, bottom)]
    ax.add_patch(_polygon(body, x, y, style.PAPER, colour))
    tip = 0.12 * motive
    nozzle = [(-HALF, motive - 0.03), (-0.06, motive - 0.03), (0.075, tip - 0.012)]
    nozzle += [(0.075, tip + 0.012), (-0.06, motive + 0.03), (-HALF, motive + 0.03)]
    ax.add_patch(Polygon([(x + u, y + v) for u, v in nozzle], fc=colour, ec=colour, lw=0.4, zorder=5))


def opening(ax: Any, x: float, y: float, colour: str) -> None:
    """A wall with a wide gap in it."""
    for side in (-1.0, 1.0):
        ax.plot(
            [x, x], [y + side * 0.045, y + side * 0.11], color=colour, lw=2.4, zorder=5, solid_capstyle="butt"
        )


def leak(ax: Any, x: float, y: float, colour: str) -> None:
    """A wall with a crack, and spray."""
    for side in (-1.0, 1.0):
        ax.plot(
            [x, x], [y + side * 0.02, y + side * 0.11], color=colour, lw=2.4, zorder=5, solid_capstyle="butt"
        )
        ax.plot(
            [x + 0.035, x + 0.12], [y + side * 0.018, y + side * 0.07], color=colour, lw=0.8, zorder=5, ls=":"
        )
    ax.plot([x + 0.035, x + 0.14], [y, y], color=colour, lw=0.8, zorder=5, ls=":")


def screen(ax: Any, x: float, y: float, colour: str) -> None:
    """A sieve across the air."""
    ax.plot([x - 0.02, x - 0.02], [y - 0.12, y + 0.12], color=colour, lw=1.4, zorder=5, ls=(0, (1.2, 0.9)))
    ax.plot([x + 0.02, x + 0.02], [y - 0.12, y + 0.12], color=colour, lw=1.4, zorder=5, ls=(0.9, (1.2, 0.9)))


def gate(ax: Any, x: float, y: float, colour: str) -> None:
    """A plate half pushed into the air."""
    _box(ax, x, y, 0.5 * HALF, 0.11, style.PAPER, colour)
    ax.plot([x, x], [y - 0.16, y - 0.01], color=colour, lw=2.4, zorder=6, solid_capstyle="butt")


def narrowing(ax: Any, x: float, y: float, colour: str) -> None:
    """A tube that changes its size."""
    shape = [(-HALF, -0.1), (HALF, -0.05), (HALF, 0.05), (-HALF, 0.1)]
    ax.add_patch(_polygon(shape, x, y, style.PAPER, colour))


def junction(ax: Any, x: float, y: float, colour: str) -> None:
    """Where two ducts join or one divides."""
    shape = [(-0.6 * HALF, -0.16), (0.6 * HALF, -0.16), (0.6 * HALF, 0.16), (-0.6 * HALF, 0.16)]
    ax.add_patch(_polygon(shape, x, y, style.PAPER, colour))
    ax.plot([x - 0.4 * HALF, x, x + 0.4 * HALF], [y - 0.09, y, y], color=colour, lw=1.2, zorder=6)
    ax.plot([x - 0.4 * HALF, x], [y + 0.09, y], color=colour, lw=1.2, zorder=6)


def block(ax: Any, x: float, y: float, colour: str) -> None:
    """A part without a symbol of its own: a plain block."""
    _box(ax, x, y, 0.8 * HALF, 0.075, style.MIST, colour)


def open_air(ax: Any, x: float, y: float, colour: str) -> None:
    """Where a part ends in the open."""
    ax.plot([x], [y], marker="o", ms=3.6, mfc=style.PAPER, mec=colour, mew=0.8, ls="")


def tapping(ax: Any, x: float, y: float, colour: str) -> None:
    """A hole for the manometer."""
    ax.plot([x], [y], marker="D", ms=3.6, mfc=style.MARK, mec=style.PAPER, mew=0.6, ls="")


def arrow(ax: Any, x: float, y: float, side: float, width: float) -> None:
    """An arrow head whose tip is at (x, y)."""
    from matplotlib.patches import Polygon

    half = 0.028 + 0.009 * width
    tail = x - side * 2.1 * half
    ax.add_patch(Polygon([(x, y), (tail, y - half), (tail, y + half)], fc=style.INK, ec="none", zorder=3))


def tint(level: float, highest: float) -> str:
    """Warm above the outside pressure, cool below, stronger with the pressure's square root."""
    from matplotlib.colors import to_hex, to_rgb

    if not math.isfinite(level) or not highest:
        return style.PAPER
    share = 0.12 + 0.75 * math.sqrt(abs(level) / highest)
    red, green, blue = (1.0 - share * (1.0 - c) for c in to_rgb(style.SAND if level >= 0.0 else "#7db4cf"))
    return to_hex((red, green, blue))


def _polygon(points: list[tuple[float, float]], x: float, y: float, fill: str, colour: str) -> Any:
    from matplotlib.patches import Polygon

    return Polygon([(x + u, y + v) for u, v in points], closed=True, fc=fill, ec=colour, lw=LINE, zorder=4)


def _box(ax: Any, x: float, y: float, wide: float, high: float, fill: str, colour: str) -> None:
    from matplotlib.patches import Rectangle

    ax.add_patch(Rectangle((x - wide, y - high), 2 * wide, 2 * high, fc=fill, ec=colour, lw=LINE, zorder=4))


class Symbol(NamedTuple):
    """How a symbol is painted, and how far above its middle the part's name stands [in]."""

    paint: Callable[..., None]
    above: float = 0.12


SYMBOLS: dict[str, Symbol] = {
    "fan": Symbol(fan, 0.13),
    "hose": Symbol(hose, 0.085),
    "duct": Symbol(duct, 0.085),
    "jet": Symbol(jet),
    "opening": Symbol(opening),
    "leak": Symbol(leak),
    "screen": Symbol(screen),
    "gate": Symbol(gate),
    "change of section": Symbol(narrowing),
    "junction": Symbol(junction),
    "block": Symbol(block, 0.085),
}
"""The word that a part gives as its `symbol` -> the symbol."""

OPEN_AIR, TAPPING = Symbol(open_air), Symbol(tapping)


def symbol_of(kind: type[Part]) -> Symbol:
    """The symbol of a kind of part.

    Raises
    ------
    UnknownName
        When the part names none of them.
    """
    return SYMBOLS[one_of(kind.symbol, SYMBOLS, f"part {kind.kind!r}, symbol", "symbol")]


def words_of(kind: type[Part]) -> str:
    """What a kind of part is called in the legend."""
    return kind.legend or kind.kind
