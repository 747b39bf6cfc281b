"""Where velocity pressure is lost that no part counts: ducts that meet without a junction, free outlets."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from ..conveying import plain_schema
from ..description.layout import PartEntry
from ..network.groups import OUTSIDE
from ..parts.duct import Duct
from ..parts.gate import Gate
from ..parts.hose import Hose
from ..parts.jet import Jet
from ..parts.tee import Merge, Split
from ..parts.transition import Transition
from ..questions.gauges import stacked_path
from ..result import Note
from ..wording import gathered, said
from .solved import SolvedMachine

DUCTS = (Duct, Hose)
WITHIN = (Gate, Transition, Merge, Split)
SHARE = 0.05
"""Share of the weakest unit's vacuum from which a loss that is left out is worth a word [-]."""
WIDE = 2.0
"""How much wider than a duct an opening is that makes a box of the node where both end [-]."""
IN_A_WALL = 0.5
"""Share of the velocity pressure that air loses which enters a duct from a box [-]."""
LEAST = 10.0
"""Pressure below which it never is [Pa]."""


def free_outlets(state: SolvedMachine) -> list[Note]:
    """A note for each fan whose outlet counts as ducted, though it blows into a box or the open air.

    Only where its `outlet_area` is known, so that the velocity pressure there can be told, and it does not
    say itself that it is ducted.
    """
    layout, numbers = state.machine.layout, state.machine.part_numbers()
    out = []
    for name in layout.fans:
        entry = layout.part[name]
        area = numbers.get(f"{name}.outlet_area")
        said = dict(entry.schema.shape).get("outlet")
        if area is None or said is not None or _goes_on(state, entry.ends[-1]):
            continue
        key = layout.path_keys(name)[0]
        gift = _largest([np.asarray(state.flow[key]) ** 2 / (2.0 * np.asarray(state.density[key]) * area**2)])
        words = (
            f"{name} blows into {entry.ends[-1]}, where the {_pressure(gift, state)} of velocity pressure at "
            "its outlet are lost, but they are counted as useful: write outlet = 'free'."
        )
        out.append(Note(words, "free outlet", name, gift))
    return out


def _goes_on(state: SolvedMachine, node: str) -> bool:
    """Whether the air goes on in one duct from a node: it is no box and not the open air."""
    layout = state.machine.layout
    if node in (OUTSIDE, *layout.boxes, *(held for held, _ in layout.held)):
        return False
    there = [
        part for part in layout.parts if node in part.ends and not (part.kind.is_leak or part.kind.is_fan)
    ]
    return len(there) == 1


class _Meeting(NamedTuple):
    """What meets at a node that is no box: ducts and hoses by name, and the number of all ends there."""

    node: str
    parts: tuple[str, ...]
    ends: int


def missed_losses(state: SolvedMachine) -> list[Note]:
    """A note for each node where ducts meet without a junction, or two sections without a transition.

    Left out are boxes, where air comes to rest anyway: nodes that the file names as `boxes` or holds at a
    pressure, and those where anything ends but ducts, what stands within them (gates, transitions,
    junctions) and leaks: a fan, an opening, a screen. Where three and more meet, the pressure at stake is
    the largest velocity pressure there: published coefficients of junctions are of the order of one. Where
    two ducts meet it is the loss of a sudden step (Borda-Carnot).
    """
    out = []
    for meeting in _meetings(state):
        at_stake = _junction(state, meeting) if meeting.ends > 2 else _step(state, meeting)
        if at_stake > max(LEAST, SHARE * _weakest(state)):
            out.append(_told(meeting, at_stake, state))
    return out


def undeclared_boxes(state: SolvedMachine) -> list[Note]:
    """A note for each node that looks like a box and is not named as one, where ducts end that say nothing.

    It looks like one where a fan, an opening, a screen or the like ends beside two ducts or more, or beside
    one of less than half its section. At stake is the velocity pressure of air that leaves a duct there, and
    half of that of air that enters one (an edge in a wall). Files of format 1 have no free ends.
    """
    layout = state.machine.layout
    out = []
    for node, there in _ends_at(state).items() if layout.free_ends else ():
        ducts = [part for part in there if _is(part, *DUCTS, Transition)]
        others = [part for part in there if not _is(part, *DUCTS, *WITHIN, Jet) and not part.kind.is_leak]
        silent = [part.name for part in ducts if _silent_at(part, node)]
        if not silent or not others or not (len(ducts) > 1 or _wide(state, others[0], ducts[0])):
            continue
        at_stake = max(_lost_at(state, layout.part[name], node) for name in silent)
        if at_stake > max(LEAST, SHARE * _weakest(state)):
            ends = "ends" if len(silent) == 1 else "end"
            words = (
                f"{gathered(silent)} {ends} at {node}, where {others[0].name} ends too: if air comes to rest "
                f'there, name it at the top of the file, boxes = ["{node}"]. Up to '
                f"{_pressure(at_stake, state)} of velocity pressure is taken as carried on."
            )
            out.append(Note(words, "no box", node, at_stake))
    return out


