"""What `check` finds: whether a machine file makes sense, and what its numbers rest on."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from ..answers.describe import Description
from ..answers.ends import unknown_ends
from ..answers.junctions import free_outlets
from ..answers.plausible import Looked, plausibility
from ..answers.sensitivity import Slope
from ..answers.state import NO_VACUUM
from ..cautions import cautions_for
from ..description.spreads import drawn_spread
from ..display.rows import Of, rows_of
from ..laws.friction import compression_correction
from ..machine.machine import Machine, MachineState
from ..parts.choices import CANT_TELL
from ..parts.measuring import way_of
from ..readings.checks import ReadingCheck
from ..result import Note, Result
from ..wording import gathered, said

Row = dict[str, Any]
SHOWN = 8
"""How many numbers the list of what to measure first holds."""
SAME = ("measure", "origin", "spread")


@dataclass(frozen=True)
class ToMeasure:
    """A number that is worth measuring.

    Attributes
    ----------
    address : str
    origin : str
        "given" or "default".
    spread : float
        Its usual relative standard deviation [-].
    effect : float
        Standard deviation of the weakest vacuum that comes of it [Pa].
    how : str
        How it is measured.
    minutes : float
        How long that takes [min].
    """

    address: str
    origin: str
    spread: float
    effect: float
    how: str
    minutes: float


@dataclass(repr=False, eq=False)
class Checked(Result):
    """A machine looked through: structure, operating point, numbers given and numbers assumed.

    Attributes
    ----------
    state : MachineState
        Solved or not.
    description : Description
        Every number of the machine.
    least_sure : list of str
        Addresses of the numbers whose usual spread matters most for the weakest unit.
    held : ReadingCheck or None
        Readings held against the machine.
    first : list of ToMeasure
        What to measure, what its usual spread does to the weakest vacuum being the most first.
    """

    state: MachineState
    description: Description
    least_sure: list[str]
    held: ReadingCheck | None = None
    first: list[ToMeasure] = field(default_factory=list)

    @cached_property
    def looked(self) -> Looked:
        """Numbers that hardly any such machine has, and what was looked at for them."""
        return plausibility(self.state)

    @property
    def machine(self) -> Machine:
        """The machine that was looked through."""
        return self.state.machine


def checked(state: MachineState, held: ReadingCheck | None = None) -> Checked:
    """Look through the machine of a state, solved or not; `held` are readings held against it."""
    machine = state.machine
    least_sure, first = [], []
    if machine.layout.units and state.solved:
        slopes = machine.sensitivity(of="weakest vacuum").slopes
        least_sure = [own.address for own in slopes[:3]]
        first = to_measure(machine, slopes)
    return Checked(state, machine.describe(), least_sure, held, first)


def to_measure(machine: Machine, slopes: list[Slope]) -> list[ToMeasure]:
    """Numbers by what their spread does to an answer; the points of one curve scatter together."""
    effects: dict[str, float] = {}
    for own in slopes:
        effects[own.address.partition("[")[0]] = effects.get(own.address.partition("[")[0], 0.0) + (
            own.derivative * own.value * drawn_spread(machine, own.address)
        )
    spreads = {own.address.partition("[")[0]: own.spread for own in slopes}
    out = []
    for address, effect in sorted(effects.items(), key=lambda pair: -abs(pair[1])):
        way = way_of(address.partition(".")[2])
        given = any(a.partition("[")[0] == address for a in machine.given)
        origin = "given" if given else "default"
        out.append(ToMeasure(address, origin, spreads[address], abs(effect), way.how, way.minutes))
    return [own for own in out if own.effect > 0.0]


def about(found: Checked) -> str:
    """The machine and what deserves a look."""
    return f"{found.machine.layout.title or 'a machine'}, {len(found.notes)} notes"


# ---- notes and cautions


def notes(found: Checked) -> list[Note]:
    """What deserves a look."""
    held = [*found.held.problems, *found.held.notes] if found.held else []
    readings = [note if isinstance(note, Note) else Note(note, "reading") for note in held]
    return [
        *readings,
        *found.state.notes,
        *found.looked.notes,
        *_odd_units(found),
        *_fan_ends(found),
        *_hoses(found),
        *_left_out(found),
        *_unstated_limits(found),
    ]


def cautions(found: Checked) -> list[str]:
    """What to beware of when measuring, which it advises."""
    return cautions_for(["measure"]) if found.least_sure else []


def _odd_units(found: Checked) -> list[Note]:
    if not found.state.solved:
        return []
    words = "Unit {} has no vacuum at all: its tapping reads {} above the open air."
    return [
        Note(words.format(unit, said(-vacuum, "Pa", found.machine.measures)), "no vacuum", unit, vacuum)
        for unit, vacuum in found.state.vacuum.items()
        if vacuum < -NO_VACUUM
    ]


def _fan_ends(found: Checked) -> list[Note]:
    """Fans whose outlet's velocity pressure is counted, though it is lost."""
    return free_outlets(found.state) + unknown_ends(found.state) if found.state.solved else []


