"""Seeded hostile networks: every number anywhere in its declared range, in any layout, as nobody would build.

Unlike `random_networks`, which draws what valid machines may hold, this draws each field of each part by
what it declares: over eight decades where a number has no upper end, at the very ends of its range, or zero.
The same seed gives the same network. `examine` solves one and checks the answer by other means than the
solver's: each path's law at the state's flows and pressures, and the sum of the flows at each node.
"""

from __future__ import annotations

import math
import time
import warnings
from dataclasses import dataclass, field
from typing import Any

import numpy as np

import ductsim as ds
from ductsim.errors import InputError, NoOperatingPoint, OutsideRange
from ductsim.parts.declare import LocalAir, Word
from ductsim.parts.ends import OpenEnds

LEAST, MOST = 1e-8, 1.0
NAMED = ("FED_CLOSED_OFF", "TOO_DEEP", "TOO_HIGH", "TOO_HOT", "TOO_FAST", "TOO_EASY")


@dataclass
class Hostile:
    """What `Network` is given: parts with their ends, held pressures, supplies."""

    seed: int
    air: Any
    parts: dict[str, tuple[Any, tuple[str, ...]]] = field(default_factory=dict)
    held: dict[str, float] = field(default_factory=dict)
    supplies: dict[str, float] = field(default_factory=dict)

    def network(self) -> Any:
        net = ds.Network(self.air, free_ends=False)
        for name, (part, ends) in self.parts.items():
            net.add(name, part, *ends)
        for node, pressure in self.held.items():
            net.hold(node, pressure)
        for node, flow in self.supplies.items():
            net.supply(node, flow)
        return net


class Dice:
    """Draws numbers; `temper` is how often one lies at the ends of its range."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng([seed, 8128])
        self.temper = self.pick([0.0, 0.05, 0.3])
        self.scale = 10.0 ** self.between(-4.0, 0.0)  # many networks have sizes near one another
        self.alike = self.one_in(3)

    def between(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))

    def decades(self, low: float, high: float) -> float:
        return 10.0 ** self.between(math.log10(low), math.log10(high))

    def one_in(self, times: float) -> bool:
        return bool(self.rng.random() * times < 1.0)

    def often(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def pick(self, items: Any) -> Any:
        return items[int(self.rng.integers(len(items)))]

    def size(self) -> float:
        """An area or a length: eight decades, or two of them around the network's own size."""
        if self.alike:
            return min(self.scale * self.decades(0.1, 10.0), 10.0)
        return self.decades(LEAST, MOST)

    def share(self) -> float:
        """Between 0 and 1, sometimes as near to either end as 1e-12."""
        if self.often(self.temper):
            tiny = self.pick([0.0, self.decades(1e-12, 1e-3)])
            return self.pick([tiny, 1.0 - tiny])
        return self.between(0.0, 1.0)

    def of(self, declared: Any) -> float:
        """Any number that a declaration allows."""
        low, high = max(declared.low, -1.0), declared.high
        if low >= 0.0 and high > 1e4:
            if declared.low == 0.0 and self.often(self.temper):
                return 0.0
            return max(self.size() if declared.measure in ("m2", "m") else self.decades(LEAST, 10.0), low)
        if (low, high) == (0.0, 1.0):
            return self.share()
        high = min(high, 1e3 if low >= 0.0 else 1.0)
        if self.often(self.temper):
            return self.pick([low, high])
        return self.between(low, high)


