"""A pass over the field: yield along a row and a speed give margin and fill over time."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...crop.box import Box, box_of
from ...crop.crop import LEAST, Crop, flows_of, with_crop
from ...crop.margins import Place, places
from ...crop.yields import read_field
from ...description.possible import middle
from ...errors import InputError, shown
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...quantity import si
from ...speed import crop_from
from ...speed.limit import margins_at, speed_limit
from .result import FieldPass

Array = NDArray[np.float64]

KNOTS = 129
BINS = 300


def field_pass(
    machine_or_fit: Any,
    field: Any,
    *,
    speed: Any = None,
    margin: float | None = None,
    spacing: Any = 1.0,
    crop: Any = None,
    box: Box | None = None,
) -> FieldPass:
    """Drive along a row of given yields and see where the crop would stay behind and when the box is full.

    Parameters
    ----------
    machine_or_fit : Machine or a fit
        Of possible machines the middle one.
    field : array, path, DataFrame, mapping or Yields
        Yield of each stretch [kg/m2], or a table of `distance` (end of each stretch) and `crop_yield`; what
        `read_field` takes.
    speed : float, text or array, optional
        Ground speed [m/s], one or one for each stretch; the crop's own if neither is given.
    margin : float, optional
        Hold this carrying margin instead, up to the machine's top speed.
    spacing : float or text
        Length of a stretch [m] when `field` is an array.
    crop, box : optional
        The machine's own if not given.

    Raises
    ------
    InputError
        For a speed and a margin together, more than 50,000 stretches, and bad yields, speeds and files.
    """
    own = crop_from(crop)
    machine = with_crop(middle(possible_machines(machine_or_fit, 50)), own)
    known = _crop(machine)
    if float(known.ground_speed) <= 0.0:
        machine = machine.rebuilt({**machine.numbers, "crop.ground_speed": 1.0})
    row = read_field(field, spacing)
    distance, crop_yield = row.distance, row.crop_yield
    if speed is not None and margin is not None:
        raise InputError("got speed and margin", place="field_pass", allowed="one of the two")
    if margin is not None:
        driven = _held(machine, crop_yield, margin)
    else:
        driven = _speeds(known.ground_speed if speed is None else speed, len(crop_yield))
    return driven_pass(machine, distance, crop_yield, driven, box_of(machine.layout) if box is None else box)


def driven_pass(
    machine: Machine, distance: Array, crop_yield: Array, speed: Array, box: Box | None
) -> FieldPass:
    """What a machine with crop meets at given speeds; the arguments are the attributes of a `FieldPass`."""
    margin, where = _margins(machine, crop_yield * speed)
    step = np.diff(distance)
    flows = np.array([float(f) for f in flows_of(machine).values()])
    crop = _crop(machine)
    # crop per length of row: each unit's flow at one metre a second
    own = flows / (float(crop.ground_speed) * float(crop.mass_yield))
    per_length = own[:, None] * crop_yield
    level = None
    if box is not None:
        landed = box.landing(box.positions, BINS).T @ (per_length * step)
        deep = np.cumsum(landed, axis=1) / (box.bulk_density * box.length * box.width / BINS)
        level = np.concatenate([[0.0], deep.max(axis=0) / box.height])
    return FieldPass(
        machine=machine,
        distance=distance,
        crop_yield=crop_yield,
        speed=speed,
        margin=margin,
        places=where,
        time=np.concatenate([[0.0], np.cumsum(step / speed)]),
        crop=np.concatenate([[0.0], np.cumsum(per_length.sum(axis=0) * step)]),
        level=level,
    )


def _crop(machine: Machine) -> Crop:
    crop = machine.crop
    assert crop is not None
    return crop


def _margins(machine: Machine, flow: Array) -> tuple[Array, list[Place]]:
    """The smallest margin at every yield x speed [kg/(s m)], and where; solved at some, interpolated between.

    What counts is yield x speed alone; the logarithm of the margin is nearly straight in that of the flow.
    """
    unique = np.unique(flow)
    knots = unique if len(unique) <= KNOTS else np.geomspace(float(flow.min()), float(flow.max()), KNOTS)
    own = margins_at(machine, knots / float(_crop(machine).mass_yield))
    own = np.maximum(np.nan_to_num(own, nan=0.0, posinf=1e9), 1e-9)
    rows = np.array([np.exp(np.interp(np.log(flow), np.log(knots), np.log(row))) for row in own])
    if len(knots) == 1:
        rows = np.repeat(own, len(flow), axis=1)
    judged = places(machine.layout)
    return rows.min(axis=0), [judged[i] for i in rows.argmin(axis=0)]


def _flow_for(machine: Machine, margin: float) -> float:
    """The yield x speed at which the smallest margin is `margin` [kg/(s m)]."""
    crop = _crop(machine)
    raised = {f"crop.{n}": crop.least(n) * margin for n in LEAST}
    raised["crop.reference_slip"] = crop.slip if crop.slip > 0.0 else crop.reference_slip
    limit = speed_limit(machine.rebuilt({**machine.numbers, **raised}))
    return float(limit) * float(_crop(machine).mass_yield)


def _held(machine: Machine, crop_yield: Array, margin: Any) -> Array:
    """The speeds that hold a margin."""
    if isinstance(margin, bool) or not isinstance(margin, (int, float)) or not 0.1 <= margin <= 10.0:
        raise InputError(f"{shown(margin)} is out of range", place="field_pass, margin", allowed="0.1 to 10")
    flow = _flow_for(machine, float(margin))
    crop = _crop(machine)
    if flow <= 0.0:
        raise InputError(
            f"a margin of {margin:g} is not reached even without crop", place="field_pass, margin"
        )
    top = float(crop.highest_speed) if crop.highest_speed is not None else 15.0
    return np.minimum(flow / crop_yield, top)


def _speeds(speed: Any, count: int) -> Array:
    try:
        value = np.asarray(si(speed, "m/s"), dtype=float)
    except InputError as err:
        raise err.at(place="field_pass, speed") from None
    if value.ndim > 1 or (value.ndim == 1 and value.size != count):
        raise InputError(
            f"{value.size} speeds for {count} stretches",
            place="field_pass, speed",
            allowed="one, or one each",
        )
    if not np.all((value > 0.0) & (value <= 15.0)):
        raise InputError("a speed is out of range", place="field_pass, speed", allowed="above 0, to 15 m/s")
    return np.array(np.broadcast_to(value, count))
