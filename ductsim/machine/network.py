"""Parts joined at nodes without a machine file, asked and changed as a machine is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Self, overload

from ..answers.paths import tables_of
from ..answers.sensitivity import Sensitivity
from ..description.equipment import Held, Supplied, check_name, described
from ..description.layout import Layout, PartEntry
from ..display.canvas import draw
from ..display.tables import frame
from ..errors import UnknownName
from ..network.network import NetworkBuilder
from ..parts.declare import Fields, Schema
from .machine import Machine

if TYPE_CHECKING:
    import pandas as pd

TITLE = "Network"


class Network(NetworkBuilder):
    """Parts joined at named nodes; `outside` is the open air at 0 Pa gauge.

    A network is a machine without units: `machine` gives it as one, so that everything that works on a
    `Machine` works on it too, the studies as well (`ds.sweep(network, ...)`, `ds.ensemble(network, ...)`).
    It is the one mutable object of the library: `add`, `hold` and `supply` build it up; `change` makes a
    new one.

    Parameters
    ----------
    air : Air
        The outside air.
    boxes : list of str
        Nodes that are boxes: air is at rest there, and the ends of ducts there are free, as at `outside`.
    free_ends : bool
        False: nothing is lost at an end that says nothing, wherever it lies.

    Notes
    -----
    Unknowns are the mass flow on every path [kg/s], positive along from -> to, and the total pressure at
    every node [Pa gauge]. Any number may be a 1-D column of S scenarios. Its addresses are those of a
    machine: "hose.length", "box.pressure" of a held node, "box.mass_flow" of a supply, "air.temperature".

    Examples
    --------
    >>> import ductsim as ds
    >>> network = ds.Network(ds.Air(density=1.2)).hold("box", "100 Pa")
    >>> network = network.add("hole", ds.Opening(area="100 cm2", loss_coefficient=1.5), "box", "outside")
    >>> f"{network.ask('hole.flow'):.4f} {network.change({'box.pressure': '400 Pa'}).ask('hole.flow'):.4f}"
    '0.1265 0.2530'
    """

    _layout: Layout | None = None

    def machine(self) -> Machine:
        """The network as a machine without units; its layout is compiled once as long as it stays the same.

        Raises
        ------
        InputError
            For a network without parts, unknown nodes, and names that cannot stand in an address.
        """
        self._one_by_one()
        self._check_nodes()
        for name in self._parts:
            check_name(name, "a part", place="network")
        for node in (*self._held, *self._supplies):
            check_name(node, "a node", place="network", reserved=False)
        air = described(self.air)
        made = Layout(
            title=TITLE,
            air=air.schema,
            parts=tuple(PartEntry(n, part.schema, self._ends[n]) for n, part in self._parts.items()),
            held=tuple((node, _schema(Held)) for node in self._held),
            supplied=tuple((node, _schema(Supplied)) for node in self._supplies),
            boxes=self.boxes,
            free_ends=self.free_ends,
        )
        known = self._layout
        if known is None or any(getattr(known, key) != getattr(made, key) for key in _KEYS):
            known = self._layout = made
        numbers = {
            **{f"air.{number_key}": value for number_key, value in air.numbers().items()},
            **self.numbers(),
        }
        return Machine(known, numbers, frozenset(numbers))

    def change(self, change: Mapping[str, Any]) -> Self:
        """A network with other numbers; this one stays as it is. See `Machine.change`.

        Raises
        ------
        InputError
            For an unknown address (UnknownName), a value out of range or of another kind, and entries that
            contradict each other.
        """
        changed = self.machine().change(change)
        out = type(self)(changed.air(), boxes=self.boxes, free_ends=self.free_ends)
        out._parts = {name: changed.part(name) for name in self._parts}
        out._ends = dict(self._ends)
        out._names = set(self._names)
        out._held = {node: changed.numbers[f"{node}.pressure"] for node in self._held}
        out._supplies = {node: changed.numbers[f"{node}.mass_flow"] for node in self._supplies}
        out._layout = self._layout
        return out

    def ask(self, of: str | Sequence[str]) -> Any:
        """Solve and answer a question ("hose.flow", "pressure box") or several, in SI; see `Machine.ask`.

        Raises
        ------
        UnknownName
            For words that ask nothing; `network.machine().questions()` lists those that do.
        """
        return self.machine().ask(of)

    def jacobian(self, of: str | Sequence[str], numbers: str | Sequence[str]) -> tuple[Any, Any]:
        """Answers (Q,) to some questions and their exact derivatives (Q, A) in the numbers at some addresses.

        Raises
        ------
        InputError
            For a network with columns, unknown questions and addresses.
        """
        return self.machine().jacobian(of, numbers)

    @overload
    def sensitivity(self, of: str) -> Sensitivity: ...

    @overload
    def sensitivity(self, of: list[str] | tuple[str, ...]) -> list[Sensitivity]: ...

    def sensitivity(self, of: str | list[str] | tuple[str, ...]) -> Sensitivity | list[Sensitivity]:
        """How one answer depends on every number: derivative, elasticity, effect of its usual spread.

        To a list of questions a list.
        """
        return self.machine().sensitivity(of)

    def table(self, name: str = "paths", measures: str = "") -> pd.DataFrame:
        """One of the tables of the solved network as a DataFrame: "paths", "nodes" or "fans".

        In SI as the keys say; with `measures` "metric" or "inch" in those. Of columns the medians.

        Raises
        ------
        UnknownName
            For another name, and an unknown system of measures.
        """
        tables = tables_of(self.machine().solve(raise_error=False))
        if not isinstance(name, str) or name not in tables:
            raise UnknownName.of("table", name, tables, place="Network")
        return frame(tables[name], measures)

    def plot(self, ax: Any = None, what: str = "drawing", measures: str = "metric") -> Any:
        """Draw the network, solved: the air path ("drawing"), or its fans on their curves ("fans")."""
        return draw(self.machine().solve(raise_error=False), ax, what, measures)

    def __repr__(self) -> str:
        return f"<Network: {len(self._names)} parts, {len(self._nodes() - {'outside'})} nodes>"


_KEYS = ("air", "parts", "held", "supplied", "boxes", "free_ends")


def _schema(kind: type[Fields]) -> Schema:
    """The schema of a thing with one number that is always there."""
    return Schema(kind, tuple((name, True) for name in kind.declared))
