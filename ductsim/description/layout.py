"""A machine without its numbers: names, kinds, ends, tappings, units; and the addresses of the numbers."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from ..arguments import one_of
from ..conveying import LOAD
from ..errors import InputError, UnknownName, nearest_name, shown
from ..network.groups import OUTSIDE, Entry, PathName
from ..network.system import System
from ..parts.declare import Number, Part, Schema
from .look_alikes import look_alikes

ACCESS = ("easy", "unsafe", "unreachable")


@dataclass(frozen=True)
class PartEntry:
    """One part: its name, schema and ends; the drive that turns it, a remark.

    Attributes
    ----------
    name : str
    schema : Schema
    ends : tuple of str
        The nodes at its ends, in the order of the part's `ends`.
    drive : str
        The drive that gives the part its `speed`, or an empty string.
    note : str
    """

    name: str
    schema: Schema
    ends: tuple[str, ...]
    drive: str = ""
    note: str = ""

    @property
    def kind(self) -> type[Part]:
        """The class of the part, which holds what is known of its kind."""
        assert issubclass(self.schema.part, Part)
        return self.schema.part

    @property
    def size(self) -> str:
        """Which of its numbers says how large its opening is; an empty text where none does."""
        return next(
            (number_key for number_key in self.kind.sizes if number_key in self.schema.number_keys), ""
        )


@dataclass(frozen=True)
class Drive:
    """A drive: its name and schema."""

    name: str
    schema: Schema


@dataclass(frozen=True)
class Tapping:
    """A hole for the manometer, on the end of a part.

    Attributes
    ----------
    name : str
    path : str
        The part on whose end it sits.
    end : str
        The word of that end ("to", "suction").
    schema : Schema
        The schema of its section.
    access : str
        "easy", "unsafe" or "unreachable"; only easy ones are ever proposed for a reading.
    minutes : float
        How long one reading there takes [min].
    note : str
    """

    name: str
    path: str
    end: str
    schema: Schema
    access: str = "easy"
    minutes: float = 2.0
    note: str = ""


@dataclass(frozen=True)
class Unit:
    """A picking unit.

    Attributes
    ----------
    name : str
    vacuum_at : str
        The tapping whose static reading is this unit's vacuum.
    duct : str
        The part that carries its crop away, which gives duct air and duct velocity.
    openings : tuple of str
        The parts by which its crop enters.
    note : str
    """

    name: str
    vacuum_at: str
    duct: str
    openings: tuple[str, ...]
    note: str = ""


Stream = tuple[int, int]
"""The crop that enters by one opening: (place of the unit, place of the opening among the unit's)."""


@dataclass(frozen=True)
class Carried:
    """A part that carries crop.

    Attributes
    ----------
    part : str
    streams : tuple of (unit, opening)
        Whose crop passes through it.
    starts : tuple of (unit, opening)
        The crop that is accelerated here from its entry velocity; the rest has been before.
    before : str
        The part whose section the rest comes out of; an empty text where several streams join, or none does.
    """

    part: str
    streams: tuple[Stream, ...]
    starts: tuple[Stream, ...] = ()
    before: str = ""


@dataclass(frozen=True, eq=False)
class Layout:
    """Everything about a machine but its numbers.

    Attributes
    ----------
    title : str
    air : Schema
        Of the weather or of constant air.
    drives, parts, tappings, units : tuples, in the order of the file
    held, supplied : tuple of (node, Schema)
        Nodes with a given total pressure, nodes with a given supply.
    crop : Schema or None
        Of the crop.
    carried : tuple of Carried
        The parts that carry crop, in a machine made by `with_crop`; their loads follow from the crop.
    boxes : tuple of str
        Nodes that are boxes: air comes to rest there, ends there are free, and no junction is missed.
    free_ends : bool
        Whether an end outside or in a box that says nothing is free: True for files from format 2 on and for
        networks, False for files of format 1.
    free : mapping
        The tables `fill`, `unknown`, `trim`, `spread` as they were written.
    """

    title: str
    air: Schema
    drives: tuple[Drive, ...] = ()
    parts: tuple[PartEntry, ...] = ()
    tappings: tuple[Tapping, ...] = ()
    units: tuple[Unit, ...] = ()
    held: tuple[tuple[str, Schema], ...] = ()
    supplied: tuple[tuple[str, Schema], ...] = ()
    crop: Schema | None = None
    carried: tuple[Carried, ...] = ()
    boxes: tuple[str, ...] = ()
    free_ends: bool = False
    free: Mapping[str, Any] = field(default_factory=dict)

    @cached_property
    def fans(self) -> tuple[str, ...]:
        """The names of the parts that take shaft power."""
        return tuple(part.name for part in self.parts if part.kind.is_fan)

    @property
    def open_nodes(self) -> frozenset[str]:
        """The open air and the boxes: where air is at rest."""
        return frozenset((OUTSIDE, *self.boxes))

    # ---- addresses

    def schemas(self) -> Iterator[tuple[str, Schema]]:
        """(owner, schema) of everything that has numbers, in the order of their addresses."""
        yield "air", self.air
        for drive in self.drives:
            yield drive.name, drive.schema
        for part in self.parts:
            yield part.name, part.schema
        for tapping in self.tappings:
            yield tapping.name, tapping.schema
        yield from self.held
        yield from self.supplied
        if self.crop is not None:
            yield "crop", self.crop

    @cached_property
    def declared(self) -> Mapping[str, Number]:
        """Address -> declaration of every number of such a machine, in order.

        A part that a drive turns has no speed of its own: its speed is the drive's; a part that carries
        crop has no load of its own: its load is the crop's.
        """
        driven = {part.name for part in self.parts if part.drive}
        loaded = {part.part for part in self.carried}
        out: dict[str, Number] = {}
        for owner, schema in self.schemas():
            for number_key, number in schema.declarations():
                if not (
                    (number_key == "speed" and owner in driven) or (number_key in LOAD and owner in loaded)
                ):
                    out[f"{owner}.{number_key}"] = number
        return out

    @cached_property
    def air_numbers(self) -> tuple[str, ...]:
        """Addresses of the air's own numbers."""
        return tuple(address for address in self.declared if address.startswith("air."))

    @cached_property
    def switches(self) -> Mapping[str, tuple[str, Mapping[str, Any]]]:
        """Word of a switch -> (number behind it, what each setting makes of it); the first part's counts."""
        out: dict[str, tuple[str, Mapping[str, Any]]] = {}
        for kind in dict.fromkeys(part.kind for part in self.parts):
            for word, own in kind.switches.items():
                if word not in kind.declared:
                    out.setdefault(word, own)
        return out

    @cached_property
    def feeding(self) -> frozenset[str]:
        """Addresses that other parts' numbers follow from: of the sections that crop comes out of."""
        before = {part.before for part in self.carried if part.before}
        return frozenset(a for a in self.declared if a.rpartition(".")[0] in before)

    @cached_property
    def _by_field(self) -> Mapping[str, tuple[str, ...]]:
        """Field -> the things that have it; addresses are split at the last dot."""
        out: dict[str, list[str]] = {}
        for address in self.declared:
            owner, _, number_key = address.rpartition(".")
            out.setdefault(number_key, []).append(owner)
        return {number_key: tuple(owners) for number_key, owners in out.items()}

    def declaration(self, address: str) -> Number:
        """The declaration of the number at an address.

        Raises
        ------
        UnknownName
            With the nearest address.
        """
        try:
            return self.declared[address]
        except (KeyError, TypeError):
            raise self._unknown(address) from None

    def expand(self, pattern: str) -> tuple[str, ...]:
        """All addresses that a pattern matches: `*` stands for any text; only things with the field match.

        Raises
        ------
        UnknownName
            When nothing matches, with the nearest address.
        """
        if not isinstance(pattern, str):
            raise InputError(
                f"{shown(pattern)} is no address", place="address", allowed="a text, as in 'hose 3.length'"
            )
        if pattern in self.declared:
            return (pattern,)
        owner, _, number_key = str(pattern).rpartition(".")
        if "*" in owner or "*" in number_key:
            names, number_keys = _glob(owner, ".*"), _glob(number_key, "[^.]*")
            found = [
                a for a in self.declared if number_keys(a.rpartition(".")[2]) and names(a.rpartition(".")[0])
            ]
            if found:
                return tuple(found)
        raise self._unknown(pattern)

    def _unknown(self, address: object) -> UnknownName:
        """The error for an address, with the nearest one: a field of the thing, or a thing with the field."""
        text = str(address)
        owner, _, number_key = text.rpartition(".")
        if not owner:
            problem = f"{text!r} is no address"
            nearest = nearest_name(text, self.declared)
            return UnknownName(problem, allowed="write 'name.field', as in 'hose 3.length'", nearest=nearest)
        matches = _glob(owner, ".*")
        own = [f for f, owners in self._by_field.items() if any(matches(t) for t in owners)]
        if own:
            return self._unknown_field(text, owner, number_key, own)
        owners = self._by_field.get(number_key) or tuple(
            dict.fromkeys(t for ts in self._by_field.values() for t in ts)
        )
        near = nearest_name(owner, owners)
        fields = [f for f, has in self._by_field.items() if near in has]
        field_near = number_key if number_key in fields else nearest_name(number_key, fields)
        nearest = f"{near}.{field_near}" if near and field_near else ""
        allowed = "" if nearest else f"things with numbers: {', '.join(map(repr, owners[:12]))}"
        return UnknownName(f"unknown address {text!r}", allowed=allowed, nearest=nearest)

    def _unknown_field(self, text: str, owner: str, number_key: str, own: list[str]) -> UnknownName:
        if number_key == "speed":
            for part in self.parts:
                if part.name == owner and part.drive:
                    return UnknownName(
                        f"{text!r} is given by the drive {part.drive!r}",
                        allowed=f"change the drive: {part.drive}.engine_speed, or its pulleys",
                        nearest=f"{part.drive}.engine_speed",
                    )
        near = nearest_name(number_key, own)
        nearest = f"{owner}.{near}" if near else ""
        allowed = "" if near else f"its numbers: {', '.join(own[:16])}"
        return UnknownName(f"unknown address {text!r}", allowed=allowed, nearest=nearest)

    # ---- named things

    @cached_property
    def part(self) -> Mapping[str, PartEntry]:
        """Name -> part."""
        return {part.name: part for part in self.parts}

    @cached_property
    def drive(self) -> Mapping[str, Drive]:
        """Name -> drive."""
        return {drive.name: drive for drive in self.drives}

    @cached_property
    def tapping(self) -> Mapping[str, Tapping]:
        """Name -> tapping."""
        return {tapping.name: tapping for tapping in self.tappings}

    @cached_property
    def unit(self) -> Mapping[str, Unit]:
        """Name -> unit."""
        return {unit.name: unit for unit in self.units}

    @cached_property
    def look_alikes(self) -> list[str]:
        """Sentences about names of things, nodes and units that are easily taken for one another."""
        owners = [owner.name for group in (self.drives, self.parts, self.tappings) for owner in group]
        nodes = [end for part in self.parts for end in part.ends]
        units = [unit.name for unit in self.units]
        return [*look_alikes(owners, "names"), *look_alikes(units, "units"), *look_alikes(nodes, "nodes")]

    def entry(self, part: str) -> PartEntry:
        """A part by its name.

        Raises
        ------
        UnknownName
        """
        known = self.part.get(part) if isinstance(part, str) else None
        if known is None:
            raise UnknownName.of("part", part, self.part)
        return known

    def end_node(self, part: str, end: str) -> str:
        """The node at the end of a part that the part calls `end`."""
        entry = self.entry(part)
        words = _ends_of(entry.schema)
        return entry.ends[words.index(one_of(end, words, f"part {entry.name!r}", "end"))]

    # ---- the compiled network

    def entries(self) -> tuple[Entry, ...]:
        """The parts as the network wants them."""
        return tuple(Entry(part.name, part.schema, part.ends) for part in self.parts)

    @property
    def compiled(self) -> System | None:
        """The compiled network, None before the first call of `system`."""
        return self.__dict__.get("_system")

    def system(self, numbers: Mapping[str, Any]) -> System:
        """The compiled network, made at the first call and kept; `numbers` as `part_numbers` gives them."""
        known = self.compiled
        if known is None:
            held = [node for node, _ in self.held]
            supplied = [node for node, _ in self.supplied]
            known = System(self.entries(), held, supplied, numbers)
            self.__dict__["_system"] = known
        return known

    def path_keys(self, part: str) -> tuple[PathName, ...]:
        """The names of a part's paths, as a state knows them."""
        names = _path_names(self.entry(part).schema)
        return (part,) if len(names) == 1 else tuple((part, name) for name in names)

    def paths_at(self, part: str, end: str, system: System) -> tuple[tuple[PathName, int], ...]:
        """The paths of a part at one of its ends: (path, +1 when it runs towards that end, else -1)."""
        node = system.node(self.end_node(part, end))
        out: list[tuple[PathName, int]] = []
        for key in self.path_keys(part):
            row = system.rows[key]
            if system.finish[row] == node:
                out.append((key, 1))
            elif system.start[row] == node:
                out.append((key, -1))
        return tuple(out)

    def __getstate__(self) -> dict[str, Any]:
        """Without what can be worked out again: another process compiles for itself."""
        kept = set(self.__dataclass_fields__)
        return {name: value for name, value in self.__dict__.items() if name in kept}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)

    def __repr__(self) -> str:
        return f"<Layout {self.title!r}: {len(self.parts)} parts, {len(self.units)} units>"


def _ends_of(schema: Schema) -> tuple[str, ...]:
    return tuple(getattr(schema.part, "ends", ()))


def _path_names(schema: Schema) -> tuple[str, ...]:
    return tuple(getattr(schema.part, "path_names", ("",)))


def _glob(pattern: str, any_text: str) -> Any:
    """A matcher for a pattern in which `*` stands for `any_text`."""
    if "*" not in pattern:
        return pattern.__eq__
    squeezed = re.sub(r"\*+", "*", pattern)
    if squeezed.count("*") > 8:
        raise InputError(f"{pattern!r:.80} has too many wild cards", allowed="up to eight '*'")
    return re.compile(any_text.join(map(re.escape, squeezed.split("*"))), re.DOTALL).fullmatch
