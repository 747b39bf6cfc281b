"""Loss coefficients of bends: closed forms of the published tables, for columns of angle and radius."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

# 90 degree bends, K = least + gain (r/D)^-power; fit to the table within 0.6, 2.2, 0.9 and 1.8 %
_ROUND = {
    "smooth": (0.109, 0.1105, 2.44),
    "five-piece": (0.110, 0.226, 1.47),
    "four-piece": (0.196, 0.171, 2.005),
    "three-piece": (0.309, 0.1086, 2.63),
}
RADII = {
    "smooth": (0.5, 2.5),
    "five-piece": (0.75, 2.0),
    "four-piece": (0.75, 2.0),
    "three-piece": (0.5, 2.0),
}
"""Radius over diameter that the table of each style covers [-]."""
# square section, smooth, radius over width: the table itself, between its points straight in logarithms
_SQUARE_RADIUS = np.log([0.5, 0.75, 1.0, 1.5, 2.0])
_SQUARE_LOSS = np.log([1.18, 0.44, 0.21, 0.17, 0.15])
# the same table's columns over that of a square section, mean of its rows (within 5 %): height over width
_ASPECT = np.log([0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0])
_ASPECT_SHARE = np.array([1.30, 1.18, 1.09, 1.0, 0.905, 0.855, 0.855, 0.905, 0.945, 0.985, 1.0])
ASPECTS = (0.25, 8.0)
"""Height over width of a rectangular bend that the table covers [-]; it turns in the direction of width."""


def angle_share(angle: Any) -> Any:
    """Loss of a curved bend over that of a bend of 90 degrees [-].

    1.515 t / (1 + 0.515 t^1.2), t = angle / 90 deg; fits the table within 3.3 % from 20 to 180 degrees.

    Example: 45 degrees give 0.618 (table 0.60).
    Source: SMACNA, HVAC Systems Duct Design, 4th edition, table A-7A.
    """
    t = angle * (2.0 / math.pi)
    return 1.515 * t / (1.0 + 0.515 * t**1.2)


def mitre_loss(angle: Any) -> Any:
    """Loss coefficient of a round mitred bend without vanes [-].

    0.13 t + 1.06 t^2, t = angle / 90 deg; fits the table within 4.3 % from 20 to 90 degrees. Holds from a
    Reynolds number of 140,000; the table gives 4 % more at 100,000 and 14 % more at 40,000.

    Example: 60 degrees give 0.558 (table 0.55).
    Source: SMACNA, HVAC Systems Duct Design, 4th edition, table A-7C.
    """
    t = angle * (2.0 / math.pi)
    return t * (0.13 + 1.06 * t)


def round_bend_loss(angle: Any, radius_ratio: Any, style: str = "smooth") -> Any:
    """Loss coefficient of a round curved bend of one of the styles, without friction along its arc [-].

    Example: smooth, 90 degrees, r/D 1.5 give 0.150 (table 0.15).
    Source: SMACNA, HVAC Systems Duct Design, 4th edition, tables A-7A and A-7B.
    """
    least, gain, power = _ROUND[style]
    return (least + gain * radius_ratio**-power) * angle_share(angle)


def square_bend_loss(angle: Any, radius_ratio: Any, aspect: Any = 1.0) -> Any:
    """Loss coefficient of a smooth bend of rectangular section, without friction along its arc [-].

    Parameters
    ----------
    angle : float or array
        Angle that the air is turned by [rad].
    radius_ratio : float or array
        Radius of the centre line over the width, the side in the plane of the bend [-].
    aspect : float or array
        Height over width [-].

    Example: 90 degrees, radius over width 1.0, square give 0.21 (table 0.21); half as high as wide
    0.248 (0.25).
    Source: ASHRAE Handbook: Fundamentals (2005), duct fitting CR3-1; its column for a square section was
    seen, the others are from memory.
    """
    inside = np.interp(np.log(radius_ratio), _SQUARE_RADIUS, _SQUARE_LOSS)
    return np.exp(inside) * np.interp(np.log(aspect), _ASPECT, _ASPECT_SHARE) * angle_share(angle)
