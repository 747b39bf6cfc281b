"""The drawing of a machine's air path, made from the machine itself: who blows where, at which pressure."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from ..answers.state import MachineAnswer, solve
from ..display import style
from ..errors import InputError
from ..quantity import display_measure, from_si
from .plan import Plan, plan
from .sheet import LINE, MARGIN, PITCH, SMALL, STUB, TINY, Sheet
from .spots import Key, Spot, port
from .symbols import HALF, arrow, jet, symbol_of, tint

if TYPE_CHECKING:
    from ..description.data import MachineData

MOST_PARTS = 400


def draw_machine(
    machine: Any,
    ax: Any = None,
    measures: str = "metric",
    make: Callable[[float, float], Any] = style.shown_axes,
) -> Any:
    """Draw the air path of a machine, with the pressures and flows that it works at.

    Parameters
    ----------
    machine : Machine or MachineAnswer
        A machine is solved first. Of columns the medians are shown. Without an answer the path is drawn
        without numbers.
    ax : Axes, optional
        Where to draw; it loses its frame. By default a figure of the size that the drawing needs.
    measures : str
        "metric" or "inch".
    make : callable
        `make(width, height)` -> Axes of that size [in], where none are given.

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        For a machine with more parts than can be read on a sheet.
    """
    with style.own():
        sheet = _sheet(machine, measures)
        own = ax is None
        if own:
            ax = make(sheet.width, sheet.height)
        _paint(ax, sheet, own)
    return ax


def _sheet(machine: Any, measures: str) -> Sheet:
    state = machine if isinstance(machine, MachineAnswer) else solve(machine, raise_error=False)
    return Sheet(state, _laid_out(state.machine), measures)


def _laid_out(machine: MachineData) -> Plan:
    parts = len(machine.layout.parts)
    if parts > MOST_PARTS:
        raise InputError(
            f"{parts:,} parts are too many to be drawn", place="drawing", allowed=f"at most {MOST_PARTS}"
        )
    return plan(machine)


# ---- painting


def _paint(ax: Any, sheet: Sheet, own: bool) -> None:
    """Draw the sheet; in a smaller place everything is drawn smaller."""
    before = set(ax.get_children())
    ax.set_axis_off()
    if own:
        ax.figure.set_layout_engine("none")
        ax.set_position((0.0, 0.0, 1.0, 1.0))
    ax.set_xlim(0.0, sheet.width)
    ax.set_ylim(sheet.height, 0.0)
    ax.set_aspect("equal")
    if not own:
        box = ax.get_window_extent()
        dpi = ax.figure.get_dpi()
        sheet.scale = min(box.width / dpi / sheet.width, box.height / dpi / sheet.height, 1.0)
    _paint_title(ax, sheet)
    _paint_units(ax, sheet)
    for spot in sheet.plan.spots.values():
        if spot.kind == "part":
            _paint_part(ax, sheet, spot)
        elif spot.kind == "node":
            _paint_box(ax, sheet, spot)
        else:
            _paint_passing(ax, sheet, spot)
    _paint_tappings(ax, sheet)
    _paint_legend(ax, sheet)
    if not own:
        _shrink(ax, before, sheet.scale)


def _shrink(ax: Any, before: set[Any], scale: float) -> None:
    for artist in set(ax.get_children()) - before:
        if hasattr(artist, "set_fontsize"):
            artist.set_fontsize(artist.get_fontsize() * scale)
        elif hasattr(artist, "set_markersize"):
            artist.set_markersize(artist.get_markersize() * scale)
        if hasattr(artist, "set_linewidth"):
            artist.set_linewidth(artist.get_linewidth() * scale)


def _paint_title(ax: Any, sheet: Sheet) -> None:
    size = sheet.letters(9.5)
    title = style.plain(sheet.layout.title or "machine", int(sheet.width / 0.082 * 9.5 / size))
    ax.text(MARGIN, 0.2, title, fontsize=size, fontweight="bold", va="center")
    if sheet.small:
        return
    said = sheet.state.sentences(sheet.measures)[:1]
    words = style.plain(said[0], int(sheet.width / 0.056)) if said else ""
    ax.text(MARGIN, 0.37, words, fontsize=7.0, va="center")


def _paint_units(ax: Any, sheet: Sheet) -> None:
    """A frame around what serves one unit only; its name alone where something else stands in the frame."""
    from matplotlib.patches import FancyBboxPatch

    for unit in sheet.layout.units:
        own = [s for s in sheet.plan.spots.values() if s.unit == unit.name]
        if not own:
            continue
        left = min(sheet.x(s) - 0.5 * sheet.columns[s.layer].width for s in own) - 0.01
        right = max(sheet.x(s) + 0.5 * sheet.columns[s.layer].width for s in own) + 0.01
        top = sheet.y(min(min(s.y - 0.5, s.top) for s in own)) - 0.18
        bottom = sheet.y(max(max(s.y + 0.5, s.bottom) for s in own)) - 0.01
        weak = unit.name == sheet.weakest
        if any(
            _touches(sheet, s, left, right, top, bottom) for s in sheet.plan.spots.values() if s not in own
        ):
            first = min(s.layer for s in own)
            above = sheet.y(min(min(s.y - 0.5, s.top) for s in own if s.layer == first)) - 0.18
            _name_unit(ax, sheet, unit.name, (left + 0.07, above + 0.085), weak, right - left)
            continue
        shape = FancyBboxPatch(
            (left, top),
            right - left,
            bottom - top,
            boxstyle="round,pad=0,rounding_size=0.08",
            fc="#fbeee6" if weak else "#f2f5f5",
            ec=style.MARK if weak else style.MIST,
            lw=1.6 if weak else 0.7,
            zorder=0,
        )
        ax.add_patch(shape)
        _name_unit(ax, sheet, unit.name, (left + 0.07, top + 0.085), weak, right - left)


def _touches(sheet: Sheet, spot: Spot, left: float, right: float, top: float, bottom: float) -> bool:
    """Whether a spot reaches into a rectangle."""
    if spot.kind == "line":
        return False
    half = 0.45 * sheet.columns[spot.layer].width
    apart = sheet.x(spot) + half < left or sheet.x(spot) - half > right
    return not (apart or sheet.y(spot.bottom) < top or sheet.y(spot.top) > bottom)


def _name_unit(ax: Any, sheet: Sheet, name: str, place: tuple[float, float], weak: bool, room: float) -> None:
    size = sheet.letters(6.6)
    longest = max(int(room / 0.062 * 6.6 / size), 8)
    words = f"unit {name}"
    if sheet.known:
        vacuum = style.middle(sheet.state.vacuum[name])
        words += f": {style.shown(vacuum, 'Pa', sheet.measures)}{'' if sheet.small else ' vacuum'}"
        total = sheet.total_vacuum(name)
        more = f" (static; total {style.number(from_si(total, display_measure('Pa', sheet.measures)))})"
        last = ", weakest" if weak else ""
        if math.isfinite(total) and not sheet.small and len(words + more + last) <= longest:
            words += more
        words += last
    ax.text(*place, style.plain(words, longest), fontsize=size, fontweight="bold", va="center", zorder=6)


def _paint_box(ax: Any, sheet: Sheet, spot: Spot) -> None:
    """A node: a box with its name and pressure, as tall as its neighbours reach."""
    from matplotlib.patches import FancyBboxPatch

    x, width = sheet.x(spot), sheet._box_width(spot.key)
    text = "" if sheet.small else style.wrapped(spot.name, 12, 2)
    level = sheet.pressure(spot.name)
    if sheet.known and not sheet.small:
        shown = style.number(from_si(level, display_measure("Pa", sheet.measures)), 3)
        text += "\nclosed off" if math.isnan(level) else f"\n{shown}"
    middle = 0.5 * (sheet.y(spot.top) + sheet.y(spot.bottom))
    room = 0.5 * LINE * (text.count("\n") + 1.5)
    top, bottom = min(sheet.y(spot.top), middle - room), max(sheet.y(spot.bottom), middle + room)
    shape = FancyBboxPatch(
        (x - 0.5 * width, top),
        width,
        bottom - top,
        boxstyle="round,pad=0,rounding_size=0.045",
        fc=tint(level, sheet.highest),
        ec=style.INK,
        lw=0.9,
        zorder=4,
    )
    ax.add_patch(shape)
    ax.text(x, middle, text, fontsize=SMALL, ha="center", va="center", zorder=7, linespacing=1.15)


def _paint_part(ax: Any, sheet: Sheet, spot: Spot) -> None:
    """A part: its lines to the neighbours, its symbol, its name and its air."""
    kind = sheet.layout.part[spot.name].kind
    x, y = sheet.x(spot), sheet.y(spot.y)
    dashed = kind.is_leak
    for side, near in ((-1.0, spot.before), (1.0, spot.after)):
        for key in near:
            begin = sheet.level(spot, key)
            flow = sheet.flow(spot.name, key[1] if key[0] == "node" else "")
            _line_to(ax, sheet, (x, begin), side, sheet.plan.spots[key], flow, dashed, len(near) > 1)
    ends = ((-1.0, spot.from_outside), (1.0, spot.to_outside))
    for side, count in ends:
        for _ in range(min(count, 1)):
            _open_end(ax, sheet, x, y, side, sheet.flow(spot.name), dashed)
    symbol = symbol_of(kind)
    heights = _jet_ends(sheet, spot) if symbol.paint is jet and len(spot.before) == 2 else ()
    symbol.paint(ax, x, y, style.INK, *heights)
    _name_part(ax, sheet, spot, symbol.above)


def _jet_ends(sheet: Sheet, spot: Spot) -> tuple[float, float]:
    motive = sheet.layout.part[spot.name].ends[0]
    heights = {key[1]: port(spot, key) * PITCH for key in spot.before}
    first = heights.pop(motive, 0.0)
    return first, next(iter(heights.values()), 0.0)


def _name_part(ax: Any, sheet: Sheet, spot: Spot, above: float) -> None:
    x, y = sheet.x(spot), sheet.y(spot.y)
    above = above if len(spot.before) < 2 and len(spot.after) < 2 else 0.215
    if sheet.small:
        return
    name = style.wrapped(spot.name, 17, 2)
    ax.text(x, y - above, name, fontsize=SMALL, ha="center", va="bottom", zorder=7, linespacing=0.95)
    flow = sheet.flow(spot.name)
    if math.isfinite(flow):
        spelled = display_measure("kg/s", sheet.measures)
        shown = style.number(from_si(flow, spelled), 3, from_si(sheet.most, spelled))
        below = 0.03 + 0.009 * sheet.line_width(flow)
        ax.text(x + HALF + 0.015, y + below, shown, fontsize=TINY, ha="left", va="top", zorder=7)


def _line_to(
    ax: Any,
    sheet: Sheet,
    start: tuple[float, float],
    side: float,
    to: Spot,
    flow: float,
    dashed: bool,
    several: bool,
) -> None:
    """A line from a part to a neighbour's edge, level where it can be, else with one step."""
    x, y = start
    x_end, y_end = _edge(sheet, to, -side, y)
    points = [(x + side * 0.9 * HALF * several, y), (x_end, y_end)]
    if abs(y_end - y) > 1e-3:
        turn = 0.5 * (x + side * HALF + x_end)
        points[1:1] = [(turn, y), (turn, y_end)]
    _draw_line(ax, sheet, points, flow, dashed)
    if math.isfinite(flow) and (flow >= 0.0) == (side > 0.0) and flow:
        at = x_end if to.kind == "node" else 0.5 * (x + side * HALF + x_end)
        arrow(ax, at, y_end, side, sheet.line_width(flow))


