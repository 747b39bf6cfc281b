"""The jet pump: a fast nozzle that drags air along and mixes with it."""

from __future__ import annotations

from typing import Any

import numpy as np

from .card import law
from .constants import HEAT_RATIO, STILL

_SPAN = 0.5  # how fast a mixing section's length, in diameters, brings what is left of full mixing
_BEND = 0.25  # share of the density up to which the nozzle's static pressure acts unchanged


def _loss(c: Any, u: Any, square: Any, still: Any) -> tuple[Any, Any]:
    """A loss c u sqrt(u^2 + still) and its slope in u; `square` is u^2. Widest operands come first."""
    root = square + still
    root = np.sqrt(root, out=root) if isinstance(root, np.ndarray) else np.sqrt(root)
    loss = c * u
    loss *= root
    gain = square / root
    gain += root
    return loss, c * gain


def _exit_density(rho: Any, pull: Any, drop: Any) -> tuple[Any, Any, Any]:
    """Density at the nozzle's exit where the suction's loss `drop` lowers the pressure by as much.

    rho - pull drop, bent so that it never falls below half of rho. Also its slopes in drop and in rho.
    """
    loss = pull * drop
    if np.max(loss) <= _BEND * np.min(rho):
        return rho - loss, -pull, 1.0
    t = loss / rho
    over = t > _BEND
    bent = np.tanh((np.maximum(t, _BEND) - _BEND) / _BEND)
    share = np.where(over, _BEND + _BEND * bent, t)
    slope = np.where(over, 1.0 - bent * bent, 1.0)
    return rho * (1.0 - share), -pull * slope, 1.0 - share + slope * t


def _expanded(head: Any, squeeze: Any) -> tuple[Any, Any, Any, Any]:
    """Isentropic expansion in the nozzle: the heating z = T0 / T - 1, and dz over d(head squeeze).

    `head` is the velocity pressure with the density at the exit's pressure and the total temperature;
    `squeeze` is (kappa - 1) / (kappa p1). The true velocity pressure is q = head / (1 + z), z = squeeze q.
    Also the fall of pressure over q, ((1 + z)^3.5 - 1) / (3.5 z) as its series (1e-6 off at z = 0.1, which
    is Mach 0.7), and its slope in z.
    """
    root = np.sqrt(1.0 + 4.0 * head * squeeze)
    z = 0.5 * (root - 1.0)
    fall = 1.0 + z * (1.25 + z * (0.625 + 0.078125 * z))
    return z, 1.0 / root, fall, 1.25 + z * (1.25 + 0.234375 * z)


def mixing_share(length: Any, area: Any) -> Any:
    """How far a short mixing section mixes: its share of what full mixing has beyond one half [-].

    1 - exp(-L / (2 D)), D the diameter of a round section of the same area.

    Parameters
    ----------
    length : float or array
        Length of the mixing section behind the nozzle [m].
    area : float or array
        Its section [m2].

    Example: 1.38 m behind a nozzle in 0.06 m2 (5 diameters) give 0.918, an effectiveness of 0.96.
    Source: full mixing within 5 to 8 diameters, from memory; the form is our assumption.
    """
    return 1.0 - np.exp(-_SPAN * length / np.sqrt(4.0 / np.pi * area))


def _momentum(c: Any, u: Any, square: Any) -> tuple[Any, Any]:
    """The momentum c u^2 of a stream that enters, none of one that leaves; and its slope in u."""
    if np.min(u) >= 0.0:
        half = c * u
        return c * square, half + half
    inward = np.maximum(u, 0.0)
    half = c * inward
    return half * inward, half + half


def jet_outside(flow: Any, air: Any, **c: Any) -> list[tuple[Any, str]]:
    """Where the jet leaves the range of its sources."""
    x, y = flow
    ratio = c["nozzle_area"] / (c["nozzle_area"] + c["suction_area"])
    return [
        (
            np.abs(x) > 150.0 * air.density[0] * c["nozzle_area"],
            "the nozzle's air is faster than 150 m/s: where it mixes, compression counts too",
        ),
        (ratio > 0.5, "the nozzle takes more than half of the mixing section"),
        (
            (np.asarray(x) < 0.0) & (np.asarray(y) > 0.0),
            "the nozzle runs backwards while the suction runs forward, for which there are no measurements",
        ),
    ]


