"""The user's machine: a layout and its numbers; immutable, every change makes a new one."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ..air import Air
from ..arguments import ByName, instance, locked, mapping
from ..errors import InputError, UnknownName
from ..network.state import scenario_number
from ..network.system import System
from ..parts.declare import Fields, Part
from . import changing
from .layout import Layout
from .things import air_of

if TYPE_CHECKING:
    from .crop.described import Crop
    from .describe import Description, SourceList
    from .gradients import Sensitivity
    from .state import MachineState


class Machine:
    """A machine as described: its layout and the number at every address.

    Made by `Machine.read`, `Machine.of` or `demo`; `change` and `replace` make new machines. A number may
    be a column of S scenarios; then every answer is a column too.

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
    """

    __slots__ = ("_air", "columns", "file", "given", "layout", "numbers", "sha256")

    layout: Layout
    numbers: Mapping[str, Any]
    given: frozenset[str]
    columns: int | None
    file: str
    sha256: str
    _air: Air

    def __init__(
        self,
        layout: Layout,
        numbers: Mapping[str, Any],
        given: frozenset[str] = frozenset(),
        *,
        file: str = "",
        sha256: str = "",
    ) -> None:
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
        }
        for name, value in values.items():
            object.__setattr__(self, name, value)

    def __setattr__(self, name: str, value: Any) -> None:
        raise AttributeError("a machine is never changed in place; machine.change({...}) makes a new one")

    # ---- reading and writing

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> Machine:
        """The machine in a TOML file of format 1.

        Raises
        ------
        InputError
            One sentence with the file, the place, what was wrong and what is allowed.
        """
        from .document import read_document
        from .reader import read_tables

        document, digest = read_document(path)
        try:
            return cls(*read_tables(document), file=str(path), sha256=digest)
        except InputError as err:
            raise err.at(file=str(path)) from None

    @classmethod
    def of(cls, document: Mapping[str, Any]) -> Machine:
        """The machine in a mapping with the tables and keys of a machine file."""
        from .reader import read_tables

        return cls(*read_tables(document))

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write a machine file with every repeated part spelled out; no file is left half written.

        Reading it back gives equal numbers.

        Raises
        ------
        InputError
            For a machine with columns, and where nothing can be written.
        """
        from .writer import write

        write(self, path)

    # ---- new machines

    def change(self, change: Mapping[str, Any]) -> Machine:
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

    def changed(self, effects: Mapping[str, changing.Effect]) -> Machine:
        """A machine with a resolved change applied (`changing.resolve`, `changing.together`)."""
        numbers = dict(self.numbers)
        for address, effect in effects.items():
            numbers[address] = changing.apply(
                numbers[address], effect, self.layout.declared[address], address
            )
        out = Machine(self.layout, numbers, self.given | effects.keys(), file=self.file, sha256=self.sha256)
        out._check_together({address.split(".")[0] for address in effects})
        return out

    def _check_together(self, things: set[str]) -> None:
        """The checks that need more than one number of a part, and those of the driven speeds."""
        driven = {p.name for p in self.layout.parts if p.drive in things}
        for name in [p.name for p in self.layout.parts if p.name in things or p.name in driven]:
            part = self.part(name, check=True)
            if name in driven:
                part.declared["speed"].check(part.speed, f"part {name!r}, speed from its drive")
        if "air" in things:
            self.air()
        if "crop" in things and self.crop is not None:
            _check(self.crop, "")

    def with_crop(self, crop: Crop | None = None) -> Machine:
        """The machine with crop in its ducts: its own (the `[crop]` table of its file), or another.

        Air and crop are then solved together, at the speed `crop.ground_speed`; every number of the crop
        has an address (`crop.slip`). `carries` tells such a machine; `without_crop` empties it.

        Raises
        ------
        InputError
            Without a crop, and where no way leads from an opening to its unit's duct.
        """
        from .crop.described import with_crop

        return with_crop(self, crop)

    def without_crop(self) -> Machine:
        """The machine with empty ducts; its crop stays known."""
        from .crop.described import without_crop

        return without_crop(self)

    @property
    def crop(self) -> Crop | None:
        """The machine's crop; None when it has none."""
        from .crop.described import crop_of

        return crop_of(self.layout, self.numbers)

    @property
    def carries(self) -> bool:
        """True when the machine's ducts carry its crop."""
        return bool(self.layout.carried)

    def replace(self, parts: Mapping[str, Part]) -> Machine:
        """A machine with other parts at the same ends; it has a new layout.

        Raises
        ------
        InputError
            For an unknown name (UnknownName), a part whose connections differ, and whatever would not
            pass in a file.
        """
        from .replacing import replace

        return replace(self, parts)

    def __getitem__(self, scenario: int) -> Machine:
        """One scenario of a machine with columns."""
        size = len(self)
        scenario = scenario_number(scenario, size, "machine")
        numbers = {a: float(v[scenario]) if isinstance(v, np.ndarray) else v for a, v in self.numbers.items()}
        return Machine(self.layout, numbers, self.given, file=self.file, sha256=self.sha256)

    def __len__(self) -> int:
        if self.columns is None:
            raise InputError("the machine has no columns", allowed="give a column with change({...})")
        return self.columns

    def __bool__(self) -> bool:
        return True

    def __iter__(self) -> Iterator[Machine]:
        return (self[i] for i in range(len(self)))

    # ---- what the network is given

    def part(self, name: str, *, check: bool = False) -> Any:
        """The part of that name with its numbers (columns stay columns).

        Raises
        ------
        UnknownName
        """
        entry = self.layout.part.get(name) if isinstance(name, str) else None
        if entry is None:
            raise UnknownName.of("part", name, self.layout.part)
        numbers = self.part_numbers()
        thing = entry.form.build([numbers[f"{name}.{leaf}"] for leaf in entry.form.leaves])
        if check:
            _check(thing, f"part {name!r}")
        return thing

    def part_numbers(self) -> dict[str, Any]:
        """The numbers with the speed of every driven part worked out from its drive."""
        return self.layout.part_numbers(self.numbers)

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

    # ---- answers

    def solve(self, raise_error: bool = True) -> MachineState:
        """Air flow and pressure everywhere, vacuum at every unit.

        Parameters
        ----------
        raise_error : bool
            False gives the state back instead of raising; scenarios of a column that could not be solved
            are NaN in it, each with its outcome, and the rest stands.

        Raises
        ------
        NoOperatingPoint
            When there is no answer; `.state` holds the last iterate.
        """
        from .state import solve

        return solve(self, raise_error)

    def ask(self, of: str) -> Any:
        """Solve and answer one question of the `of` vocabulary: a float or (S,), in SI."""
        return self.solve().ask(of)

    def jacobian(
        self, of: Sequence[str], numbers: Sequence[str], state: MachineState | None = None
    ) -> tuple[Any, Any]:
        """Answers (Q,) to some questions and their exact derivatives (Q, A) in the numbers at some addresses.

        Raises
        ------
        InputError
            For a machine with columns, unknown questions and addresses.
        """
        from .gradients import jacobian

        return jacobian(self, of, numbers, state)

    def sensitivity(self, of: str = "weakest vacuum") -> Sensitivity:
        """How one answer depends on every number: derivative, elasticity, effect of its usual spread."""
        from .gradients import Sensitivity

        return Sensitivity(self, of)

    def describe(self) -> Description:
        """Every number: address, value, measure, given or default, spread, what it is."""
        from .describe import Description

        return Description(self)

    def sources(self) -> SourceList:
        """The published sources behind the laws that this machine uses, and what uses them."""
        from .describe import SourceList

        return SourceList(self)

    # ---- the rest

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Machine):
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
        return _rebuild, (self.layout, dict(self.numbers), self.given, self.file, self.sha256)


def _rebuild(
    layout: Layout, numbers: dict[str, Any], given: frozenset[str], file: str, sha256: str
) -> Machine:
    return Machine(layout, numbers, given, file=file, sha256=sha256)


def _check(thing: Fields, place: str) -> None:
    """A part's own checks of its numbers against each other, and those of its smaller parts."""
    try:
        thing.check()
        for name in thing.declared:
            value = getattr(thing, name)
            if isinstance(value, tuple):
                for item in value:
                    if isinstance(item, Fields):
                        item.check()
    except InputError as err:
        raise err.at(place=place) from None
