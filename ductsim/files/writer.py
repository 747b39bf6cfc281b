"""A machine as a file: every repeated part spelled out, every number with its measure."""

from __future__ import annotations

import os
from typing import Any

from ..crop.crop import without_crop
from ..description.data import MachineData
from ..description.equipment import GivenAir
from ..documents.document import MACHINE_FORMAT
from ..errors import InputError
from ..measures import find_measure
from ..parts.declare import Chosen, Nested, Number, Part, Schema, Word
from ..quantity import measure_text
from ..version import VERSION
from ..writing import write_text

HEADER = "# Written by ductsim {version}. A bare number is SI (m, m2, Pa, kg/s, rad/s, rad, K).\n\n"


def document(machine: MachineData) -> dict[str, Any]:
    """The tables of the machine's file.

    Raises
    ------
    InputError
        For a machine with columns: a file holds one machine; and for a network's air that no file describes.
    """
    if machine.columns is not None:
        raise InputError(
            f"the machine has {machine.columns:,} scenarios", place="write", allowed="one of them: machine[0]"
        )
    machine = without_crop(machine)
    layout, numbers = machine.layout, machine.numbers
    if layout.air.part is GivenAir:
        raise InputError(
            "a machine file has no words for air given by its pressure and its density",
            place="write",
            allowed="ds.Air.at(...), the weather, or a constant ds.Air(density=...)",
        )
    out: dict[str, Any] = {"format": MACHINE_FORMAT, "ductsim": VERSION}
    if machine.sha256:
        out["input_sha256"] = machine.sha256
    out["title"] = layout.title
    if machine.measures != "metric":
        out["measures"] = machine.measures
    if layout.boxes:
        out["boxes"] = list(layout.boxes)
    out["air"] = fields(layout.air, "air", numbers)
    if layout.drives:
        out["drive"] = {
            d.name: {"kind": d.schema.part.kind, **fields(d.schema, d.name, numbers)} for d in layout.drives
        }
    for key, node_key in (("hold", layout.held), ("supply", layout.supplied)):
        if node_key:
            out[key] = [{"node": node, **fields(schema, node, numbers)} for node, schema in node_key]
    if layout.crop is not None:
        out["crop"] = fields(layout.crop, "crop", numbers)
    out.update(layout.free)
    said = frozenset[str]() if layout.free_ends else layout.open_nodes
    out["part"] = [_part(part, numbers, said) for part in layout.parts]
    if layout.tappings:
        out["tapping"] = [_tapping(tapping, numbers) for tapping in layout.tappings]
    if layout.units:
        out["unit"] = [_unit(unit) for unit in layout.units]
    return out


def _part(part: Any, numbers: Any, said: frozenset[str]) -> dict[str, Any]:
    """The table of a part; its ends at the nodes `said`, where nothing was lost, say that they are ducted."""
    kind = part.schema.part
    assert issubclass(kind, Part)
    out = {"name": part.name, "kind": kind.kind, **dict(zip(kind.ends, part.ends, strict=True))}
    if part.drive:
        out["drive"] = part.drive
    if part.note:
        out["note"] = part.note
    shape = dict(part.schema.shape)
    ends = {key: word for key, word in kind.ducted(part.ends, said).items() if shape.get(key) is None}
    return {**out, **ends, **fields(part.schema, part.name, numbers, skip="speed" if part.drive else "")}


def _tapping(tapping: Any, numbers: Any) -> dict[str, Any]:
    out = {"name": tapping.name, "path": tapping.path, "end": tapping.end}
    if tapping.access != "easy":
        out["access"] = tapping.access
    out["minutes"] = f"{tapping.minutes!r} min"
    if tapping.note:
        out["note"] = tapping.note
    return {**out, **fields(tapping.schema, tapping.name, numbers)}


def _unit(unit: Any) -> dict[str, Any]:
    out = {"name": unit.name, "vacuum_at": unit.vacuum_at, "duct": unit.duct, "openings": list(unit.openings)}
    return {**out, "note": unit.note} if unit.note else out


def fields(schema: Schema, name: str, numbers: Any, skip: str = "") -> dict[str, Any]:
    """The keys of a thing of this schema, with the numbers found under `name` in `numbers`."""
    out: dict[str, Any] = {}
    shapes = dict(schema.shape)
    implied = schema.part.implied if issubclass(schema.part, Part) else lambda field, shapes: ""
    for field, shape in schema.shape:
        declared = schema.part.declared[field]
        if shape is None or field == skip:
            continue
        if shape is True and _word(numbers[f"{name}.{field}"]) == (implied(field, shapes) or None):
            continue
        if isinstance(declared, Word):
            out[field] = shape
        elif isinstance(declared, Nested):
            if shape:
                out[field] = [
                    fields(inner, f"{name}.{declared.name} {i + 1}", numbers) for i, inner in enumerate(shape)
                ]
        elif declared.points:
            out[field] = [_quantity(numbers[f"{name}.{field}[{i}]"], declared) for i in range(shape)]
        else:
            out[field] = _quantity(numbers[f"{name}.{field}"], declared)
    return out


def _word(value: Any) -> str:
    """The word that stood for a number; an empty text for a plain number."""
    return value.choice.word if isinstance(value, Chosen) else ""


def _quantity(value: float, declared: Number) -> Any:
    """A text that reads back to exactly this number: its word or its measure; the bare number of a ratio."""
    if isinstance(value, Chosen):
        return value.choice.word
    if not declared.measure or find_measure(declared.measure) is None:
        return value
    return measure_text(value, declared.measure)


def write(machine: MachineData, path: str | os.PathLike[str]) -> None:
    """Write the machine's file in one piece: to a file beside it first, which then takes its place.

    Raises
    ------
    InputError
        For a machine with columns, and where nothing can be written.
    """
    write_text(path, text_of(machine))


def text_of(machine: MachineData) -> str:
    """The text of the machine's file.

    Raises
    ------
    InputError
        For a machine with columns.
    """
    import tomli_w

    return HEADER.format(version=VERSION) + tomli_w.dumps(document(machine))