def _edge(sheet: Sheet, spot: Spot, side: float, y: float) -> tuple[float, float]:
    """The point of a neighbour at which a line at height `y` ends."""
    if spot.kind == "line":
        return sheet.x(spot), sheet.y(spot.y)
    x = sheet.x(spot) + side * 0.5 * sheet._box_width(spot.key)
    return x, min(max(y, sheet.y(spot.top) + 0.02), sheet.y(spot.bottom) - 0.02)


def _draw_line(ax: Any, sheet: Sheet, points: list[tuple[float, float]], flow: float, dashed: bool) -> None:
    xs, ys = zip(*points, strict=True)
    ax.plot(
        xs,
        ys,
        color=style.INK,
        lw=sheet.line_width(flow),
        ls=(0, (2.2, 1.2)) if dashed else "-",
        zorder=2,
        solid_capstyle="butt",
        solid_joinstyle="round",
    )


def _open_end(ax: Any, sheet: Sheet, x: float, y: float, side: float, flow: float, dashed: bool) -> None:
    """A line to the open air."""
    end = x + side * STUB
    _draw_line(ax, sheet, [(x, y), (end, y)], flow, dashed)
    ax.plot([end], [y], marker="o", ms=3.6, mfc=style.PAPER, mec=style.INK, mew=0.8, zorder=4, ls="")
    if math.isfinite(flow) and flow and (flow > 0.0) == (side > 0.0):
        arrow(ax, end - side * 0.04, y, side, sheet.line_width(flow))


