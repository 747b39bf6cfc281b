"""The units of a machine as a small SVG picture, quick enough to follow a slider.

A plotting library needs about a tenth of a second for such a picture; writing its text needs none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from ..display import style
from ..display.tables import escaped
from ..quantity import display_measure, from_si

WIDTH, ROW, TOP, BOTTOM = 680, 30, 46, 30  # in the units of the picture's view box
NAMES = 104  # room for the names of the units
PANE, GAP, VALUE = 180, 12, 46  # width of a pane, space between two, room for a number in it
LONGEST = 9  # characters of a unit's name

QUANTITIES = (
    ("vacuum", "vacuum_Pa", "Pa"),
    ("opening air", "opening_air_kg_s", "kg/s"),
    ("duct air", "duct_air_kg_s", "kg/s"),
)


class Picture:
    """Draws the rows of a state's units beside those at the start, on scales that only ever grow.

    Parameters
    ----------
    start : list of dict
        The rows of the state to compare with.
    measures : str
        "metric" or "inch".
    """

    def __init__(self, start: Sequence[dict[str, Any]], measures: str = "metric") -> None:
        self.start = list(start)
        self.measures = measures
        self._reach = {key: 0.0 for _, key, _ in QUANTITIES}
        self._widen(self.start, 1.15)

    def _widen(self, rows: Sequence[dict[str, Any]], by: float = 1.0) -> None:
        for key in self._reach:
            known = [row[key] for row in rows if math.isfinite(row[key])]
            self._reach[key] = max(self._reach[key], by * max(known, default=0.0))

    def svg(self, rows: Sequence[dict[str, Any]], weakest: str = "") -> str:
        """The picture of some rows, the weakest unit marked; everything in it is escaped."""
        self._widen(rows)
        high = TOP + ROW * len(rows) + BOTTOM
        about = f"Vacuum, opening air and duct air of {len(rows)} units"
        body = [
            self._head(),
            *(self._row(i, row, row["unit"] == weakest) for i, row in enumerate(rows)),
            self._key(high - 9),
        ]
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {high}" role="img" '
            f'aria-label="{about}" style="width:100%;max-width:{WIDTH}px;height:auto;display:block;'
            f'background:{style.PAPER}" font-family="DejaVu Sans, Verdana, sans-serif" font-size="12" '
            f'fill="{style.INK}"><defs>{_hatch()}</defs>{"".join(body)}</svg>'
        )

    def _head(self) -> str:
        out = []
        for k, (words, _, measure) in enumerate(QUANTITIES):
            label = escaped(f"{words} [{display_measure(measure, self.measures)}]")
            out.append(f'<text x="{_left(k)}" y="{TOP - 14}" font-weight="bold">{label}</text>')
            foot = f'y1="{TOP - 4}" y2="{TOP + ROW * len(self.start)}"'
            out.append(f'<line x1="{_left(k)}" x2="{_left(k)}" {foot} stroke="{style.INK}"/>')
        return "".join(out)

    def _row(self, i: int, row: dict[str, Any], weakest: bool) -> str:
        y = TOP + ROW * i
        weight = ' font-weight="bold"' if weakest else ""
        name = escaped("unit " + style.plain(row["unit"], LONGEST).replace(r"\$", "$"))
        out = [f'<text x="{NAMES - 10}" y="{y + 17}" text-anchor="end"{weight}>{name}</text>']
        for k, quantity in enumerate(QUANTITIES):
            out.append(self._bar(k, y, row, self.start[i], quantity, weakest and k == 0))
        return "".join(out)

    def _bar(self, k: int, y: int, row: Any, start: Any, quantity: Any, marked: bool) -> str:
        _, key, measure = quantity
        left, room, reach = _left(k), PANE - VALUE, self._reach[key] or 1.0

        def length(value: float) -> float:
            return max(0.0, min(1.0, value / reach)) * room if math.isfinite(value) else 0.0

        colour = style.MARK if marked else style.TEAL if k == 2 else style.DEEP
        box = f'x="{left}" y="{y + 4}" width="{length(row[key]):.1f}" height="17"'
        out = [f'<rect {box} fill="{colour}"/>']
        if marked:
            out.append(f'<rect {box} fill="url(#weak)"/>')
        before = left + length(start[key])
        if math.isfinite(start[key]):
            out.append(
                f'<line x1="{before:.1f}" x2="{before:.1f}" y1="{y + 1}" y2="{y + 24}" '
                f'stroke="{style.INK}" stroke-width="2"/>'
            )
        value = style.number(from_si(row[key], display_measure(measure, self.measures)))
        right = max(left + length(row[key]), before) + 5
        out.append(f'<text x="{right:.1f}" y="{y + 17}" font-size="11">{value}</text>')
        return "".join(out)

    def _key(self, y: int) -> str:
        """What bars, marks and colours mean."""
        mark = f'<line x1="{NAMES}" x2="{NAMES}" y1="{y - 11}" y2="{y + 2}" stroke="{style.INK}"'
        box = f'x="{NAMES + 130}" y="{y - 10}" width="22" height="11"'
        return (
            f'{mark} stroke-width="2"/><text x="{NAMES + 7}" y="{y}" font-size="11">at the start</text>'
            f'<rect {box} fill="{style.MARK}"/><rect {box} fill="url(#weak)"/>'
            f'<text x="{NAMES + 158}" y="{y}" font-size="11">the unit with the least vacuum</text>'
        )


def _left(k: int) -> int:
    return NAMES + k * (PANE + GAP)


def _hatch() -> str:
    return (
        '<pattern id="weak" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        f'<line x1="0" y1="0" x2="0" y2="6" stroke="{style.PAPER}" stroke-width="1.6"/></pattern>'
    )
