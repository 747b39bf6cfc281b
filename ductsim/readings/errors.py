"""How far readings are off: each by itself, and all of one set together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .table import Reading

Array = NDArray[np.float64]

POWERS = {"velocity": 1.0, "speed": 1.0, "shaft power": 3.0}
"""With which power of the engine speed a reading goes, the machine left as it is; else with its square."""


@dataclass(frozen=True)
class ReadingErrors:
    """How far readings are off, as standard deviations. Common practice, no published source.

    Attributes
    ----------
    zero : float
        The gauge's zero, common to a set [Pa].
    scale : float
        The gauge's scale, common to a set [-].
    tachometer : float
        Engine speed, common to a set [-]; 1 % is 2 % of every pressure.
    unread_speed : float
        Engine speed where it was not read [-].
    swing : float
        Unrest of the needle, each reading by itself [Pa].
    share : float
        Each pressure reading by itself [-].
    facing : float
        Share of the velocity pressure that a tapping for static pressure reads along, or too little of it
        (a burr, an edge), the same whenever it is read [-]. 1 would be total pressure.
    velocity, speed, power : float
        Each reading of a traverse, of a fan's speed, of shaft power by itself [-].
    """

    zero: float = 2.0
    scale: float = 0.01
    tachometer: float = 0.01
    unread_speed: float = 0.3
    swing: float = 2.0
    share: float = 0.01
    facing: float = 0.01
    velocity: float = 0.03
    speed: float = 0.005
    power: float = 0.05

    def of(self, reading: Reading, value: float) -> float:
        """The standard deviation of one reading by itself, SI; its resolution counts in."""
        if reading.sd is not None:
            own = reading.sd
        elif reading.measure == "Pa":
            own = float(np.hypot(self.swing, self.share * value))
        else:
            share = {"velocity": self.velocity, "speed": self.speed, "shaft power": self.power}
            own = share[reading.quantity] * abs(value) + 1e-9
        step = (reading.resolution or 0.0) / np.sqrt(12.0)
        return float(np.hypot(own, step))

    def whole(self, reading: Reading, value: float, unread: bool = False) -> float:
        """The same with the errors that a set has in common, but for how tappings face the air."""
        common = self.by_speed(reading, unread) * value
        if reading.measure == "Pa":
            common = float(np.hypot(common, np.hypot(self.zero, self.scale * value)))
        return float(np.hypot(self.of(reading, value), common))

    def by_speed(self, reading: Reading, unread: bool) -> float:
        """The standard deviation of a reading's logarithm because its engine speed is not quite the stated.

        A fan's speed that is read with the tachometer of the engine speed is off as that is; where the engine
        speed is unread, or does not count, it tells of the engine.
        """
        if reading.quantity == "speed" and not unread:
            return 0.0
        return POWERS.get(reading.quantity, 2.0) * (self.unread_speed if unread else self.tachometer)

    def on_gauge(self, reading: Reading, true: Array, scale: Array, zero: Array) -> Array:
        """A true reading as an instrument shows it whose scale and zero are off by so many usual errors."""
        if reading.measure != "Pa":
            return true
        return true * (1.0 + self.scale * scale) + self.zero * zero

    def shown(
        self, readings: Sequence[Reading], true: Array, faced: Array, seed: int, relative: bool = False
    ) -> Array:
        """Draws of what instruments show (M, N) where this is there, all readings being of one set.

        Gauge and tachometer are off by the same for all of them; the errors that each reading has by itself
        are not in it.

        Parameters
        ----------
        readings : sequence of Reading
            M of them.
        true : array (M, N)
            What is there on each of N machines, SI.
        faced : array (F, N)
            Velocity pressure where each of the F static readings is taken, less that at the place it is held
            against [Pa].
        seed : int
            Of the random numbers.
        relative : bool
            No engine speed counts.
        """
        rng = np.random.default_rng(seed)
        count = true.shape[1]
        aside = {name: rng.standard_normal(count) for r in readings for name in (r.tapping, r.minus)}
        zero, scale, tachometer = rng.standard_normal((3, count))
        out, faces = true.copy(), iter(faced)
        for i, r in enumerate(readings):
            if r.quantity == "static":
                tilt = aside[r.tapping] - (aside[r.minus] if r.minus else 0.0)
                out[i] += self.facing * tilt * np.nan_to_num(next(faces))
            out[i] *= np.exp(self.by_speed(r, relative or r.engine_speed is None) * tachometer)
            out[i] = self.on_gauge(r, out[i], scale, zero)
        return out
