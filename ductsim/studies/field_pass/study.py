"""A pass over the field: yield along a row and a speed give margin and fill over time."""

from __future__ import annotations

import os
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...bounded import at_most
from ...crop.box import Box, box_of
from ...crop.described import LEAST, Crop, flows_of, with_crop
from ...crop.margins import Place, places
from ...description.possible import middle
from ...documents.cells import read_rows
from ...errors import InputError, shown
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...quantity import si
from ...speed import Calibration
from ...speed.limit import margins_at, speed_limit
from .result import FieldPass

Array = NDArray[np.float64]

MOST_STRETCHES = 50_000
"""In one pass: how full each of the box's places is after each of them takes 120 MB."""
KNOTS = 129
BINS = 300
KEYS = {"distance": "m", "crop_yield": "kg/m2"}


def field_pass(
    machine_or_fit: Any,
    field: Any,
    *,
    speed: Any = None,
    margin: float | None = None,
    spacing: Any = 1.0,
    crop: Crop | Calibration | None = None,
    box: Box | None = None,
) -> FieldPass:
    """Drive along a row of given yields and see where the crop would stay behind and when the box is full.

    Parameters
    ----------
    machine_or_fit : Machine or a fit
        Of possible machines the middle one.
    field : array, or path of a CSV file
        Yield of each stretch [kg/m2]; a file has the columns `distance` (end of each stretch) and
        `crop_yield`, whose values are SI or carry their measure.
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
    own = crop.believed() if isinstance(crop, Calibration) else crop
    machine = with_crop(middle(possible_machines(machine_or_fit, 50)), own)
    known = _crop(machine)
    if float(known.ground_speed) <= 0.0:
        machine = machine.rebuilt({**machine.numbers, "crop.ground_speed": 1.0})
    distance, crop_yield = _field(field, spacing)
    at_most(len(crop_yield), MOST_STRETCHES, "stretches", "field_pass")
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
    raised = {f"crop.{n}": machine.numbers[f"crop.{n}"] * margin for n in LEAST}
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


def _field(field: Any, spacing: Any) -> tuple[Array, Array]:
    """Ends of the stretches and their yields."""
    if isinstance(field, (str, os.PathLike)):
        return _read_field(field)
    try:
        crop_yield = np.asarray(si(field, "kg/m2"), dtype=float)
        step = si(spacing, "m")
    except InputError as err:
        raise err.at(place="field_pass") from None
    if crop_yield.ndim != 1 or crop_yield.size == 0:
        raise InputError("is not a list of yields", place="field_pass, field", allowed="a 1-D array [kg/m2]")
    if not isinstance(step, float) or step <= 0.0:
        raise InputError(f"{shown(spacing)} is out of range", place="field_pass, spacing", allowed="above 0")
    return step * np.arange(crop_yield.size + 1.0), _checked(crop_yield, "field_pass, field")


def _checked(crop_yield: Array, place: str) -> Array:
    bad = ~((crop_yield > 0.0) & (crop_yield <= 20.0))
    if bad.any():
        i = int(np.flatnonzero(bad)[0])
        raise InputError(
            f"the yield of stretch {i + 1} is {crop_yield[i]:g} kg/m2",
            place=place,
            allowed="above 0, to 20 kg/m2",
        )
    return crop_yield


def _read_field(path: str | os.PathLike[str]) -> tuple[Array, Array]:
    """A CSV file with the columns `distance` and `crop_yield`."""
    rows = read_rows(path, KEYS, KEYS, "yields along a row", "stretch")
    table = np.array([[values[key] for key in KEYS] for _, values in rows])
    distance = np.concatenate([[0.0], table[:, 0]])
    file = str(path)
    if np.any(np.diff(distance) <= 0.0):
        raise InputError(
            "its distances do not rise", file=file, allowed="the end of each stretch, from the start"
        )
    try:
        return distance, _checked(table[:, 1], "")
    except InputError as err:
        raise err.at(file=file) from None
