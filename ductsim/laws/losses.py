"""Losses that go with the square of the flow: on an area, and with a value for each direction."""

from __future__ import annotations

from typing import Any

import numpy as np

from .card import law
from .constants import STILL


@law(
    equation="drop = K <m> / (2 rho A^2), <m> = m sqrt(m^2 + (STILL A)^2), STILL = 1.2e-3 kg/(s m2)",
    valid="turbulent flow through the part, Mach number below 0.3",
    sources=("borda_carnot", "ashrae2021ch21"),
    outside=lambda flow, air, **c: [
        (
            np.abs(flow) > 100.0 * air.density * c["area"],
            "the air is faster than 100 m/s, where it may no longer be taken as incompressible",
        )
    ],
)
def quadratic(flow: Any, air: Any, *, area: Any, loss: Any) -> tuple[Any, Any, Any]:
    """Total-pressure loss of a coefficient times the velocity pressure in an area.

    Below about 1 mm/s the square is turned into a straight line, so that the slope at zero is finite.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s].
    air : LocalAir
        Density [kg/m3].
    area : float or array
        Section that the coefficient refers to [m2], above zero.
    loss : float or array
        Loss coefficient on the velocity pressure in `area` [-].

    Returns
    -------
    drop, slope, slope_in_density : arrays
        [Pa], [Pa s/kg], [Pa m3/kg]

    Example: 1 m3/s of 1.2 kg/m3 through 0.1 m2 with a coefficient of 1.5: 1.5 x 60 = 90 Pa.
    """
    inverse = 1.0 / air.density
    steep = inverse * (0.5 * loss / (area * area))
    square = flow * flow
    smooth = np.sqrt(square + (STILL * area) ** 2)
    gain = steep * smooth
    drop = flow * gain
    slope = gain + steep * (square / smooth)
    return drop, slope, -inverse * drop


@law(
    equation="drop = K_f m+^2 / (2 rho A^2) - K_b m-^2 / (2 rho A^2), plus a line of slope "
    "STILL (K_f + K_b) / (4 rho A)",
    valid="turbulent flow through the part, Mach number below 0.3",
    sources=("borda_carnot", "ashrae2021ch21"),
)
def two_way(flow: Any, air: Any, *, area: Any, forward: Any, backward: Any) -> tuple[Any, Any, Any]:
    """Total-pressure loss with one coefficient along the path and another against it.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s].
    air : LocalAir
        Density [kg/m3].
    area : float or array
        Section that both coefficients refer to [m2].
    forward, backward : float or array
        Loss coefficient for flow along and against the path [-].

    Returns
    -------
    drop, slope, slope_in_density : arrays
        [Pa], [Pa s/kg], [Pa m3/kg]

    Example: 1.2 kg/s of 1.2 kg/m3 through 0.1 m2 with forward 0.5 and backward 1: 30 Pa, and -60 Pa
    the other way.
    """
    inverse = 1.0 / air.density
    scale = inverse * (0.5 / (area * area))
    line = scale * (0.5 * STILL) * area * (forward + backward)
    steep = scale * np.abs(flow) * np.where(np.greater(flow, 0.0), forward, backward)
    drop = flow * (steep + line)
    return drop, steep + steep + line, -inverse * drop


def plate_loss(open_fraction: Any) -> Any:
    """Loss coefficient of a thin sharp-edged plate across a duct, on the velocity in the duct [-].

    The jet through the hole contracts to c = 0.62 + 0.38 s^3 of it and then fills the duct with
    Borda-Carnot's loss: K = (1 / (c s) - 1)^2 for an open share s.

    Parameters
    ----------
    open_fraction : float or array
        Open area over duct area, above 0 and at most 1 [-].

    Example: open share 0.25 gives 29.7; an orifice with a discharge coefficient of 0.61 gives 29.5.
    Source: Borda-Carnot with Weisbach's contraction (constants rounded; from memory).
    """
    s = open_fraction
    return (1.0 / ((0.62 + 0.38 * s**3) * s) - 1.0) ** 2


