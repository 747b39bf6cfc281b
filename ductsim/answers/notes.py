"""What deserves a look in a solved machine, in sentences that know what they are about."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..quantity import RPM, show
from ..questions.gauges import opening_air
from ..result import Note
from .ends import format_notes
from .junctions import missed_losses, undeclared_boxes
from .limits import Limit, limits_of
from .solved import SolvedMachine

NO_FLOW = 1e-9
"""Flow below which nothing flows, only the solver's rounding [kg/s]."""

WORTH_SAYING = 0.01  # a difference in opening air of one per cent


def of_fan(state: SolvedMachine, name: str) -> list[Note]:
    """What is out of the ordinary about a fan, without its name, in a few words each."""
    out = []
    for limit in limits_of(state):
        over = _where(limit.passed, state)
        if limit.kind == "speed" and limit.name == name and over is not None:
            highest = float(np.min(limit.allowed))
            words = f"above its highest speed of {highest * RPM:,.0f} rpm{over}"
            out.append(Note(words, "limit passed", name, highest))
    key = state.machine.layout.path_keys(name)[0]
    backward = _where(np.asarray(state.flow[key]) < -NO_FLOW, state)
    if backward is not None:
        out.append(Note(f"blown through backwards{backward}", "backward flow", name))
    # drop is minus the rise: a negative slope means that more flow brings more pressure
    rising = _where((np.asarray(state.slope[key]) < 0.0) & (np.asarray(state.flow[key]) >= 0.0), state)
    if rising is not None:
        words = f"on a rising stretch of its curve, where a fan may surge{rising}"
        out.append(Note(words, "rising stretch", name))
    return out


def of_machine(state: SolvedMachine) -> list[Note]:
    """Sentences about fans, drives, ducts and units; none for a state without an answer."""
    if not np.any(state.solved):
        return []
    out = [
        Note(f"{name} is {note}.", note.kind, name, note.value)
        for name in state.machine.layout.fans
        for note in of_fan(state, name)
    ]
    ends = format_notes(state.machine.layout)
    return out + _of_drives(state) + _of_units(state) + missed_losses(state) + undeclared_boxes(state) + ends


def _of_drives(state: SolvedMachine) -> list[Note]:
    """Drives from which the fans ask more than they have."""
    return [
        _of_power(limit, state) for limit in limits_of(state) if limit.kind == "power" and limit.passed.any()
    ]


def _of_power(limit: Limit, state: SolvedMachine) -> Note:
    most = float(np.nanmax(limit.value))
    taken, there = (f"{value:,.1f} {spelled}" for value, spelled in _powers(state, most, limit))
    words = f"The fans on {limit.name} take {taken}, more than the {there} that the drive has"
    words += f"{_where(limit.passed, state)}."
    return Note(words, "limit passed", limit.name, most)


def _powers(state: SolvedMachine, most: float, limit: Limit) -> list[tuple[float, str]]:
    """What is taken and what there is, in the machine's own measures."""
    return [show(value, "W", state.machine.measures) for value in (most, float(np.min(limit.allowed)))]


def _of_units(state: SolvedMachine) -> list[Note]:
    out = []
    layout = state.machine.layout
    for unit in layout.units:
        backward = _where(np.asarray(state.flow[layout.path_keys(unit.duct)[0]]) < -NO_FLOW, state)
        if backward is not None:
            out.append(Note(f"Air flows backwards in {unit.duct}{backward}.", "backward flow", unit.duct))
        blown = _where(np.asarray(opening_air(state.machine, state, unit.name)) < -NO_FLOW, state)
        if blown is not None:
            words = f"Air blows out of the openings of unit {unit.name}{blown}."
            out.append(Note(words, "backward flow", unit.name))
    by_air, by_vacuum = state.weakest_by_air, state.weakest
    if state.columns is None and by_air and by_vacuum:
        gap = opening_air(state.machine, state, by_vacuum) - opening_air(state.machine, state, by_air)
        if by_air != by_vacuum and gap > WORTH_SAYING * abs(opening_air(state.machine, state, by_vacuum)):
            words = (
                f"By the air through its openings unit {by_air} is weakest, by vacuum unit {by_vacuum}: "
                f"begin with unit {by_vacuum}, whose vacuum a gauge shows."
            )
            out.append(Note(words, "weakest in doubt", by_air, gap))
    return out


def _where(mask: Any, state: SolvedMachine) -> str | None:
    """None where nothing is true, else the end of a sentence: in how many scenarios it is true."""
    count = int(np.sum(mask))
    if not count:
        return None
    if state.columns is None:
        return ""
    return f" in {count if np.ndim(mask) else state.columns:,} of {state.columns:,} scenarios"
