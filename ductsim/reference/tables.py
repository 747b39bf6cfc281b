"""The file format, the words of `of`, the commands' options: read off what reads and declares them."""

from __future__ import annotations

import inspect
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from ..crop.box import Box
from ..crop.crop import Crop
from ..description.equipment import Belt, ConstantAir, Held, Section, Supplied, Weather
from ..description.layout import Tapping, Unit
from ..description.spreads import Spread
from ..documents.document import MACHINE_FORMAT
from ..files.headers import HEADER, OF_STRETCH
from ..files.reader import DRIVES, FREE_KEYS
from ..files.templates import EACH_UNIT, OF_UNIT
from ..fixes.file import KEYS as FIX_KEYS
from ..fixes.fix import Fix
from ..machine import demos
from ..measures import WORDS as MEASURED
from ..measures import spellings
from ..parts import KINDS
from ..parts.declare import Part
from ..parts.documented import alternatives, number_rows
from ..parts.duct import Duct
from ..questions.vocabulary import WORDS
from ..readings.table import COLUMNS, MEASURES, QUANTITIES, Reading
from ..speed.calibrating import CALIBRATED
from ..speed.runs import Run
from ..studies.balance import Trim
from .docstrings import entry_docs, summary

Row = dict[str, str]
TAPPING_KEYS = ("name", "path", "end", "access", "minutes", "note")

GENERAL = {
    "format": f"the format of the file: {MACHINE_FORMAT}, or 1 of earlier files",
    "title": "a line about the machine",
    "measures": "metric or inch: in which answers are told; --measures overrides it",
    "ductsim": "the version that wrote the file, where it was written by one",
    "input_sha256": "the fingerprint of the file that a written one was made from",
    "name": "its name, by which everything else calls it",
    "note": "a remark",
    "kind": f"what it is: {', '.join(KINDS)}",
    "node": "the node's name",
    "part": "parts that each unit has: [[each_unit.part]]",
    "tapping": "tappings that each unit has: [[each_unit.tapping]]",
    "drive": "the drive that turns it, in place of its speed",
    "boxes": "nodes where air comes to rest: no loss of a junction is missed there",
    "from": "the node where it begins, at the end of the farthest duct",
    "to": "the node where it ends",
    "diameter": "the bore where it begins",
    "area": "the section where it begins, in place of the diameter",
    "angle": "the angle at which the branches join",
    "branch_diameter": "the bore of the branches",
    "branch_area": "the section of the branches, in place of their diameter",
    "stretch": "its stretches, from its begin on: [[header.stretch]]",
    "branches": "the nodes where the branches end that join at its start, in their order",
    "likely": "the value that is believed likeliest",
    "low": "the smallest value",
    "high": "the largest value",
    "number": "an address, or a pattern with *",
    "value": "what was read, with its measure",
    "cost": "what it costs, in any one currency",
    "distance": "the end of each stretch, along the row",
    "engine_speed": "the engine's speed, as the tachometer showed it",
    "fan_speed": "the speed of the fan's shaft, where that was read instead",
    "temperature": "temperature of the open air when it was read",
    "pressure": "absolute pressure of the open air when it was read",
    "relative_humidity": "humidity of the open air when it was read",
}
"""What keys mean that no declaration and no docstring explains."""


@dataclass
class FileTable:
    """One table of a file, or the columns of a CSV file.

    Attributes
    ----------
    key : str
        For its anchor.
    head : str
        As it stands in the file: "[air]", "[[part]]".
    about : str
        A sentence or two.
    rows : list of dict
        A row for each key: key, measure, range, default, spread, meaning.
    """

    key: str
    head: str
    about: str
    rows: list[Row]


