"""A builder for networks of parts joined at nodes, and the solve of a compiled one."""

from __future__ import annotations

import warnings
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from ..air import Air
from ..arguments import instance, text, texts
from ..errors import InputError, OutsideRange, UnknownName, shown
from ..parts.declare import Part, number_values
from ..quantity import column
from .beyond import beyond, nowhere_beyond
from .groups import OUTSIDE, Entry
from .many import Many, ManyNumbers
from .numbers import Numbers
from .point import Point
from .slope_check import check_slopes
from .solve import approach, solve
from .state import State, judge
from .system import System
from .values import AirNumbers

Array = NDArray[np.float64]
MOST_PRESSURE, MOST_FLOW = 1e9, 1e6  # Pa, kg/s


class NetworkBuilder:
    """Parts joined at named nodes; `outside` is the open air at 0 Pa gauge. `ds.Network` is its public face.

    Parameters
    ----------
    air : Air
        The outside air.
    boxes : list of str
        Nodes that are boxes: air is at rest there, and the ends of ducts there are free.
    free_ends : bool
        False: nothing is lost at an end that says nothing, wherever it lies.

    Notes
    -----
    Unknowns are the mass flow on every path [kg/s], positive along from -> to, and the total pressure at
    every node [Pa gauge]. Any number may be a 1-D column of S scenarios.
    """

    def __init__(self, air: Air, *, boxes: Sequence[str] = (), free_ends: bool = True) -> None:
        self.boxes = tuple(dict.fromkeys(texts(boxes, "Network, boxes", "names of nodes"))) if boxes else ()
        self.free_ends = instance(free_ends, bool, "Network, free_ends", "True or False")
        self.air = instance(air, Air, "Network", "air", "ds.Air(...), or ds.Air.at(...)")
        self._parts: dict[str, Part] = {}
        self._ends: dict[str, tuple[str, ...]] = {}
        self._many: list[Many] = []
        self._names: set[str] = set()
        self._held: dict[str, Any] = {}
        self._supplies: dict[str, Any] = {}

    def add(self, name: str, part: Part, *ends: str) -> Self:
        """Add a part between its ends, named in the order of the part's `ends`; returns the network.

        Raises
        ------
        InputError
            For a name that is taken, something that is no part, or a wrong number of ends.
        """
        text(name, "add", "a name for the part")
        if not isinstance(part, Part):
            raise InputError(f"{shown(part)} is not a part", place=f"part {name!r}")
        self._check_free([name])
        if len(ends) != len(part.ends):
            raise InputError(
                f"got {len(ends)} ends",
                place=f"part {name!r}",
                allowed=f"name its ends: {', '.join(part.ends)}",
            )
        for end in ends:
            text(end, f"part {name!r}", "names of its ends")
        if len(set(ends)) != len(ends):
            raise InputError(f"two ends at the same node {ends}", place=f"part {name!r}")
        self._parts[name] = part.placed(ends, (OUTSIDE, *self.boxes)) if self.free_ends else part
        self._ends[name] = ends
        self._names.add(name)
        return self

    def add_many(self, names: Sequence[str], part: Part, *ends: str | Sequence[str]) -> Self:
        """Add many parts of one kind at once; returns the network.

        Parameters
        ----------
        names : list of str
            Their names.
        part : Part
            A number of it is that of all of them; an array has a number for each, in the order of the names.
        ends : str or list of str
            For each end of the part a node for all of them, or a list with one for each.

        Raises
        ------
        InputError
            For a name that is taken, something that is no part, a wrong number of ends, counts that differ.

        Examples
        --------
        >>> import ductsim as ds
        >>> ducts = ds.Duct(length=[2.0, 3.0], diameter=0.2)
        >>> network = ds.Network(ds.Air(density=1.2)).hold("box", "200 Pa")
        >>> network = network.add_many(["left", "right"], ducts, "box", "outside")
        >>> f"{network.ask('left.flow'):.3f} {network.ask('right.flow'):.3f}"
        '0.633 0.609'
        """
        many = Many.of(names, part, ends)
        self._check_free(many.names)
        self._many += many.placed((OUTSIDE, *self.boxes)) if self.free_ends else [many]
        self._names.update(many.names)
        return self

    def _check_free(self, names: Sequence[str]) -> None:
        taken = self._names.intersection(names)
        if len(set(names)) < len(names):
            taken.update(name for name, times in Counter(names).items() if times > 1)
        if taken:
            first = next(name for name in names if name in taken)
            raise InputError(
                "the name is taken", place=f"part {first!r}", allowed="give each part its own name"
            )

    def _one_by_one(self) -> None:
        """Those that were added at once become single parts, after the others."""
        for many in self._many:
            for name, part, ends in many.parts():
                self._parts[name], self._ends[name] = part, ends
        self._many = []

    def hold(self, node: str, pressure: Any) -> Self:
        """Hold a node at a total pressure [Pa gauge]; returns the network."""
        if text(node, "hold", "the name of a node") == OUTSIDE:
            raise InputError("outside is always at 0 Pa", place="hold")
        value = _within(column(pressure, "Pa", f"hold, {node!r}"), MOST_PRESSURE, "Pa", f"hold, {node!r}")
        if node in self._held and not np.array_equal(self._held[node], value):
            raise InputError(f"node {node!r} is held at another pressure already", place="hold")
        self._held[node] = value
        return self

    def supply(self, node: str, mass_flow: Any) -> Self:
        """Put a fixed flow of outside air into a node [kg/s], negative to take out; returns the network."""
        if text(node, "supply", "the name of a node") == OUTSIDE:
            raise InputError("outside needs no supply", place="supply")
        place = f"supply, {node!r}"
        self._supplies[node] = _within(column(mass_flow, "kg/s", place), MOST_FLOW, "kg/s", place)
        return self

    def system(self) -> System:
        """The compiled layout."""
        entries = [Entry(name, part.schema, self._ends[name]) for name, part in self._parts.items()]
        self._check_nodes()
        return System(entries, tuple(self._held), tuple(self._supplies), self.numbers(), self._many)

    def _check_nodes(self) -> None:
        if not self._names:
            raise InputError("the network has no parts", place="network")
        known = self._nodes()
        for what, nodes in (("hold", self._held), ("supply", self._supplies), ("boxes", self.boxes)):
            for node in nodes:
                if node not in known:
                    raise UnknownName.of("node", node, known, place=what)

    def _nodes(self) -> set[str]:
        return set().union(*self._ends.values(), *(end for many in self._many for end in many.ends))

    def numbers(self) -> Mapping[str, Any]:
        """Address -> number, of every part, held node and supply."""
        out: dict[str, Any] = {}
        for name, part in self._parts.items():
            for number_key, value in zip(part.schema.number_keys, number_values(part), strict=True):
                out[f"{name}.{number_key}"] = value
        out.update({f"{node}.pressure": v for node, v in self._held.items()})
        out.update({f"{node}.mass_flow": v for node, v in self._supplies.items()})
        return ManyNumbers(out, self._many) if self._many else out

    def solve(self, raise_error: bool = True, start: State | None = None) -> State:
        """The operating point.

        Parameters
        ----------
        raise_error : bool
            Raise `NoOperatingPoint` when a scenario has no answer; False returns the state, whose
            `outcome` tells, with NaN in the scenarios without an answer.
        start : State, optional
            A solved state of the same layout to start from. It saves steps and decides nothing: where it
            turns out to be far off and there could be several answers (a tee's flows changed by a quarter,
            a node's temperature by 3 K), the solve begins anew without it.
        """
        if start is not None:
            instance(start, State, "solve, start", "a state", "a solved state of the same layout")
        system = self.system()
        point = None if start is None else start.arrays.point
        return solve_system(system, self.numbers(), self.air, raise_error=raise_error, start=point)


