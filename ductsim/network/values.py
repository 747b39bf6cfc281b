"""What the equations carry for some scenarios: air outside, coefficients of a group, values at a point."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..air import Air
from .system import LawGroup

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
    """The coefficients of one law group: arrays whose last axis is 1 or S."""

    group: LawGroup
    values: dict[str, Array]

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
            return None if a is None else a[..., columns]

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


def take_columns(values: Array, columns: Any) -> Array:
    """The values of some scenarios (last axis); what is the same for all stays as it is."""
    return values if values.ndim == 0 or values.shape[-1] == 1 else values[..., columns]
