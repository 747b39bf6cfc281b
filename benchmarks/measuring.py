"""Times and the table that they are printed in."""

from __future__ import annotations

import math
import resource
import time
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple


class Spent(NamedTuple):
    """What a call took [s]: time of the processor, which ratios compare, and by the clock on the wall."""

    cpu: float
    wall: float

    def over(self, parts: float) -> Spent:
        """The share of one of so many."""
        return Spent(self.cpu / parts, self.wall / parts)


def best(call: Callable[[], Any], repeats: int) -> Spent:
    """Shortest of some runs: what the machine can do when nothing else disturbs it."""
    return together([call], repeats)[0]


def together(calls: Sequence[Callable[[], Any]], repeats: int) -> list[Spent]:
    """Shortest of some runs of each call, taken in turn: what disturbs the machine disturbs all alike."""
    shortest = [Spent(math.inf, math.inf)] * len(calls)
    for _ in range(repeats):
        for i, call in enumerate(calls):
            spent = timed(call)
            shortest[i] = Spent(*map(min, shortest[i], spent))
    return shortest


def timed(call: Callable[[], Any]) -> Spent:
    """What one call takes, processes that it starts and waits for included."""
    begun, before = time.perf_counter(), processor_time()
    call()
    return Spent(processor_time() - before, time.perf_counter() - begun)


def processor_time() -> float:
    """Of this process and of those it has waited for [s]."""
    ended = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + ended.ru_utime + ended.ru_stime


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

    def add(
        self, what: str, value: float, shown: str, aim: str = "", met: bool | None = None, **more: float
    ) -> None:
        """A row: what was measured, the number, how it is printed, what is aimed at and whether it is met."""
        row = {"section": self._section, "what": what, "value": value, "shown": shown, "aim": aim, "met": met}
        self.rows.append(row | more)
        judged = "" if met is None else ("  met" if met else "  MISSED")
        print(f"  {what:<84} {shown:>10}  {aim}{judged}", flush=True)

    def time(self, what: str, spent: Spent, at_most: float | None = None) -> None:
        """A row that is a time: that of the processor, and beside it by the clock."""
        met = None if at_most is None else spent.cpu <= at_most
        aim = "" if at_most is None else f"; aim: at most {seconds(at_most)}"
        beside = f"{seconds(spent.wall)} by the clock{aim}"
        self.add(what, spent.cpu, seconds(spent.cpu), beside, met, wall=spent.wall)

    def said(self, what: str, words: str) -> None:
        """A row without a number: why something was not measured."""
        self.add(what, math.nan, words)

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
