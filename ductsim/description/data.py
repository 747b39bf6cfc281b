"""A machine as data: its layout and the number at every address; immutable, every change makes a new one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Self, TypeVar

import numpy as np

from .. import storage
from ..air import Air
from ..arguments import ByName, instance, locked, mapping, one_of
from ..errors import InputError, UnknownName
from ..measures import SYSTEMS
from ..network.state import scenario_number
from ..network.system import System
from ..parts.declare import Chosen, Fields
from . import changing
from .crop_way import load_numbers
from .equipment import air_of, fan_speed
from .layout import Layout, PartEntry

M = TypeVar("M", bound="MachineData")
"""A machine of the kind that came in."""


class MachineData:
    """A machine as data, without its ways to be read, solved and asked (`Machine` adds those).

    Attributes
    ----------
    layout : Layout
        Names, kinds, ends, tappings and units; shared by all machines that `change` makes.
    numbers : read-only mapping
        Address -> SI float, or array of shape (S,).
    given : frozenset of str
        Addresses whose number was given; the rest are defaults.
    columns : int or None
        The number of scenarios S; None when every number is single.
    file, sha256 : str
        Where the machine came from, and the SHA-256 of that file's bytes; empty if it came from none.
    measures : str
        "metric" or "inch": in which it is told where nobody asks for others.
    """

    __slots__ = ("_air", "columns", "file", "given", "layout", "measures", "numbers", "sha256")

    layout: Layout
    numbers: Mapping[str, Any]
    given: frozenset[str]
    columns: int | None
    file: str
    sha256: str
    measures: str
    _air: Air

    def __init__(
        self,
        layout: Layout,
        numbers: Mapping[str, Any],
        given: frozenset[str] = frozenset(),
        *,
        file: str = "",
        sha256: str = "",
        measures: str = "metric",
    ) -> None:
        one_of(measures, SYSTEMS, "Machine", "system of measures")
        instance(
            layout, Layout, "Machine", "a layout", "read a machine with ds.Machine.read or ds.Machine.of"
        )
        mapping(numbers, "Machine", "address -> number")
        for address in layout.declared.keys() - numbers.keys():
            raise InputError("the number is missing", place=address, allowed="a number for every address")
        ordered = {address: locked(numbers[address]) for address in layout.declared}
        values = {
            "layout": layout,
            "numbers": ByName("address", ordered),
            "given": given,
            "columns": changing.scenarios(ordered),
            "file": file,
            "sha256": sha256,
            "measures": measures,
        }
        for name, value in values.items():
            object.__setattr__(self, name, value)

    def __setattr__(self, name: str, value: Any) -> None:
        raise AttributeError("a machine is never changed in place; machine.change({...}) makes a new one")

    def rebuilt(
        self,
        numbers: Mapping[str, Any] | None = None,
        *,
        layout: Layout | None = None,
        given: frozenset[str] | None = None,
        file: str | None = None,
        measures: str | None = None,
    ) -> Self:
        """The machine with other numbers, layout, name of its file or measures; the rest stays.

        The numbers are taken as they are, unchecked: `change` is the way in for what a user gives. What
        was given stays so where the layout still has it.
        """
        layout = self.layout if layout is None else layout
        given = self.given if given is None else given
        if layout is not self.layout:
            given = frozenset(address for address in given if address in layout.declared)
        return type(self)(
            layout,
            self.numbers if numbers is None else numbers,
            given,
            file=self.file if file is None else file,
            sha256=self.sha256,
            measures=self.measures if measures is None else measures,
        )

    # ---- new machines

    def change(self, change: Mapping[str, Any]) -> Self:
        """A machine with other numbers, sharing the layout.

        Parameters
        ----------
        change : mapping
            Address or pattern ("hose *.length") -> a number in SI, "2 m", "x0.8", an array (a column of
            scenarios) or `times(array)`.

        Raises
        ------
        InputError
            For an unknown address (UnknownName), a value out of range or of another kind, columns of
            different lengths, and two entries that contradict each other.
        """
        return self.changed(changing.resolve(self.layout, change))

    def changed(self, effects: Mapping[str, changing.Effect]) -> Self:
        """A machine with a resolved change applied (`changing.resolve`, `changing.together`)."""
        numbers = dict(self.numbers.items())
        for address, effect in effects.items():
            numbers[address] = changing.apply(
                numbers[address], effect, self.layout.declared[address], address
            )
        out = self.rebuilt(numbers, given=self.given | effects.keys())
        out.check_together({address.split(".")[0] for address in effects})
        return out

    def check_together(self, objects: set[str]) -> None:
        """The checks that need more than one number of a part, and those of the driven speeds."""
        driven = {p.name for p in self.layout.parts if p.drive in objects}
        numbers = self.part_numbers()
        for entry in [p for p in self.layout.parts if p.name in objects or p.name in driven]:
            name, part = entry.name, _built(entry, numbers)
            _check(part, f"part {name!r}")
            if name in driven:
                part.declared["speed"].check(part.speed, f"part {name!r}, speed from its drive")
        if "air" in objects:
            self.air()
        if "crop" in objects and self.crop is not None:
            _check(self.crop, "")

    @property
    def crop(self) -> Any:
        """The machine's crop, columns staying columns; None when it has none."""
        schema = self.layout.crop
        return (
            None
            if schema is None
            else schema.build([self.numbers[f"crop.{number_key}"] for number_key in schema.number_keys])
        )

    @property
    def carries(self) -> bool:
        """True when the machine's ducts carry its crop."""
        return bool(self.layout.carried)

    def __getitem__(self, scenario: int) -> Self:
        """One scenario; a machine without columns is its own only one."""
        scenario = scenario_number(scenario, len(self), "machine")
        if self.columns is None:
            return self
        numbers = {a: float(v[scenario]) if isinstance(v, np.ndarray) else v for a, v in self.numbers.items()}
        return self.rebuilt(numbers)

    def __len__(self) -> int:
        return 1 if self.columns is None else self.columns

    def __iter__(self) -> Iterator[Self]:
        return (self[i] for i in range(len(self)))

    # ---- what the network is given

    def part(self, name: str) -> Any:
        """The part of that name with its numbers (columns stay columns).

        Raises
        ------
        UnknownName
        """
        entry = self.layout.part.get(name) if isinstance(name, str) else None
        if entry is None:
            raise UnknownName.of("part", name, self.layout.part)
        return _built(entry, self.part_numbers())

    def part_numbers(self) -> dict[str, Any]:
        """The numbers with the speed of every driven part worked out from its drive."""
        return part_numbers(self.layout, self.numbers)

    def air(self) -> Air:
        """The air that the machine draws in; worked out once."""
        try:
            return self._air
        except AttributeError:
            air = air_of(self.layout.air.part, self.numbers)
            object.__setattr__(self, "_air", air)
            return air

    @property
    def system(self) -> System:
        """The compiled network, which belongs to the layout and is made once."""
        return self.layout.compiled or self.layout.system(self.part_numbers())

    # ---- the rest

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, MachineData):
            return NotImplemented
        return self.numbers.keys() == other.numbers.keys() and all(
            np.array_equal(value, other.numbers[address]) for address, value in self.numbers.items()
        )

    def __hash__(self) -> int:
        return hash(tuple(self.numbers))

    def __repr__(self) -> str:
        columns = f", {self.columns:,} scenarios" if self.columns is not None else ""
        units = len(self.layout.units)
        return f"<Machine {self.layout.title!r}: {len(self.layout.parts)} parts, {units} units{columns}>"

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild, (
            type(self),
            self.layout,
            dict(self.numbers),
            self.given,
            self.file,
            self.sha256,
            self.measures,
        )