def _ends_at(state: SolvedMachine) -> dict[str, list[PartEntry]]:
    """The parts at each node that is neither a box nor held nor the open air."""
    layout = state.machine.layout
    known = {*layout.open_nodes, *(node for node, _ in layout.held)}
    at: dict[str, list[PartEntry]] = {}
    for part in layout.parts:
        for node in part.ends:
            if node not in known:
                at.setdefault(node, []).append(part)
    return at


def _silent_at(part: PartEntry, node: str) -> bool:
    """Whether the part says nothing of its end at a node."""
    shape = dict(part.schema.shape)
    return any(shape.get(key) is None for key in part.kind.ducted(part.ends, {node}))


def _wide(state: SolvedMachine, other: PartEntry, duct: PartEntry) -> bool:
    """Whether an opening or the like is more than twice as wide as a duct; of a fan nothing is said."""
    area = state.machine.part_numbers().get(f"{other.name}.area")
    own = np.asarray(stacked_path(state.machine, duct.name).area)[0]
    return area is not None and not other.kind.is_fan and bool(np.median(area) > WIDE * np.median(own))


def _lost_at(state: SolvedMachine, part: PartEntry, node: str) -> float:
    """The pressure that a free end at a node would take from the air through it."""
    key = state.machine.layout.path_keys(part.name)[0]
    inward = np.asarray(state.flow[key]) * (1.0 if part.ends[0] == node else -1.0) > 0.0
    return _largest([_velocity_pressure(state, part.name) * np.where(inward, IN_A_WALL, 1.0)])


def _meetings(state: SolvedMachine) -> list[_Meeting]:
    layout = state.machine.layout
    boxes = {OUTSIDE, *layout.boxes, *(node for node, _ in layout.held)}
    at: dict[str, list[PartEntry]] = {}
    for part in layout.parts:
        for node in part.ends:
            if _is(part, *DUCTS, *WITHIN):
                at.setdefault(node, []).append(part)
            elif not part.kind.is_leak:
                boxes.add(node)
    out = []
    for node, there in at.items():
        ducts = tuple(part.name for part in there if _is(part, *DUCTS))
        if node not in boxes and ducts and (len(there) > 2 or len(ducts) == 2):
            out.append(_Meeting(node, ducts, len(there)))
    return out


def _is(part: PartEntry, *kinds: type) -> bool:
    return issubclass(plain_schema(part.schema).part, kinds)


def _velocity_pressure(state: SolvedMachine, name: str) -> Any:
    area = np.asarray(stacked_path(state.machine, name).area)[0]
    key = state.machine.layout.path_keys(name)[0]
    return np.asarray(state.flow[key]) ** 2 / (2.0 * np.asarray(state.density[key]) * area**2)


def _junction(state: SolvedMachine, meeting: _Meeting) -> float:
    return _largest([_velocity_pressure(state, name) for name in meeting.parts])


def _step(state: SolvedMachine, meeting: _Meeting) -> float:
    """What a sudden step between the two sections loses: (1 - A1 / A2)^2 of the faster stream."""
    one, two = (np.asarray(stacked_path(state.machine, name).area)[0] for name in meeting.parts)
    ratio = np.minimum(one, two) / np.maximum(one, two)
    faster = np.maximum(*(_velocity_pressure(state, name) for name in meeting.parts))
    return _largest([(1.0 - ratio) ** 2 * faster])


def _largest(values: list[Any]) -> float:
    known = np.concatenate([np.ravel(value) for value in values])
    known = known[np.isfinite(known)]
    return float(known.max()) if known.size else 0.0


def _weakest(state: SolvedMachine) -> float:
    """The weakest unit's vacuum, of scenarios the middle one [Pa]; 0 where there is no unit."""
    rows = [np.broadcast_to(vacuum, state.columns or 1) for vacuum in state.vacuum.values()]
    lowest = np.min(rows, axis=0) if rows else np.zeros(1)
    known = lowest[np.isfinite(lowest)]
    return max(float(np.median(known)), 0.0) if known.size else 0.0


def _pressure(value: float, state: SolvedMachine) -> str:
    return said(value, "Pa", state.machine.measures)


def _told(meeting: _Meeting, at_stake: float, state: SolvedMachine) -> Note:
    if meeting.ends > 2:
        words = (
            f"{meeting.ends} ducts meet at {meeting.node} without a junction: nothing is lost there, "
            f"with {_pressure(at_stake, state)} of velocity pressure at stake. Put a merge or a split there, "
            "or name it among the boxes."
        )
        return Note(words, "plain junction", meeting.node, at_stake)
    first, second = meeting.parts
    words = (
        f"{first} and {second} meet at {meeting.node} with different sections: a sudden step would lose up "
        f"to {_pressure(at_stake, state)}, which is not counted. Put a transition there, or "
        "name it among the boxes."
    )
    return Note(words, "plain junction", meeting.node, at_stake)
