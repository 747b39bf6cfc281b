"""The carrying margins: section by section along the crop's way, air there is over air needed there.

Air that leaks in counts only from where it joins: a leak at the door speeds up the duct and starves the
openings, so the air in the duct alone says nothing about the crop at the door.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..description.crop_way import first_paths, gathered, speeds_crop, ways
from ..description.data import MachineData
from ..description.layout import Layout
from ..errors import InputError
from ..network.groups import OUTSIDE, PathName, stacked_column
from ..network.point import Point
from ..network.state import State
from ..network.system import System
from ..network.values import AirNumbers
from ..parts.declare import Pair, Path
from ..questions.gauges import Flows
from ..result import Note
from ..statistics import first_least, middle
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


@dataclass(frozen=True)
class _Judged:
    """What of the judged places depends on the layout alone.

    Attributes
    ----------
    parts : the parts at which anything is judged.
    paths, starts, finishes : the crop's path through each of them, and the nodes between which it passes.
    inward : -1 where air along that path leaves the machine, (parts, 1).
    part_of : which of the parts each place is at, (places,).
    what : what is judged at each place, (places, 1).
    """

    parts: tuple[str, ...]
    paths: tuple[PathName, ...]
    starts: tuple[str, ...]
    finishes: tuple[str, ...]
    inward: Array
    part_of: NDArray[np.intp]
    what: NDArray[np.str_]

    @classmethod
    def of(cls, layout: Layout) -> _Judged:
        known: _Judged | None = layout.__dict__.get("_judged")
        if known is not None:
            return known
        judged = places(layout)
        parts = tuple(dict.fromkeys(place.part for place in judged))
        nodes = [crop_nodes(layout, part) for part in parts]
        openings = {name for unit in layout.units for name in unit.openings}
        out = [node[1] == OUTSIDE and part in openings for part, node in zip(parts, nodes, strict=True)]
        made = layout.__dict__["_judged"] = cls(
            parts,
            tuple(crop_path(layout, part) for part in parts),
            tuple(start for start, _ in nodes),
            tuple(finish for _, finish in nodes),
            np.where(out, -1.0, 1.0)[:, None],
            np.array([parts.index(place.part) for place in judged], dtype=np.intp),
            np.array([place.what for place in judged])[:, None],
        )
        return made


class Passing(NamedTuple):
    """The air at the judged parts: its flow, and what the nodes before and behind have, (parts, 1 or S)."""

    flow: Array
    pressure: tuple[Array, Array]
    temperature: tuple[Array, Array]

    @classmethod
    def read(cls, layout: Layout, flows: Flows) -> tuple[Passing, bool]:
        """From mappings by name, and whether none of them had a column."""
        own, single = _Judged.of(layout), True

        def rows(values: Mapping[Any, Any], names: Iterable[Any]) -> Array:
            nonlocal single
            found = [values[name] for name in names]
            single = single and not any(map(np.ndim, found))
            return np.array(np.broadcast_arrays(*map(np.atleast_1d, found)))

        pressure, temperature = (
            (rows(values, own.starts), rows(values, own.finishes))
            for values in (flows.pressure, flows.temperature)
        )
        return cls(rows(flows.flow, own.paths), pressure, temperature), single

    @staticmethod
    def rows(layout: Layout, system: System) -> tuple[NDArray[np.intp], ...]:
        """Where `at` finds what it takes from points: rows of paths, and of the nodes before and behind."""
        own, nodes = _Judged.of(layout), system.node_names
        return (
            np.array([system.rows[path] for path in own.paths], dtype=np.intp),
            np.array([nodes[name] for name in own.starts], dtype=np.intp),
            np.array([nodes[name] for name in own.finishes], dtype=np.intp),
        )

    @classmethod
    def at(cls, rows: tuple[NDArray[np.intp], ...], point: Point, outside: Array) -> Passing:
        """At a solved point, in outside air of a temperature [K], (1,) or (S,)."""
        path, start, finish = rows
        warm, pressure = point.temperature_rise, point.pressure
        temperature = [
            np.broadcast_to(outside, pressure[nodes].shape) if warm is None else outside + warm[nodes]
            for nodes in (start, finish)
        ]
        return cls(point.flow[path], (pressure[start], pressure[finish]), (temperature[0], temperature[1]))


@dataclass(frozen=True)
class Needs:
    """What decides the margins of a machine with crop beside its air: at every judged part, (parts, 1 or S).

    Attributes
    ----------
    layout : Layout
    air : AirNumbers
        Outside.
    area : array
        The section of the crop's path [m2].
    load : array
        The crop that passes [kg/s].
    carries : array
        Whether any passes at any speed: shares and yields may be zero.
    slip : array (1, 1 or S)
        Of the crop [m/s].
    jet, inlet, entering : arrays (parts, 1)
        Whether the part is a jet, and whether the density is that of the first end, or of where air enters.
    least : array (places, 1 or S)
        What is needed at every place.
    """

    layout: Layout
    air: AirNumbers
    area: Array
    load: Array
    carries: NDArray[np.bool_]
    slip: Array
    jet: NDArray[np.bool_]
    inlet: NDArray[np.bool_]
    entering: NDArray[np.bool_]
    least: Array

    @classmethod
    def of(cls, machine: MachineData, numbers: Mapping[str, Any] | None = None) -> Needs:
        """Those of a machine, whose `part_numbers` may be given where they are known."""
        layout = machine.layout
        crop = crop_of(layout, machine.numbers)
        if crop is None or not layout.carried:
            raise InputError("the machine carries no crop", place="crop", allowed="machine.with_crop(...)")
        numbers = machine.part_numbers() if numbers is None else numbers
        own = _Judged.of(layout)
        paths = list(first_paths(layout, numbers, own.parts))

        def known(of: Callable[[Path | Pair], Any]) -> Array:
            return gathered((members, of(path)) for members, path in paths)

        least = {what: crop.least(name) for what, name in LEAST_OF.items()}
        return cls(
            layout,
            AirNumbers.of(machine.air()),
            known(lambda path: path.area[1] if isinstance(path, Pair) else path.area),
            stacked_column([numbers[f"{part}.crop_flow"] for part in own.parts]),
            stacked_column([_carries(layout, crop, part) for part in own.parts]).astype(bool),
            stacked_column([crop.slip]),
            known(lambda path: isinstance(path, Pair)).astype(bool),
            known(lambda path: isinstance(path, Pair) or path.density == "inlet").astype(bool),
            known(lambda path: path.density == "entering").astype(bool),
            stacked_column([least[what] for what in own.what[:, 0].tolist()]),
        )

    def some(self, columns: Any, factor: Any) -> Needs:
        """Those of some of the scenarios, with so many times the crop, one factor for each."""

        def cut(values: Any) -> Any:
            return values if values.shape[-1] == 1 else values.take(columns, axis=-1)

        own = {name: cut(getattr(self, name)) for name in ("area", "carries", "slip", "least")}
        return replace(self, air=self.air.each(cut), load=cut(self.load) * factor, **own)

    def there(self, passing: Passing) -> Array:
        """What there is at every place, (places, 1 or S)."""
        own = _Judged.of(self.layout)
        before, behind = passing.pressure
        forward = passing.flow >= 0.0
        temperature = np.where(forward | self.jet, *passing.temperature)
        at = np.where(self.inlet, before, 0.5 * (before + behind))
        if self.entering.any():
            at = np.where(self.entering, np.where(forward, before, behind), at)
        flow = own.inward * passing.flow
        velocity = flow / (self._density(at, temperature) * self.area)
        with np.errstate(over="ignore"):
            ratio = np.where(self.load > 0.0, flow / np.where(self.load > 0.0, self.load, 1.0), np.inf)
            choke = np.where(self.slip > 0.0, velocity / np.where(self.slip > 0.0, self.slip, 1.0), np.inf)
        value = np.where(own.what == RATIO, ratio[own.part_of], velocity[own.part_of])
        value = np.where(own.what == CHOKE, choke[own.part_of], value)
        return np.where(self.carries[own.part_of], value, np.inf)

    def _density(self, pressure: Array, temperature: Array) -> Array:
        air = self.air
        if np.isinf(air.pressure).all():
            return air.density
        out: Array = air.density * (air.temperature / temperature) * (1.0 + pressure / air.pressure)
        return out

    def margins(self, passing: Passing) -> Array:
        """Carrying margin at every place [-], (places, 1 or S)."""
        out: Array = self.there(passing) / self.least
        return out


def values_at(machine: MachineData, flows: Flows) -> tuple[Array, Array]:
    """What there is at every place, and what the crop needs there, (places,) or (places, S)."""
    needs, (passing, single) = Needs.of(machine), Passing.read(machine.layout, flows)
    there, least = np.broadcast_arrays(needs.there(passing), needs.least)
    return (there[:, 0], least[:, 0]) if single and machine.columns is None else (there, least)


def _carries(layout: Layout, crop: Crop, part: str) -> Any:
    """Whether any crop passes a part at any speed: shares and yields may be zero."""
    own = next(c for c in layout.carried if c.part == part)
    yields = crop.unit_yields or (1.0,) * len(layout.units)
    return np.greater(sum(yields[u] * (crop.shares[o] if crop.shares else 1.0) for u, o in own.streams), 0.0)


def margins(machine: MachineData, flows: Flows) -> Array:
    """Carrying margin at every place [-], shape (places,) or (places, S); below 1 the crop stays behind."""
    there, needed = values_at(machine, flows)
    out: Array = there / needed
    return out


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
    at = first_least(own)
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
