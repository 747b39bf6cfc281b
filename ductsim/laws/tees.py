"""Junctions of three ducts: a branch that joins a straight duct, or leaves it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from .card import law
from .constants import STILL

_THROUGH = 0.05  # loss of the straight way when the branch is still; keeps its slope above zero
_SOFT = 0.003  # share at which the interplay of the streams sets in when one of them starts to flow


def converging(angle: Any, branch: Any, straight: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """Weights of the velocity pressures (s combined, x straight, y branch) in the two drops of a merge.

    Momentum balance along the combined duct, whose weights are set to Crane's coefficients: in the
    straight way 1 - 0.225 w of the combined, w from 0 at 60 to 1 at 90 degrees; in the branch 0.7 of
    the balance where the branch is wide (over half of the combined area), all of it where it is narrow
    (below 0.3).

    Parameters
    ----------
    angle : float or array
        Angle between branch and straight duct [rad].
    branch, straight : float or array
        Their areas over that of the combined duct [-].
    """
    cosine = np.cos(angle)
    square = np.clip(1.0 - 2.0 * cosine, 0.0, 1.0)
    wide = np.clip((branch - 0.3) / 0.2, 0.0, 1.0)
    gain = 1.0 - 0.225 * square
    share = 1.0 - 0.3 * wide
    turn = 2.0 * cosine * branch
    along = {
        "s": gain,
        "x": gain * (1.0 - 2.0 * straight) + _THROUGH,
        "y": -turn - 0.225 * square * branch * branch,
    }
    aside = {
        "s": share,
        "x": -2.0 * share * straight,
        "y": 1.0 - wide * (0.33 + 0.08 * branch + 0.27 * square * branch) - share * turn,
    }
    return along, aside


def diverging(angle: Any, branch: Any, straight: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    """Weights of the velocity pressures in the two drops of a split, set to Crane's coefficients.

    Parameters
    ----------
    angle : float or array
        Angle between branch and straight duct [rad].
    branch, straight : float or array
        Their areas over that of the combined duct [-].
    """
    cosine = np.cos(angle)
    wide = np.clip((branch - 0.3) / 0.2, 0.0, 1.0)
    square = np.clip(1.0 - 2.0 * cosine, 0.0, 1.0)
    steep = np.clip((math.sqrt(0.5) - cosine) / (math.sqrt(0.5) - 0.5), 0.0, 1.0)
    narrow_own = 0.88 + 0.12 * square
    wide_own = 0.1 + 1.08 * branch - steep * (0.2 + 0.33 * branch)
    # how much of the main stream's momentum points into the branch
    turned = cosine * (1.0 - wide * (0.55 - 0.78 * branch + steep * (0.45 - 0.06 * branch)))
    along = {
        "s": -0.2 * wide,
        "x": 0.2 * wide * straight * straight + 0.5 * (1.0 - straight) + _THROUGH,
        "y": (0.4 + 0.1 * wide) * branch * branch,
    }
    aside = {
        "s": 1.0 - turned / branch,
        "x": turned / branch * straight * straight,
        "y": np.maximum(narrow_own + wide * (wide_own - narrow_own), turned) - turned * branch,
    }
    return along, aside


def _interplay(u: Any, v: Any) -> tuple[Any, Any, Any]:
    """Product u v of two streams that both flow, zero slope where either is still; and its slopes."""
    uv = u * v
    both = u * u + v * v
    safe = np.where(both > 0.0, both, 1.0)
    t = uv / safe
    whole = t + _SOFT
    share = t / whole
    inner = _SOFT / (whole * whole)  # d share / d t
    # d t / du = (v - 2 u t) / both
    common = uv * inner / safe
    return uv * share, v * share + common * (v - 2.0 * u * t), u * share + common * (u - 2.0 * v * t)


def _fading(v: Any, against: Any) -> tuple[Any, Any, Any]:
    """Square of v, fading where the other stream flows against v; and its slopes in v and in `against`."""
    vv, oo = v * v, 4.0 * against * against
    whole = vv + oo
    share = vv / np.where(whole > 0.0, whole, 1.0)
    return vv * share, 2.0 * v * share * (2.0 - share), -8.0 * against * share * share


def _against(x: Any, y: Any, x_back: Any, y_back: Any) -> tuple[Any, Any, Any]:
    """What the straight way loses more where the branch flows against it; and the slopes in x and y."""
    p, p_x, p_y = _interplay(x, y_back)
    q, q_x, q_y = _interplay(x_back, y)
    return 2.0 * (p - q), 2.0 * (p_x + q_x), -2.0 * (p_y + q_y)


def _pattern(
    streams: tuple[Any, Any, Any, Any],
    units: tuple[Any, Any, Any],
    weights: tuple[dict[str, Any], dict[str, Any]],
) -> tuple[list[Any], list[tuple[Any, Any]], list[tuple[Any, Any, Any]]]:
    """Drops of one flow pattern, their slopes in x and y (times its sense), and what each density bears.

    `streams` are the parts u, v of x, y that flow in the pattern's sense, and those that flow against it;
    all are at least zero.
    """
    u, v, against_u, against_v = streams
    e1, e2, e3 = units
    cross, cross_u, cross_v = _interplay(u, v)
    cross, cross_u, cross_v = 2.0 * cross, 2.0 * cross_u, 2.0 * cross_v
    # drop 1 has the whole of its own stream u and the fading one of v; drop 2 the other way about
    uu, vv = (u * u, 2.0 * u, 0.0), (v * v, 2.0 * v, 0.0)
    drops, slopes, parts = [], [], []
    for w, (a, a_u, a_o), (b, b_v, b_o) in (
        (weights[0], uu, _fading(v, against_u)),
        (weights[1], _fading(u, against_v), vv),
    ):
        first, second, third = w["x"] * e1 * a, w["y"] * e2 * b, w["s"] * e3 * (a + b + cross)
        drops.append(first + second + third)
        by_a, by_b, by_cross = w["x"] * e1 + w["s"] * e3, w["y"] * e2 + w["s"] * e3, w["s"] * e3
        # a stream against the pattern grows as its flow falls
        slopes.append(
            (by_a * a_u + by_cross * cross_u - by_b * b_o, by_b * b_v + by_cross * cross_v - by_a * a_o)
        )
        parts.append((first, second, third))
    return drops, slopes, parts


def tee_outside(flow: Any, air: Any, **c: Any) -> list[tuple[Any, str]]:
    """Where a junction leaves the range of its sources."""
    x, y = (np.asarray(m) for m in flow)
    return [
        (
            (x * y < 0.0) & (np.minimum(np.abs(x), np.abs(y)) > 0.01 * np.maximum(np.abs(x), np.abs(y))),
            "straight and branch of a junction flow in opposite senses, for which no coefficients were found",
        ),
    ]


@law(
    equation="P_straight - P_combined and P_branch - P_combined = w_s q_s + w_x q_x + w_y q_y (signed), "
    "q = m^2 / (2 rho A^2) of combined, straight and branch; weights from momentum and Crane's tables",
    valid="both streams joining (or parting); 30 to 90 degrees; branch not larger than the combined duct",
    sources=("crane410", "momentum_balance", "our_assumption"),
    outside=tee_outside,
    several=True,
)
def merge(
    flow: Any, air: Any, *, straight_area: Any, branch_area: Any, combined_area: Any, angle: Any
) -> tuple[Any, Any, Any]:
    """Drops from straight to combined and from branch to combined of a junction.

    Where both streams join, the published coefficients of converging flow hold; where both run
    backwards, those of diverging flow. Where only one is reversed there are no published values: each
    stream keeps its own loss and their interplay is dropped (our assumption). Against Crane's functions
    the coefficients (on the combined velocity) differ by 0.03 in the mean, by 0.2 or a quarter of the
    value at most, for a branch share of the flow from 0.1 to 0.9. Where both streams join, the flow
    is unique; where they part, the published coefficients themselves fall with rising flow here and there
    (the straight way regains pressure), so that a network of splits may have more than one answer.

    Parameters
    ----------
    flow : pair of float or array
        Mass flow of straight and branch x, y [kg/s], positive towards the combined duct.
    air : LocalAir
        Densities of straight, branch and combined air [kg/m3].
    straight_area, branch_area, combined_area : float or array
        Sections [m2].
    angle : float or array
        Angle between branch and straight duct [rad].

    Returns
    -------
    drops, slopes, density_slopes
        (d1, d2) [Pa]; ((s11, s12), (s21, s22)) [Pa s/kg]; for each drop its slope in the three densities
        [Pa m3/kg].

    Example: equal ducts at 90 degrees, a quarter of the flow from the branch: the branch's coefficient is
    -0.07 (Crane's example 7.35: -0.04), that of the straight way 0.35 (0.33).
    """
    x, y = flow
    rho1, rho2, rho3 = air.density
    branch, straight = branch_area / combined_area, straight_area / combined_area
    units = (
        0.5 / (rho1 * straight_area * straight_area),
        0.5 / (rho2 * branch_area * branch_area),
        0.5 / (rho3 * combined_area * combined_area),
    )
    ahead, behind = (np.maximum(x, 0.0), np.maximum(y, 0.0)), (np.maximum(-x, 0.0), np.maximum(-y, 0.0))
    forth = _pattern((*ahead, *behind), units, converging(angle, branch, straight))
    back = _pattern((*behind, *ahead), units, diverging(angle, branch, straight))
    # where the branch flows against the straight way, the latter also loses as in a merge
    against = _against(*ahead, *behind)
    line1, line2 = STILL * straight_area * units[0], STILL * branch_area * units[1]
    extra = units[2] * against[0]
    d1 = forth[0][0] - back[0][0] + extra + line1 * x
    d2 = forth[0][1] - back[0][1] + line2 * y
    # turning a stream round turns its drop and its flow: the slopes add up
    (a11, a12), (a21, a22) = forth[1]
    (b11, b12), (b21, b22) = back[1]
    slopes = (
        (a11 + b11 + units[2] * against[1] + line1, a12 + b12 + units[2] * against[2]),
        (a21 + b21, a22 + b22 + line2),
    )
    in_density: list[tuple[Any, Any, Any]] = []
    for i, line in enumerate(((line1 * x, 0.0), (0.0, line2 * y))):
        terms = [f - b for f, b in zip(forth[2][i], back[2][i], strict=True)]
        third = terms[2] + extra if i == 0 else terms[2]
        in_density.append((-(terms[0] + line[0]) / rho1, -(terms[1] + line[1]) / rho2, -third / rho3))
    return (d1, d2), slopes, (in_density[0], in_density[1])


@law(
    equation="as merge, with all flows and drops turned round",
    valid="both streams parting (or joining); 30 to 90 degrees; branch not larger than the combined duct",
    sources=("crane410", "momentum_balance", "our_assumption"),
    outside=tee_outside,
    several=True,
)
def split(
    flow: Any, air: Any, *, straight_area: Any, branch_area: Any, combined_area: Any, angle: Any
) -> tuple[Any, Any, Any]:
    """Drops from combined to straight and from combined to branch of a junction: a merge turned round.

    Parameters
    ----------
    flow : pair of float or array
        Mass flow to straight and branch x, y [kg/s], positive away from the combined duct.
    air : LocalAir
        Densities of straight, branch and combined air [kg/m3].
    straight_area, branch_area, combined_area : float or array
        Sections [m2].
    angle : float or array
        Angle between branch and straight duct [rad].

    Returns
    -------
    drops, slopes, density_slopes
        (d1, d2) [Pa]; ((s11, s12), (s21, s22)) [Pa s/kg]; for each drop its slope in the three densities
        [Pa m3/kg].

    Example: equal ducts at 45 degrees, 5/13 of the flow into the branch: its coefficient is 0.48
    (Crane's example 7.36: 0.46), that of the straight way -0.03 (-0.07).
    """
    areas = {"straight_area": straight_area, "branch_area": branch_area, "combined_area": combined_area}
    (d1, d2), slopes, (q1, q2) = merge((-flow[0], -flow[1]), air, **areas, angle=angle)
    return (-d1, -d2), slopes, (tuple(-q for q in q1), tuple(-q for q in q2))
