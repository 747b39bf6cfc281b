"""The carrying margins: section by section along the crop's way, air there is over air needed there.

Air that leaks in counts only from where it joins: a leak at the door speeds up the duct and starves the
openings, so the air in the duct alone says nothing about the crop at the door.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..description.crop_way import speeds_crop, ways
from ..description.data import MachineData
from ..description.layout import Layout
from ..errors import InputError
from ..network.groups import OUTSIDE, PathName
from ..network.state import State
from ..parts.declare import Pair
from ..questions.gauges import Flows, air_density
from ..result import Note
from ..statistics import middle
from .crop import Crop, crop_of

Array = NDArray[np.float64]

RATIO = "air-to-crop ratio"
CAPTURE = "capture velocity"
SUCTION = "suction velocity"
CONVEYING = "conveying velocity"
CHOKE = "choke"
LEAST_OF = {
    RATIO: "opening_ratio",
    CAPTURE: "capture_velocity",
    SUCTION: "suction_velocity",
    CONVEYING: "conveying_velocity",
    CHOKE: "choke_ratio",
}
"""What is judged -> the crop's least value."""


@dataclass(frozen=True)
class Place:
    """One thing that is judged at one section of the crop's way.

    Attributes
    ----------
    units : tuple of str
        The units whose crop passes.
    part : str
        Where it is judged.
    what : str
        "air-to-crop ratio" or "capture velocity" of an opening, "suction velocity" beside a nozzle,
        "conveying velocity" or "choke" of a duct.
    """

    units: tuple[str, ...]
    part: str
    what: str

    @property
    def unit(self) -> str:
        """The unit, or several joined by "+", to be read: what compares units takes `units`."""
        return "+".join(self.units)

    def __str__(self) -> str:
        return f"{self.part} ({self.what})"


class Limiting(NamedTuple):
    """The unit and place with the lowest carrying margin; with columns each field is an array of S.

    `unit` is to be read, several are joined by "+"; `units` holds their names in a tuple.
    """

    unit: Any
    place: Any
    what: Any
    margin: Any
    units: Any = ()

    def __str__(self) -> str:
        if np.ndim(self.margin):
            return f"{np.size(self.margin):,} scenarios"
        return f"unit {self.unit}: {self.place} ({self.what}), margin {self.margin:.2f}"


@dataclass(frozen=True)
class Margin:
    """The carrying margin at one place; of columns the medians.

    Attributes
    ----------
    place : Place
    value, least : float
        What is there and what the crop needs there: [m/s], or a ratio.
    margin : float
        Their quotient [-]; infinity where no crop passes, NaN where there is no answer.
    """

    place: Place
    value: float
    least: float
    margin: float

    @property
    def measure(self) -> str:
        """The SI measure of `value` and `least`."""
        return "" if self.place.what in (RATIO, CHOKE) else "m/s"

    def row(self) -> dict[str, Any]:
        """As a row of a table."""
        return {
            "unit": self.place.unit,
            "place": self.place.part,
            "what": self.place.what,
            "value": self.value,
            "least": self.least,
            "measure": self.measure,
            "margin": self.margin,
        }


def places(layout: Layout) -> tuple[Place, ...]:
    """Everything that is judged, unit by unit along the crop's way; a shared duct comes once."""
    known: tuple[Place, ...] | None = layout.__dict__.get("_places")
    if known is None:
        known = layout.__dict__["_places"] = tuple(_places(layout))
    return known


def _places(layout: Layout) -> list[Place]:
    units: dict[str, dict[str, None]] = {}
    for (u, _), way in ways(layout).items():
        for part in way:
            units.setdefault(part, {})[layout.units[u].name] = None
    loaded = {c.part for c in layout.carried}
    openings = {name for unit in layout.units for name in unit.openings}
    out = []
    for part, names in units.items():
        if part not in loaded:
            continue
        who = tuple(names)
        if part in openings:
            out += [Place(who, part, RATIO), Place(who, part, CAPTURE)]
        elif len(layout.path_keys(part)) > 1:
            out.append(Place(who, part, SUCTION))
        elif speeds_crop(layout.part[part]):
            out += [Place(who, part, CONVEYING), Place(who, part, CHOKE)]
    return sorted(out, key=lambda p: [u.name for u in layout.units].index(p.units[0]))


# ---- values


def crop_path(layout: Layout, part: str) -> PathName:
    """The path of a part that crop takes: a jet's suction, else the only one."""
    return layout.path_keys(part)[-1]


def crop_nodes(layout: Layout, part: str) -> tuple[str, str]:
    """The nodes between which crop passes a part: from a jet's suction to its discharge."""
    ends = layout.part[part].ends
    return (ends[1], ends[2]) if len(ends) > 2 else (ends[0], ends[1])


class _Section(NamedTuple):
    """A section: its area [m2], the flow of air through it along the crop [kg/s], its density [kg/m3]."""

    area: Any
    flow: Any
    density: Any

    @property
    def velocity(self) -> Any:
        return self.flow / (self.density * self.area)


