"""How far the speed may be raised: the factor at which the first limit of the makers is reached."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..answers.limits import limits_of, stated_limits
from ..answers.variants import solve_variants
from ..description.data import MachineData
from ..network.point import Point
from ..quantity import RPM
from ..statistics import middle
from ..wording import listed
from .roots import falling_root

Array = NDArray[np.float64]

MOST = 5.0
"""How many times today's speed is looked at."""
DOWN = 1000.0
"""Factors are rounded down to a part in so many."""


@dataclass(frozen=True)
class Raising:
    """How far the speed of all fans may be raised.

    Attributes
    ----------
    factor : float
        The largest allowed speed over today's, rounded down to three decimals; infinity where no limit is
        stated or reached, 0 where a limit is passed at any speed.
    speed : float
        Today's speed of what is named [rad/s].
    engine : bool
        Whether that is an engine's; else it is that of the fans themselves.
    several : bool
        Whether several engines, or fans, each have their own speed, so that none stands for all.
    reached : tuple of (str, str)
        The limits reached there: name and kind ("speed" or "power").
    """

    factor: float
    speed: float
    engine: bool
    several: bool
    reached: tuple[tuple[str, str], ...]

    def sentence(self) -> str:
        """How far, and what is reached there."""
        what = f"{'engine' if self.engine else 'fan'} speed{'s' if self.several else ''}"
        if math.isinf(self.factor):
            return f"No limit that the machine states is reached up to {MOST:g} times today's {what}."
        if self.factor <= 0.0:
            return f"No {what} keeps the limits that the machine states."
        # rounded down once more, so that the figure itself may be driven
        rpm = "" if self.several else f", {math.floor(self.factor * self.speed * RPM):,} rpm"
        fans = [name for name, kind in self.reached if kind == "speed"]
        words = [
            f"the fans on {name} take all the power that the drive has"
            for name, kind in self.reached
            if kind == "power"
        ]
        if fans:
            its = "reaches its" if len(fans) == 1 else "reach their"
            words.insert(0, f"{listed(fans)} {its} highest speed")
        verb = "may be raised to" if self.factor >= 1.0 else "must come down to"
        return f"The {what} {verb} {self.factor:.3f} times today's{rpm}: there {listed(words)}."


def raising(machine: MachineData) -> Raising | None:
    """How far the speed of all fans may be raised before a limit is passed, without crop.

    All engines, and the fans that no drive turns, are raised by one factor. Of columns the middle one counts.
    None for a machine whose speeds cannot be changed, or that states no limit.
    """
    layout, numbers = machine.layout, machine.numbers
    turning = {part.drive for part in layout.parts if part.drive}
    engines = [f"{drive.name}.engine_speed" for drive in layout.drives if drive.name in turning]
    addresses = engines + [f"{name}.speed" for name in layout.fans if f"{name}.speed" in numbers]
    if not addresses or not stated_limits(machine):
        return None
    one = machine.rebuilt({address: middle(value) for address, value in numbers.items()})
    near: Point | None = None
    seen: dict[float, Array] = {}

    def margins(factor: float) -> Array:
        """Allowed over actual less one, of every limit, (limits,)."""
        nonlocal near
        speeds = {address: np.full((1, 1), one.numbers[address] * factor) for address in addresses}
        state = solve_variants(one, speeds, 1, start=near).state
        if not np.all(state.solved):
            return np.full(len(limits_of(state)), np.nan)
        near = state.arrays.point
        return (
            np.array([float(np.max(o.allowed / np.maximum(o.value, 1e-12))) for o in limits_of(state)]) - 1.0
        )

    def least(factors: Array, which: NDArray[np.intp]) -> Array:
        factor = float(factors[0])
        seen[factor] = margins(factor)
        smallest: Array = np.nan_to_num(seen[factor].min(keepdims=True), nan=-1.0)
        return smallest

    limits = stated_limits(one)
    left = np.maximum(np.nan_to_num(margins(1.0)) + 1.0, 1e-3)
    # by the fan laws, which hold but for the springiness of air and the friction in ducts
    guess = min(
        own ** (1.0 / 3.0 if limit.kind == "power" else 1.0) for own, limit in zip(left, limits, strict=True)
    )
    found = float(falling_root(least, np.array([guess]), MOST)[0])
    factor = math.floor(found * DOWN * (1.0 + 1e-9)) / DOWN if math.isfinite(found) else found
    reached: tuple[tuple[str, str], ...] = ()
    if 0.0 < factor < math.inf:
        at = seen[found] if found in seen else margins(found)
        reached = tuple(
            (own.name, own.kind) for own, left in zip(limits, at, strict=True) if left < 1.0 / DOWN
        )
    first = float(one.numbers[addresses[0]])
    return Raising(factor, first, bool(engines), len(addresses) > 1, reached)
