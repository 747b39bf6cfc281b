"""What the gauges of a healthy machine should show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...machine.machine import Machine
from ...readings.table import Reading
from ...result import Result
from ...speed.raising import Raising

Array = NDArray[np.float64]


@dataclass(repr=False, eq=False)
class Gauges(Result):
    """What a gauge should show at every tapping of a healthy machine; made by `gauges`.

    Attributes
    ----------
    machine : Machine
        As it is described.
    mended : dict
        Address -> (as described, healthy): what differs on the healthy machine, in SI.
    speeds : array (V,)
        Engine speeds, or those of the fans that no engine turns [rad/s]; one of NaN without fans.
    shown : dict
        Tapping -> static pressures (V, 3) [Pa gauge]: the value that 5 % of the readings on healthy machines
        stay below, what the machine in the middle of them makes, and the value that 95 % stay below.
    readings : list of Reading
        What was read at the tappings of fans with nothing taped shut.
    first : str
        The unit to begin with: the weakest by vacuum on the machine as described. Empty without units.
    vacuum : dict
        Unit -> vacuum on the machine as described [Pa].
    least_air : str
        The unit with the least air through its openings there.
    opening_air : dict
        Unit -> that air [kg/s].
    raising : Raising or None
        How far the speed may be raised.
    """

    machine: Machine
    mended: dict[str, tuple[float, float]]
    speeds: Array
    shown: dict[str, Array]
    readings: list[Reading]
    first: str
    vacuum: dict[str, float]
    least_air: str
    opening_air: dict[str, float]
    raising: Raising | None

    def fan_tappings(self) -> dict[str, list[str]]:
        """Tapping -> the fans whose end it sits at or whose node it shares."""
        layout = self.machine.layout
        out: dict[str, list[str]] = {}
        for tapping in layout.tappings:
            node = layout.end_node(tapping.path, tapping.end)
            fans = [name for name in layout.fans if node in layout.part[name].ends]
            if fans and tapping.name in self.shown:
                out[tapping.name] = fans
        return out
