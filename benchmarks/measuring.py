"""Times and the table that they are printed in."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from typing import Any


def best(call: Callable[[], Any], repeats: int) -> float:
    """Shortest of some runs [s]: what the machine can do when nothing else disturbs it."""
    return together([call], repeats)[0]


def together(calls: Sequence[Callable[[], Any]], repeats: int) -> list[float]:
    """Shortest of some runs of each call [s], taken in turn: what disturbs the machine disturbs all alike."""
    shortest = [math.inf] * len(calls)
    for _ in range(repeats):
        for i, call in enumerate(calls):
            begun = time.perf_counter()
            call()
            shortest[i] = min(shortest[i], time.perf_counter() - begun)
    return shortest


def exponent(sizes: list[float], times: list[float]) -> float:
    """Slope of the straight line through the logarithms."""
    x, y = [math.log(s) for s in sizes], [math.log(t) for t in times]
    mx, my = sum(x) / len(x), sum(y) / len(y)
    return sum((a - mx) * (b - my) for a, b in zip(x, y)) / sum((a - mx) ** 2 for a in x)


def seconds(value: float) -> str:
    """A time with the measure that suits it."""
    scale, unit = next((s, u) for s, u in ((1.0, "s"), (1e-3, "ms"), (0.0, "us")) if abs(value) >= s)
    return f"{value / (scale or 1e-6):.3g} {unit}"


class Table:
    """Rows of one benchmark run, printed as they come."""

    def __init__(self) -> None:
        self.rows: list[dict[str, Any]] = []
        self._section = ""

    def section(self, name: str) -> None:
        """Begin a section."""
        self._section = name
        print(f"\n{name}", flush=True)

    def add(self, what: str, value: float, shown: str, aim: str = "", met: bool | None = None) -> None:
        """A row: what was measured, the number, how it is printed, what is aimed at and whether it is met."""
        self.rows.append(
            {"section": self._section, "what": what, "value": value, "shown": shown, "aim": aim, "met": met}
        )
        judged = "" if met is None else ("  met" if met else "  MISSED")
        print(f"  {what:<84} {shown:>10}  {aim}{judged}", flush=True)

    def time(self, what: str, value: float) -> None:
        """A row that is a time."""
        self.add(what, value, seconds(value))

    def ratio(
        self, what: str, value: float, at_least: float | None = None, at_most: float | None = None
    ) -> None:
        """A row that is a ratio, with the bar it is judged by."""
        shown = f"{value:.0f} x" if value >= 100 else f"{value:.3g} x"
        if at_least is not None:
            self.add(what, value, shown, f"aim: at least {at_least:g}", value >= at_least)
        elif at_most is not None:
            self.add(what, value, shown, f"aim: at most {at_most:g}", value <= at_most)
        else:
            self.add(what, value, shown)
