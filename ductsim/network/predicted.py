"""Where many scenarios probably end: from the middle of all, by how it answers to each number.

Each number that varies is moved by itself to both sides of the middle, within its range; the answers to these
moves are added up for each scenario. It is a start and decides nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .numbers import WIDEST, Numbers, midway
from .point import Point
from .values import AirNumbers

Array = NDArray[np.float64]

WORTH = 8  # scenarios for each that has to be solved to learn from
FEWEST = 500  # scenarios
HALFWAY = 0.5  # of the way from the middle to the ends of its range
STEADY = 0.2  # of the middle's flow: paths that keep this are told by the logarithm of their flow
MOST = 2.0  # of that logarithm's change


@dataclass(frozen=True)
class Rows:
    """The numbers that vary, row by row.

    Attributes
    ----------
    names : where each stands among the numbers.
    logarithmic : rows of which the logarithm is taken.
    middle, move : of each row, or of its logarithm.
    """

    names: tuple[tuple[Any, ...], ...]
    logarithmic: NDArray[np.bool_]
    middle: Array
    move: Array

    @classmethod
    def of(cls, numbers: Numbers) -> Rows:
        """The rows that hold different numbers."""
        names, least, most = [], [], []
        for name, values in _all_rows(numbers):
            low, high = values.min(axis=1), values.max(axis=1)
            for row in np.flatnonzero(low != high):
                names.append((*name, int(row)))
                least.append(low[row])
                most.append(high[row])
        low, high = np.array(least), np.array(most)
        logarithmic = (low > 0.0) & (high <= WIDEST * low)
        middle, move = midway(low, high), 0.5 * HALFWAY * (high - low)
        with np.errstate(all="ignore"):
            middle = np.where(logarithmic, np.log(middle), middle)
            move = np.where(logarithmic, 0.5 * HALFWAY * np.log(high / low), move)
        return cls(tuple(names), logarithmic, middle, move)

    def offsets(self, numbers: Numbers, columns: slice) -> Array:
        """How many moves each scenario's numbers are off the middle, (rows, S)."""
        rows = dict(_all_rows(numbers))
        out = np.array([rows[name[:-1]][name[-1], columns] for name in self.names])
        out[self.logarithmic] = np.log(out[self.logarithmic])
        out -= self.middle[:, None]
        out /= self.move[:, None]
        return out

    def moved(self, middle: Numbers) -> Numbers:
        """The middle with each row moved by itself, all of them down, then all up."""
        count = len(self.names)
        parts = [[v.copy() for v in number_keys] for number_keys in middle.parts]
        out = replace(middle, parts=parts, air=middle.air.each(np.copy), scenarios=2 * count)
        out.held, out.supply = middle.held.copy(), middle.supply.copy()
        for k, name in enumerate(self.names):
            x = np.full(2 * count, self.middle[k])
            x[k] -= self.move[k]
            x[count + k] += self.move[k]
            _put(out, name, np.exp(x) if self.logarithmic[k] else x)
        return out


def _all_rows(numbers: Numbers) -> list[tuple[tuple[Any, ...], Array]]:
    """Everything that can be a column, as arrays (rows, S)."""
    out: list[tuple[tuple[Any, ...], Array]] = [
        (("parts", g, number_key), v)
        for g, number_keys in enumerate(numbers.parts)
        for number_key, v in enumerate(number_keys)
        if v.shape[1] > 1
    ]
    air = numbers.air
    for name in AirNumbers.__dataclass_fields__:
        values = getattr(air, name)
        if len(values) > 1 and np.isfinite(values).all():
            out.append((("air", name), values[None]))
    out += [((name,), v) for name in ("held", "supply") if (v := getattr(numbers, name)).shape[1] > 1]
    return out


def _put(numbers: Numbers, name: tuple[Any, ...], values: Array) -> None:
    """Make a row of the numbers a column of these values."""
    kind, *where, row = name
    if kind == "air":
        numbers.air = replace(numbers.air, **{where[0]: values})
        return
    old = numbers.parts[where[0]][where[1]] if kind == "parts" else getattr(numbers, kind)
    new = old if old.shape[1] > 1 else np.repeat(old, len(values), axis=1)
    new[row] = values
    if kind == "parts":
        numbers.parts[where[0]][where[1]] = new
    else:
        setattr(numbers, kind, new)


class Prediction:
    """Points of scenarios by the answers to single moves.

    Parameters
    ----------
    rows : the numbers that vary.
    nominal : the point of the middle.
    down, up : points with one row moved each, (..., rows).
    good : rows of which both were found.
    """

    def __init__(self, rows: Rows, nominal: Point, down: Point, up: Point, good: Any) -> None:
        self.rows, self.paths, self.nodes = rows, len(nominal.flow), len(nominal.pressure)
        own = nominal.flow
        with np.errstate(all="ignore"):
            shares = np.concatenate([down.flow, up.flow], axis=1)[:, np.concatenate([good, good])] / own
        self.steady = (shares > STEADY).all(axis=1) & (own[:, 0] != 0.0)
        middle, low, high = (self._scaled(p, own) for p in (nominal, down, up))
        self.own, self.middle = own, middle
        self.slope = np.where(good, 0.5 * (high - low), 0.0)
        self.bow = np.where(good, 0.5 * (high + low) - middle, 0.0)

    def _scaled(self, point: Point, own: Array) -> Array:
        with np.errstate(all="ignore"):
            flow = np.where(self.steady[:, None], np.log(point.flow / own), point.flow)
        return np.concatenate(
            [flow, point.pressure, *(() if point.temperature_rise is None else (point.temperature_rise,))]
        )

    def point(self, numbers: Numbers, columns: slice) -> Point:
        """The predicted point of some scenarios."""
        off = self.rows.offsets(numbers, columns)
        y = self.slope @ off
        y += self.bow @ np.square(off, out=off)
        y += self.middle
        flow, pressure, temperature_rise = np.split(y, [self.paths, self.paths + self.nodes])
        steady = self.steady
        flow[steady] = self.own[steady] * np.exp(np.clip(flow[steady], -MOST, MOST))
        return Point(flow, pressure, temperature_rise if len(temperature_rise) else None)
