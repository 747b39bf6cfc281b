"""What crop adds to a law: its drag, its acceleration, its weight, and the momentum it takes from a jet.

Every term vanishes exactly with the crop flow, so that a loaded path without crop follows its own law to
the last bit. Particle saltation formulas are not used: seed cotton lies one to two orders of magnitude
outside their data, and they differ from each other by a factor of ten there.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np

from .card import card_of, law
from .constants import GRAVITY
from .friction import friction
from .jets import jet
from .losses import quadratic, two_way

SOFT = 0.5
"""Air speed over which the crop's velocity bends to zero around the slip velocity [m/s]: our assumption."""

CREEP = 0.12
"""Mass flux of air below which the load stops growing with one over the air flow [kg/(s m2)]: 0.1 m/s."""


def crop_velocity(air_velocity: Any, slip: Any) -> tuple[Any, Any]:
    """Velocity of the crop u [m/s] in air of some velocity, and its slope du/dV.

    u = (w + sqrt(w^2 + SOFT^2)) / 2 with w = V - slip: the air's velocity less the slip where the air is
    faster, and hardly above zero where it is not, so that a law can be evaluated through a blockage.

    Parameters
    ----------
    air_velocity : float or array
        Velocity of the air along the path [m/s], negative where it flows back.
    slip : float or array
        Slip velocity [m/s].

    Returns
    -------
    velocity, slope : arrays
        [m/s], [-]; both above zero.

    Example: in air of 25 m/s a slip of 6 m/s leaves 19.003 m/s.
    """
    w = air_velocity - slip
    root = np.sqrt(w * w + SOFT * SOFT)
    u = np.where(w > 0.0, 0.5 * (w + root), 0.5 * SOFT * SOFT / (root + np.abs(w)))
    return u, u / root


def _accelerated(
    velocity: Any, area: Any, slip: Any, start_velocity: Any, start_share: Any, arrival_area: Any
) -> tuple[Any, Any, Any, Any]:
    """Crop velocity u here and its slope, and the velocity it gains here with its slope, in V."""
    u, u_v = crop_velocity(velocity, slip)
    if arrival_area is None:
        carried, carried_v = u, u_v
    else:
        ratio = area / arrival_area
        carried, carried_v = crop_velocity(velocity * ratio, slip)
        carried_v = carried_v * ratio
    rest = 1.0 - start_share
    return u, u_v, u - (start_share * start_velocity + rest * carried), u_v - rest * carried_v


CROP_SOURCES = ("added_pressure", "agarwal2005", "unloading2001", "from_memory_slip", "our_assumption")


def load_outside(flow: Any, air: Any, **c: Any) -> list[tuple[Any, str]]:
    """Where a loaded path leaves what dilute conveying covers."""
    carried = np.asarray(c["crop_flow"]) > 0.0
    forward = np.maximum(flow, 1e-9)
    conveyed = "length" in c  # an opening is passed in an instant
    return [
        (
            carried & (flow / (air.density * c["area"]) <= c["slip"]) & conveyed,
            "the air is no faster than the crop's slip velocity: the crop does not move",
        ),
        (
            carried & (c["crop_flow"] / forward > 15.0) & (np.asarray(flow) > 0.0),
            "more than 15 kg of crop to a kilogram of air, beyond dilute conveying",
        ),
    ]


