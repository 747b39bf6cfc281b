"""The words that crop adds to the vocabulary: carrying margins and the ground speed."""

from __future__ import annotations

from typing import Any

from ..answers.state import solve
from ..crop.crop import with_crop
from ..crop.margins import carrying_margin
from ..description.data import MachineData
from ..description.layout import Layout
from ..questions.vocabulary import Question, add_word
from .limit import speed_limit


def _of_units(layout: Layout) -> list[str]:
    return ["", *(unit.name for unit in layout.units)] if layout.crop is not None else []


@add_word("carrying margin", _of_units)
def _carrying_margin(layout: Layout, name: str) -> Question:
    label = f"carrying margin of unit {name}" if name else "carrying margin"
    of = f"carrying margin {name}".strip()
    if not layout.carried:  # asked of empty ducts: solved with crop for itself
        return Question(of, "", label, lambda machine, _: _loaded_margin(machine, name))
    return Question(
        of,
        "",
        label,
        lambda machine, flows: carrying_margin(machine, flows, name),
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
    )
