"""Seeded random networks for the tests and the benchmark run: everything that valid input may hold.

Trees and loops of 2 to 200 paths; all kinds of parts with sections over three decades, leaks with exponents
from 0.5 to 1, jets and tees wherever they fall, closed paths, held nodes, supplies, constant and real air,
fans with falling or with rising curves. The same seed gives the same network.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import Any

import numpy as np

import ductsim as ds

SMALLEST, LARGEST = 1e-4, 1e-1  # m2
CLOSED = 0.05  # share of closed paths where a network has any


@dataclass
class Case:
    """A random network: what `Network` is given, and what makes it difficult.

    Attributes
    ----------
    parts : (name, part, ends)
    sizes : section that each part was sized by [m2], 0 where it is closed
    traits : words for what the network holds ("jet", "closed path", "rising fan" ...)
    """

    seed: int
    air: Any
    parts: list[tuple[str, Any, tuple[str, ...]]] = field(default_factory=list)
    sizes: list[float] = field(default_factory=list)
    held: dict[str, float] = field(default_factory=dict)
    supplies: dict[str, float] = field(default_factory=dict)
    traits: set[str] = field(default_factory=set)

    def network(self) -> Any:
        net = ds.Network(self.air, free_ends=False)
        for name, part, ends in self.parts:
            net.add(name, part, *ends)
        for node, pressure in self.held.items():
            net.hold(node, pressure=pressure)
        for node, flow in self.supplies.items():
            net.supply(node, mass_flow=flow)
        return net

    @property
    def nodes(self) -> list[str]:
        return list(dict.fromkeys(n for _, _, ends in self.parts for n in ends))

    @property
    def fans_rising(self) -> bool:
        return "rising fan" in self.traits

    @property
    def paths(self) -> int:
        return sum(2 if len(ends) == 3 else 1 for _, _, ends in self.parts)


def open_ways(case: Case) -> list[tuple[str, str, float]]:
    """The open paths as (node, node, size), from the parts' own numbers."""
    out = []
    for (_, part, ends), size in zip(case.parts, case.sizes):
        if len(ends) == 2:
            if size > 0.0:
                out.append((ends[0], ends[1], size))
            continue
        kind = part.kind
        if kind == "jet":
            ways = [(ends[0], ends[2], part.nozzle_area), (ends[1], ends[2], part.mixing_area)]
        elif kind == "merge":
            ways = [(ends[0], ends[2], part.straight_area), (ends[1], ends[2], part.branch_area)]
        else:
            ways = [(ends[0], ends[1], part.straight_area), (ends[0], ends[2], part.branch_area)]
        out += [way for way in ways if way[2] > 0.0]
    return out


def reached(case: Case) -> set[str]:
    """Nodes that open paths join to outside or to a held node: a breadth-first search of its own."""
    beside: dict[str, list[str]] = {}
    for a, b, _ in open_ways(case):
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    seen = {"outside", *case.held}
    queue = deque(seen)
    while queue:
        for other in beside.get(queue.popleft(), ()):
            if other not in seen:
                seen.add(other)
                queue.append(other)
    return seen


def fed_closed_off(case: Case) -> bool:
    """True when air is supplied to a piece of the network that no open path joins to a known pressure."""
    lost = {n: f for n, f in case.supplies.items() if n not in reached(case) and f}
    beside: dict[str, set[str]] = {}
    for a, b, _ in open_ways(case):
        beside.setdefault(a, set()).add(b)
        beside.setdefault(b, set()).add(a)
    while lost:
        node, net = lost.popitem()
        piece, stack = {node}, [node]
        while stack:
            new = beside.get(stack.pop(), set()) - piece
            piece |= new
            stack += new
        net += sum(lost.pop(n) for n in piece & set(lost))
        if net:
            return True
    return False


def widest_way_out(case: Case) -> dict[str, float]:
    """For each node, the narrowest section on the widest way to outside or a held node [m2]."""
    width = dict.fromkeys(case.nodes, 0.0) | {"outside": math.inf} | dict.fromkeys(case.held, math.inf)
    ways = open_ways(case)
    changed = True
    while changed:
        changed = False
        for a, b, size in ways:
            for here, there in ((a, b), (b, a)):
                if min(width[here], size) > width[there]:
                    width[there], changed = min(width[here], size), True
    return width


