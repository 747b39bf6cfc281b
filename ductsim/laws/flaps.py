"""Flaps that a pressure difference opens against a spring or their own weight."""

from __future__ import annotations

from typing import Any

import numpy as np

from .card import law
from .constants import STILL

_PASSES = 8  # of Newton's method on a cubic, from above; the last digit stands after 6


def _root(whole: Any, gap: Any, opening: Any) -> tuple[Any, Any]:
    """S >= 0 with s (g + (1 - g) s^2 / (s^2 + p0)) = w, and ds/dw; s is the root of the pressure difference.

    The same as s^3 - w s^2 + g p0 s - w p0 = 0, whose one root lies below w / g and w + (w p0)^(1/3). From
    there the cubic is convex, so that Newton's steps run down to it.
    """
    s = np.minimum(whole / gap, whole + np.cbrt(whole * opening))
    for _ in range(_PASSES):
        cubic = ((s - whole) * s + gap * opening) * s - whole * opening
        steep = (3.0 * s - 2.0 * whole) * s + gap * opening
        s = s - cubic / steep
    square = s * s
    share = square / (square + opening)
    by_s = gap + (1.0 - gap) * share * (3.0 - 2.0 * share)
    return s, 1.0 / by_s


@law(
    equation="m = A x sqrt(2 rho dp / K), open share x = g + (1 - g) dp / (dp + p0) for dp > 0, x = g for "
    "dp < 0",
    valid="slow changes: no flutter, no inertia of the flap",
    sources=("our_assumption",),
)
def flap(flow: Any, air: Any, *, area: Any, loss: Any, gap: Any, opening: Any) -> tuple[Any, Any, Any]:
    """Pressure drop of a flap that opens the further, the more presses on it, and falls shut against flow.

    Near its opening pressure the flow grows with a power of the pressure above 1/2, up to 3/2: the flap
    opens as the pressure rises. A small linear resistance keeps the slope at no flow above zero.

    Parameters
    ----------
    flow : float or array
        Mass flow [kg/s], positive in the sense that opens it.
    air : LocalAir
        Density [kg/m3].
    area : float or array
        Open area of the wide open flap [m2].
    loss : float or array
        K, on the velocity in that area [-].
    gap : float or array
        g, the share that is left open when it is shut [-], above 0.
    opening : float or array
        p0, pressure difference at which it is half open [Pa], above 0.

    Returns
    -------
    drop, slope, slope_in_density : arrays
        [Pa], [Pa s/kg], [Pa m3/kg]

    Example: 0.05 m2, K 1.5, no more than 2 % open when shut, half open at 100 Pa, density 1.2: 100 Pa drive
    0.3226 kg/s.
    """
    rho = air.density
    head = 0.5 * loss / (rho * area * area)
    root = np.sqrt(head)
    whole = np.abs(flow) * root
    forth, by_whole = _root(whole, gap, opening)
    back = whole / gap
    ahead = np.greater_equal(flow, 0.0)
    s = np.where(ahead, forth, back)
    by_flow = 2.0 * s * np.where(ahead, by_whole, 1.0 / gap)
    # a resistance of the shut flap that is bounded: it counts below a flow of `small` only
    small = STILL * area * gap
    bound = np.sqrt(1.0 + (flow / small) ** 2)
    line = head * STILL * area / (gap * bound)
    drop = np.where(ahead, s * s, -s * s) + line * flow
    slope = by_flow * root + line / (bound * bound)
    # the root goes with one over the square root of the density, the rest with one over the density
    return drop, slope, -flow * (0.5 * by_flow * root + line) / rho