def plain_rows(keys: Iterable[str], *classes: Any, measures: Mapping[str, Any] | None = None) -> list[Row]:
    """Rows for keys that are no declared numbers; what they mean stands in the docstrings of `classes`."""
    told: dict[str, str] = {}
    for cls in reversed(classes):
        told |= {key: text for key, text in entry_docs(inspect.getdoc(cls) or "").items() if text}
    out = []
    for key in keys:
        meaning = (told.get(key) or GENERAL[key]).rstrip(".")
        meaning = meaning if meaning[1:2].isupper() else _lowered(meaning)
        measure = str((measures or {}).get(key) or "")
        out.append(
            {"key": key, "measure": measure, "range": "", "default": "", "spread": "", "meaning": meaning}
        )
    return out


def machine_tables() -> list[FileTable]:
    """The tables of a machine file, those of the parts aside."""

    def declared(key: str, head: str, kind: Any, first: list[Row], about: str = "") -> FileTable:
        told = " ".join(word for word in (about or summary(_own_words(kind)), alternatives(kind)) if word)
        return FileTable(key, head, told, [*first, *number_rows(kind)])

    free = {
        "unknown": ("numbers that readings shall tell, with what is believed of them before", ()),
        "trim": ("numbers that may be set to even the units out", (Trim,)),
        "spread": (
            "how numbers scatter; with any, all others stand still, else all have their usual spreads",
            (Spread,),
        ),
    }
    return [
        FileTable(
            "top",
            "the head",
            "A machine file is TOML. A bare number is SI; a text carries its measure.",
            plain_rows(("format", "title", "measures", "boxes", "note", "ductsim", "input_sha256")),
        ),
        declared("air", "[air]", Weather, []),
        declared(
            "constant-air", "[air]", ConstantAir, [], "Or " + _lowered(summary(_own_words(ConstantAir)))
        ),
        declared("drive", "[drive.NAME]", Belt, [_kind_of_drive()]),
        FileTable(
            "part",
            "[[part]]",
            "One part of the air path. Its other keys are those of its kind, below: its ends, each a node "
            'or "outside", and its numbers.',
            plain_rows(("name", "kind", "drive", "note")),
        ),
        *_header_tables(),
        declared(
            "tapping",
            "[[tapping]]",
            Section,
            plain_rows(TAPPING_KEYS, Tapping),
            summary(Tapping.__doc__ or ""),
        ),
        FileTable("unit", "[[unit]]", summary(Unit.__doc__ or ""), plain_rows(OF_UNIT, Unit)),
        FileTable(
            "each-unit",
            "[each_unit]",
            "What every unit has is written once; {unit} and any key of a [[unit]] in braces is filled in.",
            plain_rows(EACH_UNIT, Unit),
        ),
        declared("hold", "[[hold]]", Held, plain_rows(("node",))),
        declared("supply", "[[supply]]", Supplied, plain_rows(("node",))),
        declared("crop", "[crop]", Crop, []),
        declared("fill", "[fill]", Box, []),
        *(
            FileTable(
                key, f"[[{key}]]", f"{about[:1].upper()}{about[1:]}.", plain_rows(FREE_KEYS[key], *classes)
            )
            for key, (about, classes) in free.items()
        ),
    ]


def _header_tables() -> list[FileTable]:
    """A shared duct with branches, and its stretches."""
    measures = {"diameter": "m", "area": "m2", "angle": "rad", "branch_diameter": "m", "branch_area": "m2"}
    return [
        FileTable(
            "header",
            "[[header]]",
            "A shared duct with branches, written once: stands for its ducts and a merge for each branch.",
            plain_rows(HEADER, measures=measures),
        ),
        FileTable(
            "header-stretch",
            "[[header.stretch]]",
            "A duct of the header, with any key of a duct, and the branches that join at its start. What it "
            "does not say of them the header says.",
            [*plain_rows(OF_STRETCH, measures=measures), *number_rows(Duct)],
        ),
    ]


def _kind_of_drive() -> Row:
    return {**plain_rows(("kind",))[0], "meaning": f"what it is: {', '.join(DRIVES)}, which may be left out"}