@cache
def carrying(base: Callable[..., Any]) -> Callable[..., Any]:
    """The law of a single path that carries crop, made from its law without crop; one function for each law.

    drop = base + walls K m_c / sqrt(m^2 + (CREEP A)^2) + m_c (u - u_0) / A + w g H m_c / (u A + m_c / rho_p),
    u = V - slip, bent to zero below the slip velocity; w = (1 + V / sqrt(V^2 + SOFT^2)) / 2 fades where the
    air flows back and nothing is held up. `walls` is what the law loses along walls and in bends, as its
    card says: 1 + K mu multiplies that alone. Inlets, outlets, plates and screens are lost once, by the air;
    what crop costs there is its acceleration.

    Parameters
    ----------
    base : callable
        A law of a single path; one of its coefficients must be `area`.

    Returns
    -------
    callable
        A law with the coefficients of `base` and those of the crop: `crop_flow` m_c [kg/s],
        `crop_friction` K [-], `slip` [m/s], `plug_density` rho_p [kg/m3], `start_velocity` [m/s] of the
        share `start_share` [-] that is accelerated here, `arrival_area` [m2] of the section that the rest
        comes from (None: its own), `crop_rise` H [m].

    Source: the form 1 + K mu and the loss of acceleration as on process reference sheet MET-25A6; that it
    multiplies the friction term, with bends as their equivalent lengths, from the line equation after Zenz
    and Othmer in Agarwal (2005); the weight that the crop holds up, and how it saturates at a plug, are our
    assumption.
    """
    card = card_of(base)
    rubbed = card.walls if card else None

    def loaded(
        flow: Any,
        air: Any,
        *,
        crop_flow: Any,
        crop_friction: Any,
        slip: Any,
        plug_density: Any,
        start_velocity: Any,
        start_share: Any,
        arrival_area: Any = None,
        crop_rise: Any = 0.0,
        **c: Any,
    ) -> tuple[Any, Any, Any]:
        own, rho, area = dict(c), air.density, c["area"]
        rises = "rise" in own and np.any(own["rise"])
        if rises:
            own["rise"] = 0.0
        drop, slope, in_density = base(flow, air, **own)
        inverse = 1.0 / (rho * area)
        velocity = flow * inverse
        u, u_v, gain, gain_v = _accelerated(velocity, area, slip, start_velocity, start_share, arrival_area)
        push = crop_flow / area
        # weight: what hangs in the duct, never denser than a plug, and nothing where the air flows back
        room = u * area + crop_flow / plug_density
        spread = np.sqrt(velocity * velocity + SOFT * SOFT)
        held = 0.5 * (1.0 + velocity / spread)
        full = GRAVITY * crop_rise * crop_flow / room
        weight = full * held
        by_v = push * gain_v + full * (0.5 * SOFT * SOFT / spread**3 - held * area * u_v / room)
        total = drop + (push * gain + weight)
        total_slope = slope + by_v * inverse
        total_density = in_density - by_v * velocity / rho
        if rubbed is not None:  # drag: a multiple of what the air alone loses there
            wall, wall_slope, wall_density = rubbed((drop, slope, in_density), flow, air, **own)
            root = np.sqrt(flow * flow + (CREEP * area) ** 2)
            load = crop_friction * crop_flow / root
            total = total + load * wall
            total_slope = total_slope + load * (wall_slope - wall * flow / (root * root))
            total_density = total_density + load * wall_density
        if rises:
            total = total + (rho - air.outside) * (GRAVITY * c["rise"])
            total_density = total_density + GRAVITY * c["rise"]
        return total, total_slope, total_density

    loaded.__name__ = loaded.__qualname__ = f"loaded_{base.__name__}"
    own_outside = card.outside if card else None
    own_sources = card.sources if card else ()
    drag = "" if rubbed is None else " + K m_c / m (its friction and bends)"

    def outside(flow: Any, air: Any, **c: Any) -> list[tuple[Any, str]]:
        rest = {k: v for k, v in c.items() if k not in CROP_COEFFICIENTS}
        return (own_outside(flow, air, **rest) if own_outside else []) + load_outside(flow, air, **c)

    return law(
        equation=f"drop = {base.__name__}{drag} + m_c (u - u_0) / A "
        "+ g H m_c / (u A + m_c / rho_p); u = V - slip",
        valid="dilute conveying, up to 15 kg of crop to a kilogram of air; expect 25 % against measurements",
        sources=(*own_sources, *CROP_SOURCES),
        outside=outside,
    )(loaded)


CROP_COEFFICIENTS = (
    *("crop_flow", "crop_friction", "slip", "plug_density", "start_velocity", "start_share"),
    *("arrival_area", "crop_rise"),
)
"""The coefficients that crop adds to a single path's law."""


