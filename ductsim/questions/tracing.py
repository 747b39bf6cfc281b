"""What a question reads: watched while it is answered, so that nobody has to declare it.

A question is a function of a machine and of its flows. `Watched` and `Watching` stand in for the two and
note every flow, node and number that is looked at; `View` is the state with some of these replaced, to see
what the answer makes of it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ..air import Air
from ..description.data import MachineData
from ..description.layout import Layout
from ..errors import InputError
from .gauges import Flows, shaft_power, tapping_pressures
from .vocabulary import Question, question


class Watching(Mapping[Any, Any]):
    """A mapping that notes which of its keys are read; iterating reads them all."""

    def __init__(self, base: Mapping[Any, Any], seen: dict[Any, None]) -> None:
        self._base, self._seen = base, seen

    def __getitem__(self, key: Any) -> Any:
        value = self._base[key]
        self._seen[key] = None
        return value

    def __iter__(self) -> Iterator[Any]:
        self._seen.update(dict.fromkeys(self._base))
        return iter(self._base)

    def __len__(self) -> int:
        return len(self._base)


class Over(Mapping[Any, Any]):
    """A mapping in which some values are replaced."""

    def __init__(self, base: Mapping[Any, Any], own: Mapping[Any, Any]) -> None:
        self._base, self._own = base, own

    def __getitem__(self, key: Any) -> Any:
        return self._own[key] if key in self._own else self._base[key]

    def __iter__(self) -> Iterator[Any]:
        return iter(self._base)

    def __len__(self) -> int:
        return len(self._base)


class View:
    """Flows, pressures and temperatures of a solved machine, some of them replaced, and what follows.

    Attributes
    ----------
    machine : MachineData
    flow, pressure, temperature : mappings, as those of a state
    """

    def __init__(
        self,
        machine: MachineData,
        flow: Mapping[Any, Any],
        pressure: Mapping[str, Any],
        temperature: Mapping[str, Any],
    ) -> None:
        self.machine = machine
        self.flow, self.pressure, self.temperature = flow, pressure, temperature

    @property
    def vacuum(self) -> dict[str, Any]:
        """Unit -> static vacuum at its tapping [Pa]."""
        units = self.machine.layout.units
        return {u.name: -tapping_pressures(self.machine, self, u.vacuum_at).static for u in units}

    @property
    def power(self) -> dict[str, Any]:
        """Fan -> shaft power [W]."""
        return {name: shaft_power(self.machine, self, name) for name in self.machine.layout.fans}

    def ask(self, of: str) -> Any:
        """The answer to another question."""
        return question(self.machine.layout, of).evaluate(self.machine, self)

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):
            raise AttributeError(name)
        raise InputError(
            f"it reads {name!r} of the state",
            place="question",
            allowed="flow, pressure, temperature, vacuum, power, and ask(...): their slopes are known",
        )


class Watched(MachineData):
    """A machine that notes which of its numbers are read."""

    __slots__ = ("_machine", "_seen")
    _machine: MachineData
    _seen: dict[str, None]

    def __init__(self, machine: MachineData, seen: dict[str, None]) -> None:
        watching = Watching(machine.numbers, seen)
        own = {"_machine": machine, "_seen": seen, "layout": machine.layout, "numbers": watching}
        for name in ("given", "columns", "file", "sha256"):
            own[name] = getattr(machine, name)
        for name, value in own.items():
            object.__setattr__(self, name, value)

    def part_numbers(self) -> Any:
        """The parts' numbers; one that follows from others reads those."""
        return _Followed(self._machine, self._seen)

    def air(self) -> Air:
        """The air, which reads all of its numbers."""
        self._seen.update(dict.fromkeys(self.layout.air_numbers))
        return self._machine.air()

    def rebuilt(self, *args: Any, **words: Any) -> Any:
        """Another machine made of this one, which reads all of its numbers."""
        self._seen.update(dict.fromkeys(self.layout.declared))
        return self._machine.rebuilt(*args, **words)


class _Followed(Mapping[str, Any]):
    """The numbers of the parts as the network is given them; reading one notes what it follows from."""

    def __init__(self, machine: MachineData, seen: dict[str, None]) -> None:
        self._numbers, self._layout, self._seen = machine.part_numbers(), machine.layout, seen

    def __getitem__(self, address: str) -> Any:
        value = self._numbers[address]
        self._seen.update(dict.fromkeys(sources_of(self._layout, address)))
        return value

    def __iter__(self) -> Iterator[str]:
        self._seen.update(dict.fromkeys(self._layout.declared))
        return iter(self._numbers)

    def __len__(self) -> int:
        return len(self._numbers)


def sources_of(layout: Layout, address: str) -> list[str]:
    """The machine's own numbers that a part's number follows from: itself, its drive's, the crop's."""
    if address in layout.declared:
        return [address]
    owner, _, number_key = address.rpartition(".")
    drive = layout.part[owner].drive
    if number_key == "speed" and drive:
        return [f"{drive}.{own}" for own in layout.drive[drive].schema.number_keys]
    before = next((c.before for c in layout.carried if c.part == owner), "")
    owners = ("crop", before)
    return [a for a in layout.declared if a.rpartition(".")[0] in owners]


@dataclass(frozen=True)
class Reads:
    """What a question was seen to read: paths, nodes, addresses of numbers; each in order."""

    paths: tuple[Any, ...]
    nodes: tuple[str, ...]
    numbers: tuple[str, ...]


def watch(asked: Question, machine: MachineData, state: Flows) -> tuple[Any, Reads]:
    """The answer to a question, and what it read.

    Raises
    ------
    InputError
        For a question that reads of a state what has no known slopes.
    """
    paths: dict[Any, None] = {}
    nodes: dict[str, None] = {}
    numbers: dict[str, None] = {}
    watched = Watched(machine, numbers)
    view = View(
        watched,
        Watching(state.flow, paths),
        Watching(state.pressure, nodes),
        Watching(state.temperature, nodes),
    )
    try:
        answer = asked.evaluate(watched, view)
    except InputError as err:
        raise err.at(place=asked.of) from None
    return answer, Reads(tuple(paths), tuple(n for n in nodes if n != "outside"), tuple(numbers))
