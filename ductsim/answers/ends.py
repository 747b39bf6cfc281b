"""Ends that lose: files in which none does by itself, and ends in the open whose loss is not known."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from ..conveying import plain_schema
from ..description.layout import Layout, PartEntry
from ..parts.gate import Gate
from ..parts.jet import Jet
from ..parts.tee import Merge, Split
from ..result import Note
from .solved import SolvedMachine

BARE = {
    Jet: ("discharge",),
    Merge: ("straight", "branch", "combined"),
    Split: ("combined", "straight", "branch"),
}
"""Ends of parts that have no words for them: a duct is meant to go on there."""


def format_notes(layout: Layout) -> list[Note]:
    """One note where the file is of format 1 and some end that says nothing lies where a duct may end."""
    if layout.free_ends:
        return []
    places = layout.open_nodes | _no_duct_goes_on(layout)
    silent = [part.name for part in layout.parts if _silent(part, places)]
    if not silent:
        return []
    more = f" and {len(silent) - 1} more" if len(silent) > 1 else ""
    words = (
        f"The file is of format 1: where {silent[0]}{more} end outside, in a box or at an opening, air keeps "
        "its velocity pressure unless loss_coefficient counts it. 'ductsim rewrite OLD NEW' writes it as "
        "format 2, in which ends lose."
    )
    return [Note(words, "format 1", silent[0], float(len(silent)))]


def _no_duct_goes_on(layout: Layout) -> set[str]:
    """The nodes where a fan, an opening, a screen or the like ends: air may come to rest there."""
    return {
        node
        for part in layout.parts
        if not part.kind.is_leak and not part.kind.ducted(part.ends, part.ends) and not _goes_on(part)
        for node in part.ends
    }


def _goes_on(part: PartEntry) -> bool:
    """Whether it stands within ducts: a gate, a jet, a junction."""
    kind = plain_schema(part.schema).part
    return issubclass(kind, (Gate, *BARE))


def _silent(part: PartEntry, places: Collection[str]) -> bool:
    shape: dict[str, Any] = dict(part.schema.shape)
    if part.kind.is_fan and shape.get("outlet_area") is None:
        return False
    said = part.kind.ducted(part.ends, places)
    return any(shape.get(key) is None for key in said)


def unknown_ends(state: SolvedMachine) -> list[Note]:
    """A note for each end outside or in a box at which nothing is counted, for want of a size or a duct.

    Fans without `outlet_area`; jets and junctions, whose end is meant to go on in a duct.
    """
    layout = state.machine.layout
    out = []
    for part in layout.parts if layout.free_ends else ():
        shape = dict(part.schema.shape)
        if part.kind.is_fan and shape.get("outlet", "") is None and part.ends[-1] in layout.open_nodes:
            words = (
                f"{part.name} blows into {part.ends[-1]}, where the velocity pressure at its outlet is lost: "
                "give its outlet_area, or say outlet = 'ducted' where its curve leaves that out already."
            )
            out.append(Note(words, "free end", part.name))
        for end in _bare_ends(part, layout):
            words = (
                f"{part.name} ends in {layout.end_node(part.name, end)} by its {end} end, where nothing is "
                "counted as lost: put the duct there that air leaves by."
            )
            out.append(Note(words, "free end", part.name))
    return out


def _bare_ends(part: PartEntry, layout: Layout) -> list[str]:
    """The ends of a jet or a junction that lie outside or in a box."""
    kind: Any = plain_schema(part.schema).part
    words = next((ends for known, ends in BARE.items() if issubclass(kind, known)), ())
    return [
        word
        for word, node in zip(kind.ends, part.ends, strict=True)
        if word in words and node in layout.open_nodes
    ]
