"""What the makers allow: the highest speed of a fan, the power that a drive has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..quantity import RPM
from ..wording import listed
from .solved import SolvedMachine

ROUNDING = 1e-9
"""Relative excess that counts as rounding [-]."""
SELDOM = 0.05
"""Share of the possible machines that may pass a limit before it counts as passed."""


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
        return _sentence([self], scenario, 1)


def passed_by_group(limits: Sequence[Limit], size: int = 1) -> dict[int, str]:
    """What limits are passed in each group of `size` scenarios on end, without a full stop.

    Groups in which at most `SELDOM` of the scenarios pass a limit are left out.
    """
    out: dict[int, list[Limit]] = {}
    for limit in limits:
        share = limit.passed.reshape(-1, size).mean(axis=1)
        for group in np.flatnonzero(share > SELDOM):
            out.setdefault(int(group), []).append(limit)
    return {group: _sentence(own, group * size, size) for group, own in sorted(out.items())}


def _sentence(limits: Sequence[Limit], start: int, size: int) -> str:
    """Several limits in words, by the first scenario that passes each; fans alike are named together."""
    words: dict[str, list[str]] = {}
    for limit in limits:
        at = start + int(limit.passed[start : start + size].argmax())
        value, allowed = float(limit.value[at]), float(limit.allowed[at])
        if limit.kind == "speed":
            what = f"at {value * RPM:,.0f} rpm, above {{}} highest speed of {allowed * RPM:,.0f} rpm"
        else:
            what = f"{value / 1000:,.1f} kW, more than the {allowed / 1000:,.1f} kW that it has"
        words.setdefault(what, []).append(limit.name)
    out = []
    for what, names in words.items():
        if what.startswith("at "):
            turn, their = ("turns", "its") if len(names) == 1 else ("turn", "their")
            out.append(f"{listed(names)} {turn} {what.format(their)}")
        else:
            out += [f"the fans on {name} take {what}" for name in names]
    return ", and ".join(out)


def limits_of(state: SolvedMachine) -> list[Limit]:
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