def _jet_outside(flow: Any, air: Any, **c: Any) -> list[tuple[Any, str]]:
    own = {k: v for k, v in c.items() if k not in CROP_COEFFICIENTS}
    known = card_of(jet)
    out = known.outside(flow, air, **own) if known and known.outside else []
    suction = flow[1] / (air.density[1] * c["suction_area"])
    return out + [
        (
            (np.asarray(c["crop_flow"]) > 0.0) & (suction <= c["slip"]),
            "the air beside the nozzle is no faster than the crop's slip velocity: the crop does not move",
        )
    ]


@law(
    equation="as jet; P_s - p1 also bears m_c (u_s - u_0) / A_s, the mixing "
    "also m_c (u_d - u_s) / A_m + K m_c k_m (x + y) / (2 rho_d A_m^2); u = V - slip",
    valid="as jet; dilute conveying",
    sources=(
        *("esdu85032", "karassik2007", "momentum_balance", "added_pressure", "agarwal2005"),
        *("from_memory_slip", "our_assumption"),
    ),
    outside=_jet_outside,
)
def loaded_jet(
    flow: Any,
    air: Any,
    *,
    crop_flow: Any,
    crop_friction: Any,
    slip: Any,
    start_velocity: Any,
    start_share: Any,
    arrival_area: Any = None,
    **c: Any,
) -> tuple[Any, Any, Any]:
    """A jet that drags crop along with the suction's air.

    Crop that has not been accelerated yet gains its velocity beside the nozzle, at the cost of the
    suction's pressure; the mixed stream speeds it up further, which takes momentum from the jet. Crop's drag
    multiplies the mixing section's loss, its wall's friction, and not the entry loss beside the nozzle.

    Parameters
    ----------
    flow : pair of float or array
        Motive and suction mass flow of air x, y [kg/s].
    air : LocalAir
        As for `jet`.
    crop_flow : float or array
        Mass flow of crop m_c [kg/s]; 0 gives exactly `jet`.
    crop_friction : float or array
        K [-].
    slip, start_velocity : float or array
        Slip velocity and velocity at which crop enters [m/s].
    start_share : float or array
        Share of the crop that starts here [-].
    arrival_area : float or array, optional
        Section that the rest of the crop comes out of [m2]; the suction's own if not given.
    **c
        The coefficients of `jet`.

    Returns
    -------
    drops, slopes, density_slopes
        As `jet`.

    Example: 1 kg/s of crop that a mixed stream of 30 m/s speeds up by 15 m/s takes 15 N, 250 Pa on 0.06 m2.
    """
    (d1, d2), ((s11, s12), (s21, s22)), ((q11, q12, q13), (q21, q22, q23)) = jet(flow, air, **c)
    x, y = flow
    _, rho_s, rho_d = air.density
    side, mixing = c["suction_area"], c["mixing_area"]
    inv_s, inv_d = 1.0 / (rho_s * side), 1.0 / (rho_d * mixing)
    v_s, v_d = y * inv_s, (x + y) * inv_d
    u_s, u_s_v, gain, gain_v = _accelerated(v_s, side, slip, start_velocity, start_share, arrival_area)
    u_d, u_d_v = crop_velocity(v_d, slip)
    # beside the nozzle: on the suction path alone
    by_s = crop_flow / side * gain_v
    own = crop_flow / side * gain
    # in the mixing section: on both paths
    push = crop_flow / mixing
    drag = 0.5 * crop_friction * push * c["mixing_loss"]
    by_d = push * u_d_v + drag
    mixed = push * (u_d - u_s) + drag * v_d
    a, b = by_d * inv_d, push * u_s_v * inv_s
    q_s = push * u_s_v * v_s / rho_s
    q_d = -by_d * v_d / rho_d
    return (
        (d1 + mixed, d2 + (own + mixed)),
        ((s11 + a, s12 + (a - b)), (s21 + a, s22 + (a - b + by_s * inv_s))),
        ((q11, q12 + q_s, q13 + q_d), (q21, q22 + (q_s - by_s * v_s / rho_s), q23 + q_d)),
    )


# named here, so that a state with crop in it can be pickled
loaded_friction = carrying(friction)
loaded_quadratic = carrying(quadratic)
loaded_two_way = carrying(two_way)
