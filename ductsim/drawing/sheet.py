"""Where everything of a drawing stands, and what is written on it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..answers.state import MachineAnswer
from ..display import style
from .plan import Plan
from .spots import Key, Spot, port
from .symbols import OPEN_AIR, TAPPING, Symbol, symbol_of, words_of

PITCH = 0.35  # height of a row [in]
PART_COLUMN = 0.94
GAP = 0.04
STUB = 0.42  # from a part's middle to its end in the open air
TOP, MARGIN = 0.66, 0.16
SMALL, TINY = 6.4, 5.7  # letters [pt]
READABLE = 4.2  # letters smaller than this are left out [pt]
LINE = 1.15 * SMALL / 72.0  # height of a line of words [in]
WIDEST_LINE = 3.4  # [pt]


@dataclass
class Column:
    """A column of the drawing: where its middle is and how wide it is [in]."""

    middle: float
    width: float


class Sheet:
    """Where everything stands, in inches from the upper left corner, and what is written on it."""

    def __init__(self, state: MachineAnswer, found: Plan, measures: str) -> None:
        self.state, self.plan, self.measures = state, found, measures
        self.layout = state.machine.layout
        self.known = bool(state.solved) if state.columns is None else bool(state.solved.any())
        self.scale = 1.0
        self.weakest = self._weakest()
        self.columns = self._columns()
        last = self.columns[-1]
        self.width = max(last.middle + 0.5 * last.width + MARGIN, 5.2)
        self.symbols: dict[str, Symbol] = {}
        for part in self.layout.parts:
            self.symbols.setdefault(words_of(part.kind), symbol_of(part.kind))
        self.legend = self._legend()
        self.bottom = TOP + found.rows * PITCH + 0.14
        self.height = self.bottom + 0.3 * (1 + max(row for *_, row in self.legend)) + 0.5
        flows = [abs(style.middle(value)) for value in state.flow.values()] if self.known else []
        self.most = max([f for f in flows if math.isfinite(f)], default=0.0)
        levels = [abs(self.pressure(node)) for node in state.pressure] if self.known else []
        self.highest = max([p for p in levels if math.isfinite(p)], default=0.0)

    @property
    def small(self) -> bool:
        """Whether the place is too small for the names and numbers of parts and boxes."""
        return self.scale * SMALL < READABLE

    def letters(self, size: float) -> float:
        """The size at which words are drawn that stay readable in a small place [pt]."""
        return max(size, READABLE / self.scale)

    def _weakest(self) -> str:
        if not self.known or not self.layout.units:
            return ""
        if self.state.columns is None:
            return str(self.state.weakest)
        rows = self.state.rows()
        return str(max(rows, key=lambda row: row["chance_weakest"])["unit"])

    def _columns(self) -> list[Column]:
        out, left = [], MARGIN
        for layer, keys in enumerate(self.plan.columns):
            if not keys:
                out.append(Column(left, 0.0))
                continue
            width = PART_COLUMN if layer % 2 else max(map(self._box_width, keys))
            out.append(Column(left + 0.5 * width, width))
            left += width + GAP
        return out

    def _box_width(self, key: Key) -> float:
        if key[0] == "line":
            return 0.2
        longest = max(map(len, style.wrapped(key[1], 12).split("\n")))
        return max(0.5, 0.054 * longest + 0.12)

    def _legend(self) -> list[tuple[str, Symbol, float, int]]:
        """(words, symbol, left edge, row) of everything in the legend."""
        out: list[tuple[str, Symbol, float, int]] = []
        x, row = MARGIN, 0
        marks = [("open air", OPEN_AIR), *([("tapping", TAPPING)] if self.layout.tappings else [])]
        for words, symbol in (*self.symbols.items(), *marks):
            room = 0.52 + 0.05 * min(len(words), 24)
            if x + room > self.width - MARGIN and x > MARGIN:
                x, row = MARGIN, row + 1
            out.append((words, symbol, x, row))
            x += room
        return out

    # ---- places

    def x(self, spot: Spot) -> float:
        """Middle of its column."""
        return self.columns[spot.layer].middle

    def y(self, rows: float) -> float:
        """A height in rows as inches from above."""
        return TOP + rows * PITCH

    def level(self, part: Spot, other: Key) -> float:
        """Height at which a part's line to a neighbour begins."""
        return self.y(part.y + port(part, other))

    # ---- numbers

    def pressure(self, node: str) -> float:
        """Total pressure of a node [Pa]; NaN where it is not known."""
        return style.middle(self.state.pressure[node]) if self.known else math.nan

    def total_vacuum(self, unit: str) -> float:
        """Total vacuum where the static vacuum of a unit is read [Pa]; NaN where it is not known."""
        tapping = self.layout.tapping[self.layout.unit[unit].vacuum_at]
        node = self.layout.end_node(tapping.path, tapping.end)
        return -self.pressure(node) if node in self.state.pressure else math.nan

    def flow(self, part: str, node: str = "") -> float:
        """Air through a part [kg/s], counted as its paths run; of several those that touch `node`."""
        if not self.known:
            return math.nan
        system = self.state.machine.system
        keys = self.layout.path_keys(part)
        if node:
            i = system.node(node)
            near = [k for k in keys if i in (system.start[system.rows[k]], system.finish[system.rows[k]])]
            keys = tuple(near) or keys
        return sum(style.middle(self.state.flow[key]) for key in keys)

    def line_width(self, flow: float) -> float:
        """Width of a line that carries so much air [pt]."""
        if not math.isfinite(flow) or not self.most:
            return 0.9
        return 0.6 + (WIDEST_LINE - 0.6) * math.sqrt(abs(flow) / self.most)