def _hoses(found: Checked) -> list[Note]:
    """Hoses of which nobody said how far they are pulled out, in one note for all."""
    machine = found.machine
    unsaid = [
        part.name
        for part in machine.layout.parts
        if f"{part.name}.stretch" in machine.numbers and f"{part.name}.stretch" not in machine.given
    ]
    if not unsaid:
        return []
    bore = float(np.median([np.median(machine.numbers[f"{name}.diameter"]) for name in unsaid]))
    more = float(compression_correction(0.9, bore))
    words = (
        f"{gathered(unsaid)}: no stretch is stated, so pulled out is assumed. Pushed together by a "
        f"tenth a hose rubs {more:.1f} times as much: measure it as it lies and pulled out, and give stretch."
    )
    return [Note(words, "stretch not stated", unsaid[0] if len(unsaid) == 1 else "", more)]


def _left_out(found: Checked) -> list[Note]:
    """Numbers that were left out and that no tape tells: what they are taken as."""
    groups: dict[tuple[str, float, float], list[str]] = {}
    for row in found.description.rows():
        if row["origin"] == "default" and row["choice"] == CANT_TELL:
            owner, _, key = row["address"].partition(".")
            groups.setdefault((key, row["value"], row["spread"]), []).append(owner)
    words = "{}: no {} is given, so {:.2g} is taken, which may well be {:.0%} off. "
    words += "'ductsim kinds' has words for it."
    return [
        Note(words.format(gathered(owners), key, value, spread), "left out", f"{owners[0]}.{key}", value)
        for (key, value, spread), owners in groups.items()
    ]


def _unstated_limits(found: Checked) -> list[Note]:
    """Limits of the makers that nothing can warn of, because the file does not state them."""
    numbers, layout = found.machine.numbers, found.machine.layout
    highest = "{0} states no highest_speed: ask its maker, or nothing can warn that it turns too fast."
    out = [
        Note(highest.format(name), "limit not stated", name)
        for name in found.machine.layout.fans
        if f"{name}.highest_speed" not in numbers
    ]
    turning = {part.drive for part in layout.parts if part.drive}
    power = "The drive {0} states no available_power: nothing can warn that its fans take too much."
    out += [
        Note(power.format(drive.name), "limit not stated", drive.name)
        for drive in layout.drives
        if drive.name in turning and f"{drive.name}.available_power" not in numbers
    ]
    return out


# ---- tables


def tables(found: Checked) -> dict[str, list[Row]]:
    """Readings held against the machine; defaults and given numbers, equal ones together; all numbers."""
    rows = found.description.rows()
    columns = (
        Of("number", value=lambda own: own.address),
        Of("origin"),
        Of("spread"),
        Of("effect", "Pa", "standard deviation of the weakest vacuum that comes of it"),
        Of("minutes", doc="how long measuring it takes"),
        Of("how"),
    )
    out = {"readings": found.held.rows()} if found.held else {}
    out["measure_first"] = rows_of(found.first[:SHOWN], *columns)
    for origin, name in (("default", "defaults"), ("given", "given")):
        out[name] = together(found.machine, [row for row in rows if row["origin"] == origin])
    return {**out, "numbers": rows}


