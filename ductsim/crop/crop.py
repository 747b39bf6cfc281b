"""The crop: how much of it, how it enters, and what air it needs; and a machine that carries it."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any, ClassVar

import numpy as np

from ..arguments import whole
from ..conveying import Load, fits, loaded_schema, plain_schema
from ..description.crop_way import carried, unit_flows, ways
from ..description.data import M, MachineData
from ..description.layout import Layout
from ..errors import InputError, shown
from ..parts.declare import Fields, OptionalValue, OptionalValues, Schema, Value, fields, number, same_as
from ..quantity import column
from ..sources import SOURCES

CONVEYING_SPREAD = 0.2
"""Spread of the least conveying velocity in logarithms: nine in ten then lie from 13 to 25 m/s. Practice in
gin pipes is 18 to 25 m/s (3,500 to 5,000 ft/min, from memory of a ginners' handbook that was not at hand);
lint alone moves from 13 m/s on (a table of transport velocities, seen in a secondary page)."""


@fields("crop")
class Crop(Fields):
    """A crop and the air it needs; every number has an address (`crop.slip`), a spread and a standing.

    The yield is the mass of crop as it is picked (`crop_yield`), or `bales` of lint, which `bale_mass` and
    `lint_share` turn into seed cotton. Any other crop is described by its own numbers.

    Least values are taken at the surge: where a wad passes, `surge` times the mean flow. By default an
    opening needs 0.6 kg of air for each kilogram of crop then, with 1.25 of the mean flow: both our
    assumption, to be calibrated on the machine (`ductsim.calibrate`).

    Heavier crop needs more air: the least values belong to a crop of `reference_slip` and follow the slip
    (`least`). It is 6 m/s where all of them are the defaults, else the slip that they were given with; a
    later change of `slip` alone then moves what is needed.
    """

    choices = (("crop_yield",), ("bales",))
    calibrate: ClassVar[Callable[..., Any]]
    """The function `ductsim.calibrate`, which stands in a room above and is put here by it."""

    crop_yield: OptionalValue = number(
        "kg/m2",
        above=0.0,
        at_most=20.0,
        default=None,
        spread=0.1,
        doc="crop as it is picked, per area",
        cure="write '4000 kg/ha'",
    )
    bales: OptionalValue = number(
        "1/m2",
        above=0.0,
        at_most=0.01,
        default=None,
        spread=0.1,
        doc="bales of lint per area",
        cure="write '2.8 bales/acre'",
    )
    bale_mass: Value = number(
        "kg", at_least=100.0, at_most=500.0, default=217.7, spread=0.01, doc="lint in a bale, 480 lb"
    )
    lint_share: Value = number(
        "",
        at_least=0.2,
        at_most=0.6,
        default=0.38,
        spread=0.05,
        doc="turnout: lint over seed cotton as it is picked",
    )
    row_spacing: Value = number("m", above=0.0, at_most=5.0, spread=0.01, doc="distance of the rows")
    rows_per_unit: Value = number("", above=0.0, at_most=20.0, default=1.0, doc="rows that a unit picks")
    ground_speed: Value = number(
        "m/s",
        at_least=0.0,
        at_most=15.0,
        default=5.0 / 3.6,
        spread=0.05,
        doc="today's speed",
        cure="write '5 km/h'",
    )
    highest_speed: OptionalValue = number(
        "m/s",
        above=0.0,
        at_most=15.0,
        default=None,
        doc="top speed in work, by the maker",
        cure="write '7 km/h'",
    )
    shares: OptionalValues = number(
        "",
        at_least=0.0,
        at_most=1.0,
        default=None,
        points=True,
        doc="share of a unit's crop that enters by each of its openings",
    )
    unit_yields: OptionalValues = number(
        "",
        at_least=0.0,
        at_most=10.0,
        default=None,
        points=True,
        doc="yield of each unit's rows over the yield",
    )
    moisture: Value = number(
        "", at_least=0.5, at_most=2.0, default=1.0, spread=0.03, doc="mass as moist as it is over the yield's"
    )
    surge: Value = number(
        "", at_least=1.0, at_most=5.0, default=1.25, spread=0.15, doc="flow where a wad passes, over the mean"
    )
    friction: Value = same_as(Load, "crop_friction")
    slip: Value = same_as(Load, "slip")
    reference_slip: OptionalValue = number(
        "m/s",
        above=0.0,
        at_most=30.0,
        default=None,
        doc="slip that the least values belong to; 6 m/s, or its own where some are given",
    )
    entry_velocity: Value = same_as(Load, "start_velocity")
    plug_density: Value = same_as(Load, "plug_density")
    opening_ratio: Value = number(
        "", above=0.0, at_most=20.0, default=0.6, spread=0.25, doc="least air to crop at an opening, by mass"
    )
    capture_velocity: Value = number(
        "m/s", above=0.0, at_most=60.0, default=5.0, spread=0.25, doc="least air velocity in an opening"
    )
    suction_velocity: Value = number(
        "m/s",
        above=0.0,
        at_most=80.0,
        default=9.0,
        spread=0.2,
        doc="least air velocity beside a jet's nozzle",
    )
    conveying_velocity: Value = number(
        "m/s",
        above=0.0,
        at_most=80.0,
        default=18.0,
        spread=CONVEYING_SPREAD,
        doc="least air velocity in a duct",
    )
    choke_ratio: Value = number(
        "",
        at_least=1.0,
        at_most=10.0,
        default=1.5,
        spread=0.1,
        doc="least air velocity over the slip velocity",
    )

    def check(self) -> None:
        """The shares of the openings add up to one; the least values get the slip that they belong to."""
        if self.reference_slip is None:
            usual: dict[str, Any] = {f.name: f.default for f in dataclasses.fields(self)}
            own = any(np.any(np.not_equal(getattr(self, name), usual[name])) for name in LEAST)
            still = np.equal(self.slip, 0.0)
            belongs = np.where(still, usual["slip"], self.slip) if np.any(still) else self.slip
            belongs = belongs if np.ndim(belongs) else float(belongs)
            object.__setattr__(self, "reference_slip", belongs if own else usual["slip"])
        if self.shares is not None:
            whole: Any = sum(self.shares)
            if np.any(np.abs(np.asarray(whole) - 1.0) > 1e-6):
                wrong = np.atleast_1d(whole)[np.argmax(np.abs(np.atleast_1d(whole) - 1.0))]
                raise InputError(
                    f"the shares add up to {wrong:g}", place="crop: shares", allowed="shares that add up to 1"
                )
        if self.unit_yields is not None and np.any(np.equal(sum(self.unit_yields), 0.0)):
            raise InputError(
                "every unit's yield is 0", place="crop: unit_yields", allowed="at least one above 0"
            )

    @property
    def mass_yield(self) -> Any:
        """Crop as it is picked, per area [kg/m2]; of bales, bales x bale mass / lint share."""
        if self.crop_yield is not None:
            return self.crop_yield
        bales: Any = self.bales
        return bales * self.bale_mass / self.lint_share

    def least(self, name: str) -> Any:
        """A least value, by the name of its number, for a crop of this slip [its measure].

        Crop moves at the air's velocity less the slip: a least velocity keeps the crop's, so what the slip
        has over the reference slip is added. The least air for each kilogram of crop goes in proportion. Both
        are our assumption; `choke_ratio` is a multiple of the slip already. None falls below a thousandth.

        Example: 18 m/s for a slip of 6 m/s are 20 m/s for one of 8 m/s; 0.6 kg of air to a kilogram are 0.8.
        """
        value, slip = getattr(self, name), self.slip
        belongs: Any = self.reference_slip
        if name == "choke_ratio":
            return value
        needed = value * (slip / belongs) if name == "opening_ratio" else value + (slip - belongs)
        needed = np.where(np.equal(slip, belongs), value, np.maximum(needed, 1e-3 * value))
        return needed if needed.ndim else float(needed)

    @property
    def unit_width(self) -> Any:
        """Width that a unit picks [m]."""
        return self.row_spacing * self.rows_per_unit

    def flow(self, ground_speed: Any = None) -> Any:
        """Mean crop flow of a unit of average yield [kg/s], at today's speed or another [m/s].

        Example: 0.40 kg/m2 on rows 1.0 m apart at 5.4 km/h are 0.60 kg/s.
        """
        speed = self.ground_speed if ground_speed is None else column(ground_speed, "m/s", "ground_speed")
        return self.mass_yield * self.unit_width * speed * self.moisture

    def area_rate(self, speed: Any, units: int, efficiency: Any = 1.0) -> Any:
        """Area picked per time [m2/s] at a speed [m/s]; `efficiency` is the share of time spent picking."""
        # a speed without an answer is NaN, and so is its area
        fast = speed if isinstance(speed, float) else column(speed, "m/s", "speed")
        count = whole(units, "area_rate", "units", 0, 1000)
        return fast * self.unit_width * count * column(efficiency, "", "efficiency")

    def standings(self) -> list[dict[str, Any]]:
        """A row for each number that it rests on: value, spread, how it is known."""
        out = []
        for name, key in STANDING.items():
            value = getattr(self, name)
            if value is None or (name in BALES and self.crop_yield is not None):
                continue
            declared: Any = self.declared[name]
            default = next(f.default for f in dataclasses.fields(self) if f.name == name)
            given = np.ndim(value) > 0 or value != default
            out.append(
                {
                    "number": f"crop.{name}",
                    "value": float(np.median(value)),
                    "measure": declared.measure,
                    "spread": declared.spread,
                    "standing": "given" if given else SOURCES[key].standing,
                    "source": "" if given else key,
                    "doc": declared.doc,
                }
            )
        return out


STANDING: dict[str, str] = {
    "bale_mass": "bale_mass",
    "lint_share": "from_memory",
    "moisture": "our_assumption",
    "surge": "our_assumption",
    "friction": "added_pressure",
    "slip": "from_memory_slip",
    "entry_velocity": "our_assumption",
    "plug_density": "our_assumption",
    "opening_ratio": "our_assumption",
    "capture_velocity": "our_assumption",
    "suction_velocity": "our_assumption",
    "conveying_velocity": "gin_handbook503",
    "choke_ratio": "our_assumption",
}
"""Number of a crop -> the source of its default."""

BALES = ("bale_mass", "lint_share")
LEAST = ("opening_ratio", "capture_velocity", "suction_velocity", "conveying_velocity", "choke_ratio")
"""The least values that the carrying margins are taken against."""

UNCERTAIN = ("surge", "friction", "slip", "entry_velocity", *LEAST)
"""The numbers of a crop whose spreads make absolute speeds a band."""


def crop_of(layout: Layout, numbers: Mapping[str, Any]) -> Crop | None:
    """The crop that the numbers `crop.*` describe; columns stay columns. None for a machine without."""
    if layout.crop is None:
        return None
    return layout.crop.build([numbers[f"crop.{number_key}"] for number_key in layout.crop.number_keys])  # type: ignore[no-any-return]


def check_crop(layout: Layout) -> None:
    """A crop's lists fit the units, and its way leads from every opening to a duct.

    Raises
    ------
    InputError
    """
    if layout.crop is None:
        return
    if not layout.units:
        raise InputError(
            "the machine has no units that could pick it", place="crop", allowed="a [[unit]] each"
        )
    shape = dict(layout.crop.shape)
    if shape["unit_yields"] not in (None, len(layout.units)):
        raise InputError(
            f"{shape['unit_yields']} yields for {len(layout.units)} units",
            place="crop: unit_yields",
            allowed="one for each unit, in their order",
        )
    for unit in layout.units:
        if shape["shares"] not in (None, len(unit.openings)):
            raise InputError(
                f"{shape['shares']} shares for the {len(unit.openings)} openings of unit {unit.name!r}",
                place="crop: shares",
                allowed="one for each opening, in their order",
            )
    ways(layout)


def with_crop(machine: M, crop: Crop | None = None) -> M:
    """The machine with its ducts carrying crop: the parts along the crop's way follow their loaded laws.

    Parameters
    ----------
    machine : MachineData
        With columns or without.
    crop : Crop, optional
        The machine's own (its `[crop]` table) when not given.

    Returns
    -------
    MachineData
        Its `crop.*` numbers are the crop's; `change`, `solve`, `sensitivity` and all questions work on it.

    Raises
    ------
    InputError
        Without a crop, without units, without a way for the crop, and for lists that do not fit the units.
    """
    if not hasattr(machine, "layout"):
        raise InputError(f"{shown(machine)} is not a machine", place="crop", allowed="a machine")
    plain = without_crop(machine)
    layout, numbers, given = plain.layout, dict(plain.numbers), plain.given
    if crop is not None:
        if not isinstance(crop, Crop):
            raise InputError(f"{shown(crop)} is not a crop", place="crop", allowed="ds.Crop(...)")
        schema = crop.schema
        numbers = {a: v for a, v in numbers.items() if not a.startswith("crop.")}
        numbers.update({f"crop.{number_key}": value for number_key, value in crop.numbers().items()})
        given = given | {f"crop.{number_key}" for number_key in schema.number_keys}
    elif layout.crop is not None:
        schema = layout.crop
    else:
        raise InputError(
            "the machine has no crop", place="crop", allowed="a [crop] table in its file, or a ds.Crop(...)"
        )
    loaded = _loaded_layout(plain, schema)
    return machine.rebuilt(numbers, layout=loaded, given=given)


def without_crop(machine: M) -> M:
    """The machine with empty ducts; its `crop.*` numbers stay."""
    layout = machine.layout
    if not layout.carried:
        return machine
    plain = layout.__dict__.get("_plain")
    if plain is None or plain.crop != layout.crop:
        parts = tuple(dataclasses.replace(p, schema=plain_schema(p.schema)) for p in layout.parts)
        plain = dataclasses.replace(layout, parts=parts, carried=())
        layout.__dict__["_plain"] = plain
    return machine.rebuilt(layout=plain)


def _loaded_layout(machine: MachineData, schema: Schema) -> Layout:
    """The layout with crop, made once for each schema of a crop."""
    layout = machine.layout
    known: dict[Schema, Layout] = layout.__dict__.setdefault("_loaded", {})
    if schema not in known:
        base = layout if layout.crop == schema else dataclasses.replace(layout, crop=schema)
        check_crop(base)
        carrying = {}
        for c in carried(base):
            if all(fits(path) for path in machine.part(c.part).paths()):
                carrying[c.part] = c
        parts = tuple(
            dataclasses.replace(p, schema=loaded_schema(p.schema, bool(carrying[p.name].before)))
            if p.name in carrying
            else p
            for p in base.parts
        )
        made = dataclasses.replace(base, parts=parts, carried=tuple(carrying.values()))
        made.__dict__["_plain"] = base
        known[schema] = made
    return known[schema]


def flows_of(machine: MachineData) -> dict[str, Any]:
    """Unit -> mean crop flow at the machine's `crop.ground_speed` [kg/s]."""
    crop = crop_of(machine.layout, machine.numbers)
    if crop is None:
        raise InputError("the machine has no crop", place="crop", allowed="machine.with_crop(ds.Crop(...))")
    names = [unit.name for unit in machine.layout.units]
    return dict(zip(names, unit_flows(len(names), crop), strict=True))
