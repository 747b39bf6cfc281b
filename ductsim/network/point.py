"""Where an iteration is and where it ended: flows, pressures, temperatures of many scenarios."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from .values import places_of, some_columns

if TYPE_CHECKING:
    from .equations import Equations
    from .system import System
    from .values import Values

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass
class Point:
    """Flows (paths, S), total pressures of all nodes (nodes, S), node temperatures over outside's or None.

    Solved scenarios carry a `proof` of what running up from standstill reaches, for those that start there.
    """

    flow: Array
    pressure: Array
    temperature_rise: Array | None
    proof: ClassVar[Any] = None

    def take(self, columns: Any) -> Point:
        """Some of the scenarios."""
        columns = places_of(columns)
        temperature_rise = (
            None if self.temperature_rise is None else some_columns(self.temperature_rise, columns)
        )
        out = Point(some_columns(self.flow, columns), some_columns(self.pressure, columns), temperature_rise)
        return out if self.proof is None else out.proven(self.proof.take(columns))

    def proven(self, proof: Any) -> Point:
        """With a proof; it is no number of the point, and is not kept on disk."""
        self.__dict__["proof"] = proof
        return self

    def put(self, columns: Any, other: Point, which: Any = slice(None)) -> None:
        """Overwrite some of the scenarios by some of another point's."""
        which = places_of(which)
        for mine, its in self._beside(other):
            mine[:, columns] = some_columns(its, which)

    def put_where(self, which: Mask, other: Point) -> None:
        """Overwrite those of the scenarios by another point's of as many."""
        for mine, its in self._beside(other):
            np.copyto(mine, its, where=which)

    def _beside(self, other: Point) -> list[tuple[Array, Array]]:
        """The arrays of this point and of another one."""
        both = [(self.flow, other.flow), (self.pressure, other.pressure)]
        if self.temperature_rise is not None and other.temperature_rise is not None:
            both.append((self.temperature_rise, other.temperature_rise))
        return both

    def precise(self) -> Point:
        """A copy in double precision."""
        warm = self.temperature_rise
        return Point(
            self.flow.astype(float), self.pressure.astype(float), None if warm is None else warm.astype(float)
        )

    def wide(self, scenarios: int) -> Point:
        """A copy for so many scenarios: of its own, or of the single one that it has."""
        if self.flow.shape[1] == scenarios:
            return self.take(np.arange(scenarios))
        return self.take(np.zeros(scenarios, dtype=np.intp))


@dataclass
class Solved:
    """Where the iteration ended: the point, what the laws say there, the steps taken, which are solved.

    `power` has a row for each of the system's `fan_rows` [W]. `overloaded` marks scenarios that are not
    solved because a share of their load already needs a pressure that no duct could have; their point is that
    one.
    """

    point: Point
    density: Array
    drop: Array
    slope: Array
    imbalance: Array
    power: Array
    steps: NDArray[np.intp]
    good: Mask
    overloaded: Mask

    @classmethod
    def empty(cls, system: System, scenarios: int, heated: bool) -> Solved:
        """Room for so many scenarios, none of them solved."""

        def room(rows: int) -> Array:
            return np.full((rows, scenarios), np.nan)

        paths, nodes = system.paths, len(system.nodes)
        point = Point(room(paths), room(nodes), room(nodes) if heated else None)
        return cls(
            point,
            room(paths),
            room(paths),
            room(paths),
            np.full(scenarios, np.nan),
            room(len(system.fan_rows)),
            np.zeros(scenarios, dtype=np.intp),
            np.zeros(scenarios, dtype=bool),
            np.zeros(scenarios, dtype=bool),
        )

    def take(self, columns: Any) -> Solved:
        """Some of the scenarios; with a slice, a view of them."""
        columns = places_of(columns)
        return Solved(
            self.point.take(columns),
            some_columns(self.density, columns),
            some_columns(self.drop, columns),
            some_columns(self.slope, columns),
            self.imbalance[columns],
            some_columns(self.power, columns),
            self.steps[columns],
            self.good[columns],
            self.overloaded[columns],
        )

    def put(self, columns: Any, other: Solved) -> None:
        """Overwrite some of the scenarios."""
        self.point.put(columns, other.point)
        for name in ("density", "drop", "slope", "power"):
            getattr(self, name)[:, columns] = getattr(other, name)
        for name in ("imbalance", "steps", "good", "overloaded"):
            getattr(self, name)[columns] = getattr(other, name)

    def record(
        self,
        eq: Equations,
        columns: Any,
        which: Any,
        point: Point,
        values: Values,
        imbalance: Array,
        steps: int,
    ) -> None:
        """Write scenarios that have ended (`which` of the point's) into their `columns`."""
        which = places_of(which)
        self.point.put(columns, point, which)
        self.power[:, columns] = some_columns(eq.power(point.flow, values.density), which)
        self.density[:, columns] = some_columns(values.density, which)
        self.drop[:, columns] = some_columns(values.drop, which)
        self.slope[:, columns] = some_columns(values.slope, which)
        self.imbalance[columns] = imbalance[which]
        self.steps[columns] = steps