def _section(machine: MachineData, flows: Flows, numbers: dict[str, Any], part: str) -> _Section:
    """The section of a part as its law sees it."""
    layout = machine.layout
    schema = layout.part[part].schema
    path = schema.build(
        [np.asarray(numbers[f"{part}.{number_key}"], dtype=float) for number_key in schema.number_keys]
    ).paths()[0]
    start, finish = crop_nodes(layout, part)
    flow = flows.flow[crop_path(layout, part)]
    forward = np.asarray(flow) >= 0.0
    temperature = np.where(forward, flows.temperature[start], flows.temperature[finish])
    p, q = flows.pressure[start], flows.pressure[finish]
    if isinstance(path, Pair):
        area, at, temperature = path.area[1], p, flows.temperature[start]
    else:
        area = path.area
        at = p if path.density == "inlet" else 0.5 * (p + q)
        if path.density == "entering":
            at = np.where(forward, p, q)
    inward = -1.0 if finish == OUTSIDE and any(part in u.openings for u in layout.units) else 1.0
    return _Section(area, inward * flow, air_density(machine.air(), at, temperature))


def values_at(machine: MachineData, flows: Flows) -> tuple[list[Any], list[Any]]:
    """What there is at every place, and what the crop needs there, each a float or (S,)."""
    layout, numbers = machine.layout, machine.part_numbers()
    crop = crop_of(layout, machine.numbers)
    if crop is None or not layout.carried:
        raise InputError("the machine carries no crop", place="crop", allowed="machine.with_crop(...)")
    sections: dict[str, _Section] = {}
    there, needed = [], []
    for place in places(layout):
        if place.part not in sections:
            sections[place.part] = _section(machine, flows, numbers, place.part)
        own = sections[place.part]
        load = np.asarray(numbers[f"{place.part}.crop_flow"], dtype=float)
        if place.what == RATIO:
            value = np.where(load > 0.0, own.flow / np.where(load > 0.0, load, 1.0), np.inf)
        elif place.what == CHOKE:
            slip = np.asarray(crop.slip, dtype=float)
            value = np.where(slip > 0.0, own.velocity / np.where(slip > 0.0, slip, 1.0), np.inf)
        else:
            value = own.velocity
        there.append(np.where(_carries(layout, crop, place.part), value, np.inf))
        needed.append(crop.least(LEAST_OF[place.what]))
    return there, needed


def _carries(layout: Layout, crop: Crop, part: str) -> Any:
    """Whether any crop passes a part at any speed: shares and yields may be zero."""
    own = next(c for c in layout.carried if c.part == part)
    yields = crop.unit_yields or (1.0,) * len(layout.units)
    return np.greater(sum(yields[u] * (crop.shares[o] if crop.shares else 1.0) for u, o in own.streams), 0.0)


def margins(machine: MachineData, flows: Flows) -> Array:
    """Carrying margin at every place [-], shape (places,) or (places, S); below 1 the crop stays behind."""
    there, needed = values_at(machine, flows)
    return np.array(np.broadcast_arrays(*(t / n for t, n in zip(there, needed, strict=True))))


def carrying_margin(machine: MachineData, flows: Flows, unit: str = "") -> Any:
    """The smallest carrying margin of a unit, or of the machine [-]: a float or (S,)."""
    own = margins(machine, flows)
    which = [i for i, place in enumerate(places(machine.layout)) if not unit or unit in place.units]
    least = own[which].min(axis=0)
    return least if least.ndim else float(least)


def limiting(machine: MachineData, flows: Flows) -> Limiting:
    """Where the margin is smallest."""
    own = margins(machine, flows)
    judged = places(machine.layout)
    known = np.atleast_1d(~np.isnan(own).any(axis=0))
    at = np.where(np.isnan(own), np.inf, own).argmin(axis=0)
    if own.ndim == 1:
        place = judged[int(at)]
        return Limiting(place.unit, place.part, place.what, float(own[int(at)]), place.units)
    units, parts, what = (
        _column(own_names, at, known, empty)
        for own_names, empty in (
            ([p.units for p in judged], ()),
            ([p.part for p in judged], ""),
            ([p.what for p in judged], ""),
        )
    )
    unit = _column([p.unit for p in judged], at, known, "")
    return Limiting(unit, parts, what, own.min(axis=0), units)


def _column(names: list[Any], at: NDArray[np.intp], known: NDArray[np.bool_], empty: Any) -> NDArray[Any]:
    """The name at each of the places `at`, shape (S,); `empty` where none is known."""
    out = np.empty(len(at), dtype=object)
    for i in range(len(at)):
        out[i] = names[at[i]] if known[i] else empty
    return out


def found_margins(machine: MachineData, state: State) -> list[Margin]:
    """The margin at each place of a state with crop."""
    there, needed = values_at(machine, state)
    return [
        Margin(place, middle(value), middle(least), middle(np.asarray(value) / least))
        for place, value, least in zip(places(machine.layout), there, needed, strict=True)
    ]


def margin_rows(machine: MachineData, state: State) -> list[dict[str, Any]]:
    """A row for each place of a state with crop: what is there, what is needed, the quotient.

    With columns, medians of the scenarios.
    """
    return [margin.row() for margin in found_margins(machine, state)]


def crop_notes(machine: MachineData, state: State) -> list[Note]:
    """Sentences about where the crop of a machine that carries some stays behind."""
    if not np.any(state.solved):
        return []
    there, needed = values_at(machine, state)
    out = []
    for place, value, least in zip(places(machine.layout), there, needed, strict=True):
        if place.what == CHOKE and np.any(np.asarray(value) <= 1.0):
            words = f"{place.part} is blocked: its air is no faster than the crop's slip velocity."
            out.append(Note(words, "blocked", place.part))
        elif place.what != CHOKE and np.any(np.asarray(value) < least):
            words = f"At {place.part} crop stays behind: the {place.what} is below its least value."
            out.append(Note(words, "crop stays behind", place.part))
    return out
