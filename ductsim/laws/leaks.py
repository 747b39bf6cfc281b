"""Leaks and plain resistances: power laws and the quadratic law of a crack."""

from __future__ import annotations

from typing import Any

import numpy as np

from .card import law

SMALLEST_PRESSURE = 0.01
"""Pressure difference below which a power-law leak turns linear [Pa]."""

STANDARD = 1.2
"""Density of standard air [kg/m3], to which the coefficient of a power law belongs by default."""

MEASURED = 0.04
"""How far outside its range a measured or fitted exponent may come out before it is worth a word [-]: the
usual spread, 8 %, of 0.5."""


@law(
    equation="dp = z (z^2 + z0^2)^((1/n - 1)/2), z = Q (rho / rho_0)^(1 - n) / C, "
    "z0 = (0.01 Pa)^n, Q = m / rho",
    valid="exponent from 0.5 (turbulent) to 1 (laminar)",
    sources=("ashrae2021ch21", "iso9972", "common_practice"),
    outside=lambda flow, air, **c: [
        (np.abs(c["exponent"] - 0.75) > 0.25 + MEASURED, "the exponent is not between 0.5 and 1")
    ],
)
def power_leak(
    flow: Any, air: Any, *, coefficient: Any, exponent: Any, reference_density: Any = STANDARD
) -> tuple[Any, Any, Any]:
    """Pressure drop of a leak that follows Q = C (rho_0 / rho)^(1 - n) dp^n, rho the entering air's density.

    So the same hole passes more of thinner air where its flow is turbulent (n = 0.5: as one over the root of
    the density), and as much where it is laminar (n = 1); the viscosity's share, up to 2 % between 0 and 40
    degrees Celsius at n = 0.6, is left out. Below about 0.01 Pa the power is turned into a straight line, so
    that slope and flow stay finite.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s].
    air : LocalAir
        Density [kg/m3].
    coefficient : float or array
        C [m3/(s Pa^n)], above zero.
    exponent : float or array
        n [-].
    reference_density : float or array
        Density rho_0 that C was measured at or is stated for [kg/m3].

    Returns
    -------
    drop, slope, slope_in_density : arrays
        [Pa], [Pa s/kg], [Pa m3/kg]

    Example: C = 0.003, n = 0.6 at 100 Pa let 0.04755 m3/s of 1.2 kg/m3 through, 0.05199 m3/s of 0.96 kg/m3.
    """
    inverse = 1.0 / air.density
    ratio = air.density / reference_density
    half_power = np.all(np.equal(exponent, 0.5))
    thin = np.sqrt(ratio) if half_power else ratio ** (1.0 - exponent)
    per_flow = inverse / coefficient * thin
    z = flow * per_flow
    square = z * z
    root = SMALLEST_PRESSURE**exponent
    whole = square + root * root
    if half_power:
        power = np.sqrt(whole)
        gain = 1.0
    else:
        half = 0.5 / exponent - 0.5
        power = np.exp(half * np.log(whole))
        gain = half + half
    drop = z * power
    slope = per_flow * (power + gain * (square * power / whole))
    return drop, slope, (-inverse) * exponent * (flow * slope)


@law(
    equation="dp = A Q + B Q^2, A = 12 mu z / (L d^3), B = rho Y / (2 L^2 d^2), Y = 1.5 + bends",
    valid="straight-sided cracks; depth at least the width of the crack",
    sources=("baker1987",),
    outside=lambda flow, air, **c: [
        (c["depth"] < c["width"], "the crack is wider than deep: give it as a gap")
    ],
)
def crack(flow: Any, air: Any, *, length: Any, width: Any, depth: Any, bends: Any) -> tuple[Any, Any, Any]:
    """Pressure drop of a long narrow crack: laminar friction plus the loss at its ends.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s].
    air : LocalAir
        Density [kg/m3] and viscosity [Pa s].
    length, width, depth : float or array
        Length of the crack, distance of its sides, and the way of the air through it [m].
    bends : float or array
        Number of right-angled bends on the way [-].

    Returns
    -------
    drop, slope, slope_in_density : arrays
        [Pa], [Pa s/kg], [Pa m3/kg]

    Example: 1 m long, 1 mm wide, 50 mm deep, viscosity 1.81e-5, density 1.2: 50 Pa drive 3.556 L/s.
    """
    inverse = 1.0 / air.density
    section = length * width
    line = inverse * (12.0 * air.viscosity * depth / (section * width * width))
    steep = np.abs(flow) * inverse * ((0.75 + 0.5 * bends) / (section * section))
    drop = flow * (line + steep)
    return drop, line + steep + steep, -inverse * drop


@law(
    equation="drop = c m (m^2 + m0^2)^((e - 1)/2), m0 = 1e-6 (100/c)^(1/e)",
    valid="as far as the coefficient was measured; exponent from 1 to 2",
    sources=("common_practice",),
    outside=lambda flow, air, **c: [
        ((c["exponent"] < 1.0) | (c["exponent"] > 2.0), "the exponent is not between 1 and 2")
    ],
)
def power_resistance(flow: Any, air: Any, *, coefficient: Any, exponent: Any) -> tuple[Any, Any, Any]:
    """Drop of a plain resistance, coefficient times mass flow to a power, whatever the density.

    m0 is a millionth of the flow at 100 Pa and keeps the slope at zero finite and above zero.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s].
    air : LocalAir
        Not used.
    coefficient : float or array
        c [Pa (s/kg)^e].
    exponent : float or array
        e [-].

    Returns
    -------
    drop, slope, slope_in_density : arrays
        [Pa], [Pa s/kg], [Pa m3/kg]

    Example: coefficient 2, exponent 1.85 and 10 kg/s: 141.6 Pa.
    """
    least = 1e-6 * (100.0 / coefficient) ** (1.0 / exponent)
    square = flow * flow
    whole = square + least * least
    half = 0.5 * (exponent - 1.0)
    power = coefficient * np.exp(half * np.log(whole))
    drop = flow * power
    return drop, power + (exponent - 1.0) * (square * power / whole), 0.0 * drop


def leakage_coefficient(leakage_class: Any, surface: Any) -> Any:
    """Coefficient of the power law with exponent 0.65 for a duct of a leakage class [m3/(s Pa^0.65)].

    Parameters
    ----------
    leakage_class : float or array
        C_L [L/(s m2 Pa^0.65)].
    surface : float or array
        Surface of the duct [m2].

    Example: class 0.004 on 46.5 m2 at 750 Pa leaks 13.7 L/s.
    Source: ASHRAE Handbook: Fundamentals (2021), chapter 21, equations 37 to 39.
    """
    return 1e-3 * leakage_class * surface