def _paint_passing(ax: Any, sheet: Sheet, spot: Spot) -> None:
    """A line that only passes a column on its way to the next."""
    for key in spot.after:
        to = sheet.plan.spots[key]
        start = (sheet.x(spot), sheet.y(spot.y))
        if to.kind == "node":
            end = _edge(sheet, to, -1.0, start[1])
        else:
            end = (sheet.x(to), sheet.y(to.y) if to.kind == "line" else sheet.level(to, spot.key))
        turn = 0.5 * (start[0] + end[0])
        points = [start, (turn, start[1]), (turn, end[1]), end]
        _draw_line(ax, sheet, points, math.nan, False)


def _paint_tappings(ax: Any, sheet: Sheet) -> None:
    """A mark at the end of the part on which each tapping sits."""
    for tapping in sheet.layout.tappings:
        spot = sheet.plan.spots[("part", tapping.path)]
        node = sheet.layout.end_node(tapping.path, tapping.end)
        if node == "outside":
            side = 1.0 if spot.to_outside and not (spot.from_outside and tapping.end == "from") else -1.0
            place = (sheet.x(spot) + side * (STUB - 0.12), sheet.y(spot.y))
        else:
            side = 1.0 if ("node", node) in spot.after else -1.0
            level = sheet.level(spot, ("node", node))
            key: Key = ("node", node)
            if key not in sheet.plan.spots:
                continue
            place = _edge(sheet, sheet.plan.spots[key], -side, level)
        ax.plot(
            [place[0]],
            [place[1]],
            marker="D",
            ms=3.6,
            mfc=style.MARK,
            mec=style.PAPER,
            mew=0.6,
            zorder=8,
            ls="",
        )