# ---- sentences


def sentences(found: Checked, measures: str) -> list[str]:
    """Whether it makes sense, then what the answer rests on."""
    counts = found.description.sentences(measures)
    if not found.state.solved:
        return [f"The machine file can be read, but: {found.state.failure()}", *counts]
    out = ["Nothing is wrong with the machine file." if not found.notes else _noted(found)]
    out += [*counts, *_operating(found, measures), *_unsure(found, measures)]
    looked = found.looked.sentence()
    return [*_held(found, measures), *out, *([looked] if looked else [])]


def _held(found: Checked, measures: str) -> list[str]:
    """How the readings compare with what the machine makes; their notes are its own."""
    if not found.held:
        return []
    if found.held.problems:
        return [f"{len(found.held.problems)} of the readings cannot be right (see the notes)."]
    return [found.held.compared(measures)]


def _noted(found: Checked) -> str:
    count = len(found.notes)
    what = "one thing deserves a look" if count == 1 else f"{count} things deserve a look"
    return f"The machine file can be read; {what} (see the notes)."


def _operating(found: Checked, measures: str) -> list[str]:
    state = found.state
    if not found.machine.layout.units:
        return ["It has an operating point; it has no units."]
    vacuum = said(state.ask("weakest vacuum"), "Pa", measures)
    return [f"It has an operating point; unit {state.weakest} is weakest with {vacuum} of vacuum."]


def _unsure(found: Checked, measures: str) -> list[str]:
    """The numbers whose usual spread matters most for the weakest unit."""
    if not found.least_sure:
        return []
    given = found.machine.given
    words = ", ".join(f"{a} ({'given' if a in given else 'default'})" for a in found.least_sure)
    doubt = said(math.sqrt(sum(own.effect**2 for own in found.first)), "Pa", measures, 2)
    return [
        f"Its vacuum is least sure because of {words}: measure these first, where you can.",
        f"With every number as unsure as it usually is, two in three such machines have it within {doubt} of "
        f"this; knowing the first {min(len(found.first), SHOWN)} of the list exactly would leave "
        f"{_left(found, measures)}.",
    ]


def _left(found: Checked, measures: str) -> str:
    """The doubt that the rest of the numbers leaves."""
    return said(math.sqrt(sum(own.effect**2 for own in found.first[SHOWN:])), "Pa", measures, 2)


Checked.show_by(tables=tables, sentences=sentences, notes=notes, cautions=cautions, about=about)


# ---- equal numbers together


def together(machine: Machine, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows with equal numbers of all units in one row, and the points of a curve in one.

    The address of such a row is a pattern that a change understands; where its numbers differ, they stand
    in a list, in the order of the file.
    """
    by_address = {row["address"]: row for row in rows}
    done: set[str] = set()
    out = []
    for row in rows:
        if row["address"] in done:
            continue
        pattern, same = _alike(machine, row, by_address, done)
        points = [by_address[a] for a in same]
        done.update(same)
        values = [point["value"] for point in points]
        value = row["value"] if len(set(values)) == 1 else values
        out.append({**row, "address": pattern, "value": value})
        del out[-1]["origin"]
    return out


def _alike(
    machine: Machine, row: dict[str, Any], rows: dict[str, dict[str, Any]], done: set[str]
) -> tuple[str, list[str]]:
    """A pattern and the addresses of the numbers that can stand in one row with this one."""
    address = row["address"]
    curve = re.fullmatch(r"(.*)\[\d+\]", address)
    patterns = [f"{curve[1]}[*]"] if curve else []
    owner, _, number_key = address.partition(".")
    for unit in machine.layout.units:
        general = re.sub(rf"(?<!\w){re.escape(unit.name)}(?!\w)", "*", owner)
        if general.count("*") == 1:
            patterns.append(f"{general}.{number_key}")
    for pattern in patterns:
        same = [a for a in machine.layout.expand(pattern) if a in rows and a not in done]
        whole = len(same) == len(machine.layout.expand(pattern)) > 1
        if whole and all(rows[a][key] == row[key] for a in same for key in SAME):
            return pattern, same
    return address, [address]
