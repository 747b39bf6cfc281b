"""What a solve returns: flows, pressures and what happened, by name."""

from __future__ import annotations

import enum
import operator
from collections.abc import Iterator, Mapping
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from ..arguments import locked
from ..errors import InputError, NoOperatingPoint, UnknownName, shown
from .point import Solved
from .structure import Structure, floating_nodes
from .system import System

Array = NDArray[np.float64]


class Outcome(enum.Enum):
    """What became of a scenario; the value is (sentence, remedy)."""

    SOLVED = ("Solved.", "")
    FED_CLOSED_OFF = (
        "Air is supplied to a node that no open path joins to outside or to a held pressure",
        "Open a path from there, or take the supply away.",
    )
    NOT_FOUND = (
        "No operating point was found",
        "This should not happen: check the numbers of the parts around that node, and report the machine.",
    )
    TOO_DEEP = (
        "A vacuum deeper than the pressure of the outside air would be needed",
        "Take less air out there, open a wider way to it, or check the curves of the fans.",
    )
    TOO_HIGH = (
        "A pressure more than thirty atmospheres off that outside would be needed, which no duct bears",
        "Supply or take less air there, open a wider way, or check held pressures and the fans' curves.",
    )
    TOO_HOT = (
        "The fans put more heat into the air than its flow can carry away",
        "Open a wider way through the fans near there, slow them down, or check their shaft power.",
    )

    TOO_FAST = (
        "Air would have to be much faster than sound, for which the laws do not hold",
        "Give the parts there the losses that they have (of a jet: suction_loss, mixing_loss).",
    )
    TOO_EASY = (
        "Only with a hundredth of a velocity pressure more lost everywhere was an operating point found",
        "Give the parts that lose next to nothing the losses that they have.",
    )

    @property
    def sentence(self) -> str:
        """What happened."""
        return str(self.value[0])

    @property
    def remedy(self) -> str:
        """What to do about it."""
        return str(self.value[1])


class Named(Mapping[Any, Any]):
    """Values by name: floats, or arrays of shape (S,) when any input was a column."""

    def __init__(self, what: str, rows: Mapping[Any, int], values: Array, single: bool) -> None:
        self._what, self._rows, self._values, self._single = what, rows, values, single

    def __getitem__(self, name: Any) -> Any:
        row = self._rows.get(name) if isinstance(name, (str, tuple)) and _hashable(name) else None
        if row is None:
            raise self._unknown(name)
        values = self._values[row]
        return float(values[0]) if self._single else locked(values)

    def _unknown(self, name: Any) -> UnknownName:
        ways = [n for n in self._rows if isinstance(n, tuple) and isinstance(name, str) and n[0] == name]
        if ways:
            return UnknownName(f"{name!r} has several paths", allowed=f"name one, like {ways[0]!r}")
        known = [n if isinstance(n, str) else " ".join(n) for n in self._rows]
        return UnknownName.of(
            self._what, " ".join(map(str, name)) if isinstance(name, tuple) else name, known
        )

    def __iter__(self) -> Iterator[Any]:
        return iter(self._rows)

    def __len__(self) -> int:
        return len(self._rows)

    def _ipython_key_completions_(self) -> list[Any]:
        """The names, for the completion of keys in a notebook."""
        return list(self._rows)

    def __repr__(self) -> str:
        return f"<{self._what}s: {len(self)} names>"


def _hashable(name: Any) -> bool:
    return not isinstance(name, tuple) or all(isinstance(word, str) for word in name)


class NoScenario(InputError, IndexError):
    """There is no such scenario; also an IndexError, so that a plain loop over the columns ends."""


def scenario_number(index: Any, columns: int, place: str) -> int:
    """The place of a scenario from 0, of an index that may count from the end.

    Raises
    ------
    InputError
        For a slice, a truth value, anything that is no whole number, and one that is too large.
    """
    allowed = f"one scenario, {-columns} to {columns - 1}; several one by one: [state[i] for i in range(3)]"
    if columns == 1:
        allowed = "0, the only scenario there is"
    try:
        number = None if isinstance(index, (bool, np.bool_, np.ndarray)) else operator.index(index)
    except TypeError:
        number = None
    if number is None:
        raise InputError(f"{shown(index)} is no number of a scenario", place=place, allowed=allowed)
    if not -columns <= number < columns:
        raise NoScenario(f"there is no scenario {shown(number)}", place=place, allowed=allowed)
    return number % columns


