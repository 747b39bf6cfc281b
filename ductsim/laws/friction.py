"""Pipe friction: Darcy-Weisbach with laminar, blended and turbulent flow, a local loss and a rise."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from .card import law
from .constants import GRAVITY

LAMINAR = 2000.0
TURBULENT = 4000.0
_SLOWEST = 1e-6  # Reynolds number below which 64/Re is held; the drop is linear there all the same
_LN10_HALF_SQUARED = 1.151292546497022842**2


def colebrook(reynolds: Any, relative_roughness: Any) -> tuple[Any, Any]:
    """Darcy friction factor by Colebrook's equation, and its logarithmic slope.

    Two steps of Clamond's iteration, which reach machine precision above a Reynolds number of 4000.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number, at least 4000 [-].
    relative_roughness : float or array
        Roughness over hydraulic diameter [-].

    Returns
    -------
    factor : float or array
        Darcy friction factor [-].
    log_slope : float or array
        d ln(factor) / d ln(reynolds) [-], negative.

    Example: reynolds 1e5, relative roughness 1e-3 give 0.02217.
    Source: Clamond (2009), Industrial & Engineering Chemistry Research 48(7), 3665-3671.
    """
    x1 = relative_roughness * reynolds * 0.12396818633541754603
    x2 = np.log(reynolds) - 0.77939748845568194064
    f = x2 - 0.2
    for _ in range(2):
        sum1 = x1 + f
        sum2 = sum1 + 1.0
        e = (np.log(sum1) + f - x2) / sum2
        f = f - (sum2 + 0.5 * e) * e * sum1 / (sum2 + e * (1.0 + e / 3.0))
    return _LN10_HALF_SQUARED / (f * f), -2.0 / (x1 + f + 1.0)


def friction_factor(reynolds: Any, relative_roughness: Any) -> tuple[Any, Any]:
    """Darcy friction factor and its logarithmic slope at any Reynolds number >= 1e-6.

    64/Re up to 2000; Colebrook from 4000; between them a cubic in ln(f) against ln(Re) that meets
    both with their slopes (our assumption: real flow there is unsteady and has no one value).

    Parameters
    ----------
    reynolds, relative_roughness : float or array
        [-]

    Returns
    -------
    factor, log_slope : arrays
        Darcy friction factor, d ln(factor) / d ln(reynolds) [-].
    """
    reynolds, relative = np.broadcast_arrays(reynolds, relative_roughness)
    factor, log_slope = map(np.array, colebrook(np.maximum(reynolds, TURBULENT), relative_roughness))
    slow = reynolds < TURBULENT
    factor[slow], log_slope[slow] = _slow_factor(reynolds[slow], relative[slow])
    return factor[()], log_slope[()]


def _slow_factor(reynolds: Any, relative_roughness: Any) -> tuple[Any, Any]:
    """Factor and slope below 4000: laminar, and the Hermite cubic from there to Colebrook's equation."""
    end, end_slope = colebrook(TURBULENT, relative_roughness)
    width = math.log(TURBULENT / LAMINAR)
    t = np.log(np.maximum(reynolds, LAMINAR) / LAMINAR) / width
    start = math.log(64.0 / LAMINAR)
    rise = np.log(end) - start
    # end slopes -1 (64/Re) and end_slope (Colebrook), in units of the width
    m0, m1 = -width, end_slope * width
    c2 = 3.0 * rise - 2.0 * m0 - m1
    c3 = m0 + m1 - 2.0 * rise
    blend = np.exp(start + t * (m0 + t * (c2 + t * c3)))
    laminar = reynolds <= LAMINAR
    blend_slope = (m0 + t * (2.0 * c2 + 3.0 * t * c3)) / width
    return np.where(laminar, 64.0 / reynolds, blend), np.where(laminar, -1.0, blend_slope)


def friction_outside(flow: Any, air: Any, **c: Any) -> list[tuple[Any, str]]:
    """Where the friction law leaves the range of its sources."""
    ratio = c["roughness"] / c["hydraulic_diameter"]
    reynolds = np.abs(flow) * c["hydraulic_diameter"] / (c["area"] * air.viscosity)
    factor, bore = c["factor"], c["hydraulic_diameter"]
    percent = (factor - 1.0) / (0.58 * np.exp(-4.96 * bore))
    return [
        (
            (ratio > 0.05) & (reynolds > LAMINAR),
            "the roughness is over 5 % of the diameter, beyond Colebrook's equation",
        ),
        (reynolds > 1e8, "the Reynolds number is over 1e8, beyond Colebrook's equation"),
        (
            (factor > 1.0) & ((bore < 0.1495) | (bore > 0.2545)),
            "hose compression was measured on 150 to 250 mm hose only",
        ),
        (percent > 30.001, "the hose is compressed by more than 30 %, beyond the measurements"),
    ]