class Maker:
    """Makes one network from a seed."""

    def __init__(self, seed: int, most_paths: int) -> None:
        self.most_paths = most_paths
        self.dice = dice = Dice(seed)
        real = dice.often(0.6)
        air = ds.Air.at(altitude=dice.between(0.0, 4000.0), temperature=dice.between(264.0, 322.0))
        self.case = Hostile(seed, air if real else ds.Air(density=dice.decades(0.1, 10.0), viscosity=1.8e-5))
        kinds = [ds.Opening, ds.Leak, ds.Duct, ds.Hose, ds.Resistance, ds.Screen, ds.Gate]
        kinds += [ds.Entrance, ds.Transition]
        self.kinds = kinds if dice.often(0.6) else [dice.pick(kinds) for _ in range(3)]
        self.threes, self.fans = dice.pick([0.0, 0.1, 0.4]), dice.pick([0.05, 0.2, 0.4])

    # ---- parts

    def part(self, kind: Any) -> Any:
        """A part of the kind, each field drawn by its declaration; drawn anew where its numbers clash."""
        for _ in range(100):
            try:
                if kind is ds.Fan:
                    return self.fan()
                return self._drawn(kind)
            except InputError:
                continue
        raise AssertionError(f"no {kind.__name__} could be drawn")

    def _drawn(self, kind: Any) -> Any:
        dice, given = self.dice, {}
        choices = () if kind is ds.Screen else getattr(kind, "choices", ())
        form = dice.pick(choices) if choices else ()
        others = {name for choice in choices for name in choice} - set(form)
        if kind is ds.Leak and form != ("length", "width"):
            others |= {"depth"}
        if kind is ds.Screen:
            others = {"hole", "pitch", "pattern"}
        others |= set(OpenEnds.declared)  # its networks are of ducts that lose nothing at their ends
        for name, declared in kind.declared.items():
            if name in others:
                continue
            if name == "bends" and kind is not ds.Leak:
                given[name] = [self.bend() for _ in range(dice.pick([0, 0, 0, 1, 2]))]
            elif isinstance(declared, Word):
                given[name] = dice.pick(declared.choices)
            elif name in ("loss_coefficient", "nozzle_loss", "suction_loss", "mixing_loss"):
                lossless = dice.often(dice.temper) and declared.low == 0.0
                given[name] = 0.0 if lossless else dice.decades(1e-8, 1e2)
            elif name == "coefficient" and kind is ds.Resistance:
                given[name] = dice.decades(*dice.pick([(1e-8, 1.0), (1.0, 1e8), (1e-3, 1e5)]))
            elif name == "combined_area":
                if dice.one_in(2):
                    given[name] = max(given["straight_area"], given["branch_area"]) * dice.decades(1.0, 1e3)
            elif name == "branch_area":
                given[name] = given["straight_area"] * self._ratio()
            elif name == "mixing_area":
                given[name] = max(given["nozzle_area"], LEAST) / max(self._ratio(), 1e-6) * 1.0001
            else:
                given[name] = dice.of(declared)
        return kind(**given)

    def _ratio(self) -> float:
        dice = self.dice
        return (
            dice.pick([0.0, 1.0, dice.decades(1e-8, 1.0)])
            if dice.often(dice.temper)
            else dice.decades(1e-3, 1.0)
        )

    def bend(self) -> Any:
        dice = self.dice
        style = dice.pick(ds.Bend.declared["style"].choices)
        radius = {} if style == "mitre" else {"radius": dice.size()}
        return ds.Bend(angle=dice.between(0.01, 2 * math.pi), style=style, **radius)

    def fan(self) -> Any:
        dice = self.dice
        count = dice.pick([2, 2, 3, 4, 6, 9])
        full = 20.0 * dice.size() * dice.decades(0.01, 100.0)
        flow = np.cumsum(
            [dice.pick([0.0, dice.decades(1e-6, 1.0)]), *(dice.decades(1e-3, 1.0) for _ in range(count - 1))]
        )
        at = flow / flow[-1]
        shape = dice.pick(["flat", "rising", "steep", "any", "falling", "dip", "step"])
        pressure = {
            "flat": 0.0 * at + 1.0,
            "rising": at + 1e-3,
            "steep": (1.0 - at) ** 0.2 + 1e-9,
            "any": dice.rng.uniform(0.0, 1.0, count) + 1e-6,
            "falling": 1.0 - 0.9 * at**2,
            "dip": 1.0 - 0.7 * np.exp(-30.0 * (at - 0.4) ** 2) - 0.2 * at,
            "step": np.where(at < 0.5, 1.0, 1e-6),
        }[shape] * dice.decades(*dice.pick([(1e-3, 1e5), (100.0, 5000.0)]))
        more: dict[str, Any] = {}
        if dice.one_in(4):
            more["inlet_temperature"] = dice.between(200.0, 350.0)
        if dice.one_in(4):
            more["shaft_power"] = list(dice.decades(0.1, 1e5) * dice.rng.uniform(0.0, 1.0, count))
        if dice.one_in(4):
            more["soiling"] = min(dice.share(), 0.999)
        if dice.one_in(4):
            more |= {"static_pressure": list(pressure), "outlet_area": max(full / 20.0, 1e-8)}
        else:
            more["total_pressure"] = list(pressure)
        return ds.Fan(
            flow=list(flow / flow[-1] * full),
            curve_speed=dice.decades(1.0, 1000.0),
            speed=0.0 if dice.often(0.1 + dice.temper / 2) else dice.decades(1.0, 1000.0),
            efficiency=dice.decades(1e-2, 1.0),
            curve_density=dice.decades(0.5, 2.0),
            **more,
        )

    # ---- the layout

    def grow(self) -> Hostile:
        dice, case = self.dice, self.case
        paths = round(dice.decades(2.0, self.most_paths))
        nodes = ["outside", "a"] + [f"n{i}" for i in range(round(paths * dice.between(0.2, 1.1)))]
        known = ["outside"]
        while sum(2 if len(e) == 3 else 1 for _, e in case.parts.values()) < paths:
            rest = [n for n in nodes if n not in known]
            kind = self._kind()
            ends = [dice.pick(known[-8:])]
            while len(ends) < len(kind.ends):
                fresh = rest and dice.often(0.7)
                ends.append(
                    dice.pick(
                        [n for n in (rest if fresh else known) if n not in ends]
                        or [f"x{len(case.parts)}{len(ends)}"]
                    )
                )
            known += [n for n in dict.fromkeys(ends) if n not in known]
            ends = [ends[i] for i in dice.rng.permutation(len(ends))]
            for _ in range(2 if len(ends) == 2 and dice.one_in(8) else 1):  # now and then two side by side
                case.parts[f"p{len(case.parts)}"] = (self.part(kind), tuple(ends))
                kind = kind if dice.one_in(2) else dice.pick(self.kinds)
        known.remove("outside")
        for node in known:
            if dice.one_in(4 * len(known)):
                case.held[node] = dice.pick([-1.0, 1.0]) * dice.decades(1e-3, 1e6)
            elif dice.one_in(3 * len(known)):
                case.supplies[node] = dice.pick([-1.0, 1.0]) * dice.decades(1e-10, 1e3)
        return case

    def _kind(self) -> Any:
        dice = self.dice
        if dice.often(self.threes):
            return dice.pick([ds.Jet, ds.Merge, ds.Split])
        return ds.Fan if dice.often(self.fans) else dice.pick(self.kinds)


