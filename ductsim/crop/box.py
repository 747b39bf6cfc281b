"""The box behind the ducts: its size, where each duct discharges across its width, how far that spreads."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..description.layout import Layout
from ..documents.building import build
from ..documents.document import table
from ..errors import InputError
from ..parts.declare import Fields, OptionalValue, OptionalValues, Value, Values, fields, number

Array = NDArray[np.float64]


@fields("fill")
class Box(Fields):
    """A box that the ducts fill, seen across the machine's width; a place is measured from its left wall.

    Each duct's crop lands around its discharge with a density that falls in a straight line to nothing at
    `spreading` to either side (a triangle); what would land beyond a wall is thrown back from it (our
    assumption). Crop does not slide: places that are full stay higher than their neighbours.
    """

    width: Value = number("m", above=0.0, at_most=30.0, spread=0.01, doc="inner width, across the machine")
    length: Value = number("m", above=0.0, at_most=30.0, spread=0.01, doc="inner length, along the machine")
    height: Value = number("m", above=0.0, at_most=10.0, spread=0.02, doc="inner height that may be filled")
    positions: Values = number(
        "m",
        at_least=0.0,
        at_most=30.0,
        points=True,
        doc="where each unit's duct discharges, from the left wall",
    )
    lowest: OptionalValues = number(
        "m", at_least=0.0, at_most=30.0, default=None, points=True, doc="least place of each discharge"
    )
    highest: OptionalValues = number(
        "m", at_least=0.0, at_most=30.0, default=None, points=True, doc="farthest place of each discharge"
    )
    spreading: Value = number(
        "m", above=0.0, at_most=10.0, default=0.5, spread=0.3, doc="how far to either side crop lands"
    )
    bulk_density: Value = number(
        "kg/m3", above=0.0, at_most=1000.0, default=80.0, spread=0.25, doc="density of the crop in the box"
    )
    unload_time: OptionalValue = number(
        "s", above=0.0, at_most=7200.0, default=None, doc="how long the box is not emptied during an unload"
    )
    level: Value = number(
        "", at_least=0.0, at_most=1.0, default=0.0, doc="how full its fullest place is when an unload begins"
    )

    def check(self) -> None:
        """Every discharge is inside the box and within its own limits."""
        for i, place in enumerate(self.positions):
            if np.any(np.greater(place, self.width)):
                raise InputError(
                    f"discharge {i + 1} at {np.max(place):g} m is outside the box, which is "
                    f"{np.max(self.width):g} m wide",
                    place=f"fill: positions[{i}]",
                    allowed="a place between the walls",
                )
        for name in ("lowest", "highest"):
            given = getattr(self, name)
            if given is not None and len(given) != len(self.positions):
                raise InputError(
                    f"{len(given)} limits for {len(self.positions)} discharges",
                    place=f"fill: {name}",
                    allowed="one for each",
                )
        for i, (low, place, high) in enumerate(zip(*self.limits(), strict=True)):
            if np.any(np.greater(low, place)) or np.any(np.greater(place, high)):
                raise InputError(
                    f"discharge {i + 1} at {np.max(place):g} m is beyond its limits of {np.min(low):g} to "
                    f"{np.max(high):g} m",
                    place=f"fill: positions[{i}]",
                    allowed="lowest <= position <= highest",
                )
            if np.any(np.greater(high, self.width)):
                raise InputError(
                    f"{np.max(high):g} m is outside the box, which is {np.max(self.width):g} m wide",
                    place=f"fill: highest[{i}]",
                    allowed="a place between the walls",
                )

    def limits(self) -> tuple[tuple[Any, ...], tuple[Any, ...], tuple[Any, ...]]:
        """Lowest place, present place and highest place of each discharge [m]; fixed where not given."""
        return self.lowest or self.positions, self.positions, self.highest or self.positions

    @property
    def volume(self) -> Any:
        """[m3]"""
        return self.width * self.length * self.height

    def landing(self, places: Any, bins: int) -> Array:
        """Share of a duct's crop that lands in each of `bins` equal strips, for discharges at `places` [m].

        Returns
        -------
        array of shape (len(places), bins)
            Each row adds up to 1 to rounding: nothing is lost at the walls.
        """
        place = np.atleast_1d(np.asarray(places, dtype=float))[:, None]
        edges = np.linspace(0.0, self.width, bins + 1)
        reach = math.ceil(self.spreading / self.width) + 1
        inside = np.zeros((len(place), bins + 1))
        for k in range(-reach, reach + 1):
            image = 2.0 * k * self.width
            inside += self._below(image + edges - place) - self._below(image - edges - place)
        return np.diff(inside, axis=1)

    def _below(self, distance: Array) -> Array:
        """Share of the crop that would land no farther right than `distance` from its discharge [m]."""
        t: Array = np.clip(distance / self.spreading, -1.0, 1.0)
        return np.where(t < 0.0, 0.5 * (1.0 + t) ** 2, 1.0 - 0.5 * (1.0 - t) ** 2)


def box_of(layout: Layout) -> Box | None:
    """The box of a machine's `[fill]` table; None when it has none.

    Raises
    ------
    InputError
        For bad values, and when there is not one discharge for each unit.
    """
    if "fill" not in layout.free:
        return None
    box: Box = build(Box, table(layout.free["fill"], "fill"), "fill")
    if layout.units and len(box.positions) != len(layout.units):
        raise InputError(
            f"{len(box.positions)} discharges for {len(layout.units)} units",
            place="fill: positions",
            allowed="one for each unit, in their order",
        )
    return box
