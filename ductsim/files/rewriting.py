"""A machine file of format 1 as one of format 2 that means the same, its comments and templates kept."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from ..description.data import MachineData
from ..documents.document import check_format, parse, tables
from ..errors import InputError
from ..network.groups import OUTSIDE
from ..parts import KINDS
from .reader import read_tables
from .writer import text_of

_TABLE = re.compile(r"\s*\[+\s*([A-Za-z_.\s\"'-]+?)\s*\]+")
_FORMAT = re.compile(r"^(\s*format\s*=\s*)1\b", re.M)
SAID = '{} = "{}"{}'
WHY = "    # as format 1 meant it: delete this line where the end is free"


def rewritten(text: str) -> str:
    """The text of a file of format 1 as format 2, in which each end that lost nothing says that it is ducted.

    Lines are added and none is lost. A file that is written in another way than table by table is written
    anew from what was read, with every repeated part spelled out.

    Raises
    ------
    InputError
        For a file that cannot be read, or is of format 2 already.
    """
    document = parse(text)
    if check_format(document, newest=2) > 1:
        raise InputError("is of format 2 already", allowed="a file of format 1")
    old = _read(document)
    new = _with_words(text, document)
    try:
        if _same(old, _read(parse(new))):
            return new
    except InputError:
        pass
    return text_of(old)


def _read(document: Mapping[str, Any]) -> MachineData:
    found = read_tables(document)
    return MachineData(*found[:3], measures=found.measures)


def _same(old: MachineData, new: MachineData) -> bool:
    """Whether the new one has the numbers and nodes of the old one, and is of format 2."""
    look_alikes = old.numbers.keys() == new.numbers.keys() and all(
        np.array_equal(value, new.numbers[address]) for address, value in old.numbers.items()
    )
    ends = [(part.name, part.ends) for part in old.layout.parts]
    return (
        look_alikes and new.layout.free_ends and ends == [(part.name, part.ends) for part in new.layout.parts]
    )


def _with_words(text: str, document: Mapping[str, Any]) -> str:
    lines = _FORMAT.sub(r"\g<1>2", text, count=1).splitlines()
    boxes = document.get("boxes", [])
    free = {OUTSIDE, *([boxes] if isinstance(boxes, str) else boxes)}
    added = dict(_lines_to_add(lines, document, free))
    out = []
    for place, line in enumerate(lines):
        out += [line, *added.get(place, ())]
    return "\n".join(out) + "\n"


def _lines_to_add(
    lines: list[str], document: Mapping[str, Any], free: set[str]
) -> Iterator[tuple[int, list[str]]]:
    """(line after which to write, lines) for each part with an end at a node in `free`."""
    each = document.get("each_unit", {})
    written = {
        "part": iter(tables(document.get("part"), "part")),
        "each_unit.part": iter(tables(each.get("part"), "each_unit.part")),
        "header": iter(tables(document.get("header"), "header")),
    }
    ends_free = False
    last_stretch = None
    for place, line in enumerate(lines):
        found = _TABLE.match(line)
        name = "".join(found[1].split()) if found and line.lstrip().startswith("[") else ""
        if name and last_stretch is not None and name not in ("header.stretch", "header.stretch.bends"):
            yield last_stretch, [SAID.format("outlet", "ducted", WHY)]
            last_stretch = None
        if name == "header":
            ends_free = next(written["header"], {}).get("to") in free
        elif name == "header.stretch":
            last_stretch = place if ends_free else None
        elif name in ("part", "each_unit.part"):
            words = _words(next(written[name], {}), free)
            if words:
                yield place, [SAID.format(key, word, WHY) for key, word in words.items()]
    if last_stretch is not None:
        yield last_stretch, [SAID.format("outlet", "ducted", WHY)]


def _words(part: Mapping[str, Any], free: set[str]) -> dict[str, str]:
    kind = KINDS.get(str(part.get("kind")))
    if kind is None:
        return {}
    nodes = [str(part.get(end)) for end in kind.ends]
    return {key: word for key, word in kind.ducted(nodes, free).items() if key not in part}