def companion_tables() -> list[FileTable]:
    """The files that go with a machine: fixes, readings, what was seen, yields along a row."""
    seen = {"ground_speed": "m/s", "crop_yield": "kg/m2", "blocked": ""}
    field = {"distance": "m", "crop_yield": "kg/m2"}
    quantities = ", ".join(QUANTITIES)
    return [
        FileTable("fixes", "fixes.toml, [[fix]]", summary(Fix.__doc__ or ""), plain_rows(FIX_KEYS, Fix)),
        FileTable(
            "readings",
            "readings.csv",
            f"Only tapping and value are needed. A quantity is one of {quantities}.",
            plain_rows(COLUMNS, Reading, measures=MEASURES),
        ),
        FileTable(
            "seen",
            "seen.csv",
            f"At which speeds the machine ran or blocked; it tells one of {', '.join(CALIBRATED)}.",
            plain_rows(seen, Run, measures=seen),
        ),
        FileTable(
            "field",
            "field.csv",
            "The yield along a row, stretch by stretch.",
            [
                *plain_rows(("distance",), measures=field),
                *plain_rows(("crop_yield",), Crop, measures=field),
            ],
        ),
    ]


def measure_rows() -> list[Row]:
    """A row for each kind of quantity: in words, and the measures that a text may carry, SI first."""
    return [
        {"quantity": words, "measures": ", ".join(name or "plain number" for name in spellings(dimension))}
        for dimension, words in MEASURED.items()
    ]


def other_rows(kind: Any) -> list[Row]:
    """Rows for what a part's table in a file may say in place of its numbers (a fan's assumed curve)."""
    if not issubclass(kind, Part):
        return []
    return [
        {
            "key": key,
            "measure": "",
            "range": f"a table of {', '.join(names)}; may hold {', '.join(kind.assumed_more.get(key, ()))}"
            if kind.assumed_more.get(key)
            else f"a table of {', '.join(names)}",
            "default": "optional",
            "spread": "",
            "meaning": f"in place of the curve: {_lowered(summary(_own_words(getattr(kind, key))))}",
        }
        for key, names in kind.assumed.items()
    ]


def _own_words(kind: Any) -> str:
    return inspect.cleandoc(kind.__doc__ or "")


def _lowered(text: str) -> str:
    return text[:1].lower() + text[1:]


def word_rows() -> list[Row]:
    """The words of `of`: what may follow them, an example, its measure and meaning."""
    layout = demos.demo("picker").layout
    rows = []
    for words, known in WORDS.items():
        names = list(known.names(layout))
        asked = known.make(layout, names[0]) if names else None
        rows.append(
            {
                "words": words,
                "followed_by": _following(layout, names),
                "example": asked.of if asked else "",
                "measure": (asked.measure or "-") if asked else "",
                "meaning": asked.label if asked else "",
            }
        )
    part = layout.parts[0].name
    for what, measure, meaning in (("flow", "kg/s", "air in"), ("drop", "Pa", "loss of total pressure in")):
        rows.append(
            {
                "words": f"PATH.{what}",
                "followed_by": "",
                "example": f"{part}.{what}",
                "measure": measure,
                "meaning": f"{meaning} {part}",
            }
        )
    return rows


def _following(layout: Any, names: list[str]) -> str:
    """What may follow the words, in a word: a unit, a tapping, a fan; nothing."""
    kinds = {
        "a unit": {unit.name for unit in layout.units},
        "a tapping": {tapping.name for tapping in layout.tappings},
        "a fan": {part.name for part in layout.parts if "speed" in part.schema.part.declared},
    }
    given = {name for name in names if name}
    words = next(
        (word for word, known in kinds.items() if given and given == known), "a node" if given else "nothing"
    )
    return f"{words}, or nothing" if given and "" in names else words


def option_rows(command: Any) -> list[Row]:
    """A row for each argument of a command: how it is written, and its help."""
    rows = []
    for action in command.parser()._actions:
        if "-h" in action.option_strings:
            continue
        value = str(action.metavar or action.dest) if action.nargs != 0 else ""
        rows.append(
            {
                "option": " ".join([*action.option_strings[:1], value]).strip(),
                "meaning": str(action.help or ""),
            }
        )
    return rows