def _paint_legend(ax: Any, sheet: Sheet) -> None:
    y0 = sheet.bottom + 0.16
    if sheet.small:
        size = sheet.letters(SMALL)
        longest = int(sheet.width / 0.05 * SMALL / size)
        words = style.plain("drawn small: names, air and pressures need more room", longest)
        ax.text(MARGIN, y0, words, fontsize=size, va="center")
        return
    ax.plot([MARGIN, sheet.width - MARGIN], [y0 - 0.18, y0 - 0.18], color=style.MIST, lw=0.8)
    for words, symbol, x, row in sheet.legend:
        y = y0 + 0.3 * row
        symbol.paint(ax, x + HALF, y, style.INK, *((-0.07, 0.07) if symbol.paint is jet else ()))
        ax.text(x + 2 * HALF + 0.06, y, style.plain(words, 24), fontsize=SMALL, va="center")
    y = y0 + 0.3 * (1 + max(row for *_, row in sheet.legend))
    pa, kg = (display_measure(m, sheet.measures) for m in ("Pa", "kg/s"))
    if sheet.known:
        lines = [
            f"In the boxes: total pressure against outside [{pa}], warm above it, cool below. "
            "Vacuum of a unit: static.",
            f"Beside the parts: air [{kg}]; the thicker the line, the more air.",
        ]
    else:
        lines = ["Drawn without pressures: no operating point was found.", ""]
    for i, line in enumerate(lines):
        ax.text(MARGIN, y + 0.13 * i, line, fontsize=SMALL, va="center")
