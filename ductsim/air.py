"""Density and viscosity of air, constant or from weather and altitude."""

from __future__ import annotations

import math
import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from .errors import InputError, OutsideRange
from .quantity import si

DRY_AIR_HEAT_CAPACITY = 1006.0  # J/kg K, as in h = 1.006 t of the psychrometric tables; from memory
VAPOUR_HEAT_CAPACITY = 1860.0  # J/kg K, likewise
_KELVIN = 273.15


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Air:
    """The open air around a machine; any value may be a column of scenarios, a 1-D array.

    Built directly it is constant: one density everywhere, neither pressure nor heat changes it, which the
    scaling laws of fans assume. `Air.at` gives real air.

    Attributes
    ----------
    density : float or (S,)
        Density of the open air [kg/m3].
    viscosity : float or (S,)
        Dynamic viscosity [Pa s].
    pressure : float or (S,)
        Absolute pressure [Pa]; infinite for constant air, so that no gauge pressure changes its density.
    temperature : float or (S,)
        Temperature [K].
    heat_capacity : float or (S,)
        Heat capacity at constant pressure [J/kg K].
    weather : mapping or None
        What `Air.at` was given, in SI; None for air given by its density.
    """

    density: Any = 1.2
    viscosity: Any = 1.82e-5
    pressure: Any = math.inf
    temperature: Any = 293.15
    heat_capacity: Any = DRY_AIR_HEAT_CAPACITY
    weather: Mapping[str, Any] | None = field(default=None, init=False)

    def __post_init__(self) -> None:
        allowed = {
            "density": ("kg/m3", 0.01, 100.0, ""),
            "viscosity": ("Pa s", 1e-7, 1e-2, ""),
            "temperature": ("K", 200.0, 350.0, "write '31 degC'"),
            "heat_capacity": ("J/kg K", 500.0, 5000.0, ""),
        }
        values = {name: _checked(name, getattr(self, name), *how) for name, how in allowed.items()}
        if not (isinstance(self.pressure, float) and self.pressure == math.inf):
            values["pressure"] = _checked(
                "pressure", self.pressure, "Pa", 1e3, 1e6, "absolute; write '960 hPa'"
            )
        _same_length(values)
        for name, value in values.items():
            object.__setattr__(self, name, value)

    @classmethod
    def at(
        cls,
        *,
        altitude: Any = 0.0,
        temperature: Any = 293.15,
        relative_humidity: Any = 0.5,
        pressure: Any = None,
    ) -> Air:
        """Moist air at a place and in a weather.

        Density by CIPM-2007 (Picard et al., Metrologia 45, 2008, 149-155), within 1e-4 of reference
        equations of state from 0 to 45 degC; pressure, unless given, that of the standard atmosphere,
        101325 (1 - 2.25577e-5 altitude)^5.2559; viscosity of dry air by Sutherland's law, within
        0.5 % (2.5 % above that of saturated air at 40 degC).

        Parameters
        ----------
        altitude : quantity
            Height above the sea [m], -500 to 6000.
        temperature : quantity
            Temperature [K], 200 to 350: write "31 degC".
        relative_humidity : quantity
            Share of saturation [-], 0 to 1.
        pressure : quantity, optional
            Absolute pressure at the place [Pa], 30 to 120 kPa; not a pressure reduced to sea level.

        Raises
        ------
        InputError
            For a value out of range, or more vapour than the pressure allows.

        Warns
        -----
        OutsideRange
            Below -10 or above 50 degC, or outside 60 to 110 kPa: the formula was made for 15 to 27 degC
            and 60 to 110 kPa and is known to hold a good deal further in temperature.

        Examples
        --------
        >>> Air.at(altitude="420 m", temperature="31 degC", relative_humidity=0.35)
        Air(1.0974 kg/m3, 1.866e-05 Pa s, 304.15 K, 96380 Pa)
        """
        z = _checked("altitude", altitude, "m", -500.0, 6000.0, "")
        t = _checked("temperature", temperature, "K", 200.0, 350.0, "write '31 degC'")
        h = _checked("relative_humidity", relative_humidity, "", 0.0, 1.0, "write 0.35 or '35 %'")
        given = {"altitude": z, "temperature": t, "relative_humidity": h}
        if pressure is None:
            p = standard_pressure(z)
        else:
            p = _checked("pressure", pressure, "Pa", 30e3, 120e3, "absolute; write '960 hPa'")
            given["pressure"] = p
        _same_length(given)
        vapour = vapour_share(p, t, h)
        if np.any(np.greater(vapour, 0.5)):
            raise InputError(
                "so much water vapour cannot be in the air at this temperature and pressure",
                place="air: relative_humidity",
                allowed="a lower humidity or temperature",
            )
        _warn_far_out(p, t)
        air = cls(
            density=moist_density(p, t, vapour),
            viscosity=sutherland_viscosity(t),
            pressure=p,
            temperature=t,
            heat_capacity=_heat_capacity(vapour),
        )
        object.__setattr__(air, "weather", given)
        return air

    @property
    def constant(self) -> bool:
        """True when neither pressure nor heat changes the density."""
        return isinstance(self.pressure, float) and self.pressure == math.inf

    @property
    def columns(self) -> int | None:
        """The number of scenarios, None when every value is single."""
        sizes = [v.size for v in self._values() if isinstance(v, np.ndarray)]
        return sizes[0] if sizes else None

    def _values(self) -> tuple[Any, ...]:
        return self.density, self.viscosity, self.pressure, self.temperature, self.heat_capacity

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Air):
            return NotImplemented
        return all(np.array_equal(a, b) for a, b in zip(self._values(), other._values(), strict=True))

    def __hash__(self) -> int:
        return hash(tuple(np.asarray(v).tobytes() for v in self._values()))

    def __repr__(self) -> str:
        def text(value: Any, form: str) -> str:
            return f"<column of {value.size}>" if isinstance(value, np.ndarray) else format(value, form)

        words = [f"{text(self.density, '.5g')} kg/m3", f"{text(self.viscosity, '.4g')} Pa s"]
        words += ["constant"] if self.constant else []
        words += (
            []
            if self.constant
            else [f"{text(self.temperature, '.5g')} K", f"{text(self.pressure, '.5g')} Pa"]
        )
        return f"Air({', '.join(words)})"