@law(
    equation="P_m - p1 = (psi + k_j) <x> / (2 rho_e A_j^2); P_s - p1 = (1 + k_s) <y> / (2 rho_s A_s^2); "
    "P_d - p1 = e [x+^2 cos(angle) / (rho_e A_j) + y+^2 cos(angle_s) / (rho_s A_s)] / A_m "
    "- (2 e - 1 + k_m) <x + y> / (2 rho_d A_m^2); <u> = u sqrt(u^2 + (STILL A)^2); "
    "rho_e = rho_j (1 + z), z = (kappa - 1) q / (kappa p1), q = x+^2 / (2 rho_e A_j^2), "
    "psi = ((1 + z)^(kappa/(kappa - 1)) - 1) p1 / q",
    valid="low Mach number, nozzle ending in the mixing section, mixing over several diameters of length",
    sources=("esdu85032", "karassik2007", "momentum_balance", "isentropic", "our_assumption"),
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
    suction_cosine: Any = 1.0,
) -> tuple[Any, Any, Any]:
    """Drops from motive to discharge and from suction to discharge of a jet.

    p1 is the static pressure that both streams share at the nozzle's exit. Only the three losses are
    smoothed at zero; the momentum of a stream counts when it enters, not when it leaves (u+ = max(u, 0)),
    and the "1" of a reversed stream is its dynamic pressure, lost. `air.density` holds that of the
    motive air at the suction's pressure, of the suction air, and of the mixture at the discharge; the
    first is corrected to the static pressure p1: rho_j = rho_1 - beta_1 (P_s - p1), but never below half
    of rho_1. Air that expands in the nozzle cools by its velocity: at its exit it is denser by 1 + z, and the
    fall of pressure exceeds the velocity pressure (isentropic, kappa = 1.4). An
    effectiveness e below 1 takes that share of the static pressure rise of full mixing (our assumption).

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
    suction_cosine : float or array
        The same of the suction stream's angle [-].
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
    xx, yy = x * x, y * y
    inv_s, inv_d = 1.0 / rho_s, 1.0 / rho_d
    c_s = inv_s * ((0.5 + 0.5 * suction_loss) / (suction_area * suction_area))
    suction, suction_y = _loss(c_s, y, yy, (STILL * suction_area) ** 2)
    c_d = inv_d * ((effectiveness - 0.5 + 0.5 * mixing_loss) / (mixing_area * mixing_area))
    mixed, mixed_s = _loss(c_d, total, total * total, (STILL * mixing_area) ** 2)
    rho_j, j_drop, j_1 = _exit_density(rho1, beta, suction)
    inv_j = 1.0 / rho_j
    c_n = inv_j * (0.5 / (nozzle_area * nozzle_area))
    head, head_x = _loss(c_n, x, xx, (STILL * nozzle_area) ** 2)
    blown, blown_x = _momentum(inv_j * (effectiveness * cosine / (nozzle_area * mixing_area)), x, xx)
    pushed, pushed_y = _momentum(inv_s * (effectiveness / (suction_area * mixing_area)), y, yy)
    entrained, entrained_y = pushed * suction_cosine, pushed_y * suction_cosine
    # what expansion does to the nozzle's loss and thrust: through z, in x and in rho_j
    forward = np.maximum(x, 0.0)
    squeeze = (1.0 - 1.0 / HEAT_RATIO) * beta * inv_j
    z, z_w, fall, fall_z = _expanded(c_n * forward * forward, squeeze)
    z_x, z_j = 2.0 * c_n * forward * squeeze * z_w, -2.0 * c_n * forward * forward * squeeze * z_w * inv_j
    less = 1.0 / (1.0 + z)
    share = (fall + nozzle_loss) * less
    share_z = (fall_z - share) * less
    nozzle, thrust = head * share, blown * less
    nozzle_z, thrust_z = head * share_z, -thrust * less
    nozzle_x = head_x * share + nozzle_z * z_x
    thrust_x = blown_x * less + thrust_z * z_x
    d_out = mixed - thrust - entrained
    # slopes at a fixed density of the nozzle's air
    s21 = mixed_s - thrust_x
    s11 = s21 + nozzle_x
    s12 = mixed_s - entrained_y
    s22 = s12 + suction_y
    # and what comes through that density, which goes with the suction's loss
    by_j2 = thrust * inv_j - thrust_z * z_j
    by_j1 = by_j2 - nozzle * inv_j + nozzle_z * z_j
    j_y = j_drop * suction_y
    j_s = -j_drop * suction * inv_s
    q_s, q_d = entrained * inv_s, -mixed * inv_d
    return (
        (nozzle + d_out, suction + d_out),
        ((s11, s12 + by_j1 * j_y), (s21, s22 + by_j2 * j_y)),
        (
            (by_j1 * j_1, by_j1 * j_s + q_s, q_d),
            (by_j2 * j_1, by_j2 * j_s + q_s - suction * inv_s, q_d),
        ),
    )