class State:
    """A solved network.

    Attributes
    ----------
    flow : mass flow on every path along from -> to [kg/s]; `flow["jet 1", "motive"]` for a part with two.
    pressure : total pressure at every node [Pa gauge]; NaN where a node is closed off.
    drop : total-pressure drop along from -> to [Pa].
    density : density of the air as each path's law used it [kg/m3].
    slope : slope of each path's drop in its own flow [Pa s/kg].
    temperature : air temperature at every node [K].
    power : shaft power of every fan [W].
    imbalance : largest imbalance of a free node [kg/s].
    outcome : an `Outcome`, or a list of them.
    steps : steps taken.
    others : other operating points, of fans with rising curves or that warm air may blow back through.
    notes : sentences about what deserves a look.
    columns : number of scenarios, None when no input was a column.

    Values are floats, or read-only arrays of shape (S,) when any input was a column. `state[i]` picks a
    scenario, and a loop goes through all; a state without columns is its own only scenario.
    """

    def __init__(
        self,
        system: System,
        solved: Solved,
        outcomes: NDArray[np.intp],
        floating: NDArray[np.bool_] | None,
        outside: Mapping[str, Array],
        power: Mapping[str, Array],
        columns: int | None,
        node: str = "",
        numbers: Any = None,
    ) -> None:
        self.system = system
        self.arrays = solved
        self.columns = columns
        self.outcomes = locked(outcomes)
        self.node = node
        self.stable: bool | None = None
        self._numbers = numbers
        self.notes: list[str] = list(system.slope_notes or ())
        self._outside = outside
        self._power = power
        self._floating = floating
        single = columns is None
        nodes, rows = system.node_names, system.rows
        self.flow = Named("path", rows, solved.point.flow, single)
        self.pressure = Named("node", nodes, solved.point.pressure, single)
        self.drop = Named("path", rows, solved.drop, single)
        self.density = Named("path", rows, solved.density, single)
        self.slope = Named("path", rows, solved.slope, single)
        temperature_rise = solved.point.temperature_rise
        own = outside["temperature"]
        temperature = (
            np.broadcast_to(own, solved.point.pressure.shape)
            if temperature_rise is None
            else own + temperature_rise
        )
        self.temperature = Named("node", nodes, temperature, single)
        fans = {name: i for i, name in enumerate(power)}
        watts = np.array(list(power.values())) if power else np.empty((0, len(outcomes)))
        self.power = Named("fan", fans, watts, single)

    # ---- how it went

    def _scalar(self, values: Any) -> Any:
        return values[0].item() if self.columns is None else locked(values)

    @property
    def imbalance(self) -> Any:
        """Largest imbalance of a free node [kg/s]."""
        return self._scalar(self.arrays.imbalance)

    @property
    def steps(self) -> Any:
        """Steps taken."""
        return self._scalar(self.arrays.steps)

    @property
    def solved(self) -> Any:
        """True where there is an answer."""
        return self._scalar(self.outcomes == 0)

    @property
    def outcome(self) -> Any:
        """What became of it: an `Outcome`, or a list of them."""
        found = [_OUTCOMES[i] for i in self.outcomes]
        return found[0] if self.columns is None else found

    @property
    def closed_off(self) -> list[str]:
        """Nodes that are closed off, in any scenario."""
        if self._floating is None:
            return []
        return [self.system.nodes[i] for i in np.flatnonzero(self._floating.any(axis=1))]

    def failure(self) -> NoOperatingPoint:
        """The error that tells of the first scenario without an answer."""
        outcome = _OUTCOMES[self.outcomes[np.flatnonzero(self.outcomes)[0]]]
        words = outcome.sentence
        if self.node:
            words += f", at node {self.node!r}"
        if self.columns is not None:
            words += f", in {int((self.outcomes != 0).sum())} of {self.columns} scenarios"
        return NoOperatingPoint(words + ".", node=self.node, remedy=outcome.remedy, state=self)

    @property
    def range_notes(self) -> list[str]:
        """Sentences about laws and parts that are used outside the range of their sources."""
        from .ranges import outside_range

        return [] if self._numbers is None else outside_range(self.system, self._numbers, self.arrays)

    @property
    def others(self) -> list[State]:
        """Other operating points of the same network, found from other starts; `.stable` tells of each.

        Fans with rising curves can have any, and fans that warm air may blow back through. The state itself
        is the one reached by running up from standstill. Empty for a state with columns: pick a scenario by
        solving it alone.
        """
        from .stability import other_points

        if self.columns is not None or self._numbers is None or not self.system.fan_rows:
            return []
        eq = self._numbers.equations(self.system)
        structure = eq.structure
        out = []
        for found, stable in other_points(eq, structure, self.arrays.point):
            power = {k: found.power[i] for i, k in enumerate(self._power)}
            other = State(self.system, found, self.outcomes, self._floating, self._outside, power, None)
            other.stable = stable
            out.append(other)
        return out

    # ---- scenarios

    def __len__(self) -> int:
        return 1 if self.columns is None else self.columns

    def __getitem__(self, index: int) -> Self:
        number = scenario_number(index, len(self), "state")
        if self.columns is None:
            return self
        picked: Self = self._pick(number)
        return picked

    def _pick(self, index: int) -> Any:
        one = [index]
        arrays = self.arrays.take(one)
        outside = {k: v if len(v) == 1 else v[one] for k, v in self._outside.items()}
        power = {k: v[one] for k, v in self._power.items()}
        floating = None if self._floating is None else self._floating[:, one]
        return State(self.system, arrays, self.outcomes[one], floating, outside, power, None, self.node)

    def __iter__(self) -> Iterator[Self]:
        return (self[i] for i in range(len(self)))

    def __repr__(self) -> str:
        paths, nodes = len(self.flow), len(self.pressure) - 1
        if self.columns is None:
            how = f"{self.steps} steps, imbalance {self.imbalance:.1e} kg/s" if self.solved else "no answer"
        else:
            how = f"{self.columns} scenarios, {int(np.sum(self.solved))} solved"
        return f"State({paths} paths, {nodes} nodes, {how})"