def along_walls(
    found: tuple[Any, Any, Any],
    flow: Any,
    air: Any,
    *,
    area: Any,
    loss: Any,
    forward: Any = 0.0,
    backward: Any = 0.0,
    **_: Any,
) -> tuple[Any, Any, Any]:
    """Friction and bends: what the law found without a rise, less the local losses and those of free ends."""
    drop, slope, in_density = found
    local = loss + np.where(np.greater(flow, 0.0), forward, backward)
    steep = np.abs(flow) * local * (0.5 / (air.density * area * area))
    lost = flow * steep
    return drop - lost, slope - (steep + steep), in_density + lost / air.density


@law(
    equation="drop = (f factor L/D + K_b + K + K_e) m |m| / (2 rho A^2) + (rho - rho_outside) g rise; "
    "f = 64/Re to Re 2000, Colebrook from Re 4000, log-cubic blend between; Re = |m| D / (A mu)",
    valid="relative roughness up to 0.05, Re to 1e8; compression on 150 to 250 mm hose, up to 30 %",
    sources=("laminar_pipe", "colebrook1939", "clamond2009", "ashrae2021ch21", "abushakra2004"),
    outside=friction_outside,
    walls=along_walls,
)
def friction(
    flow: Any,
    air: Any,
    *,
    length: Any,
    hydraulic_diameter: Any,
    area: Any,
    roughness: Any,
    loss: Any,
    rise: Any,
    factor: Any,
    bends: Any = 0.0,
    forward: Any = 0.0,
    backward: Any = 0.0,
) -> tuple[Any, Any, Any]:
    """Total-pressure drop of a duct or hose with its local losses and its stack effect.

    The slope at zero flow is the laminar one, so nothing is smoothed. The Reynolds number follows from
    the mass flow alone, hence the flow's part of the drop goes exactly with one over density.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s], positive along the path.
    air : LocalAir
        Density [kg/m3], viscosity [Pa s] and outside density [kg/m3].
    length, hydraulic_diameter : float or array
        [m]; the length along the centre line, through the bends.
    area : float or array
        Section [m2].
    roughness : float or array
        Roughness of the wall [m].
    loss : float or array
        Sum K of the local loss coefficients but the bends' and the ends' on the velocity in `area` [-].
    rise : float or array
        How much higher the far end lies [m].
    factor : float or array
        Multiplies the friction [-]: 1, or the correction for a compressed hose.
    bends : float or array
        Sum K_b of the bends' loss coefficients [-]; crop drags along bends as along walls, not so in K.
    forward, backward : float or array
        Loss coefficient K_e of the free ends for flow along and against the path [-].

    Returns
    -------
    drop : array
        Total-pressure loss along the path [Pa].
    slope : array
        d drop / d flow [Pa s/kg].
    slope_in_density : array
        d drop / d density [Pa m3/kg].

    Example: 470 L/s of 1.204 kg/m3 through 1.8 m of 250 mm duct with a roughness of 0.12 mm lose
    7.6 Pa (ASHRAE Handbook: Fundamentals (2021), chapter 21, example 6: 7.7 Pa).
    """
    a = np.abs(flow)
    reynolds = a * (hydraulic_diameter / (area * air.viscosity))
    relative = roughness / hydraulic_diameter
    if np.min(reynolds) >= TURBULENT:
        f, log_slope = colebrook(reynolds, relative)
    else:
        if np.min(reynolds) < _SLOWEST:
            reynolds = np.maximum(reynolds, _SLOWEST)
            a = reynolds * (area * air.viscosity / hydraulic_diameter)
        f, log_slope = friction_factor(reynolds, relative)
    inverse = 1.0 / air.density
    f = f * (length * factor / hydraulic_diameter)
    total = f + (loss + bends)
    if np.any(forward) or np.any(backward):
        total = total + np.where(np.greater(flow, 0.0), forward, backward)
    steep = a * inverse * (0.5 / (area * area))
    drop = flow * steep * total
    slope = steep * (total + total + f * log_slope)
    in_density = -inverse * drop
    if np.any(rise):
        drop = drop + (air.density - air.outside) * (GRAVITY * rise)
        in_density = in_density + GRAVITY * rise
    return drop, slope, in_density


def compression_correction(stretch: Any, diameter: Any) -> Any:
    """Friction of a hose that is not pulled out, over that of the same hose pulled out [-].

    1 + 0.58 (100 (1 - stretch)) exp(-0.00496 D), D in mm.

    Parameters
    ----------
    stretch : float or array
        Installed length over pulled-out length [-].
    diameter : float or array
        Inner diameter [m].

    Example: 250 mm hose compressed by 15 % (stretch 0.85): 3.52, published 3.5.
    Source: ASHRAE Handbook: Fundamentals (2021), chapter 21, equations 22 and 23.
    """
    return 1.0 + 58.0 * (1.0 - stretch) * np.exp(-4.96 * diameter)