class Generator:
    """Makes one case from a seed."""

    def __init__(self, seed: int, most_paths: int, rising: bool) -> None:
        self.rng = np.random.default_rng([seed, most_paths, rising])
        self.rising = rising
        real = self.rng.random() < 0.6
        self.case = Case(seed, self._air(real))
        self.case.traits.add("real air" if real else "constant air")
        self.target = round(math.exp(self.rng.uniform(math.log(2.0), math.log(most_paths))))
        self.closed = CLOSED if self.rng.random() < 0.4 else 0.0
        self.fans = self.rng.choice([0.03, 0.1, 0.25])
        self.threes = self.rng.choice([0.0, 0.1, 0.3])
        self.loops = self.rng.choice([0.0, 0.0, 0.2, 0.5])
        self.level = self.rng.uniform(math.log10(SMALLEST), math.log10(LARGEST))
        self.wide = self.rng.random() < 0.7  # all three decades in one network

    def _air(self, real: bool) -> Any:
        if not real:
            return ds.Air(density=self.uniform(0.9, 1.3), viscosity=1.82e-5)
        return ds.Air.at(
            altitude=self.uniform(0.0, 2000.0),
            temperature=self.uniform(270.0, 315.0),
            relative_humidity=self.uniform(0.0, 1.0),
        )

    def uniform(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def log(self, low: float, high: float) -> float:
        return math.exp(self.uniform(math.log(low), math.log(high)))

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def pick(self, items: Any) -> Any:
        return items[int(self.rng.integers(len(items)))]

    def area(self) -> float:
        if self.wide:
            return self.log(SMALLEST, LARGEST)
        return float(np.clip(10.0 ** (self.level + self.uniform(-0.3, 0.3)), SMALLEST, LARGEST))

    # ---- parts

    def fan(self, area: float) -> Any:
        last = self.uniform(8.0, 25.0) * area
        peak = self.log(30.0, 6000.0)
        count = int(self.rng.integers(2, 8))
        flow = (
            np.linspace(0.0, 1.0, count) if self.chance(0.5) else np.sort(self.rng.uniform(0.0, 1.0, count))
        )
        flow[-1] = 1.0
        flow += 1e-3 * np.arange(count)
        if self.rising and count > 2 and self.chance(0.7):
            top, first = self.uniform(0.2, 0.6), self.uniform(0.3, 0.95)
            left, right = (flow - top) / top, (flow - top) / (1.0 - top)
            shape = np.where(
                flow < top, 1.0 - (1.0 - first) * left**2, 1.0 - self.uniform(0.5, 1.0) * right**2
            )
            self.case.traits.add("rising fan")
        else:
            shape = 1.0 - self.uniform(0.3, 0.95) * (flow / flow[-1]) ** self.uniform(0.7, 3.0)
            self.case.traits.add("falling fan")
        speed = self.log(50.0, 400.0)
        more: dict[str, Any] = {}
        if self.chance(0.2):
            more["soiling"] = self.uniform(0.0, 0.4)
        if self.chance(0.2):
            more["inlet_temperature"] = self.uniform(265.0, 345.0)
        if self.chance(0.3):
            more["shaft_power"] = list(peak * last * (0.3 + flow))
        running = 0.0 if self.chance(0.05) else speed * self.uniform(0.3, 1.2)
        if not running:
            self.case.traits.add("stopped fan")
        return ds.Fan(
            flow=list(flow * last),
            total_pressure=list(np.maximum(shape, 0.0) * peak),
            curve_speed=speed,
            curve_density=self.uniform(1.0, 1.25),
            speed=running,
            **more,
        )

    def two_ended(self, area: float) -> tuple[Any, float]:
        """A part with two ends sized by an area, and its size (0 when it is closed)."""
        shut = self.chance(self.closed)
        makers = [
            self._opening,
            self._leak,
            self._duct,
            self._hose,
            self._resistance,
            self._screen,
            self._gate,
        ]
        makers += [self._entrance, self._transition]
        part, closes = self.pick(makers)(0.0 if shut else area)
        if shut and closes:
            self.case.traits.add("closed path")
            return part, 0.0
        return part, SMALLEST if shut else area

    def _opening(self, area: float) -> tuple[Any, bool]:
        return ds.Opening(area=area, loss_coefficient=self.log(0.1, 10.0)), True

    def _leak(self, area: float) -> tuple[Any, bool]:
        form = self.pick(["area", "gap", "power", "power", "crack", "class"])
        if form == "area":
            return ds.Leak(area=area), True
        if form == "gap":
            length = self.uniform(0.2, 3.0)
            return ds.Leak(length=length, width=area / length), True
        if form == "crack":
            length = 10.0 * math.sqrt(area)
            width = area / length if area else 0.0
            return ds.Leak(length=length, width=width, depth=self.log(2.0, 20.0) * max(width, 1e-3)), True
        if form == "class":
            # as much as the area would pass at 100 Pa
            return ds.Leak(leakage_class=self.log(0.001, 0.1), surface=area * 1.6e5), True
        exponent = self.uniform(0.5, 1.0)
        if self.chance(0.3):
            exponent = self.pick([0.5, 1.0])
        self.case.traits.add("power leak")
        return ds.Leak(coefficient=13.0 * area / 100.0**exponent, exponent=exponent), True

    def _duct(self, area: float) -> tuple[Any, bool]:
        bore = math.sqrt(max(area, SMALLEST) / 0.7854)
        more: dict[str, Any] = {}
        if self.chance(0.3):
            more["rise"] = self.uniform(-5.0, 5.0)
        if self.chance(0.3):
            more["bends"] = [ds.Bend(angle=self.uniform(0.3, 3.0), radius=self.uniform(0.7, 2.4) * bore)]
        shape: dict[str, Any] = {"diameter": bore}
        if self.chance(0.3):
            side = self.uniform(0.5, 2.0)
            shape = {"width": bore * side, "height": bore * 0.7854 / side}
        length = self.log(2.0, 200.0) * bore
        return ds.Duct(length=length, roughness=self.log(1e-6, 2e-3), **shape, **more), False

    def _hose(self, area: float) -> tuple[Any, bool]:
        bore = math.sqrt(max(area, SMALLEST) / 0.7854)
        return (
            ds.Hose(
                length=self.log(2.0, 100.0) * bore,
                diameter=bore,
                stretch=self.uniform(0.7, 1.0),
                loss_coefficient=self.uniform(0.0, 2.0),
                kink=1.0 if not area else self.pick([0.0, 0.0, self.uniform(0.0, 0.8)]),
            ),
            True,
        )

    def _resistance(self, area: float) -> tuple[Any, bool]:
        exponent = self.uniform(1.0, 2.0)
        usual = 12.0 * max(area, SMALLEST)
        return ds.Resistance(coefficient=self.log(10.0, 500.0) / usual**exponent, exponent=exponent), False

    def _screen(self, area: float) -> tuple[Any, bool]:
        return (
            ds.Screen(area=area, open_fraction=self.uniform(0.2, 0.9), blinded=self.uniform(0.0, 0.6)),
            True,
        )

    def _gate(self, area: float) -> tuple[Any, bool]:
        opening = self.uniform(0.05, 1.0) if area else 0.0
        return ds.Gate(area=max(area, SMALLEST), opening=opening), True

    def _entrance(self, area: float) -> tuple[Any, bool]:
        return ds.Entrance(area=area, style=self.pick(["plain", "flanged", "bellmouth", "tapered"])), True

    def _transition(self, area: float) -> tuple[Any, bool]:
        area = max(area, SMALLEST)
        return (
            ds.Transition(
                first_area=area, second_area=area * self.log(0.2, 5.0), angle=self.uniform(0.2, math.pi)
            ),
            False,
        )

    def three_ended(self, area: float) -> Any:
        kind = self.pick(["jet", "jet", "merge", "split"])
        self.case.traits.add(kind)
        shut = self.chance(self.closed)
        if shut:
            self.case.traits.add("closed path")
        if kind == "jet":
            return ds.Jet(
                nozzle_area=0.0 if shut else area * self.log(0.02, 0.45),
                mixing_area=area,
                nozzle_loss=self.uniform(0.02, 0.3),
                suction_loss=self.uniform(0.05, 0.5),
                mixing_loss=self.uniform(0.05, 0.5),
                angle=self.pick([0.0, 0.0, self.uniform(0.0, 0.7)]),
                mixing_effectiveness=self.pick([1.0, 1.0, self.uniform(0.6, 1.0)]),
            )
        branch = 0.0 if shut else area * self.uniform(0.1, 1.0)
        make = ds.Merge if kind == "merge" else ds.Split
        return make(
            straight_area=area * self.uniform(0.5, 1.0),
            branch_area=branch,
            combined_area=area,
            angle=self.uniform(0.52, 1.57),
        )

    # ---- the network

    def grow(self) -> Case:
        case = self.case
        nodes = ["outside"]
        for i in range(int(self.rng.integers(0, 3)) if self.chance(0.4) else 0):
            case.held[f"tank {i}"] = self.uniform(-1.0, 1.0) * self.log(10.0, 4000.0)
            nodes.append(f"tank {i}")
        spare = max(1, self.target // 4)
        while case.paths < self.target - spare or case.paths < 2:
            self._add(nodes, new=len(nodes) < 4 or not self.chance(self.loops))
        self._open_ends()
        case.held = {n: p for n, p in case.held.items() if n in case.nodes}
        if case.held:
            case.traits.add("held node")
        self._drive()
        return case

    def _put(self, part: Any, ends: Any, size: float) -> None:
        self.case.parts.append((f"part {len(self.case.parts) + 1}", part, tuple(ends)))
        self.case.sizes.append(size)

    def _add(self, nodes: list[str], new: bool) -> None:
        area = self.area()
        three = self.chance(self.threes)
        ends = [self.pick(nodes[-6:] if self.chance(0.6) else nodes)]
        while len(ends) < (3 if three else 2):
            if new or len(nodes) < 4:
                node = f"node {len(nodes)}"
                nodes.append(node)
            else:
                node = self.pick([n for n in nodes if n not in ends])
                self.case.traits.add("loop")
            ends.append(node)
        ends = [ends[i] for i in self.rng.permutation(len(ends))]
        if three:
            self._put(self.three_ended(area), ends, area)
        elif self.chance(self.fans):
            self._put(self.fan(area), ends, area)
        else:
            self._put(*self._sized(ends, area))

    def _sized(self, ends: Any, area: float) -> tuple[Any, Any, float]:
        part, size = self.two_ended(area)
        return part, ends, size

    def _open_ends(self) -> None:
        """Most dead ends get an opening to outside; what is left of them stays."""
        for node in self.case.nodes:
            used = sum(node in ends for _, _, ends in self.case.parts)
            if node == "outside" or node in self.case.held or used > 1:
                continue
            if self.chance(0.85):
                ends = ["outside", node] if self.chance(0.5) else [node, "outside"]
                self._put(*self._sized(ends, self.area()))
            else:
                self.case.traits.add("dead end")

    def _drive(self) -> None:
        """Supplies, and a fan where nothing else moves the air."""
        case = self.case
        free = [n for n in case.nodes if n != "outside" and n not in case.held]
        if self.chance(0.3):
            width = widest_way_out(case)
            for node in dict.fromkeys(self.pick(free) for _ in range(1 + len(free) // 30)):
                # at most some 12 m/s on the widest way out: no fan is blown far beyond its curve, nothing
                # chokes; a closed-off node gets its share too
                size = width[node] or self.area()
                case.supplies[node] = self.uniform(-12.0, 12.0) * 1.2 * size
            case.traits.add("supply")
        moving = case.supplies or case.held or any(p.kind == "fan" for _, p, _ in case.parts)
        if not moving:
            node = self.pick(free)
            self._put(self.fan(self.area()), self.pick([("outside", node), (node, "outside")]), self.area())


def generate(seed: int, *, most_paths: int = 200, rising: bool = False) -> Case:
    """The random network of a seed; `rising` lets its fans have rising stretches."""
    return Generator(seed, most_paths, rising).grow()
