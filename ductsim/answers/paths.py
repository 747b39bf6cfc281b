"""The rows of a solved air path: its paths, its nodes, its fans."""

from __future__ import annotations

from ..network.groups import OUTSIDE
from ..result import Row
from ..statistics import middle
from .state import MachineAnswer


def tables_of(state: MachineAnswer) -> dict[str, list[Row]]:
    """The paths, the nodes and the fans; of columns the medians of the scenarios with an answer."""
    return {"paths": path_rows(state), "nodes": node_rows(state), "fans": state.fan_rows()}


def path_rows(state: MachineAnswer) -> list[Row]:
    """A row for each path: its part, which of the part's paths, flow, drop, density."""
    out = []
    for part in state.machine.layout.parts:
        for key in state.machine.layout.path_keys(part.name):
            out.append(
                {
                    "part": part.name,
                    "path": "" if isinstance(key, str) else key[1],
                    "kind": part.schema.part.kind,
                    "flow_kg_s": middle(state.flow[key]),
                    "drop_Pa": middle(state.drop[key]),
                    "density_kg_m3": middle(state.density[key]),
                }
            )
    return out


def node_rows(state: MachineAnswer) -> list[Row]:
    """A row for each node but the open air: total pressure, temperature."""
    return [
        {
            "node": node,
            "pressure_Pa": middle(state.pressure[node]),
            "temperature_K": middle(state.temperature[node]),
        }
        for node in state.pressure
        if node != OUTSIDE
    ]
