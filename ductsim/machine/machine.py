"""The user's machine: read and written, changed, solved and asked."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from importlib import import_module
from typing import Any, Self, overload

from ..answers.describe import Description, QuestionList, SourceList, questions_of, sources_of
from ..answers.difference import Difference, difference
from ..answers.gradients import jacobian
from ..answers.sensitivity import Sensitivity, sensitivity
from ..answers.state import MachineAnswer, solve
from ..arguments import instance
from ..crop.crop import Crop, with_crop, without_crop
from ..crop.file import read_crop
from ..crop.replacement import replace
from ..description.data import MachineData
from ..display.presentation import Shown
from ..documents.document import read_document, written
from ..files.reader import read_tables
from ..files.writer import document, write
from ..network.state import State
from ..parts.declare import Part

WHAT_IF = ("ductsim.studies.faults", "what_if")
"""A study stands in a room above, and is loaded when it is asked for."""


class Machine(MachineData, Shown):
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

    __slots__ = ()

    # ---- reading and writing

    @classmethod
    def read(cls, path: str | os.PathLike[str]) -> Self:
        """The machine in a TOML file of format 2, or 1.

        Raises
        ------
        InputError
            A sentence for each thing that is wrong: file, line, place, what and what is allowed.
        """
        found, digest = read_document(path, read_tables)
        return cls(*found[:3], file=str(path), sha256=digest, measures=found.measures)

    @classmethod
    def of(cls, document: Mapping[str, Any] | str) -> Self:
        """The machine in a mapping with the tables and keys of a machine file, or in the file's text.

        Raises
        ------
        InputError
            One sentence with the place, what was wrong and what is allowed.
        """
        found = written(document, read_tables)
        return cls(*found[:3], measures=found.measures)

    def document(self) -> dict[str, Any]:
        """What `write` writes: the tables of a machine file, which `of` reads back.

        Raises
        ------
        InputError
            For a machine with columns.
        """
        return document(self)

    def write(self, path: str | os.PathLike[str]) -> None:
        """Write a machine file with every repeated part spelled out; no file is left half written.

        Reading it back gives equal numbers.

        Raises
        ------
        InputError
            For a machine with columns, and where nothing can be written.
        """
        write(self, path)

    def with_crop(self, crop: Any = None) -> Self:
        """The machine with crop in its ducts: its own (the `[crop]` table of its file), or another.

        `crop` is a `Crop`, or what `read_crop` takes: a path, a mapping, a DataFrame.

        Air and crop are then solved together, at the speed `crop.ground_speed`; every number of the crop
        has an address (`crop.slip`). `carries` tells such a machine; `without_crop` empties it.

        Raises
        ------
        InputError
            Without a crop, and where no way leads from an opening to its unit's duct.
        """
        return with_crop(self, None if crop is None else read_crop(crop))

    def without_crop(self) -> Self:
        """The machine with empty ducts; its crop stays known."""
        return without_crop(self)

    @property
    def crop(self) -> Crop | None:
        """The machine's crop; None when it has none."""
        crop: Crop | None = super().crop
        return crop

    def replace(self, parts: Mapping[str, Part]) -> Self:
        """A machine with other parts at the same ends; it has a new layout.

        Raises
        ------
        InputError
            For an unknown name (UnknownName), a part whose connections differ, and whatever would not
            pass in a file.
        """
        return replace(self, parts)

    # ---- answers

    def solve(self, raise_error: bool = True, start: State | None = None) -> MachineState:
        """Air flow and pressure everywhere, vacuum at every unit.

        Parameters
        ----------
        raise_error : bool
            False gives the state back instead of raising; scenarios of a column that could not be solved
            are NaN in it, each with its outcome, and the rest stands.
        start : State, optional
            A solved state of the same layout, without columns, from which a nearby machine is found in few
            steps; it decides nothing about the answer.

        Raises
        ------
        NoOperatingPoint
            When there is no answer; `.state` holds the last iterate.
        """
        return solve(self, raise_error, start, MachineState)

    def ask(self, of: str | Sequence[str]) -> Any:
        """Solve and answer a question of the `of` vocabulary: a float or (S,), in SI; to a list, a list.

        Raises
        ------
        UnknownName
            For words that ask nothing; `questions` lists those that do.
        """
        return self.solve().ask(of)

    def jacobian(
        self, of: str | Sequence[str], numbers: str | Sequence[str], state: MachineState | None = None
    ) -> tuple[Any, Any]:
        """Answers (Q,) to some questions and their exact derivatives (Q, A) in the numbers at some addresses.

        Raises
        ------
        InputError
            For a machine with columns, unknown questions and addresses.
        """
        return jacobian(self, of, numbers, state)

    @overload
    def sensitivity(self, of: str = ...) -> Sensitivity: ...

    @overload
    def sensitivity(self, of: list[str] | tuple[str, ...]) -> list[Sensitivity]: ...

    def sensitivity(
        self, of: str | list[str] | tuple[str, ...] = "weakest vacuum"
    ) -> Sensitivity | list[Sensitivity]:
        """How one answer depends on every number: derivative, elasticity, effect of its usual spread.

        To a list of questions a list.
        """
        return sensitivity(self, of)

    def what_if(self, of: str = "weakest vacuum") -> Any:
        """What the usual mishaps would do, one by one, the worst first: what `ductsim.what_if` finds."""
        return getattr(import_module(WHAT_IF[0]), WHAT_IF[1])(self, of)

    def questions(self) -> QuestionList:
        """Everything that may be asked: the words of `of`, what each answer is, its SI measure."""
        return questions_of(self.layout)

    def diff(self, other: MachineData) -> Difference:
        """What differs in another machine: numbers at the same address, parts and units that came or went.

        Raises
        ------
        InputError
            For what is no machine.
        """
        return difference(self, instance(other, MachineData, "diff", "a machine"))

    def describe(self) -> Description:
        """Every number: address, value, measure, given or default, spread, what it is."""
        return Description(self)

    def sources(self) -> SourceList:
        """The published sources behind the laws that this machine uses, and what uses them."""
        return sources_of(self)


class MachineState(MachineAnswer):
    """A solved machine: a `State`, and the vacuum and air of every unit.

    Values are floats, or arrays of shape (S,) when the machine has columns; `state[i]` picks a scenario.

    Attributes
    ----------
    machine : Machine
        The machine it is the answer for.
    """

    machine: Machine
