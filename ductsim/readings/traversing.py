"""A traverse across a duct: where to hold the Pitot tube, and the mean velocity and flow from its readings.

Source: ISO 3966, Measurement of fluid flow in closed conduits, velocity area method using Pitot static tubes
(places of the log-linear and log-Tchebycheff rules, from memory). Both rules give the mean velocity as the
plain mean over their places.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import listed, one_of
from ..errors import InputError, shown
from ..quantity import si, single
from ..result import Result
from .table import Reading

Array = NDArray[np.float64]

# Distance from the wall over the diameter or the side, up to the middle; the other half mirrors it.
ROUND = {
    "log-linear": {
        4: (0.043, 0.290),
        6: (0.032, 0.135, 0.321),
        8: (0.021, 0.117, 0.184, 0.345),
        10: (0.019, 0.077, 0.153, 0.217, 0.361),
    },
    "log-Tchebycheff": {
        6: (0.032, 0.137, 0.312),
        8: (0.024, 0.100, 0.194, 0.334),
        10: (0.019, 0.076, 0.155, 0.215, 0.357),
    },
}
RECTANGULAR = {
    5: (0.074, 0.288, 0.500),
    6: (0.061, 0.235, 0.437),
    7: (0.053, 0.203, 0.366, 0.500),
}
STEADY = 0.02  # share of the mean velocity that a traverse is unsure by besides its scatter; common practice


def traverse_places(
    points: int,
    *,
    diameter: Any = None,
    width: Any = None,
    height: Any = None,
    rule: str = "log-linear",
) -> list[dict[str, float]]:
    """Where to hold the Pitot tube.

    Parameters
    ----------
    points : int
        Round: places on each of two diameters (4, 6, 8 or 10; at least 6 by log-Tchebycheff). Rectangular:
        places along each side (5, 6 or 7).
    diameter : number or text
        Of a round duct [m].
    width, height : number or text
        Of a rectangular duct [m].
    rule : str
        "log-linear" or "log-Tchebycheff" for round ducts; rectangular ones always use the latter.

    Returns
    -------
    list of dict
        Round: `diameter` (1 or 2) and `from_wall_m`. Rectangular: `from_side_m`, `from_bottom_m`.

    Raises
    ------
    InputError
        For other numbers of places, and for a duct that is both or neither.
    """
    if (diameter is None) == (width is None or height is None):
        raise InputError("the duct is not clear", place="traverse", allowed="a diameter, or width and height")
    if diameter is not None:
        one_of(rule, ROUND, "traverse", "rule")
        shares = _both_halves(_known(ROUND[rule], points))
        size = _length(diameter, "diameter")
        return [{"diameter": d, "from_wall_m": s * size} for d in (1, 2) for s in shares]
    shares = _both_halves(_known(RECTANGULAR, points))
    wide, high = _length(width, "width"), _length(height, "height")
    return [{"from_side_m": s * wide, "from_bottom_m": t * high} for t in shares for s in shares]


def _known(table: dict[int, tuple[float, ...]], points: int) -> tuple[float, ...]:
    if not isinstance(points, (int, np.integer)) or points not in table:
        raise InputError(
            f"{shown(points)} places",
            place="traverse, points",
            allowed=", ".join(map(str, table)) + " on each line",
        )
    return table[points]


def _both_halves(half: Sequence[float]) -> list[float]:
    return [*half, *(1.0 - s for s in reversed(half) if s != 0.5)]


def _length(value: Any, name: str) -> float:
    try:
        out = si(value, "m")
    except InputError as err:
        raise err.at(place=f"traverse, {name}") from None
    if not isinstance(out, float) or out <= 0.0:
        raise InputError(f"{shown(value)} is no size", place=f"traverse, {name}", allowed="above 0 m")
    return out


@dataclass(repr=False, eq=False)
class Traverse(Result):
    """What a traverse tells; made by `traverse`.

    Attributes
    ----------
    velocities : array
        At the places [m/s].
    area : float
        [m2]
    density : float
        [kg/m3]
    """

    velocities: Array
    area: float
    density: float

    @property
    def mean_velocity(self) -> float:
        """The plain mean of the velocities [m/s]."""
        return float(self.velocities.mean())

    @property
    def sd(self) -> float:
        """Standard deviation of the mean [m/s]: 2 % for the rule, the place and the alignment."""
        return STEADY * abs(self.mean_velocity)

    @property
    def volume_flow(self) -> float:
        """[m3/s]"""
        return self.mean_velocity * self.area

    @property
    def mass_flow(self) -> float:
        """[kg/s]"""
        return self.volume_flow * self.density

    def reading(self, tapping: str, **more: Any) -> Reading:
        """The traverse as a reading of the mean velocity at a tapping; `more` as for `Reading`."""
        return Reading(tapping, self.mean_velocity, "velocity", sd=self.sd, **more)

    def about(self) -> str:
        """The mean velocity, and at how many places it was read."""
        return f"{self.mean_velocity:.2f} m/s, {len(self.velocities)} places"

    def rows(self) -> list[dict[str, Any]]:
        """A row for each place."""
        mean = self.mean_velocity
        return [
            {"place": i + 1, "velocity_m_s": v, "of_mean": v / mean if mean else math.nan}
            for i, v in enumerate(self.velocities.tolist())
        ]

    def sentences(self, measures: str = "metric") -> list[str]:
        """Mean velocity and flow; a warning where the profile is too uneven for the rule."""
        out = [
            f"Mean velocity {self.mean_velocity:.2f} m/s, {self.volume_flow:.3f} m3/s, "
            f"{self.mass_flow:.3f} kg/s."
        ]
        if np.any(self.velocities <= 0.0):
            out.append("Air stands still or runs back at some places: go farther from bends and fans.")
        elif self.velocities.max() > 2.0 * self.velocities.min():
            out.append("The profile is uneven: a place farther from bends and fans tells more.")
        return out


def traverse(
    readings: Sequence[Any], *, area: Any, density: float = 1.2, quantity: str = "velocity pressure"
) -> Traverse:
    """Mean velocity and flow from the readings at the places of `traverse_places`.

    Parameters
    ----------
    readings : sequence of numbers and texts
        Velocity pressures [Pa], or velocities [m/s]. A velocity pressure below 0 counts as air running back.
    area : number or text
        Of the section [m2].
    density : float
        Of the air there [kg/m3].
    quantity : str
        "velocity pressure" or "velocity".

    Raises
    ------
    InputError
        For fewer than four readings, and whatever is no quantity of the kind.
    """
    measures = {"velocity pressure": "Pa", "velocity": "m/s"}
    one_of(quantity, measures, "traverse", "quantity")
    rho = single(density, "kg/m3", "traverse, density")
    items = readings if hasattr(readings, "m_as") else listed(readings, "traverse", "a list of readings")
    try:
        values = np.atleast_1d(np.asarray(si(items, measures[quantity]), dtype=float))
        size = si(area, "m2")
    except InputError as err:
        raise err.at(place="traverse") from None
    if values.size < 4:
        raise InputError(f"{values.size} readings", place="traverse", allowed="at least 4, better 12 or more")
    if not isinstance(size, float) or size <= 0.0 or not rho > 0.0:
        raise InputError("area and density", place="traverse", allowed="both above 0")
    if quantity == "velocity pressure":
        values = np.sign(values) * np.sqrt(2.0 * np.abs(values) / rho)
    return Traverse(values, size, rho)