def _within(value: Any, most: float, measure: str, place: str) -> Any:
    """`value` unless it is so large that nothing can be computed with it."""
    if np.max(np.abs(value)) > most:
        raise InputError(
            f"{np.max(np.abs(value)):g} {measure} is out of range",
            place=place,
            allowed=f"{-most:g} to {most:g} {measure}",
        )
    return value


def stacked(system: System, numbers: Mapping[str, Any], air: Air) -> tuple[Numbers, int | None]:
    """The numbers as arrays, and S (None when there is no column).

    Raises
    ------
    InputError
        When two columns differ in length; it names both.
    """
    columns = _columns(numbers, air)
    count = columns or 1
    held = [numbers[f"{node}.pressure"] for node in system.nodes[system.free : -1]] + [0.0]
    supply = np.zeros((system.free, 1 if columns is None else count))
    for node in system.supplied:
        if system.node(node) < system.free:
            supply[system.node(node)] = numbers[f"{node}.mass_flow"]
    if not supply.any():
        supply = np.zeros((system.free, 1))
    held_rows = np.array([np.broadcast_to(h, count) for h in held])
    out = Numbers(system.stack(numbers), AirNumbers.of(air), held_rows, supply, count)
    return out, columns


def _columns(numbers: Mapping[str, Any], air: Air) -> int | None:
    found: tuple[str, int] | None = None
    own = [(f"air.{n}", getattr(air, n)) for n in ("density", "viscosity", "pressure", "temperature")]
    single = numbers.own if isinstance(numbers, ManyNumbers) else numbers
    columns = single.items() if np.ndarray in set(map(type, single.values())) else ()
    for address, value in (*columns, *own):
        if isinstance(value, np.ndarray) and value.ndim:
            if found is None:
                found = address, value.size
            elif found[1] != value.size:
                raise InputError(
                    f"{found[0]!r} has {found[1]} scenarios and {address!r} has {value.size}",
                    place="columns",
                    allowed="all columns have the same length",
                )
    return None if found is None else found[1]