def generate(seed: int, most_paths: int = 40) -> Hostile:
    """The hostile network of a seed."""
    return Maker(seed, most_paths).grow()


# ---- the check


def examine(case: Hostile) -> str:
    """What became of it: "solved", the name of an outcome, or what is wrong with the answer."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warnings.simplefilter("ignore", OutsideRange)
        try:
            state = case.network().solve()
        except NoOperatingPoint as err:
            outcome = err.state.outcome.name
            if outcome not in NAMED:
                return f"wrong: {outcome}"
            return outcome if err.node and err.remedy else f"wrong: {outcome} without node or remedy"
    return faults(case, state) or "solved"


def faults(case: Hostile, state: Any) -> str:
    """What is wrong with a solved state by the laws and the balances alone; empty when nothing is."""
    flows = {key: state.flow[key] for key in state.flow}
    total = max(max(map(abs, flows.values())), 1e-6)
    level = max((abs(p) for p in state.pressure.values() if p == p), default=0.0)
    net = dict.fromkeys(state.pressure, 0.0) | case.supplies
    for name, (part, ends) in case.parts.items():
        pressures = [0.0 if n == "outside" else state.pressure[n] for n in ends]
        for key, one, two, drop, shut in _laws(case, state, name, part, ends, pressures):
            net[ends[one]] -= flows[key]
            net[ends[two]] += flows[key]
            if shut:
                if flows[key] != 0.0:
                    return f"wrong: shut {name} carries {flows[key]:.3g}"
                continue
            if math.isnan(pressures[one]) and math.isnan(pressures[two]):
                continue  # closed off
            miss = pressures[one] - pressures[two] - drop
            flow_tells = 1e-10 * abs(flows[key] * state.slope[key])  # all that ten digits of the flow can say
            if not abs(miss) <= 1e-7 * abs(drop) + 2e-6 + 1e-10 * level + flow_tells:
                return f"wrong: {name} {type(part).__name__} misses {miss:.3g} of {drop:.3g} Pa"
    for node, left in net.items():
        if node != "outside" and node not in case.held and not abs(left) <= 2e-9 * total:
            return f"wrong: {node} is out of balance by {left:.3g} of {total:.3g} kg/s"
    return ""


def _laws(case: Hostile, state: Any, name: str, part: Any, ends: Any, pressures: Any) -> Any:
    """(key, from, to, drop, shut) of each path of a part."""
    air = case.air
    path = part.paths()[0]
    if len(ends) == 2:
        local = LocalAir(np.array(state.density[name]), air.viscosity, air.density)
        with np.errstate(all="ignore"):
            drop = path.law(np.array(state.flow[name]), local, **path.coefficients)[0]
        yield name, 0, 1, float(drop), bool(path.shut)
        return
    keys = [(name, n) for n in part.path_names]
    x, y = (state.flow[k] for k in keys)
    shut = [bool(s) for s in path.shut]
    if not math.isinf(air.pressure):
        drops = [state.drop[k] for k in keys]
    else:
        local = LocalAir((air.density,) * 3, air.viscosity, air.density, (0.0,) * 3)
        with np.errstate(all="ignore"):
            drops = path.law((np.array(x), np.array(y)), local, **path.coefficients)[0]
    for key, (one, two), drop, closed in zip(keys, path.ends, drops, shut, strict=True):
        yield key, one, two, float(drop), closed


def run(first: int, last: int, most_paths: int = 40) -> tuple[dict[str, list[int]], list[tuple[float, int]]]:
    """What became of the seeds, and the time of each [s]."""
    found: dict[str, list[int]] = {}
    times = []
    for seed in range(first, last):
        case = generate(seed, most_paths)
        begun = time.perf_counter()
        found.setdefault(examine(case), []).append(seed)
        times.append((time.perf_counter() - begun, seed))
    return found, times
