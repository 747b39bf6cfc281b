"""Numbers that hardly any such machine has: a slip of the pen, a wrong measure, two things exchanged.

Nothing here is an error: a machine may be out of the ordinary. What is usual is our assumption, from
memory of what such machines look like; no published source gives it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np

from ..conveying import plain_schema
from ..description.data import running_speed
from ..description.equipment import Belt, ConstantAir, Section, Weather
from ..description.layout import Layout
from ..parts.duct import Duct
from ..parts.fan import Fan
from ..parts.flap import Flap
from ..parts.gate import Gate
from ..parts.hose import Hose
from ..parts.jet import Jet
from ..parts.leak import Leak
from ..parts.opening import Opening
from ..parts.screen import Screen
from ..quantity import si, suited
from ..questions.gauges import stacked_path
from ..result import Note
from ..statistics import middle
from ..wording import gathered, listed, said
from .exchanged import exchanged, general
from .solved import SolvedMachine

Span = tuple[float, float]

USUAL: dict[type, dict[str, tuple[float | str, float | str]]] = {
    Weather: {"temperature": ("-15 degC", "48 degC"), "altitude": ("-100 m", "3000 m")},
    ConstantAir: {"density": (0.8, 1.4), "viscosity": (1.5e-5, 2.2e-5)},
    Belt: {
        "engine_speed": ("500 rpm", "6000 rpm"),
        "driving_pulley": ("50 mm", "1 m"),
        "driven_pulley": ("50 mm", "1 m"),
        "slip": (0, 0.1),
        "available_power": ("1 kW", "300 kW"),
    },
    Section: {"area": ("15 cm2", "3 m2")},
    Duct: {
        "diameter": ("50 mm", "700 mm"),
        "width": ("30 mm", "1.5 m"),
        "height": ("30 mm", "1.5 m"),
        "length": ("100 mm", "15 m"),
        "roughness": ("0.001 mm", "4 mm"),
        "rise": ("-6 m", "6 m"),
        "loss_coefficient": (0, 8),
        "bend.radius": ("30 mm", "2.5 m"),
    },
    Hose: {
        "diameter": ("40 mm", "400 mm"),
        "length": ("100 mm", "12 m"),
        "roughness": ("0.001 mm", "8 mm"),
        "loss_coefficient": (0, 6),
        "inlet_radius": ("1 mm", "150 mm"),
        "bend.radius": ("30 mm", "2.5 m"),
    },
    Opening: {"area": ("10 cm2", "1.5 m2"), "loss_coefficient": (0.2, 12)},
    Screen: {
        "area": ("200 cm2", "15 m2"),
        "open_fraction": (0.15, 0.85),
        "hole": ("0.5 mm", "25 mm"),
        "pitch": ("0.8 mm", "40 mm"),
    },
    Leak: {
        "area": ("0.1 cm2", "1000 cm2"),
        "length": ("10 mm", "10 m"),
        "width": ("0.05 mm", "30 mm"),
        "coefficient": (1e-6, 0.05),
    },
    Jet: {
        "nozzle_area": ("5 cm2", "400 cm2"),
        "mixing_area": ("30 cm2", "4000 cm2"),
        "nozzle_loss": (0, 0.6),
        "suction_loss": (0, 1.5),
        "mixing_loss": (0, 1),
    },
    Gate: {"area": ("10 cm2", "1 m2")},
    Flap: {"area": ("10 cm2", "1 m2")},
    Fan: {
        "speed": ("500 rpm", "7000 rpm"),
        "curve_speed": ("500 rpm", "7000 rpm"),
        "highest_speed": ("600 rpm", "8000 rpm"),
        "curve_density": (0.8, 1.35),
        "efficiency": (0.25, 0.88),
        "outlet_area": ("30 cm2", "1 m2"),
        "inlet_area": ("30 cm2", "1 m2"),
    },
}
"""Kind -> key -> least and largest usual value."""

PEAK: Span = (300.0, 15e3)  # Pa: highest point of a fan's curve
MOST_AIR: Span = (0.1, 15.0)  # m3/s: last point of a fan's curve
FASTEST = {Duct: 60.0, Hose: 70.0, Opening: 80.0, Screen: 15.0}  # m/s, in the section of the part
NOZZLE: Span = (20.0, 220.0)  # m/s
SLOWEST_DUCT = 3.0  # m/s: the duct of a unit that is to carry crop
NOZZLE_SHARE: Span = (0.02, 0.45)  # of the mixing section
SPEED_RATIO: Span = (0.5, 1.7)  # what a fan runs at, over the speed of its curve
HIGHEST_RATIO: Span = (1.0, 2.5)  # its maker's highest speed over that of its curve
WHEEL: Span = (0.2, 1.5)  # m: diameter of a wheel whose tips have the speed at which half rho u^2 is the peak
TIP = 160.0  # m/s: that speed, at the speed the fan runs at
BEND_RATIO: Span = (0.6, 8.0)  # radius of a bend over the width of its duct
LENGTH_RATIO: Span = (0.8, 120.0)  # length over width
ROUGH = 0.05  # roughness over width
EFFICIENCY: Span = (0.15, 0.95)  # best of the points of a curve with shaft power
LEAST_FACTOR, FACTOR = 1.4, 3.0
AWAY = 2.6
"""How far a number lies from the middle of its siblings before it is noted: this power of what any of them
does, between the two factors. The ends of four even steps lie twice as far and a little more."""
OUT_OF_LINE = 0.10  # of the highest point; an end of the curve may lie three times as far
SIZES = ("m", "m2")


class _Number(NamedTuple):
    """A number of the machine as it is looked at: key without the count of bends and points."""

    owner: str
    kind: type
    address: str
    key: str
    value: float
    measure: str


class Looked(NamedTuple):
    """What was looked at, and what was found.

    Attributes
    ----------
    notes : list of Note
        What is out of the ordinary, each with the address and its value.
    numbers, siblings, curves, velocities : int
        How many given numbers were held against what is usual, how many sizes against their siblings, how
        many curves of fans, how many velocities.
    """

    notes: list[Note]
    numbers: int
    siblings: int
    curves: int
    velocities: int

    def sentence(self) -> str:
        """What was looked at."""
        counts = [
            (self.numbers, "number{} given", "against what is usual"),
            (self.siblings, "size{}", "against their siblings"),
            (self.curves, "fan curve{}", "point by point"),
            (self.velocities, "velocit{}", ""),
        ]
        words = []
        for count, what, how in counts:
            plural = ("y", "ies")[count != 1] if what.endswith("it{}") else "s" * (count != 1)
            if count:
                words.append(f"{count} {what.format(plural)} {how}".strip())
        return f"Looked at: {listed(words)}." if words else ""


def plausibility(state: SolvedMachine, measures: str = "") -> Looked:
    """Look for numbers that hardly any such machine has; of columns the median counts.

    Parameters
    ----------
    state : SolvedMachine
        Solved or not; without an answer the velocities are left out.
    measures : str
        "metric" or "inch": what the notes say; those of the machine if not given.
    """
    numbers = list(_numbers(state))
    own = [n for n in numbers if n.address in state.machine.given]
    groups = list(_siblings(state.machine.layout, own))
    found = [*_unusual(own), *_odd_siblings(groups), *_shapes(state, own), *_fans(state, numbers)]
    fast = list(_velocities(state)) if bool(np.all(state.solved)) else []
    found += [note for note in fast if note is not None]
    notes = [*_told(found, measures or state.machine.measures), *exchanged(state.machine.layout)]
    usual = sum(n.key in USUAL.get(n.kind, {}) for n in own)
    return Looked(notes, usual, sum(map(len, groups)), len(state.machine.layout.fans), len(fast))


class _Odd(NamedTuple):
    """Something odd about a number: words with places for `others`, which have its measure."""

    owner: str
    address: str
    value: float
    measure: str
    words: str
    others: tuple[float, ...] = ()
    of: str = ""  # what the value is, where it is not the number itself


def _told(found: Iterable[_Odd], measures: str) -> list[Note]:
    """One note for all things of which the same is to be said, the first of them its place.

    Values that follow from the machine as a whole, as velocities do, stand in one note as a range.
    """
    groups: dict[tuple[Any, ...], list[_Odd]] = {}
    for odd in found:
        key = odd.address.removeprefix(odd.owner)
        value = "" if odd.of else f"{odd.value:.6g}"
        groups.setdefault((key, value, odd.words, odd.others, odd.of), []).append(odd)
    out = []
    for (key, *_), group in groups.items():
        odd = group[0]
        name = f"{gathered(o.owner for o in group)}{key if len(group) == 1 else ', ' + key.lstrip('.')}"
        ends = dict.fromkeys(_said(end(o.value for o in group), odd.measure, measures) for end in (min, max))
        words = odd.words.format(*(_said(v, odd.measure, measures) for v in odd.others))
        text = f"{name}{f', {odd.of}' if odd.of else ''}: {' to '.join(ends)} {words}."
        out.append(Note(text, "implausible", odd.address, odd.value))
    return out


def _said(value: float, measure: str, measures: str) -> str:
    return said(value, suited(measure, value), measures)


def _times(ratio: Any) -> str:
    return said(float(ratio), "", digits=2)


_PLACE = re.compile(r" \d+(?=\.)|\[\d+\]$")  # which of several: of "bend 2.angle", of "flow[3]"


def _numbers(state: SolvedMachine) -> Iterator[_Number]:
    machine = state.machine
    for owner, schema in machine.layout.schemas():
        kind: Any = plain_schema(schema).part if owner in machine.layout.part else schema.part
        for number_key, number in schema.declarations():
            address = f"{owner}.{number_key}"
            value = machine.numbers.get(address)
            if value is not None:
                key = _PLACE.sub("", number_key)
                yield _Number(owner, kind, address, key, float(middle(value)), number.measure)


# ---- what is usual


def _unusual(numbers: Iterable[_Number]) -> Iterator[_Odd]:
    for n in numbers:
        usual = USUAL.get(n.kind, {}).get(n.key)
        if usual is None or n.value == 0.0:
            continue
        low, high = (float(si(end, n.measure)) for end in usual)
        if not low <= n.value <= high:
            yield _Odd(n.owner, n.address, n.value, n.measure, "is unusual ({} to {} is usual)", (low, high))


def _outside(value: float, span: Span) -> bool:
    return not span[0] <= value <= span[1]


# ---- against the same number of like-named parts


def _siblings(layout: Layout, numbers: list[_Number]) -> Iterator[list[_Number]]:
    """Groups of sizes that stand for one another: of all units, or of the left one and the right one.

    Leaks are left out: that they differ is what readings are taken for.
    """
    groups: dict[tuple[str, str], list[_Number]] = {}
    for n in numbers:
        if n.measure in SIZES and not issubclass(n.kind, Leak):
            number_key = n.address.removeprefix(n.owner)
            groups.setdefault((general(layout, n.owner), number_key), []).append(n)
    count = len(layout.units)
    for (name, _), group in groups.items():
        if len(group) > 1 and len(group) == (2 if "<" in name else count):
            yield group


def _odd_siblings(groups: Iterable[list[_Number]]) -> Iterator[_Odd]:
    for group in groups:
        logs = [math.log(max(abs(n.value), 1e-9)) for n in group]
        for i, n in enumerate(group):
            others = sorted(logs[:i] + logs[i + 1 :])
            center = 0.5 * (others[(len(others) - 1) // 2] + others[len(others) // 2])
            spread = max(center - others[0], others[-1] - center)
            least = math.log(FACTOR if len(group) < 4 else LEAST_FACTOR)
            most = min(max(AWAY * spread, least), math.log(FACTOR))
            if abs(logs[i] - center) > most * (1.0 + 1e-9):
                if len(group) == 2 and logs[i] < center:
                    continue  # said of the larger one
                usual, times = math.exp(center), _times(math.exp(abs(logs[i] - center)))
                way = "larger" if logs[i] > center else "smaller"
                whose = f"that of {group[1 - i].owner}," if len(group) == 2 else "its siblings'"
                words = f"is {times} times {way} than {whose} {{}}"
                yield _Odd(n.owner, n.address, n.value, n.measure, words, (usual,))


# ---- numbers of one part against each other


def _shapes(state: SolvedMachine, numbers: list[_Number]) -> Iterator[_Odd]:
    by_address = state.machine.numbers

    def of(owner: str, number_key: str) -> float:
        value = by_address.get(f"{owner}.{number_key}")
        return float("nan") if value is None else float(middle(value))

    for n in numbers:
        if n.kind is Jet and n.key == "nozzle_area" and n.value > 0.0:
            share = n.value / of(n.owner, "mixing_area")
            if _outside(share, NOZZLE_SHARE):
                usual = f"{NOZZLE_SHARE[0]:g} to {NOZZLE_SHARE[1]:g} is usual"
                words = f"is {_times(share)} of the mixing section ({usual})"
                yield _Odd(n.owner, n.address, n.value, n.measure, words)
        if not issubclass(n.kind, (Duct, Hose)):
            continue
        sides = [of(n.owner, number_key) for number_key in ("diameter", "width", "height")]
        width = float(np.nanmin(sides)) if not np.all(np.isnan(sides)) else float("nan")
        ratio = n.value / width
        odd = {
            "bend.radius": _outside(ratio, BEND_RATIO),
            "length": _outside(ratio, LENGTH_RATIO),
            "roughness": ratio > ROUGH,
        }
        if odd.get(n.key, False) and np.isfinite(ratio):
            words = f"is unusual: {_times(ratio)} times the {{}} of its section"
            yield _Odd(n.owner, n.address, n.value, n.measure, words, (width,))


# ---- fans


def _fans(state: SolvedMachine, numbers: list[_Number]) -> Iterator[_Odd]:
    machine = state.machine
    running = machine.part_numbers()
    curves: dict[tuple[str, str], list[_Number]] = {}
    for n in numbers:
        if n.owner in machine.layout.fans and n.address.endswith("]"):
            curves.setdefault((n.owner, n.key), []).append(n)
    for fan in machine.layout.fans:
        if f"{fan}.curve_speed" not in running:
            continue
        own = float(middle(running[f"{fan}.curve_speed"]))
        speed = float(middle(running_speed(running, fan)))
        highest = running.get(f"{fan}.highest_speed")
        if speed > 0.0 and _outside(speed / own, SPEED_RATIO):
            drive = machine.layout.part[fan].drive
            words = f"is {_times(speed / own)} times the {{}} of its curve"
            if drive:
                words += f": look at the speed and pulleys of {drive}"
            yield _Odd(fan, f"{fan}.speed", speed, "rad/s", words, (own,), "the speed it runs at")
        if highest is not None and _outside(float(middle(highest)) / own, HIGHEST_RATIO):
            top = float(middle(highest))
            yield _Odd(fan, f"{fan}.highest_speed", top, "rad/s", "is far from the {} of its curve", (own,))
        flow = curves.get((fan, "flow"), [])
        yield from _wheel(fan, running, own, speed)
        pressure = curves.get((fan, "total_pressure")) or curves.get((fan, "static_pressure")) or []
        for points, span, what in ((flow, MOST_AIR, "largest"), (pressure, PEAK, "highest")):
            most = max(points, key=lambda n: n.value, default=None)
            if most is not None and _outside(most.value, span):
                words = f"is unusual as the {what} point of a curve ({{}} to {{}} is usual)"
                yield _Odd(fan, most.address, most.value, most.measure, words, span)
        power = curves.get((fan, "shaft_power"), [])
        for points in (pressure, power):
            yield from _out_of_line(flow, points)
        if len(power) == len(pressure) == len(flow) > 0:
            yield from _share(flow, pressure, power)


def _wheel(fan: str, numbers: Mapping[str, Any], own: float, speed: float) -> Iterator[_Odd]:
    """The wheel that the highest pressure of a curve needs at its speed, and how fast its tips then run."""
    points = [
        float(middle(value))
        for address, value in numbers.items()
        if address.startswith(f"{fan}.") and "_pressure[" in address[len(fan) :]
    ]
    peak, density = max(points, default=0.0), float(middle(numbers[f"{fan}.curve_density"]))
    if peak <= 0.0 or own <= 0.0:
        return
    tip = math.sqrt(2.0 * peak / density)
    if _outside(2.0 * tip / own, WHEEL):
        words, of = "is unusual ({} to {} is usual)", "the wheel that its pressures need at that speed"
        yield _Odd(fan, f"{fan}.curve_speed", 2.0 * tip / own, "m", words, WHEEL, of)
    elif tip * speed / own > TIP:
        words = "is unusual (up to {} is usual)"
        yield _Odd(
            fan, f"{fan}.speed", tip * speed / own, "m/s", words, (TIP,), "the speed of its blades' tips"
        )


def _share(flow: list[_Number], pressure: list[_Number], power: list[_Number]) -> Iterator[_Odd]:
    """The best efficiency that a curve with shaft power has."""
    best = max(f.value * p.value / max(w.value, 1e-9) for f, p, w in zip(flow, pressure, power, strict=True))
    if _outside(best, EFFICIENCY):
        most = max(power, key=lambda n: n.value)
        words = f"gives a best efficiency of {_times(best)} ({EFFICIENCY[0]:g} to {EFFICIENCY[1]:g} is usual)"
        yield _Odd(most.owner, most.address, most.value, most.measure, words)


def _out_of_line(flow: list[_Number], points: list[_Number]) -> Iterator[_Odd]:
    """The point without which the rest of the curve is smoothest, if it lies far from that curve.

    Each point is held against the parabola through its three nearest neighbours, which has no use below
    four points.
    """
    if len(points) < 4 or len(points) != len(flow):
        return
    x, y = (np.array([n.value for n in some]) for some in (flow, points))
    if np.any(np.diff(x) <= 0.0):
        return
    scale = float(np.sort(y)[-2])
    rough = np.array([_roughness(np.delete(x, i), np.delete(y, i)) for i in range(len(x))])
    i = int(rough.argmin())
    expected = _line_through(x, y, i)
    end = i in (0, len(x) - 1)
    if abs(y[i] - expected) > OUT_OF_LINE * scale * (3.0 if end else 1.0):
        n = points[i]
        yield _Odd(n.owner, n.address, n.value, n.measure, "is out of line with the other points (about {})",
                   (max(expected, 0.0),))  # fmt: skip


def _line_through(x: Any, y: Any, i: int) -> float:
    near = np.argsort(np.abs(np.delete(np.arange(len(x)), i) - i), kind="stable")[:3]
    others, values = np.delete(x, i)[near], np.delete(y, i)[near]
    return float(np.polyval(np.polyfit(others - x[i], values, 2), 0.0))


def _roughness(x: Any, y: Any) -> float:
    """How much the slope changes along a line of points, in all."""
    return float(np.abs(np.diff(np.diff(y) / np.diff(x))).sum())


# ---- velocities


def _velocities(state: SolvedMachine) -> Iterator[_Odd | None]:
    """A word for each velocity that no such machine has, None for each that is fine."""
    machine = state.machine
    ducts = {unit.duct for unit in machine.layout.units}
    for part in machine.layout.parts:
        kind: Any = plain_schema(part.schema).part
        fastest = next((most for known, most in FASTEST.items() if issubclass(kind, known)), None)
        if kind is Jet:
            low, high = NOZZLE
            key: Any = machine.layout.path_keys(part.name)[0]
            area = machine.numbers[f"{part.name}.nozzle_area"]
            number_key = "nozzle_area"
        elif fastest is not None:
            low, high = (SLOWEST_DUCT if part.name in ducts and machine.layout.crop else 0.0), fastest
            key = machine.layout.path_keys(part.name)[0]
            area = np.asarray(stacked_path(machine, part.name).area)[0]
            number_key = "area" if f"{part.name}.area" in machine.numbers else "diameter"
            number_key = number_key if f"{part.name}.{number_key}" in machine.numbers else "width"
        else:
            continue
        if not np.all(np.asarray(area) > 0.0):
            continue
        velocity = float(middle(abs(state.flow[key]) / (state.density[key] * area)))
        if np.isfinite(velocity) and _outside(velocity, (low, high)):
            words = "is unusual ({} to {} is usual)" if low else "is unusual (up to {} is usual)"
            ends = (low, high) if low else (high,)
            address = f"{part.name}.{number_key}"
            yield _Odd(part.name, address, velocity, "m/s", words, ends, "the velocity there")
        else:
            yield None
