"""A pass over the field: yield along a row and a speed give margin and fill over time."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...cautions import cautions_for
from ...crop.box import Box, box_of
from ...crop.described import LEAST, flows_of, with_crop
from ...crop.margins import places
from ...crop.yields import read_field
from ...description.possible import middle
from ...errors import InputError, shown
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...quantity import convert, si
from ...result import Result
from ...speed.calibration import crop_from
from ...speed.limit import margins_at, speed_limit

Array = NDArray[np.float64]

HELD_MARGIN = 1.15
KNOTS = 129
BINS = 300


class FieldPass(Result):
    """One pass along a row.

    Attributes
    ----------
    machine : Machine
        With its crop.
    distance : array (n + 1,)
        Ends of the stretches [m].
    crop_yield : array (n,)
        [kg/m2]
    speed : array (n,)
        [m/s]
    margin : array (n,)
        Smallest carrying margin.
    unit, place : lists (n,)
        Where it is smallest.
    time : array (n + 1,)
        [s]
    level : array (n + 1,) or None
        How full the box's fullest place is at the ends of the stretches [-]; may pass 1.
    crop : array (n + 1,)
        Crop picked up to there [kg].
    """

    def __init__(
        self, machine: Machine, distance: Array, crop_yield: Array, speed: Array, box: Box | None
    ) -> None:
        self.machine = machine
        self.distance = distance
        self.crop_yield = crop_yield
        self.speed = speed
        known = _Margins(machine)
        self.margin, self.unit, self.place = known.at(crop_yield * speed)
        step = np.diff(distance)
        self.time: Array = np.concatenate([[0.0], np.cumsum(step / speed)])
        flows = np.array([float(f) for f in flows_of(machine).values()])
        crop = machine.crop
        assert crop is not None
        # crop per length of row: each unit's flow at one metre a second
        own = flows / (float(crop.ground_speed) * float(crop.mass_yield))
        per_length = own[:, None] * crop_yield
        self.crop: Array = np.concatenate([[0.0], np.cumsum(per_length.sum(axis=0) * step)])
        self.level: Array | None = None
        if box is not None:
            landed = box.landing(box.positions, BINS).T @ (per_length * step)
            deep = np.cumsum(landed, axis=1) / (box.bulk_density * box.length * box.width / BINS)
            self.level = np.concatenate([[0.0], deep.max(axis=0) / box.height])

    @property
    def blocked_at(self) -> float | None:
        """The first distance at which the crop stays behind [m]; None where it nowhere does."""
        short = np.flatnonzero(self.margin < 1.0)
        return float(self.distance[short[0]]) if len(short) else None

    @property
    def full_at(self) -> float | None:
        """The distance at which the box's first place is full [m]; None where it is not."""
        if self.level is None or self.level[-1] < 1.0:
            return None
        return float(np.interp(1.0, self.level, self.distance))

    def stretches(self) -> list[dict[str, Any]]:
        """A row for each run of stretches in which the crop stays behind."""
        out: list[dict[str, Any]] = []
        short = self.margin < 1.0
        for i in np.flatnonzero(short):
            if out and out[-1]["to_m"] == self.distance[i]:
                out[-1]["to_m"] = float(self.distance[i + 1])
                if self.margin[i] < out[-1]["least_margin"]:
                    out[-1].update(least_margin=float(self.margin[i]), unit=self.unit[i], place=self.place[i])
                continue
            out.append(
                {
                    "from_m": float(self.distance[i]),
                    "to_m": float(self.distance[i + 1]),
                    "least_margin": float(self.margin[i]),
                    "unit": self.unit[i],
                    "place": self.place[i],
                }
            )
        return out

    def rows(self) -> list[dict[str, Any]]:
        """A row for each stretch."""
        out = []
        for i in range(len(self.speed)):
            row = {
                "distance_m": float(self.distance[i + 1]),
                "time_s": float(self.time[i + 1]),
                "crop_yield_kg_m2": float(self.crop_yield[i]),
                "ground_speed_km_h": 3.6 * float(self.speed[i]),
                "margin": float(self.margin[i]),
                "unit": self.unit[i],
                "place": self.place[i],
                "crop_kg": float(self.crop[i + 1]),
            }
            if self.level is not None:
                row["level_share"] = float(self.level[i + 1])
            out.append(row)
        return out

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """Where it would have blocked, and every stretch."""
        return {"blocked": self.stretches(), "stretches": self.rows()}

    @property
    def cautions(self) -> list[str]:
        """What to beware of."""
        return cautions_for("crop")

    def sentences(self, measures: str = "metric") -> list[str]:
        """Whether and where it would have blocked, how long it took, how full the box is."""
        unit, length = ("mph", "ft") if measures == "inch" else ("km/h", "m")

        def at(distance: float) -> str:
            return f"{convert(distance, 'm', length):,.0f} {length}"

        mean = convert((self.distance[-1] - self.distance[0]) / self.time[-1], "m/s", unit)
        out = []
        runs = self.stretches()
        if runs:
            worst = min(runs, key=lambda run: run["least_margin"])
            out.append(
                f"It would block in {len(runs)} {'place' if len(runs) == 1 else 'places'}, first at "
                f"{at(runs[0]['from_m'])}; worst is unit {worst['unit']} at {worst['place']} with a margin "
                f"of {worst['least_margin']:.2f}."
            )
        else:
            i = int(np.argmin(self.margin))
            out.append(
                f"Nothing blocks: the smallest margin is {self.margin[i]:.2f}, unit {self.unit[i]} at "
                f"{at(self.distance[i])}."
            )
        out.append(f"The pass takes {self.time[-1] / 60:.1f} min at {mean:.1f} {unit} in the mean.")
        if self.level is not None:
            full = self.full_at
            out.append(
                f"The box's first place is full at {at(full)}."
                if full is not None
                else f"The box is {self.level[-1]:.0%} full at its fullest place."
            )
        return out