def standard_pressure(altitude: Any) -> Any:
    """Pressure [Pa] of the standard atmosphere at an altitude [m] (ASHRAE Fundamentals 2021, chapter 1)."""
    return 101_325.0 * (1.0 - 2.25577e-5 * altitude) ** 5.2559


def vapour_share(pressure: Any, temperature: Any, relative_humidity: Any) -> Any:
    """Mole fraction of water vapour [-] by CIPM-2007, from [Pa], [K] and [-]."""
    t = temperature - _KELVIN
    saturation = np.exp(
        1.2378847e-5 * temperature**2 - 1.9121316e-2 * temperature + 33.93711047 - 6.3431645e3 / temperature
    )
    enhancement = 1.00062 + 3.14e-8 * pressure + 5.6e-7 * t**2
    return relative_humidity * enhancement * saturation / pressure


def moist_density(pressure: Any, temperature: Any, vapour: Any) -> Any:
    """Density [kg/m3] of moist air by CIPM-2007 (400 ppm CO2), from [Pa], [K] and vapour's mole fraction."""
    t = temperature - _KELVIN
    ratio = pressure / temperature
    compressibility = (
        1.0
        - ratio
        * (
            1.58123e-6
            - 2.9331e-8 * t
            + 1.1043e-10 * t**2
            + (5.707e-6 - 2.051e-8 * t) * vapour
            + (1.9898e-4 - 2.376e-6 * t) * vapour**2
        )
        + ratio**2 * (1.83e-11 - 0.765e-8 * vapour**2)
    )
    lighter = 1.0 - 18.01528 / 28.96546  # molar mass of vapour below that of air, relative
    return ratio * 28.96546e-3 / (compressibility * 8.314472) * (1.0 - lighter * vapour)


def sutherland_viscosity(temperature: Any) -> Any:
    """Dynamic viscosity [Pa s] of dry air at a temperature [K]; constants of the U.S. Standard Atmosphere."""
    return 1.458e-6 * temperature**1.5 / (temperature + 110.4)


def _heat_capacity(vapour: Any) -> Any:
    """Of moist air [J/kg K], by mass of dry air and vapour."""
    ratio = 0.6220 * vapour / (1.0 - vapour)
    return (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * ratio) / (1.0 + ratio)


def _checked(name: str, value: Any, measure: str, low: float, high: float, cure: str) -> Any:
    """A float or read-only 1-D array within a range; an InputError that names it otherwise."""
    place = f"air: {name}"
    try:
        out = si(value, measure)
    except InputError as err:
        raise err.at(place=place) from None
    if np.ndim(out) > 1 or np.size(out) == 0:
        raise InputError(f"a column of shape {np.shape(out)}", place=place, allowed="a number or a 1-D array")
    if not np.all(np.greater_equal(out, low) & np.less_equal(out, high)):
        worst = float(np.min(out) if np.min(out) < low else np.max(out))
        unit = f" {measure}" if measure else ""
        words = f"allowed: {low:g} to {high:g}{unit}" + (f" ({cure})" if cure else "")
        raise InputError(f"{worst:g}{unit} is out of range", place=place, allowed=words)
    if isinstance(out, np.ndarray):
        out.setflags(write=False)
    return out


def _same_length(values: dict[str, Any]) -> None:
    sizes = {name: value.size for name, value in values.items() if isinstance(value, np.ndarray)}
    first = next(iter(sizes), "")
    for name, size in sizes.items():
        if size != sizes[first]:
            raise InputError(
                f"{name} has {size} values, {first} has {sizes[first]}",
                place="air",
                allowed="columns of one length",
            )


def _warn_far_out(pressure: Any, temperature: Any) -> None:
    words = []
    if np.any((temperature < _KELVIN - 10.0) | (temperature > _KELVIN + 50.0)):
        words.append("a temperature outside -10 to 50 degC")
    if np.any((pressure < 60e3) | (pressure > 110e3)):
        words.append("a pressure outside 60 to 110 kPa")
    if words:
        warnings.warn(f"density of moist air used at {' and '.join(words)}", OutsideRange, stacklevel=3)