_OUTCOMES = tuple(Outcome)


def judge(
    solved: Solved,
    structures: list[Structure],
    system: System,
    extremes: tuple[NDArray[np.intp], ...],
) -> tuple[Array, Any, str]:
    """Outcomes (S,), which nodes float (free, S) or None, and the node to name in an error.

    `extremes` is what `beyond` found.
    """
    deep, high, hot, fast, easy = extremes
    outcomes = np.where(solved.good, 0, _OUTCOMES.index(Outcome.NOT_FOUND))
    outcomes[easy >= 0] = _OUTCOMES.index(Outcome.TOO_EASY)
    outcomes[fast >= 0] = _OUTCOMES.index(Outcome.TOO_FAST)
    outcomes[hot >= 0] = _OUTCOMES.index(Outcome.TOO_HOT)
    outcomes[high >= 0] = _OUTCOMES.index(Outcome.TOO_HIGH)
    outcomes[deep >= 0] = _OUTCOMES.index(Outcome.TOO_DEEP)
    fed = np.concatenate([s.fed for s in structures])
    outcomes[fed] = _OUTCOMES.index(Outcome.FED_CLOSED_OFF)
    floating = floating_nodes(structures, system.free)
    if floating is not None:
        solved.point.pressure[: system.free][floating] = np.nan
    if not outcomes.any():
        return outcomes, floating, ""
    first = int(np.flatnonzero(outcomes)[0])
    if fed[first]:
        node = next(s.fed_node for s in structures if s.fed_node >= 0)
    elif max(named := [int(found[first]) for found in extremes]) >= 0:
        node = next(found for found in named if found >= 0)
    else:
        return outcomes, floating, _worst_node(solved, system, first)
    return outcomes, floating, str(system.nodes[node])


def _worst_node(solved: Solved, system: System, column: int) -> str:
    """The node next to the path with the largest residual in a scenario that was not solved."""
    p = np.nan_to_num(solved.point.pressure[:, column])
    residual = p[system.start] - p[system.finish] - np.nan_to_num(solved.drop[:, column])
    row = int(np.argmax(np.abs(residual)))
    return str(system.nodes[min(system.start[row], system.finish[row])])
