"""The jet pump: a fast nozzle that drags air along and mixes with it."""

from __future__ import annotations

from typing import Any

import numpy as np

from .card import law
from .constants import STILL

_BEND = 0.25  # share of the density up to which the nozzle's static pressure acts unchanged


def _exit_share(t: Any) -> tuple[Any, Any]:
    """Share of its density that the nozzle's air loses, and the slope: t, bent below one half."""
    if np.max(t) <= _BEND:
        return t, 1.0
    over = t > _BEND
    bent = np.tanh((t - _BEND) / _BEND)
    return np.where(over, _BEND + _BEND * bent, t), np.where(over, 1.0 - bent * bent, 1.0)


def jet_outside(flow: Any, air: Any, **c: Any) -> list[tuple[Any, str]]:
    """Where the jet leaves the range of its sources."""
    x, y = flow
    ratio = c["nozzle_area"] / (c["nozzle_area"] + c["suction_area"])
    return [
        (
            np.abs(x) > 150.0 * air.density[0] * c["nozzle_area"],
            "the nozzle's air is faster than 150 m/s: its compression costs more than 5 % of the vacuum",
        ),
        (ratio > 0.5, "the nozzle takes more than half of the mixing section"),
        (
            (np.asarray(x) < 0.0) & (np.asarray(y) > 0.0),
            "the nozzle runs backwards while the suction runs forward, for which there are no measurements",
        ),
    ]


@law(
    equation="P_m - p1 = (1 + k_j) <x> / (2 rho_j A_j^2); P_s - p1 = (1 + k_s) <y> / (2 rho_s A_s^2); "
    "P_d - p1 = e [x+^2 cos(angle) / (rho_j A_j) + y+^2 / (rho_s A_s)] / A_m "
    "- (2 e - 1 + k_m) <x + y> / (2 rho_d A_m^2); <u> = u sqrt(u^2 + (STILL A)^2)",
    valid="low Mach number, nozzle ending in the mixing section, mixing over several diameters of length",
    sources=("esdu85032", "karassik2007", "momentum_balance", "our_assumption"),
    outside=jet_outside,
)
def jet(
    flow: Any,
    air: Any,
    *,
    nozzle_area: Any,
    suction_area: Any,
    mixing_area: Any,
    nozzle_loss: Any,
    suction_loss: Any,
    mixing_loss: Any,
    cosine: Any,
    effectiveness: Any,
) -> tuple[Any, Any, Any]:
    """Drops from motive to discharge and from suction to discharge of a jet.

    p1 is the static pressure that both streams share at the nozzle's exit. Only the three losses are
    smoothed at zero; the momentum of a stream counts when it enters, not when it leaves (u+ = max(u, 0)),
    and the "1" of a reversed stream is its dynamic pressure, lost. `air.density` holds that of the
    motive air at the suction's pressure, of the suction air, and of the mixture at the discharge; the
    first is corrected to the static pressure p1: rho_j = rho_1 - beta_1 (P_s - p1), but never below half
    of rho_1. An effectiveness e below 1 takes that share of the static pressure rise of full mixing (our
    assumption).

    Parameters
    ----------
    flow : pair of float or array
        Motive and suction mass flow x, y [kg/s].
    air : LocalAir
        Three densities [kg/m3] and three densities per pressure [kg/(m3 Pa)].
    nozzle_area, suction_area, mixing_area : float or array
        A_j, A_s beside the nozzle, A_m [m2].
    nozzle_loss, suction_loss, mixing_loss : float or array
        k_j, k_s, k_m on the velocity pressure in these three sections [-].
    cosine : float or array
        Cosine of the angle between nozzle and mixing section [-].
    effectiveness : float or array
        Share e of full mixing, 0.5 to 1 [-].

    Returns
    -------
    drops, slopes, density_slopes
        (d1, d2) [Pa]; ((s11, s12), (s21, s22)) [Pa s/kg]; for each drop its slope in the three densities
        [Pa m3/kg].

    Example: a jet of 30.5 m/s from 0.01 m2 beside 3 m/s in a section of 0.1 m2, density 1000, no losses:
    the static pressure rises by 68.06 kPa (textbook value 68.06 kPa).
    """
    x, y = flow
    rho1, rho_s, rho_d = air.density
    beta = air.per_pressure[0] if isinstance(air.per_pressure, tuple) else air.per_pressure
    total = x + y
    # the three losses; each is u sqrt(u^2 + e^2) times a constant over density
    xx, yy, ss = x * x, y * y, total * total
    root_x = np.sqrt(xx + (STILL * nozzle_area) ** 2)
    root_y = np.sqrt(yy + (STILL * suction_area) ** 2)
    root_s = np.sqrt(ss + (STILL * mixing_area) ** 2)
    inv_s, inv_d = 1.0 / rho_s, 1.0 / rho_d
    c_s = inv_s * ((0.5 + 0.5 * suction_loss) / (suction_area * suction_area))
    c_d = inv_d * ((effectiveness - 0.5 + 0.5 * mixing_loss) / (mixing_area * mixing_area))
    suction = c_s * y * root_y
    suction_y = c_s * (root_y + yy / root_y)
    mixed = c_d * total * root_s
    mixed_s = c_d * (root_s + ss / root_s)
    # density at the nozzle's exit and its slopes
    share, share_slope = _exit_share(beta * suction / rho1)
    rho_j = rho1 * (1.0 - share)
    pull = beta * share_slope
    inv_j = 1.0 / rho_j
    # momentum of the streams that enter, and what the nozzle loses
    x_in, y_in = np.maximum(x, 0.0), np.maximum(y, 0.0)
    c_x = inv_j * (effectiveness * cosine / (nozzle_area * mixing_area))
    c_y = inv_s * (effectiveness / (suction_area * mixing_area))
    thrust_x, thrust_y = c_x * x_in, c_y * y_in
    c_n = inv_j * ((0.5 + 0.5 * nozzle_loss) / (nozzle_area * nozzle_area))
    nozzle = c_n * x * root_x
    thrust = thrust_x * x_in
    entrained = thrust_y * y_in
    d_out = mixed - thrust - entrained
    thrust_x2, thrust_y2 = thrust_x + thrust_x, thrust_y + thrust_y
    # slopes: first those at fixed rho_j, then through rho_j
    by_j1 = (thrust - nozzle) * inv_j
    by_j2 = thrust * inv_j
    j_y = -pull * suction_y
    s12 = mixed_s - thrust_y2 + by_j1 * j_y
    s21 = mixed_s - thrust_x2
    s11 = s21 + c_n * (root_x + xx / root_x)
    s22 = suction_y + mixed_s - thrust_y2 + by_j2 * j_y
    j_1 = 1.0 - share + share_slope * beta * suction / rho1
    j_s = pull * suction * inv_s
    q_s = entrained * inv_s
    q_d = -mixed * inv_d
    return (
        (nozzle + d_out, suction + d_out),
        ((s11, s12), (s21, s22)),
        (
            (by_j1 * j_1, by_j1 * j_s + q_s, q_d),
            (by_j2 * j_1, by_j2 * j_s + q_s - suction * inv_s, q_d),
        ),
    )
