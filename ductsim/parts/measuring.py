"""How each number of a machine is measured on the machine, and how long that takes; common practice."""

from __future__ import annotations

from typing import NamedTuple


class Way(NamedTuple):
    """How a number is measured.

    Attributes
    ----------
    how : str
        In a few words.
    minutes : float
        For one such number, the machine standing and cool unless it says otherwise [min].
    """

    how: str
    minutes: float


TAPE = Way("tape measure", 2.0)
BY_READINGS = Way("no tape tells: read vacuums at several places and run fit", 30.0)
WAYS = {
    "area": Way("tape: width times height, or diameter; less what stands in it", 3.0),
    "nozzle_area": Way("callipers across the nozzle's mouth, two ways", 5.0),
    "mixing_area": Way("tape inside the section where the streams mix", 5.0),
    "length": Way("tape along the centre line", 2.0),
    "diameter": Way("tape around the outside, over 3.14, less twice the wall", 2.0),
    "width": Way("tape inside; a gap's with feeler gauges at several places", 2.0),
    "height": TAPE,
    "rise": Way("tape from the lower end up to the level of the higher", 2.0),
    "radius": Way("tape from the centre of the bend to the duct's centre line", 2.0),
    "angle": Way("angle gauge, or by eye from 30, 45, 60 and 90 deg", 1.0),
    "engine_speed": Way("tachometer on the pulley, engine running", 3.0),
    "speed": Way("tachometer on the shaft's end, from outside its guard", 3.0),
    "driving_pulley": Way("tape around the belt's pitch line, over 3.14", 5.0),
    "driven_pulley": Way("tape around the belt's pitch line, over 3.14", 5.0),
    "slip": Way("tachometer on both shafts: what the fan lacks of the pulleys' ratio", 6.0),
    "pressure_scale": Way("tape all openings shut, run, read the box: typical = {..., pressure = ...}", 20.0),
    "total_pressure": Way("the maker's curve; else read the pressure across the fan and run fit", 20.0),
    "static_pressure": Way("the maker's curve; else read the pressure across the fan and run fit", 20.0),
    "outlet_area": TAPE,
    "shaft_power": Way("the maker's curve", 10.0),
    "efficiency": Way("the maker's curve", 10.0),
    "soiling": Way("look at the blades through the inlet, the fan standing and locked", 10.0),
    "open_fraction": Way("count the holes in a square of one hand's width, times a hole's area", 5.0),
    "blinded": Way("look: share of the holes that lint closes", 1.0),
    "altitude": Way("a map or a phone", 1.0),
    "temperature": Way("thermometer in the shade where the fan draws in", 1.0),
    "inlet_temperature": Way("thermometer where the fan draws in, running", 3.0),
    "relative_humidity": Way("hygrometer, or the weather report", 1.0),
    "pressure": Way("barometer, not reduced to the sea", 1.0),
    "kink": Way("look along the hose; callipers across the kink", 2.0),
    "stretch": Way("tape the hose installed and pulled out", 10.0),
    "depth": TAPE,
    "surface": TAPE,
    "crop_yield": Way("weigh what is picked from a measured length of row", 60.0),
    "ground_speed": Way("time over a measured length, or the cab's display", 5.0),
    "row_spacing": TAPE,
}
"""Name of a number -> how it is measured; what is not in it shows by readings alone."""

GIVEN = frozenset(
    ("altitude", "temperature", "inlet_temperature", "relative_humidity", "pressure")  # the weather
    + ("pressure_scale", "total_pressure", "static_pressure", "shaft_power", "efficiency")  # the maker's fan
    + ("crop_yield", "row_spacing")  # the field
)
"""Numbers that are measured, but that no work on the machine changes."""


def can_be_changed(number_key: str) -> bool:
    """Whether work on the machine changes the number of that name: what a tape or a look tells, mostly."""
    name = number_key.rpartition(".")[2].partition("[")[0]
    return name in WAYS and name not in GIVEN


def way_of(number_key: str) -> Way:
    """How the number of that name is measured; "bend 1.radius" and "flow[2]" are their last words."""
    return WAYS.get(number_key.rpartition(".")[2].partition("[")[0], BY_READINGS)
