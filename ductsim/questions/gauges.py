"""What a manometer, a flow or a power reading would be, worked out from flows and node pressures.

Everything here reads only `flow`, `pressure` and `temperature` of a state (or of anything that has these
three mappings) and the machine's numbers, so that an answer can be differentiated by nudging them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple, Protocol

import numpy as np

from ..air import Air
from ..description.data import MachineData
from ..network.groups import PathName
from ..parts.declare import Path


class Flows(Protocol):
    """Where an answer is read from: mass flows [kg/s], total pressures [Pa gauge], temperatures [K]."""

    @property
    def flow(self) -> Mapping[PathName, Any]:
        """Path -> mass flow [kg/s]."""

    @property
    def pressure(self) -> Mapping[str, Any]:
        """Node -> total pressure [Pa gauge]."""

    @property
    def temperature(self) -> Mapping[str, Any]:
        """Node -> air temperature [K]."""


class Pressures(NamedTuple):
    """The three pressures at a tapping [Pa gauge]: static = total - velocity."""

    static: Any
    total: Any
    velocity: Any


def air_density(air: Air, pressure: Any, temperature: Any) -> Any:
    """Density [kg/m3] at a gauge pressure [Pa] and a temperature [K]."""
    if air.constant:
        return air.density + 0.0 * np.asarray(pressure) if np.ndim(pressure) else air.density
    return air.density * (air.temperature / temperature) * (1.0 + pressure / air.pressure)


def end_flow(machine: MachineData, flows: Flows, part: str, end: str) -> Any:
    """Flow through one end of a part towards its node [kg/s]; a jet's discharge carries both streams."""
    layout = machine.layout
    out: Any = 0.0
    for key, sign in layout.paths_at(part, end, machine.system):
        out = out + sign * flows.flow[key]
    return out


def tapping_pressures(machine: MachineData, flows: Flows, name: str) -> Pressures:
    """What a manometer reads at a tapping; the velocity pressure in the section is m^2 / (2 rho A^2)."""
    tapping = machine.layout.tapping[name]
    node = machine.layout.end_node(tapping.path, tapping.end)
    total = flows.pressure[node]
    mass_flow = end_flow(machine, flows, tapping.path, tapping.end)
    density = air_density(machine.air(), total, flows.temperature[node])
    area = machine.numbers[f"{name}.area"]
    flux = mass_flow / area
    velocity = flux * flux / (2.0 * density)
    return Pressures(total - velocity, total, velocity)


def opening_air(machine: MachineData, flows: Flows, unit: str) -> Any:
    """Air that enters through a unit's crop openings [kg/s], counted inward."""
    layout = machine.layout
    out: Any = 0.0
    for name in layout.unit[unit].openings:
        inward = -1.0 if layout.part[name].ends[-1] == "outside" else 1.0
        out = out + inward * flows.flow[layout.path_keys(name)[0]]
    return out


def stacked_path(machine: MachineData, name: str) -> Path:
    """The single path of a part, its coefficients of shape (1, 1) or (1, S)."""
    entry = machine.layout.part[name]
    numbers = machine.part_numbers()
    numbers_of_part = [
        np.atleast_1d(np.asarray(numbers[f"{name}.{number_key}"], dtype=float))[None, :]
        for number_key in entry.schema.number_keys
    ]
    path = entry.schema.build(numbers_of_part).paths()[0]
    assert isinstance(path, Path)
    return path


def inlet_density(machine: MachineData, flows: Flows, name: str, path: Path) -> Any:
    """Density of the air that a fan draws in [kg/m3]."""
    key = machine.layout.path_keys(name)[0]
    start, finish = (machine.layout.part[name].ends[i] for i in path.ends)
    forward = np.asarray(flows.flow[key]) >= 0.0
    temperature = np.where(forward, flows.temperature[start], flows.temperature[finish])
    if path.inlet_temperature is not None:
        own = np.asarray(path.inlet_temperature)[0]
        temperature = np.where(forward & ~np.isnan(own), own, temperature)
    out = air_density(machine.air(), flows.pressure[start], temperature)
    return out if np.ndim(out) else float(out)


def shaft_power(machine: MachineData, flows: Flows, name: str) -> Any:
    """Shaft power of a fan [W]."""
    path = stacked_path(machine, name)
    assert path.power is not None
    key = machine.layout.path_keys(name)[0]
    flow = np.atleast_1d(np.asarray(flows.flow[key], dtype=float))[None, :]
    density = np.atleast_1d(np.asarray(inlet_density(machine, flows, name, path), dtype=float))[None, :]
    out = np.asarray(path.power(flow, density, **path.coefficients))[0]
    return out if _is_column(flows.flow[key]) or out.size > 1 else float(out[0])


def _is_column(value: Any) -> bool:
    return isinstance(value, np.ndarray) and value.ndim > 0


def least(values: list[Any]) -> Any:
    """The smallest of several floats or columns, NaN left out where another is known."""
    out = values[0]
    for value in values[1:]:
        out = np.fmin(out, value)
    return out if np.ndim(out) else float(out)
