"""What the makers allow: the highest speed of a fan, the power that a drive has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..description.data import MachineData, running_speed
from ..quantity import RPM, show
from ..wording import listed
from .solved import SolvedMachine

ROUNDING = 1e-9
"""Relative excess that counts as rounding [-]."""
NEAR = 1e-3
"""Share of a limit below it that counts as reached [-]."""
MOST_STRAIN = 50.0
"""Of a limit, in logarithms [-]: beyond lies only what is nothing or has no end."""
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
    measures : str
        "metric" or "inch", as of the machine.
    """

    name: str
    kind: str
    value: NDArray[np.float64]
    allowed: NDArray[np.float64]
    measures: str = "metric"

    @cached_property
    def passed(self) -> NDArray[np.bool_]:
        """True where it is passed, (S,)."""
        return self.value > self.allowed * (1.0 + ROUNDING)

    @property
    def reached(self) -> NDArray[np.bool_]:
        """True where it is passed or all but reached, (S,)."""
        return self.value > self.allowed * (1.0 - NEAR)

    @property
    def strain(self) -> NDArray[np.float64]:
        """The logarithm of what there is over what is allowed, (S,); above 0 where it is passed."""
        with np.errstate(all="ignore"):
            return np.clip(np.log(self.value / self.allowed), -MOST_STRAIN, MOST_STRAIN)

    def breach(self, start: int = 0, size: int = 1) -> Breach:
        """By how much the first of some scenarios on end passes it."""
        at = start + int(self.passed[start : start + size].argmax())
        value, allowed = float(self.value[at]), float(self.allowed[at])
        return Breach(self.name, self.kind, value, allowed, self.measures)

    def sentence(self, scenario: int = 0) -> str:
        """What is passed and by how much, without a full stop."""
        return breaches_said([self.breach(scenario)])


@dataclass(frozen=True)
class Breach:
    """A limit that is passed.

    Attributes
    ----------
    name : str
        The fan or drive it belongs to.
    kind : "speed" or "power"
    value, allowed : float
        What there is and what is allowed, in SI.
    measures : str
        "metric" or "inch", as of the machine.
    """

    name: str
    kind: str
    value: float
    allowed: float
    measures: str = "metric"


def breaches_by_group(limits: Sequence[Limit], size: int = 1) -> dict[int, list[Breach]]:
    """What limits are passed in each group of `size` scenarios on end, by the first that passes each.

    Groups in which at most `SELDOM` of the scenarios pass a limit are left out.
    """
    out: dict[int, list[Breach]] = {}
    for limit in limits:
        share = limit.passed.reshape(-1, size).mean(axis=1)
        for group in np.flatnonzero(share > SELDOM):
            out.setdefault(int(group), []).append(limit.breach(int(group) * size, size))
    return dict(sorted(out.items()))


def passed_by_group(limits: Sequence[Limit], size: int = 1) -> dict[int, str]:
    """What limits are passed in each group, as `breaches_by_group` tells, in words without a full stop."""
    return {group: breaches_said(own) for group, own in breaches_by_group(limits, size).items()}


def breaches_said(breaches: Sequence[Breach], the: str = "the") -> str:
    """Several breaches in words, without a full stop; fans alike are named together.

    `the` is "The" where a sentence begins with it; a name that begins one keeps its spelling.
    """
    names: dict[tuple[str, str, str], list[str]] = {}
    for own in breaches:
        if own.kind == "speed":
            key = own.kind, f"{own.value * RPM:,.0f} rpm", f"{own.allowed * RPM:,.0f} rpm"
        else:
            shown = [show(power, "W", own.measures) for power in (own.value, own.allowed)]
            value, allowed = (f"{power:,.1f} {spelled}" for power, spelled in shown)
            key = own.kind, value, allowed
        names.setdefault(key, []).append(own.name)
    out: list[str] = []
    for (kind, value, allowed), look_alikes in names.items():
        if kind == "speed":
            turn, their = ("turns", "its") if len(look_alikes) == 1 else ("turn", "their")
            out.append(f"{listed(look_alikes)} {turn} at {value}, above {their} highest speed of {allowed}")
        else:
            for name in look_alikes:
                article = "the" if out else the
                out.append(f"{article} fans on {name} take {value}, more than the {allowed} that it has")
    return ", and ".join(out)


@dataclass(frozen=True)
class Stated:
    """A limit that a machine states.

    Attributes
    ----------
    name : str
        The fan or drive it belongs to.
    kind : "speed" or "power"
    fans : list of str
        The fans whose speed it is, or whose power together.
    allowed : float or array of shape (S,)
        In SI.
    """

    name: str
    kind: str
    fans: list[str]
    allowed: Any

    @property
    def of(self) -> list[str]:
        """Questions whose answers, added up, must not exceed it."""
        what = "speed" if self.kind == "speed" else "shaft power"
        return [f"{what} {name}" for name in self.fans]


def stated_limits(machine: MachineData) -> list[Stated]:
    """Every limit that the machine states."""
    layout, numbers = machine.layout, machine.numbers
    out = []
    for part in layout.parts:
        highest = numbers.get(f"{part.name}.highest_speed")
        if highest is not None:
            out.append(Stated(part.name, "speed", [part.name], highest))
    for drive in layout.drives:
        available = numbers.get(f"{drive.name}.available_power")
        driven = [part.name for part in layout.parts if part.drive == drive.name]
        if available is not None and driven:
            out.append(Stated(drive.name, "power", driven, available))
    return out


def limits_of(state: SolvedMachine) -> list[Limit]:
    """Every limit that the machine states, with what a solved state makes of it."""
    numbers = state.machine.part_numbers()
    count = state.columns or 1

    def column(value: Any) -> NDArray[np.float64]:
        return np.broadcast_to(np.asarray(value, dtype=float), (count,))

    out = []
    for own in stated_limits(state.machine):
        if own.kind == "speed":
            value = column(running_speed(numbers, own.name))
        else:
            value = np.sum([column(state.power[name]) for name in own.fans], axis=0)
        out.append(Limit(own.name, own.kind, value, column(own.allowed), state.machine.measures))
    return out
