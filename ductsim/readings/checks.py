"""Readings against the machine at first sight: predicted values, signs, sizes; and reduced for looking."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..description.data import MachineData, part_numbers, running_speed
from ..description.equipment import air_of
from ..errors import InputError
from ..network.point import Point
from ..quantity import RPM, single
from ..result import Note, Result
from ..wording import said
from . import wholesale
from .errors import ReadingErrors
from .model import Configuration, ReadingModel
from .naming import readings_of, taped, with_engine_speed
from .table import Reading, Readings, read_readings
from .unknowns import assumed, default_scale, fan_faults, leak_sizes, nuisances, speed_addresses, usual_speed

Array = NDArray[np.float64]

CLEAR = 30.0  # predicted pressures below are too small to judge a sign by [Pa]
SAME_SIZE = 0.3
TOO_MUCH = 1.5
DRAWN, WIDER = 200, 2.0
"""Possible machines that an odd reading is held against, and how many times wider than usual they spread."""
BEYOND = 0.5  # of the width of what they show: so far outside lies what none of them shows
MOST_JUDGED = 50  # conditions under which odd readings are held against possible machines


@dataclass(repr=False, eq=False)
class ReadingCheck(Result):
    """Measured against predicted, before anything is fitted; made by `check_readings`.

    Attributes
    ----------
    readings : Readings
    predicted : array (M,)
        What the machine as described makes at each reading, SI.
    problems : list of str
        Readings that cannot be right, a sentence each; `fit` refuses them.
    measures : str
        "metric" or "inch", as of the machine.
    """

    readings: Readings
    predicted: Array
    problems: list[str]
    measures: str = "metric"

    @cached_property
    def notes(self) -> list[Note]:
        """What the reader left out."""
        return list(self.readings.notes)

    def about(self) -> str:
        """How many readings there are, and how many cannot be right."""
        return f"{len(self.readings)} readings, {len(self.problems)} problems"

    def rows(self) -> list[dict[str, Any]]:
        """A row for each reading: measured, predicted, their quotient."""
        out = []
        for r, p in zip(self.readings, self.predicted.tolist(), strict=True):
            out.append(
                {
                    "line": r.line,
                    "where": r.where,
                    "how": r.how,
                    "measured": r.value,
                    "predicted": p,
                    "measure": r.measure,
                    "quotient": r.value / p if p else math.nan,
                }
            )
        return out

    def sentences(self, measures: str = "metric") -> list[str]:
        """What is wrong, else how far the readings are from the machine as described; and the notes."""
        return [*(self.problems or [self.compared(measures)]), *self.notes]

    def compared(self, measures: str = "metric") -> str:
        """How far the readings are from the machine as described, in a sentence."""
        rows = [row for row in self.rows() if math.isfinite(row["quotient"])]
        if not rows:
            return "The machine has no answer under these conditions."
        off = [abs(row["quotient"] - 1.0) for row in rows]
        worst = rows[int(np.argmax(off))]
        return (
            f"{len(self.readings)} readings: half of them lie within {np.median(off):.0%} of what the "
            f"machine as described makes; the farthest is {worst['where']} (line {worst['line']}), "
            f"{said(worst['measured'], worst['measure'], measures)} against "
            f"{said(worst['predicted'], worst['measure'], measures)}."
        )


def check_readings(machine: MachineData, readings: Any) -> ReadingCheck:
    """Measured against predicted at first sight, with a look at signs and sizes.

    Parameters
    ----------
    machine : MachineData
        A single one, without columns.
    readings : path, DataFrame, list or Readings
        See `read_readings`.

    Raises
    ------
    InputError
        For readings that cannot be read, and names that the machine does not have.
    """
    found = readings_of(machine, readings)
    predicted = first_sight(machine, found)
    return ReadingCheck(found, predicted, problems(machine, found, predicted), machine.measures)


def first_sight(machine: MachineData, readings: Sequence[Reading] | Readings) -> Array:
    """What the machine as described makes at each reading, SI (M,)."""
    return _described(machine, readings)[0]


def _described(machine: MachineData, readings: Sequence[Reading] | Readings) -> tuple[Array, Point | None]:
    """What the machine as described makes at each reading (M,), and its point under each condition."""
    model = ReadingModel(machine, readings, {}, ReadingErrors())
    return model.predict(np.zeros((model.size, 1)))[:, 0], model.near


def refuse(machine: MachineData, readings: Readings) -> Point | None:
    """Raise an InputError for readings that cannot be right.

    Returns where the machine as described works under each condition, for `ReadingModel.near`.
    """
    predicted, near = _described(machine, readings)
    found = problems(machine, readings, predicted)
    if found:
        raise InputError(found[0].rstrip("."), file=readings.file, place="readings")
    return near


def problems(machine: MachineData, readings: Readings, predicted: Any) -> list[str]:
    """Signs that are the wrong way round, values that no fan of the machine can make.

    A reading is only called wrong where no possible machine shows it, however large its leaks: the sign of a
    difference of two tappings may hang on the very leak that is sought.
    """
    all_wrong = _all_wrong(machine, readings, predicted)
    if all_wrong:
        return all_wrong
    odd = _odd_sizes(machine, readings, predicted)
    large = _shown_by_none(machine, readings, list(odd))
    signs = [i for i in _odd_signs(readings, predicted) if i not in large]
    # at another speed a pressure is another, of the same sign
    turned = _shown_by_none(machine, readings, signs, unread=0.0)
    return [*_signs(readings, predicted, turned, machine.measures), *(odd[i] for i in large)]


def _all_wrong(machine: MachineData, readings: Readings, predicted: Any) -> list[str]:
    """What is wrong with all readings at once, in a sentence."""
    fast = wholesale.fast(machine, readings)
    chosen = [] if fast else wholesale.small(readings, predicted, CLEAR)
    if not chosen:
        return fast
    described, possible = _possible(machine, chosen, wider=1.0)
    return wholesale.too_small(chosen, described, possible)


def _possible(
    machine: MachineData, readings: Sequence[Reading], unread: float = 1.0, wider: float = WIDER
) -> tuple[Array, Array]:
    """What a machine in the middle (M,) and possible machines (M, `DRAWN`) show at readings.

    Everything spreads `wider` than usual, but speeds that were not read `unread` times as wide.
    """
    layout = machine.layout
    leaks = [a for a in leak_sizes(layout) if np.median(machine.numbers[a]) > 0.0]
    scales = {a: assumed(machine, a).scale(layout) for a in [*leaks, *fan_faults(layout)]}
    scales.update({name: default_scale(machine, name) for name in nuisances(machine, scales)})
    model = ReadingModel(machine, readings, scales, ReadingErrors())
    z = np.random.default_rng(0).standard_normal((model.size, DRAWN))
    z *= np.where([name in model.unread for name in model.names], unread, wider)[:, None]
    shown = model.predict(np.column_stack([np.zeros(model.size), z]))
    return shown[:, 0], shown[:, 1:]


def _odd_signs(readings: Readings, predicted: Any) -> list[int]:
    """Places of clear pressures with the other sign than the machine as described makes."""
    return [
        i
        for i, (r, p) in enumerate(zip(readings, predicted.tolist(), strict=True))
        if _has_sign(r, p) and r.value * p < 0.0 and abs(r.value) > max(SAME_SIZE * abs(p), CLEAR)
    ]


def _has_sign(r: Reading, predicted: float) -> bool:
    return r.measure == "Pa" and r.quantity != "velocity pressure" and abs(predicted) > CLEAR


def _shown_by_none(
    machine: MachineData, readings: Readings, odd: Sequence[int], unread: float = 1.0
) -> list[int]:
    """Those of some readings that lie far outside what possible machines show; see `_possible`."""
    items = list(readings)
    conditions = list(dict.fromkeys(Configuration.of(items[i]) for i in odd))[:MOST_JUDGED]
    judged = [i for i in odd if Configuration.of(items[i]) in conditions]
    if not judged:
        return []
    out = []
    possible = _possible(machine, [items[i] for i in judged], unread)[1]
    for i, row in zip(judged, possible, strict=True):
        known = row[np.isfinite(row)]
        if len(known):
            room = BEYOND * float(np.ptp(np.quantile(known, [0.025, 0.975])))
            if not known.min() - room <= items[i].value <= known.max() + room:
                out.append(i)
    return out


def _signs(readings: Readings, predicted: Any, wrong: Sequence[int], measures: str) -> list[str]:
    if not wrong:
        return []
    items = list(readings)
    if len(wrong) == 1:
        r, p = items[wrong[0]], float(predicted[wrong[0]])
        return [
            f"{_line(r)}: {r.where} reads {said(r.value, 'Pa', measures, sign=True)} where the machine "
            f"makes {said(p, 'Pa', measures, sign=True)}: its sign is wrong, or its hose sat on the other "
            "port of the gauge."
        ]
    judged = sum(_has_sign(r, p) for r, p in zip(items, predicted.tolist(), strict=True))
    share = "all" if len(wrong) == judged else f"{len(wrong)} of {judged}"
    lines = ", ".join(str(items[i].line) for i in wrong[:8]) + (" ..." if len(wrong) > 8 else "")
    return [
        f"{share} pressures have the opposite sign of what the machine makes (lines {lines}): write vacuum "
        "as a negative pressure, or as the quantity vacuum."
    ]


def _odd_sizes(machine: MachineData, readings: Readings, predicted: Any) -> dict[int, str]:
    """Place -> sentence, for readings that are larger than the machine as described can make."""
    out = {}
    measures = machine.measures
    conditions = [replace(Configuration.of(r), set="") for r in readings]  # a set has no air of its own
    highest = {c: highest_pressure(machine, c) for c in dict.fromkeys(conditions)}
    for i, (r, c, p) in enumerate(zip(readings, conditions, predicted.tolist(), strict=True)):
        if r.measure == "Pa":
            most = TOO_MUCH * highest[c]
            if abs(r.value) > most > 0.0:
                out[i] = (
                    f"{_line(r)}: {r.where} reads {said(r.value, 'Pa', measures)}, more than the fans "
                    f"can make ({said(most / TOO_MUCH, 'Pa', measures)} at most): look at its measure."
                )
        elif abs(r.value) > 3.0 * abs(p) > 0.0 or (r.value < 0.0 and r.quantity != "velocity"):
            out[i] = (
                f"{_line(r)}: {r.where} is {said(r.value, r.measure, measures)} where the machine makes "
                f"{said(p, r.measure, measures)}: look at its measure."
            )
    return out


def _line(r: Reading) -> str:
    return f"line {r.line}" if r.line else r.where


def highest_pressure(machine: MachineData, conditions: Configuration) -> float:
    """The highest points of all fan curves together, at the speed and density of the conditions [Pa]."""
    layout, base = machine.layout, dict(machine.numbers)
    if conditions.engine_speed is not None:
        base.update(dict.fromkeys(speed_addresses(layout), conditions.engine_speed))
    base.update(conditions.fixed(layout))
    numbers = part_numbers(layout, base)
    density = air_of(layout.air.part, base).density
    points: dict[str, list[Any]] = {}
    for address, value in numbers.items():
        owner, _, number_key = address.rpartition(".")
        if number_key.startswith(("total_pressure[", "static_pressure[")):
            points.setdefault(owner, []).append(value * numbers.get(f"{owner}.pressure_scale", 1.0))
    out = 0.0
    for name, own in points.items():
        ratio = running_speed(numbers, name) / numbers[f"{name}.curve_speed"]
        out += max(own) * ratio**2 * density / numbers[f"{name}.curve_density"]
    return float(out)


@dataclass(repr=False, eq=False)
class ReducedReadings(Result):
    """Readings as they would be at one speed and one density, for looking at; made by `reduce_readings`.

    Pressures grow with the square of the speed and with the density, velocities with the speed, shaft power
    with its cube and with the density: exact where every loss is a constant times the square of the flow.
    Readings without an engine speed are only reduced to the density.

    Attributes
    ----------
    readings : Readings
    engine_speed : float
        [rad/s]
    density : float
        Of the open air [kg/m3].
    factors : list of float
        What each reading is multiplied by.
    """

    readings: Readings
    engine_speed: float
    density: float
    factors: list[float]

    def about(self) -> str:
        """How many readings, and to which speed."""
        return f"{len(self.readings)} readings at {self.engine_speed * RPM:,.0f} rpm"

    def rows(self) -> list[dict[str, Any]]:
        """A row for each reading: measured, reduced."""
        return [
            {
                "line": r.line,
                "where": r.where,
                "how": r.how,
                "measured": r.value,
                "reduced": r.value * f,
                "measure": r.measure,
            }
            for r, f in zip(self.readings, self.factors, strict=True)
        ]

    def sentences(self, measures: str = "metric") -> list[str]:
        """To which speed and density."""
        density = said(self.density, "kg/m3", measures)
        return [f"Reduced to {self.engine_speed * RPM:,.0f} rpm and {density}."]


def reduce_readings(
    machine: MachineData, readings: Any, engine_speed: float | None = None, density: float | None = None
) -> ReducedReadings:
    """Readings reduced to a common speed and density, those of the machine if not given.

    Parameters
    ----------
    machine : MachineData
        Whose speed and density they are reduced to.
    readings : path, DataFrame, list or Readings
        See `read_readings`.
    engine_speed : float, optional
        [rad/s]
    density : float, optional
        Of the open air [kg/m3].
    """
    read = read_readings(readings)
    found = Readings(
        [taped(machine.layout, with_engine_speed(machine, r)) for r in read],
        read.seen,
        read.file,
        read.sha256,
        machine.measures,
    )
    speed = (usual_speed(machine) or 0.0) if engine_speed is None else engine_speed
    own = float(np.median(machine.air().density)) if density is None else single(density, "kg/m3", "density")
    factors = [reduction(machine, Configuration.of(r), r.quantity, speed, own) for r in found]
    return ReducedReadings(found, speed, own, factors)


def reduction(
    machine: MachineData, conditions: Configuration, quantity: str, engine_speed: float, density: float
) -> float:
    """The factor that brings a reading to a speed [rad/s] and a density of the open air [kg/m3]."""
    numbers = {**machine.numbers, **conditions.fixed(machine.layout)}
    rho = float(np.median(air_of(machine.layout.air.part, numbers).density))
    speed = 1.0 if not conditions.engine_speed else engine_speed / conditions.engine_speed
    powers = {"velocity": (1, 0), "speed": (1, 0), "shaft power": (3, 1)}
    by_speed, by_density = powers.get(quantity, (2, 1))
    return float(speed**by_speed * (density / rho) ** by_density)
