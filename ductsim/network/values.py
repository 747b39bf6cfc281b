"""What the equations carry for some scenarios: air outside, coefficients of a group, values at a point."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..air import Air
from .groups import LawGroup

Array = NDArray[np.float64]


@dataclass(frozen=True)
class AirNumbers:
    """The outside air, each field an array (1,) or (S,); pressure is infinite for constant density."""

    density: Array
    viscosity: Array
    pressure: Array
    temperature: Array
    heat_capacity: Array

    @classmethod
    def of(cls, air: Air) -> AirNumbers:
        """The numbers of an `Air`."""
        return cls(*(np.atleast_1d(np.asarray(getattr(air, f.name), dtype=float)) for f in fields(cls)))

    def each(self, change: Any) -> AirNumbers:
        """The same with `change` applied to every field."""
        return AirNumbers(*(change(getattr(self, f.name)) for f in fields(self)))

    @property
    def columns(self) -> int:
        """The number of scenarios in the longest column."""
        return max(len(getattr(self, f.name)) for f in fields(self))


@dataclass
class Coefficients:
    """The coefficients of one law group: arrays whose last axis is 1 or S.

    `curves` is what the fans of a single scenario among them were found to do, in air of some density.
    """

    group: LawGroup
    values: dict[str, Array]
    curves: tuple[float, bool, Array] | None = field(default=None, init=False)

    def take(self, columns: Any) -> Coefficients:
        """The same for some of the scenarios."""
        return Coefficients(self.group, {k: take_columns(v, columns) for k, v in self.values.items()})

    def rough(self) -> Coefficients:
        """The same in single precision."""
        group = replace(self.group, incidence=single_precision(self.group.incidence))
        return Coefficients(group, {k: single_precision(v) for k, v in self.values.items()})


@dataclass
class Power:
    """Shaft power of some rows: its law and coefficients, and the inlet temperature [K] (NaN: the node's)."""

    rows: Array
    law: Any
    values: dict[str, Array]
    inlet: Array | None


@dataclass(frozen=True)
class Gathered:
    """What the paths of one law give the equations, in the order of its rows.

    Attributes
    ----------
    members : the paths, each for so many parts.
    outside : density of the air outside [kg/m3], which the starts are for.
    coefficients, powers : of the law; of the fans among the paths.
    areas, guesses, shut : pieces of these, each for so many parts.
    any_shut : whether any path is.
    """

    members: list[tuple[Any, int]]
    outside: Array
    coefficients: Coefficients
    powers: list[Power]
    areas: list[tuple[Any, int]]
    guesses: list[tuple[Any, int]]
    shut: list[tuple[Any, int]]
    any_shut: bool

    @classmethod
    def of(cls, lg: LawGroup, members: list[tuple[Any, int]], outside: Array) -> Gathered:
        """Gathered from these paths."""
        names = members[0][0].coefficients
        values = {n: join([(path.coefficients[n], k) for path, k in members]) for n in names}
        areas: list[tuple[Any, int]] = []
        guesses: list[tuple[Any, int]] = []
        shut: list[tuple[Any, int]] = []
        for side in (0, 1) if lg.partners is not None else (None,):
            areas += [(_side(path.area, side), k) for path, k in members]
            guesses += [(_start(path, side, outside), k) for path, k in members]
            shut += [(_side(path.shut, side), k) for path, k in members]
        powers = [] if lg.partners is not None else _powers(lg, members)
        any_shut = any(np.any(s) for s, _ in shut)
        return cls(members, outside, Coefficients(lg, values), powers, areas, guesses, shut, any_shut)

    def is_of(self, members: list[tuple[Any, int]], outside: Array) -> bool:
        """Whether it is of the very same paths, in air of the same density."""
        same = all(one is two for (one, _), (two, _) in zip(self.members, members, strict=True))
        return same and bool(self.outside[0] == outside[0])


def _powers(lg: LawGroup, members: list[tuple[Any, int]]) -> list[Power]:
    out, row = [], lg.rows.start
    for path, count in members:
        if path.power is not None:
            values = {n: join([(c, count)]) for n, c in path.coefficients.items()}
            inlet = path.inlet_temperature
            inlet = None if inlet is None else join([(inlet, count)])
            out.append(Power(np.arange(row, row + count), path.power, values, inlet))
        row += count
    return out


def _side(value: Any, side: int | None) -> Any:
    return value if side is None else value[side]


def _start(path: Any, side: int | None, density: Array) -> Any:
    if path.start is not None:
        return _side(path.start, side)
    return 10.0 * density * _side(path.area, side)


def join(pieces: list[tuple[Any, int]]) -> Array:
    """Coefficients of several groups of parts, one under the other, to (..., parts, 1 or S)."""
    first = np.asarray(pieces[0][0])
    if len(pieces) == 1 and first.ndim >= 2 and first.shape[-2] == pieces[0][1]:
        return first
    arrays = [np.asarray(value) for value, _ in pieces]
    width = max(a.shape[-1] if a.ndim else 1 for a in arrays)
    lead = max((a.shape[:-2] for a in arrays), key=len)
    out = np.empty((*lead, sum(k for _, k in pieces), width), dtype=np.result_type(*arrays))
    row = 0
    for a, (_, k) in zip(arrays, pieces, strict=True):
        out[..., row : row + k, :] = a
        row += k
    return out


@dataclass
class Mixture:
    """The air of both paths of some pairs, mixed: its temperature over outside's [K], and how it answers.

    Attributes
    ----------
    temperature : (K, S).
    shares : what both paths' air has in it, (2, K, S).
    by_flow : slopes of its temperature in both flows [K s/kg], (2, K, S).
    """

    temperature: Array
    shares: Array
    by_flow: Array

    @classmethod
    def of(cls, x: Array, y: Array, warm_x: Array, warm_y: Array) -> Mixture:
        """Air of flows x, y and temperatures over outside's that enter both paths."""
        flow = np.array([x, y])
        amount = np.abs(flow)
        amount += 1e-12
        both = amount[0] + amount[1]
        shares = amount / both
        warmer = (warm_x - warm_y) / both
        by_flow = np.sign(flow)
        by_flow *= shares[::-1]
        by_flow[0] *= warmer
        by_flow[1] *= -warmer
        return cls(warm_y + shares[0] * (warm_x - warm_y), shares, by_flow)

    def mixing(self, slopes: Any, cooler: Array) -> Any:
        """The slopes of both drops in both flows, with what follows from the mixture's temperature.

        `cooler` (2, K, S) are the drops' slopes in that temperature [Pa/K].
        """
        more = cooler[:, None] * self.by_flow
        return tuple(
            tuple(s + m for s, m in zip(*both, strict=True)) for both in zip(slopes, more, strict=True)
        )

    def by_temperature(self, cooler: Array) -> Any:
        """Slopes of both drops in the temperatures that enter both paths: (11, 12, 21, 22) [Pa/K].

        `cooler` (2, 3, K, S) are the drops' slopes in the temperatures of both airs and of the mixture.
        """
        out = cooler[:, 2:] * self.shares
        out += cooler[:, :2]
        return tuple(out.reshape(4, *out.shape[2:]))


@dataclass
class Values:
    """What one evaluation of all laws gives.

    Attributes
    ----------
    residual : P_from - P_to - drop [Pa], zero on shut paths; shape (paths, S).
    drop : [Pa]
    gain : inverse slopes [kg/(s Pa)] of single paths; 0 on shut ones; shape (singles, S).
    pair_slope : per pair group its slopes (s11, s12, s21, s22).
    pair_gain : per pair group the inverse 2 x 2 slopes ((g11, g12), (g21, g22)).
    answers : how each path's residual answers to the pressures of its nodes, before the gain:
        single paths' first ends, second ends; then per pair group (2, 3, K, S).
    density : the density each path's law used [kg/m3]; a pair's paths have their own.
    by_warmth : slope of each single path's drop in the temperature of the air that enters it [Pa/K], and
    pair_by_warmth : per pair group those of both drops in both temperatures; only where asked for.
    """

    residual: Array
    drop: Array
    slope: Array
    gain: Array
    pair_slope: list[Any]
    pair_gain: list[Any]
    first: Array | None
    second: Array | None
    pair_answers: list[Array]
    density: Array
    by_warmth: Array | None = None
    pair_by_warmth: list[Any] = field(default_factory=list)

    def take(self, columns: Any) -> Values:
        """The same for some of the scenarios."""

        def cut(a: Array | None) -> Any:
            return None if a is None else some_columns(a, columns)

        columns = places_of(columns)
        pairs = [tuple(tuple(cut(g) for g in row) for row in gain) for gain in self.pair_gain]
        return Values(
            cut(self.residual),
            cut(self.drop),
            cut(self.slope),
            cut(self.gain),
            [tuple(take_columns(np.asarray(s), columns) for s in four) for four in self.pair_slope],
            pairs,
            cut(self.first),
            cut(self.second),
            [cut(a) for a in self.pair_answers],
            cut(self.density),
            cut(self.by_warmth),
            [tuple(cut(s) for s in four) for four in self.pair_by_warmth],
        )

    def put(self, columns: NDArray[np.intp], other: Values) -> Values:
        """The same with some of the scenarios overwritten."""
        count = self.drop.shape[-1]

        def cover(old: Any, new: Any) -> Any:
            if old is None:
                return None
            old, new = np.asarray(old), np.asarray(new)
            lead = np.broadcast_shapes(old.shape[:-1], new.shape[:-1])
            out = np.broadcast_to(old, (*lead, count)).copy()
            out[..., columns] = new
            return out

        def each(old: Any, new: Any) -> Any:
            if isinstance(old, (list, tuple)):
                return type(old)(each(a, b) for a, b in zip(old, new, strict=True))
            return cover(old, new)

        return Values(*(each(getattr(self, f.name), getattr(other, f.name)) for f in fields(Values)))


def single_precision(values: Any) -> Any:
    """Floating numbers with half the digits; what is too large for them is infinite."""
    with np.errstate(all="ignore"):
        return np.asarray(values).astype(np.float32)


def places_of(columns: Any) -> Any:
    """Scenarios by a slice, which stays one, or by their places instead of a mask."""
    if isinstance(columns, slice):
        return columns
    columns = np.asarray(columns)
    return np.flatnonzero(columns) if columns.dtype == bool else columns


def some_columns(values: Any, columns: Any) -> Any:
    """Some of the columns (last axis), by a slice (then a view), places or a mask, laid out as all are.

    Indexing by places lays them out column by column, and whatever takes rows of that takes four times as
    long.
    """
    columns = places_of(columns)
    return values[..., columns] if isinstance(columns, slice) else values.take(columns, axis=-1)


def take_columns(values: Any, columns: Any) -> Any:
    """The values of some scenarios (last axis); what is the same for all stays as it is."""
    return values if values.ndim == 0 or values.shape[-1] == 1 else some_columns(values, columns)
