"""The words that crop adds to the vocabulary: carrying margins and the ground speed."""

from __future__ import annotations

from typing import Any

from ..answers.state import solve
from ..crop.described import with_crop
from ..crop.margins import carrying_margin, crop_nodes, crop_path, places
from ..description.data import MachineData
from ..description.layout import Layout
from ..network.system import OUTSIDE
from ..questions.vocabulary import Question, add_word
from .limit import speed_limit


def everything(layout: Layout) -> tuple[str, ...]:
    """Every address: what a question reads that solves for itself."""
    return tuple(layout.declared)


def _of_units(layout: Layout) -> list[str]:
    return ["", *(unit.name for unit in layout.units)] if layout.crop is not None else []


@add_word("carrying margin", _of_units)
def _carrying_margin(layout: Layout, name: str) -> Question:
    label = f"carrying margin of unit {name}" if name else "carrying margin"
    of = f"carrying margin {name}".strip()
    if not layout.carried:  # asked of empty ducts: solved with crop for itself
        return Question(
            of, "", label, lambda machine, _: _loaded_margin(machine, name), reads_numbers=everything(layout)
        )
    judged = [p for p in places(layout) if not name or name in p.units]
    parts = dict.fromkeys(p.part for p in judged)
    numbers = [
        a for a in layout.declared if a.partition(".")[0] in ("air", "crop") or a.rpartition(".")[0] in parts
    ]
    return Question(
        of,
        "",
        label,
        lambda machine, flows: carrying_margin(machine, flows, name),
        reads_paths=tuple(crop_path(layout, part) for part in parts),
        reads_nodes=tuple(
            dict.fromkeys(n for part in parts for n in crop_nodes(layout, part) if n != OUTSIDE)
        ),
        reads_numbers=tuple(numbers),
    )


def _loaded_margin(machine: MachineData, name: str) -> Any:
    loaded = with_crop(machine)
    return carrying_margin(loaded, solve(loaded, raise_error=False), name)


def _of_machine(layout: Layout) -> list[str]:
    return [""] if layout.crop is not None else []


@add_word("ground speed", _of_machine)
def _ground_speed(layout: Layout, name: str) -> Question:
    """The speed does not depend on today's flows: it is solved for anew; belts slip as they do now."""
    return Question(
        "ground speed",
        "m/s",
        "ground speed at which the crop begins to stay behind",
        lambda machine, _: speed_limit(with_crop(machine)),
        reads_numbers=everything(layout),
    )
