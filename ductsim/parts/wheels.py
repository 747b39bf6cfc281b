"""Fans known by the shape of their blades: curves without dimensions, with their spreads.

Flow is over pi D b u, total pressure over rho u^2 / 2, shaft power over the product of both, with the wheel's
outer diameter D, the width b of the blades there and the tip speed u. The curves are ours, drawn from memory
through the ranges in which textbooks of fans place these shapes; the tests hold them against Euler's equation
with Wiesner's slip. A single maker's fan differs from them by about the spread that is stated.
"""

from __future__ import annotations

from typing import NamedTuple


class Wheel(NamedTuple):
    """The usual curve of wheels of one shape.

    Attributes
    ----------
    flow, pressure, power : tuples of float
        Points without dimensions.
    design : int
        Which point is the one it is built for.
    spread : float
        Relative standard deviation of the pressures of a single fan; our assumption.
    """

    flow: tuple[float, ...]
    pressure: tuple[float, ...]
    power: tuple[float, ...]
    design: int
    spread: float


WHEELS = {
    "backward-curved": Wheel(
        (0.0, 0.06, 0.12, 0.18, 0.24, 0.30),
        (0.95, 1.02, 1.00, 0.86, 0.60, 0.25),
        (0.075, 0.115, 0.165, 0.205, 0.215, 0.205),
        3,
        0.15,
    ),
    "radial": Wheel(
        (0.0, 0.05, 0.10, 0.15, 0.20, 0.28),
        (1.15, 1.25, 1.28, 1.22, 1.08, 0.70),
        (0.085, 0.15, 0.215, 0.285, 0.35, 0.44),
        3,
        0.20,
    ),
    "forward-curved": Wheel(
        (0.0, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60),
        (1.50, 1.64, 1.85, 2.17, 2.35, 2.17, 1.85),
        (0.25, 0.40, 0.72, 1.10, 1.52, 1.95, 2.40),
        4,
        0.25,
    ),
}
"""Shape of the blades -> its usual curve."""

ONE_POINT = 0.10
"""Spread of the pressures of a fan whose level is known by one point, its shape assumed; our assumption."""

ASSUMED_SPREADS = {"assumed": 0.15, "one point": ONE_POINT} | {n: own.spread for n, own in WHEELS.items()}
"""Where a curve comes from -> relative spread of its pressures; a measured one has none of this kind."""