class _Margins:
    """The smallest margin against the crop flow, solved at some flows and interpolated between.

    What counts is yield x speed alone; the logarithm of the margin is nearly straight in that of the flow.
    """

    def __init__(self, machine: Machine) -> None:
        self.machine = machine

    def at(self, flow: Array) -> tuple[Array, list[str], list[str]]:
        """Margin, unit and place at every yield x speed [kg/(s m)]."""
        crop = self.machine.crop
        assert crop is not None
        low, high = float(flow.min()), float(flow.max())
        unique = np.unique(flow)
        knots = unique if len(unique) <= KNOTS else np.geomspace(low, high, KNOTS)
        own = margins_at(self.machine, knots / float(crop.mass_yield))
        own = np.maximum(np.nan_to_num(own, nan=0.0, posinf=1e9), 1e-9)
        rows = np.array([np.exp(np.interp(np.log(flow), np.log(knots), np.log(row))) for row in own])
        if len(knots) == 1:
            rows = np.repeat(own, len(flow), axis=1)
        least = rows.argmin(axis=0)
        judged = places(self.machine.layout)
        return rows.min(axis=0), [judged[i].unit for i in least], [str(judged[i]) for i in least]

    def flow_for(self, margin: float) -> float:
        """The yield x speed at which the smallest margin is `margin` [kg/(s m)]."""
        crop = self.machine.crop
        assert crop is not None
        raised = {f"crop.{n}": self.machine.numbers[f"crop.{n}"] * margin for n in LEAST}
        limit = speed_limit(self.machine.rebuilt({**self.machine.numbers, **raised}))
        return float(limit) * float(crop.mass_yield)


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
    known = machine.crop
    assert known is not None
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
    return FieldPass(machine, distance, crop_yield, driven, box_of(machine.layout) if box is None else box)


def _held(machine: Machine, crop_yield: Array, margin: Any) -> Array:
    """The speeds that hold a margin."""
    if isinstance(margin, bool) or not isinstance(margin, (int, float)) or not 0.1 <= margin <= 10.0:
        raise InputError(f"{shown(margin)} is out of range", place="field_pass, margin", allowed="0.1 to 10")
    flow = _Margins(machine).flow_for(float(margin))
    crop = machine.crop
    assert crop is not None
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
