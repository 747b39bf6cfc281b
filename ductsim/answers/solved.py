"""A solved machine as data: the network's state, the machine it belongs to, what can be asked of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any, Self

import numpy as np

from .. import storage
from ..arguments import ByName, locked
from ..description.data import MachineData
from ..network.network import stacked
from ..network.state import State
from ..questions.gauges import opening_air, tapping_pressures
from ..questions.vocabulary import question


class SolvedMachine(State):
    """A `State` with its machine.

    Attributes
    ----------
    machine : MachineData
        The machine it is the answer for.
    network_notes : list of str
        What the network alone has to say.
    """

    def __init__(self, machine: MachineData, state: State) -> None:
        self.__dict__.update(state.__dict__)
        self.machine = machine
        self.network_notes = list(state.notes)

    def _pick(self, index: int) -> Self:
        return type(self)(self.machine[index], super()._pick(index))

    def ask(self, of: str | Sequence[str]) -> Any:
        """The answer to a question of the `of` vocabulary, a float or (S,), in SI; to a list of them, a list.

        Raises
        ------
        UnknownName
            For words that ask nothing.
        """
        if isinstance(of, (list, tuple)):
            return [self.ask(words) for words in of]
        asked: Any = of  # what is no text has its sentence there
        return question(self.machine.layout, asked).evaluate(self.machine, self)

    @cached_property
    def vacuum(self) -> Mapping[str, Any]:
        """Unit -> static vacuum at its tapping [Pa], positive below outside pressure."""
        taps = {unit.name: unit.vacuum_at for unit in self.machine.layout.units}
        own = {
            unit: locked(0.0 - tapping_pressures(self.machine, self, at).static) for unit, at in taps.items()
        }
        return ByName("unit", own)

    @property
    def weakest(self) -> Any:
        """The unit with the lowest static vacuum; with columns an array of S names.

        An empty text where there is no unit or no answer.
        """
        return self._lowest(list(self.vacuum.values()))

    @property
    def weakest_by_air(self) -> Any:
        """The unit with the least air through its openings, as `weakest`."""
        units = self.machine.layout.units
        return self._lowest([opening_air(self.machine, self, unit.name) for unit in units])

    def _lowest(self, values: list[Any]) -> Any:
        names = np.array([unit.name for unit in self.machine.layout.units] + [""], dtype=object)
        if not values:
            return "" if self.columns is None else np.full(self.columns, "", dtype=object)
        rows = np.array([np.broadcast_to(value, self.columns or 1) for value in values])
        known = ~np.isnan(rows)
        lowest = np.where(known, rows, np.inf).argmin(axis=0)
        out = names[np.where(known.any(axis=0), lowest, len(values))]
        return str(out[0]) if self.columns is None else out


def _kept(state: SolvedMachine) -> dict[str, Any]:
    """Everything but the compiled network, which belongs to the machine."""
    own = {name: getattr(state, name) for name in ("outcomes", "columns", "node", "stable")}
    outside, power = dict(state._outside), dict(state._power)
    return own | {
        "machine": state.machine,
        "solved": state.arrays,
        "floating": state._floating,
        "outside": outside,
        "power": power,
        "network_notes": state.network_notes,
    }


def _made(kind: type, fields: dict[str, Any]) -> Any:
    machine = fields["machine"]
    numbers, _ = stacked(machine.system, machine.part_numbers(), machine.air())
    state = State(
        machine.system, fields["solved"], fields["outcomes"], fields["floating"], fields["outside"],
        fields["power"], fields["columns"], fields["node"], numbers,
    )  # fmt: skip
    state.stable, state.notes = fields["stable"], fields["network_notes"]
    return kind(machine, state)


storage.keeps(SolvedMachine, _kept, _made)