def thin_plate_loss(open_fraction: Any) -> Any:
    """Loss coefficient of a thin plate with many square-edged holes, on the approach velocity [-].

    K = (1 / (c s) - 1)^2 for an open share s, with the jets' contraction c = 0.60 + 0.15 s + 0.25 s^16: a
    smooth curve through the published table. From an open share of 0.05 to 0.85 it is within 8 % of every
    entry but one (0.15, where the table itself steps: 11 %); at 0.9 it gives 0.18 where the table has 0.08.

    Parameters
    ----------
    open_fraction : float or array
        Open area over the plate's area, above 0 and at most 1 [-].

    Example: open share 0.2 gives 48.1; the table has 52.
    Source: Blevins, Applied Fluid Dynamics Handbook, table of thin perforated plates and square-edged
    screens; the form is Borda-Carnot's.
    """
    s = open_fraction
    return (1.0 / ((0.60 + 0.15 * s + 0.25 * s**16) * s) - 1.0) ** 2


def wire_mesh_loss(open_fraction: Any) -> Any:
    """Loss coefficient of a screen of round wires, on the approach velocity [-].

    K = 0.52 (1 - s^2) / s^2 for an open share s, from a Reynolds number of 400 on, taken with the distance
    of the wires: from 2 m/s where they stand 3 mm apart. At one of 100 it would be a third more.

    Parameters
    ----------
    open_fraction : float or array
        Open area over the screen's area, above 0 and at most 1 [-].

    Example: open share 0.5 gives 1.56.
    Source: Blevins, Applied Fluid Dynamics Handbook, round-wire screens.
    """
    square = open_fraction * open_fraction
    return 0.52 * (1.0 - square) / square


def grille_loss(open_fraction: Any) -> Any:
    """Loss coefficient of a thick square-edged grille, on the approach velocity [-].

    K = (0.5 (1 - s) + (1 - s^2)) / s^2 for an open share s, where the grille is thicker than its gaps are
    wide: the air fills them again before it leaves.

    Parameters
    ----------
    open_fraction : float or array
        Open area over the grille's area, above 0 and at most 1 [-].

    Example: open share 0.5 gives 4.0.
    Source: Blevins, Applied Fluid Dynamics Handbook, square-edged grille.
    """
    s = open_fraction
    return (0.5 * (1.0 - s) + (1.0 - s * s)) / (s * s)


def contraction_loss(area_ratio: Any, angle: Any) -> Any:
    """Loss coefficient of a sharp-edged contraction on the velocity in the small section [-].

    With b the ratio of diameters, L = 1 + 0.622 (angle / 180 deg)^0.8 (1 - 0.215 b^2 - 0.785 b^5):
    K = 0.0696 sin(angle / 2) (1 - b^5) L^2 + (L - 1)^2. Friction along its wall is left out.

    Parameters
    ----------
    area_ratio : float or array
        Small over large section, above 0 and at most 1 [-].
    angle : float or array
        Full angle between the walls [rad]; 180 degrees is a step.

    Example: a step from a diameter of 1.0 to 0.4 m gives 0.530.
    Source: Rennels and Hudson, Pipe Flow (2012).
    """
    b2 = area_ratio
    b5 = b2 * b2 * np.sqrt(b2)
    jet_ratio = 1.0 + 0.622 * (angle / np.pi) ** 0.8 * (1.0 - 0.215 * b2 - 0.785 * b5)
    return 0.0696 * np.sin(0.5 * angle) * (1.0 - b5) * jet_ratio**2 + (jet_ratio - 1.0) ** 2


def diffuser_loss(area_ratio: Any, angle: Any) -> Any:
    """Loss coefficient of a conical diffuser on the velocity in the small section [-].

    2.6 sin(angle / 2) (1 - s)^2 up to 45 degrees, (1 - s)^2 (Borda-Carnot) beyond, for sections small over
    large s.

    Parameters
    ----------
    area_ratio : float or array
        Small over large section, above 0 and at most 1 [-].
    angle : float or array
        Full angle between the walls [rad]; 180 degrees is a step.

    Example: a step from a diameter of 0.5 to 1.0 m gives 0.5625; 20 degrees give 0.254.
    Source: Crane, Flow of Fluids (TP-410); Borda-Carnot.
    """
    return np.minimum(2.6 * np.sin(0.5 * angle), 1.0) * (1.0 - area_ratio) ** 2