def solve_system(
    system: System,
    numbers: Mapping[str, Any],
    air: Air,
    *,
    raise_error: bool = True,
    start: Point | None = None,
) -> State:
    """Solve a compiled layout with these numbers."""
    values, columns = stacked(system, numbers, air)
    unseen = system.slope_notes is None
    solved, structures = solve(system, values, start)
    if unseen and solved.good.any():
        check_slopes(system, values, solved, int(np.argmax(solved.good)))
        if system.slope_notes:  # steps by wrong slopes do not end early
            solved, structures = solve(system, values, start)
    extremes = beyond(system, values, solved, structures)
    for pattern in (system.pattern, system.mixing):
        pattern.ordered.forget()
    outcomes, floating, node = judge(solved, structures, system, extremes)
    state = make_state(system, values, solved, outcomes, floating, columns, node)
    if raise_error and outcomes.any():
        raise state.failure()
    if columns is None and not outcomes.any():
        warn_outside(state)
    return state


def approach_system(system: System, numbers: Mapping[str, Any], air: Air, start: Point) -> State:
    """About the state with these numbers, near a point for each scenario; see `approach`."""
    values, columns = stacked(system, numbers, air)
    solved, structures = approach(system, values, start)
    outcomes, floating, node = judge(solved, structures, system, nowhere_beyond(values.scenarios))
    return make_state(system, values, solved, outcomes, floating, columns, node)


def warn_outside(state: State) -> None:
    """Warn of a single solved state that laws or parts are used outside the range of their sources.

    Columns of scenarios do not warn, since they are often meant to go far; `range_notes` tells of them.
    """
    for sentence in state.range_notes:
        warnings.warn(sentence, OutsideRange, stacklevel=4)


def make_state(
    system: System,
    values: Numbers,
    solved: Any,
    outcomes: Any,
    floating: Any,
    columns: int | None,
    node: str,
) -> State:
    """The state, with its fans' power; scenarios without an answer become NaN when there are columns."""
    bad = outcomes != 0
    power = {_fan_name(system.path_name(r)): w for r, w in zip(system.fan_rows, solved.power, strict=True)}
    if columns is not None and bad.any():
        for a in (solved.point.flow, solved.point.pressure, solved.density, solved.drop, solved.power):
            a[:, bad] = np.nan
    outside = {"temperature": values.air.temperature, "density": values.air.density}
    return State(system, solved, outcomes, floating, outside, power, columns, node, values)


def _fan_name(path: Sequence[str]) -> str:
    return path if isinstance(path, str) else path[0]
