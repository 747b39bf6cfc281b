"""What a machine has besides its parts: the weather, a drive, a tapping's section, a fan's limits.

Their numbers are declared exactly as a part's are, so that they have addresses, ranges, measures and
spreads like any other number of the machine.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from ..air import Air
from ..errors import InputError
from ..parts.declare import Fields, Number, OptionalValue, Value, fields, number

NAME_RULE = "a name is a text of 1 to 200 characters and holds none of . * [ ] { }"
RESERVED = ("air", "crop", "fill", "outside")


@fields("air")
class Weather(Fields):
    """Moist air as the weather and the altitude make it."""

    altitude: Value = number("m", at_least=-500.0, at_most=6000.0, default=0.0, doc="height above the sea")
    temperature: Value = number(
        "K",
        at_least=200.0,
        at_most=350.0,
        default=293.15,
        spread=0.003,
        doc="temperature of the open air",
        cure="write '31 degC'",
    )
    relative_humidity: Value = number("", at_least=0.0, at_most=1.0, default=0.5, spread=0.1, doc="humidity")
    pressure: OptionalValue = number(
        "Pa",
        at_least=30e3,
        at_most=120e3,
        default=None,
        spread=0.002,
        doc="absolute pressure of the open air; that of the standard atmosphere at the altitude if not given",
        cure="write '960 hPa'",
    )


@fields("air")
class ConstantAir(Fields):
    """Air of one density everywhere: no change with pressure, no heat from the fans."""

    density: Value = number("kg/m3", at_least=0.1, at_most=10.0, spread=0.01, doc="density everywhere")
    viscosity: Value = number(
        "Pa s", at_least=1e-6, at_most=1e-3, default=1.82e-5, spread=0.01, doc="dynamic viscosity"
    )


@fields("air")
class GivenAir(Fields):
    """Air given by its own state and not by the weather; only a network has it, no machine file."""

    density: Value = number("kg/m3", at_least=0.01, at_most=100.0, spread=0.01, doc="density of the open air")
    viscosity: Value = number(
        "Pa s", at_least=1e-7, at_most=1e-2, default=1.82e-5, spread=0.01, doc="dynamic viscosity"
    )
    pressure: OptionalValue = number(
        "Pa",
        at_least=1e3,
        at_most=1e6,
        default=None,
        spread=0.002,
        doc="absolute pressure; if not given, no pressure changes the density",
        cure="write '960 hPa'",
    )
    temperature: Value = number(
        "K", at_least=200.0, at_most=350.0, spread=0.003, doc="temperature of the open air"
    )
    heat_capacity: Value = number("J/kg K", at_least=500.0, at_most=5000.0, doc="at constant pressure")


@fields("belt")
class Belt(Fields):
    """A belt drive from the engine to the fans: speed = engine speed x driving / driven x (1 - slip)."""

    engine_speed: Value = number(
        "rad/s",
        at_least=0.0,
        at_most=1000.0,
        spread=0.01,
        doc="speed of the engine's pulley",
        cure="write '2100 rpm'",
    )
    driving_pulley: Value = number(
        "m", above=0.0, at_most=5.0, spread=0.005, doc="pitch diameter of the pulley on the engine's side"
    )
    driven_pulley: Value = number(
        "m", above=0.0, at_most=5.0, spread=0.005, doc="pitch diameter of the pulley on the fan"
    )
    # A belt in good order creeps by 1 to 2 %: common practice, no published source.
    slip: Value = number("", at_least=0.0, below=1.0, default=0.02, spread=0.5, doc="share of speed lost")
    available_power: OptionalValue = number(
        "W", above=0.0, default=None, spread=0.0, doc="power the drive may take for its fans"
    )
    slip_rise: Value = number(
        "", at_least=0.0, below=0.5, default=0.0, doc="slip added at the available power"
    )

    @property
    def speed(self) -> Any:
        """Speed of the driven fans [rad/s]."""
        return fan_speed(self.engine_speed, self.driving_pulley, self.driven_pulley, self.slip)


@fields("tapping")
class Section(Fields):
    """The section at a tapping: static pressure = total - velocity pressure in it."""

    area: Value = number(
        "m2",
        above=0.0,
        at_most=100.0,
        spread=0.03,
        doc="section at the tapping; that of its part there if not given",
    )


@fields("hold")
class Held(Fields):
    """A node whose total pressure is given."""

    pressure: Value = number("Pa", at_least=-50e3, at_most=50e3, doc="total pressure, gauge")


@fields("supply")
class Supplied(Fields):
    """A node into which a fixed flow is put."""

    mass_flow: Value = number("kg/s", at_least=-1000.0, at_most=1000.0, doc="flow put into the node")


def fan_speed(engine_speed: Any, driving_pulley: Any, driven_pulley: Any, slip: Any) -> Any:
    """Speed of a belt-driven fan [rad/s] from the engine's [rad/s], two pulleys [m] and the slip [-]."""
    return engine_speed * driving_pulley / driven_pulley * (1.0 - slip)


def air_of(kind: type[Fields], numbers: Mapping[str, Any]) -> Air:
    """The `Air` that the numbers `air.*` of a machine describe; columns stay columns."""
    if kind is ConstantAir:
        return Air(density=numbers["air.density"], viscosity=numbers["air.viscosity"])
    if kind is GivenAir:
        own = {
            number_key: numbers[f"air.{number_key}"]
            for number_key in kind.declared
            if f"air.{number_key}" in numbers
        }
        return Air(**own)
    return Air.at(
        altitude=numbers["air.altitude"],
        temperature=numbers["air.temperature"],
        relative_humidity=numbers["air.relative_humidity"],
        pressure=numbers.get("air.pressure"),
    )


def described(air: Air) -> Fields:
    """The numbers that describe an `Air`, so that `air_of` makes it again: the weather where it is known."""
    if air.weather is not None:
        return Weather(**air.weather)
    usual = Air()
    own = {"density": air.density, "viscosity": air.viscosity}
    plain = air.constant and (air.temperature, air.heat_capacity) == (usual.temperature, usual.heat_capacity)
    if plain and all(_allowed(ConstantAir, name, value) for name, value in own.items()):
        return ConstantAir(**own)
    pressure = None if air.constant else air.pressure
    return GivenAir(**own, pressure=pressure, temperature=air.temperature, heat_capacity=air.heat_capacity)


def _allowed(kind: type[Fields], name: str, value: Any) -> bool:
    declared = kind.declared[name]
    assert isinstance(declared, Number)
    return bool(np.all((np.asarray(value) >= declared.low) & (np.asarray(value) <= declared.high)))


def check_name(name: object, what: str, *, place: str = "", reserved: bool = True) -> str:
    """`name` as a valid name of a thing; an InputError otherwise."""
    if not isinstance(name, str) or not name.strip() or len(name) > 200 or not name.isprintable():
        raise InputError(f"{name!r:.60} is no name for {what}", place=place, allowed=NAME_RULE)
    if any(c in name for c in ".*[]{}") or name != name.strip():
        raise InputError(f"{name!r} is no name for {what}", place=place, allowed=NAME_RULE)
    if reserved and name in RESERVED:
        raise InputError(f"the name {name!r} is taken", place=place, allowed=f"not {', '.join(RESERVED)}")
    return name
