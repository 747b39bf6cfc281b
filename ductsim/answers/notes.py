"""What deserves a look in a solved machine, in sentences."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from ..questions.gauges import fans, opening_air
from .solved import SolvedMachine

WORTH_SAYING = 0.01  # a difference in opening air of one per cent
RPM = 60.0 / (2.0 * math.pi)


def of_fan(state: SolvedMachine, name: str) -> list[str]:
    """What is out of the ordinary about a fan, without its name, in a few words each."""
    out = []
    numbers = state.machine.part_numbers()
    highest = numbers.get(f"{name}.highest_speed")
    if highest is not None:
        over = _where(np.asarray(numbers[f"{name}.speed"]) > np.asarray(highest) * (1.0 + 1e-12), state)
        if over is not None:
            out.append(f"above its highest speed of {_least(highest) * RPM:,.0f} rpm{over}")
    key = state.machine.layout.path_keys(name)[0]
    backward = _where(np.asarray(state.flow[key]) < 0.0, state)
    if backward is not None:
        out.append(f"blown through backwards{backward}")
    # drop is minus the rise: a negative slope means that more flow brings more pressure
    rising = _where((np.asarray(state.slope[key]) < 0.0) & (np.asarray(state.flow[key]) >= 0.0), state)
    if rising is not None:
        out.append(f"on a rising stretch of its curve, where a fan may surge{rising}")
    return out


def of_machine(state: SolvedMachine) -> list[str]:
    """Sentences about fans, drives, ducts and units; none for a state without an answer."""
    if not np.any(state.solved):
        return []
    out = [f"{name} is {note}." for name in fans(state.machine) for note in of_fan(state, name)]
    return out + _of_drives(state) + _of_units(state)


def _of_drives(state: SolvedMachine) -> list[str]:
    """Drives from which the fans ask more than they have."""
    out = []
    layout = state.machine.layout
    for drive in layout.drives:
        available = state.machine.numbers.get(f"{drive.name}.available_power")
        names = [part.name for part in layout.parts if part.drive == drive.name and part.name in state.power]
        if available is None or not names:
            continue
        taken: Any = sum(state.power[name] for name in names)
        short = _where(np.asarray(taken) > np.asarray(available), state)
        if short is not None:
            most = float(np.nanmax(taken)) / 1000.0
            out.append(
                f"The fans on {drive.name} take {most:,.1f} kW, more than the "
                f"{_least(available) / 1000.0:,.1f} kW that the drive has{short}."
            )
    return out


def _of_units(state: SolvedMachine) -> list[str]:
    out = []
    layout = state.machine.layout
    for unit in layout.units:
        backward = _where(np.asarray(state.flow[layout.path_keys(unit.duct)[0]]) < 0.0, state)
        if backward is not None:
            out.append(f"Air flows backwards in {unit.duct}{backward}.")
        blown = _where(np.asarray(opening_air(state.machine, state, unit.name)) < 0.0, state)
        if blown is not None:
            out.append(f"Air blows out of the openings of unit {unit.name}{blown}.")
    by_air, by_vacuum = state.weakest_by_air, state.weakest
    if state.columns is None and by_air and by_vacuum:
        gap = opening_air(state.machine, state, by_vacuum) - opening_air(state.machine, state, by_air)
        if by_air != by_vacuum and gap > WORTH_SAYING * abs(opening_air(state.machine, state, by_vacuum)):
            out.append(
                f"By the air through its openings unit {by_air} is weakest, by vacuum unit {by_vacuum}."
            )
    return out


def _where(mask: Any, state: SolvedMachine) -> str | None:
    """None where nothing is true, else the end of a sentence: in how many scenarios it is true."""
    count = int(np.sum(mask))
    if not count:
        return None
    if state.columns is None:
        return ""
    return f" in {count if np.ndim(mask) else state.columns:,} of {state.columns:,} scenarios"


def _least(value: Any) -> float:
    return float(np.min(value))
