"""What the makers allow: the highest speed of a fan, the power that a drive has."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from .state import MachineState

RPM = 60.0 / (2.0 * math.pi)
ROUNDING = 1e-9
"""Relative excess that counts as rounding [-]."""


@dataclass(frozen=True)
class Limit:
    """One limit of a solved machine.

    Attributes
    ----------
    name : str
        The fan or drive it belongs to.
    kind : "speed" or "power"
    value, allowed : arrays of shape (S,)
        What there is and what is allowed, in SI.
    """

    name: str
    kind: str
    value: NDArray[np.float64]
    allowed: NDArray[np.float64]

    @property
    def passed(self) -> NDArray[np.bool_]:
        """True where it is passed, (S,)."""
        return self.value > self.allowed * (1.0 + ROUNDING)

    def sentence(self, scenario: int = 0) -> str:
        """What is passed and by how much, without a full stop."""
        value, allowed = float(self.value[scenario]), float(self.allowed[scenario])
        if self.kind == "speed":
            return (
                f"{self.name} turns at {value * RPM:,.0f} rpm, "
                f"above its highest speed of {allowed * RPM:,.0f} rpm"
            )
        return (
            f"the fans on {self.name} take {value / 1000:,.1f} kW, "
            f"more than the {allowed / 1000:,.1f} kW that it has"
        )


def limits_of(state: MachineState) -> list[Limit]:
    """Every limit that the machine states, with what a solved state makes of it."""
    machine, layout = state.machine, state.machine.layout
    numbers = machine.part_numbers()
    count = state.columns or 1

    def column(value: Any) -> NDArray[np.float64]:
        return np.broadcast_to(np.asarray(value, dtype=float), (count,))

    out = []
    for part in layout.parts:
        highest = numbers.get(f"{part.name}.highest_speed")
        if highest is not None:
            out.append(Limit(part.name, "speed", column(numbers[f"{part.name}.speed"]), column(highest)))
    for drive in layout.drives:
        available = machine.numbers.get(f"{drive.name}.available_power")
        names = [part.name for part in layout.parts if part.drive == drive.name and part.name in state.power]
        if available is not None and names:
            taken = np.sum([column(state.power[name]) for name in names], axis=0)
            out.append(Limit(drive.name, "power", taken, column(available)))
    return out
