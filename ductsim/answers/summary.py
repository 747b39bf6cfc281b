"""A solved machine in tables and sentences."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..crop.margins import crop_notes
from ..result import Note
from ..statistics import quantile
from ..wording import percent, said
from . import notes as noted
from .state import NO_VACUUM, MachineAnswer, mean_of

Row = dict[str, Any]


def about(found: MachineAnswer) -> str:
    """The weakest unit and its vacuum, or how many scenarios are solved."""
    return sentences(found, "metric")[0]


def tables(found: MachineAnswer) -> dict[str, list[Row]]:
    """The rows of the units, the fans and the tappings."""
    return {"units": found.rows(), "fans": found.fan_rows(), "tappings": found.tapping_rows()}


# ---- sentences


def sentences(found: MachineAnswer, measures: str) -> list[str]:
    """The answer in plain sentences, the weakest unit first."""
    if found.columns is not None:
        return _about_columns(found, measures)
    if not found.solved:
        return [str(found.failure())]
    out = _about_weakest(found, measures) if found.machine.layout.units else ["The machine has no units."]
    powers = [found.power[name] for name in found.machine.layout.fans]
    if powers:
        what = f"Its {len(powers)} fans take" if len(powers) > 1 else "Its fan takes"
        out.append(f"{what} {said(sum(powers), 'W', measures)} at the shaft.")
    return out


def _about_weakest(found: MachineAnswer, measures: str) -> list[str]:
    name = found.weakest
    if not name:
        return ["No unit's vacuum is known: every tapping is closed off."]
    if all(abs(vacuum) < NO_VACUUM for vacuum in found.vacuum.values()):
        return ["No unit has any vacuum."]
    own = found.by_unit[name]
    at = found.machine.layout.unit[name].vacuum_at
    mean = mean_of(list(found.vacuum.values()))
    answer = f"Unit {name} is weakest: {said(own['vacuum_Pa'], 'Pa', measures)} of vacuum at {at}"
    if len(found.by_unit) > 1 and mean:
        answer += f", {percent(own['share_of_mean'])} of the mean of {said(mean, 'Pa', measures)}"
    air = said(own["opening_air_kg_s"], "kg/s", measures)
    duct = said(own["duct_air_kg_s"], "kg/s", measures)
    fast = said(own["duct_velocity_m_s"], "m/s", measures)
    return [f"{answer}.", f"{air} of air enters by its openings; its duct carries {duct} at {fast}."]


def _about_columns(found: MachineAnswer, measures: str) -> list[str]:
    solved = int(np.sum(found.solved))
    out = []
    if found.machine.layout.units and solved:
        names, counts = np.unique(found.weakest[found.solved].astype(str), return_counts=True)
        first = int(np.argmax(counts))
        lowest = found.ask("weakest vacuum")
        low, mid, high = (said(quantile(lowest, share), "Pa", measures) for share in (0.05, 0.5, 0.95))
        out.append(
            f"Unit {names[first]} is weakest in {counts[first] / solved:.0%} of {solved:,} scenarios; "
            f"the weakest vacuum is {mid} (from {low} to {high} in nine of ten)."
        )
    if solved < len(found):
        out.append(f"{len(found) - solved:,} of {len(found):,} scenarios have no answer.")
    return out or [f"{solved:,} scenarios are solved."]


# ---- notes


def notes(found: MachineAnswer) -> list[Note]:
    """What deserves a look, of the network and of the machine."""
    out = [Note(text, "network") for text in found.network_notes]
    out += [Note(text, "names alike") for text in found.machine.layout.look_alikes]
    out += noted.of_machine(found)
    if found.machine.carries:
        out += crop_notes(found.machine, found)
    return out