def _rebuild(
    kind: type[MachineData],
    layout: Layout,
    numbers: dict[str, Any],
    given: frozenset[str],
    file: str,
    sha256: str,
    measures: str = "metric",
) -> MachineData:
    return kind(layout, numbers, given, file=file, sha256=sha256, measures=measures)


def _built(entry: PartEntry, numbers: Mapping[str, Any]) -> Any:
    """A part of its numbers among those of all."""
    schema = entry.schema
    return schema.build([numbers[f"{entry.name}.{number_key}"] for number_key in schema.number_keys])


def _check(obj: Fields, place: str) -> None:
    """A part's own checks of its numbers against each other, and those of its smaller parts."""
    try:
        obj.check()
        for name in obj.declared:
            value = getattr(obj, name)
            if isinstance(value, tuple):
                for item in value:
                    if isinstance(item, Fields):
                        item.check()
    except InputError as err:
        raise err.at(place=place) from None


def running_speed(numbers: Mapping[str, Any], fan: str) -> Any:
    """Speed that a fan turns at [rad/s], of the parts' numbers: own or its drive's, less its belt's slip."""
    slip = f"{fan}.belt_slip"
    speed = numbers[f"{fan}.speed"]
    return speed * (1.0 - numbers[slip]) if slip in numbers else speed


def part_numbers(layout: Layout, numbers: Mapping[str, Any]) -> dict[str, Any]:
    """The numbers with the speed of every driven part and the load of every part that carries crop."""
    out = dict(numbers.items())  # read-only mappings are slow to ask name by name
    for part in layout.parts:
        if part.drive:
            out[f"{part.name}.speed"] = fan_speed(
                *(numbers[f"{part.drive}.{number_key}"] for number_key in ("engine_speed", "driving_pulley")),
                *(numbers[f"{part.drive}.{number_key}"] for number_key in ("driven_pulley", "slip")),
            )
    if layout.carried and layout.crop is not None:
        crop = layout.crop.build([numbers[f"crop.{number_key}"] for number_key in layout.crop.number_keys])
        out.update(load_numbers(layout, out, crop))
    return out


def _kept(machine: MachineData) -> dict[str, Any]:
    words = {a: v.choice.word for a, v in machine.numbers.items() if isinstance(v, Chosen)}
    return {
        "words": words,
        "layout": machine.layout,
        "numbers": dict(machine.numbers),
        "given": sorted(machine.given),
        "file": machine.file,
        "sha256": machine.sha256,
        "measures": machine.measures,
    }


def _made(kind: type, fields: dict[str, Any]) -> Any:
    words, declared = fields.pop("words", {}), fields["layout"].declared
    fields["numbers"].update({a: declared[a].chosen(word, a) for a, word in words.items()})
    return _rebuild(kind, **{**fields, "given": frozenset(fields["given"])})


storage.keeps(MachineData, _kept, _made)
