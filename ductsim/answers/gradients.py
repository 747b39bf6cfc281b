"""How every answer depends on every number of a machine, exactly, by one adjoint solve a question."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import listed
from ..description.data import MachineData
from ..errors import InputError, shown
from ..network.network import stacked
from ..network.sensitivity import Gradient, Linear, field_derivatives, shared_derivatives
from ..parts.declare import Number
from ..questions.tracing import Over, Reads, View, watch
from ..questions.vocabulary import Question, asked_of, question
from .slipping import answering, chain
from .solved import SolvedMachine
from .state import solve

Array = NDArray[np.float64]
STEP = 1e-5
MOST_AT_ONCE = 5_000  # paths times scenarios; what is nudged is some hundred times as large


def jacobian(
    machine: MachineData,
    of: str | Sequence[str],
    numbers: str | Sequence[str],
    state: SolvedMachine | None = None,
) -> tuple[Array, Array]:
    """Answers and their derivatives in the numbers at some addresses.

    Parameters
    ----------
    machine : MachineData
        A single one, without columns.
    of : str or sequence of str
        Q questions of the `of` vocabulary; Q is 1 for a word.
    numbers : str or sequence of str
        A addresses or patterns.
    state : SolvedMachine, optional
        The machine's solved state, if it is at hand.

    Returns
    -------
    answers : array (Q,), in SI
    derivatives : array (Q, A), SI over SI

    Raises
    ------
    InputError
        For a machine with columns, and for unknown questions and addresses.
    """
    if machine.columns is not None:
        raise InputError(
            "derivatives are taken at a single machine", allowed="one of its scenarios: machine[0]"
        )
    answers, slopes = jacobians(machine, of, numbers, state)
    return answers[0], slopes[0]


def jacobians(
    machine: MachineData,
    of: str | Sequence[str],
    numbers: str | Sequence[str],
    state: SolvedMachine | None = None,
) -> tuple[Array, Array]:
    """`jacobian` of each of a machine's C scenarios, all at once: (C, Q) and (C, Q, A)."""
    patterns = [numbers] if isinstance(numbers, str) else numbers
    patterns = listed(patterns, "jacobian, numbers", "an address, or a list of them")
    of = asked_of(machine.layout, of, "jacobian")
    addresses = [address for pattern in patterns for address in machine.layout.expand(pattern)]
    found = solve(machine) if state is None else state
    if not isinstance(found, SolvedMachine) or found.machine.layout is not machine.layout:
        raise InputError(
            f"{shown(state)} is no state of this machine", place="jacobian, state", allowed="machine.solve()"
        )
    drives = answering(machine, addresses)
    columns = machine.columns
    if columns is not None and (drives or columns * machine.system.paths > MOST_AT_ONCE):
        each = [jacobians(machine[c], of, addresses, found[c]) for c in range(columns)]
        return np.concatenate([answers for answers, _ in each]), np.concatenate([s for _, s in each])
    if not drives:
        return _held(machine, of, addresses, found)

    def frozen(asked: list[str], moved: list[str]) -> tuple[Array, Array]:
        answers, slopes = _held(found.machine, asked, moved, found)
        return answers[0], slopes[0]

    answers, slopes = chain(machine, drives, addresses, frozen, of)
    return answers[None], slopes[None]


def _held(
    machine: MachineData, of: Sequence[str], addresses: Sequence[str], found: SolvedMachine
) -> tuple[Array, Array]:
    """Answers (C, Q) and their derivatives (C, Q, A), each drive's slip held."""
    layout = machine.layout
    questions = [question(layout, words) for words in of]
    answers, reads = zip(*(watch(q, machine, found) for q in questions), strict=True)
    values, columns = stacked(machine.system, machine.part_numbers(), machine.air())
    linear = Linear(machine.system, values, found.arrays)
    adjoints = linear.adjoints(_by_unknowns(machine, found, questions, reads))
    wanted = frozenset(addresses)
    by_part = field_derivatives(linear, adjoints, wanted)
    shared = [a for a in layout.declared if a in wanted and (a not in by_part or a in layout.feeding)]
    through = _by_shared(machine, linear, adjoints, shared)
    direct = _direct(machine, found, questions, reads, wanted)
    out = np.zeros((columns or 1, len(questions), len(addresses)))
    for j, address in enumerate(addresses):
        out[:, :, j] = through[address] if address in through else by_part[address]
        if address in direct:
            out[:, :, j] += direct[address]
    return np.array([np.broadcast_to(a, columns or 1) for a in answers], dtype=float).T, out


def _each(value: Any, columns: int) -> Any:
    """A column repeated for so many columns of each of its scenarios; what is single stays so."""
    return np.repeat(value, columns) if isinstance(value, np.ndarray) and value.ndim else value


class _Each(Mapping[Any, Any]):
    """Values by name, each repeated for so many columns of its scenarios."""

    def __init__(self, base: Mapping[Any, Any], columns: int) -> None:
        self._base, self._columns = base, columns

    def __getitem__(self, key: Any) -> Any:
        return _each(self._base[key], self._columns)

    def __iter__(self) -> Iterator[Any]:
        return iter(self._base)

    def __len__(self) -> int:
        return len(self._base)


def _wide(machine: MachineData, columns: int, own: Mapping[str, Any] | None = None) -> MachineData:
    """The machine with so many columns for each of its scenarios, and these columns of its own."""
    if machine.columns is None and own is None:
        return machine
    numbers = {address: _each(value, columns) for address, value in machine.numbers.items()}
    return machine.rebuilt({**numbers, **(own or {})})


def _by_unknowns(
    machine: MachineData, state: SolvedMachine, asked: Sequence[Question], seen: Sequence[Reads]
) -> list[Gradient]:
    """The questions' slopes in the flows, pressures and temperatures that they read, all nudged at once."""
    system, count = machine.system, machine.columns or 1
    rows = (system.paths, len(system.nodes), len(system.nodes))
    out = [Gradient(*(np.zeros((n, count)) for n in rows)) for _ in asked]
    steps: dict[tuple[str, Any], Any] = {}
    for known in seen:
        steps.update({("flow", key): STEP * np.maximum(np.abs(state.flow[key]), 1e-2) for key in known.paths})
        for node in known.nodes:
            pressure = np.abs(state.pressure[node])
            if np.isfinite(pressure).any():
                steps["pressure", node] = STEP * np.maximum(pressure, 10.0)
                steps["temperature", node] = STEP * np.where(
                    np.isfinite(pressure), state.temperature[node], np.nan
                )
    if not steps:
        return out
    width = 2 * len(steps)
    own: dict[str, dict[Any, Array]] = {"flow": {}, "pressure": {}, "temperature": {}}
    for i, ((what, key), step) in enumerate(steps.items()):
        own[what][key] = _moved(getattr(state, what)[key], (step, -step), i, width, count)
    wide = _wide(machine, width)
    view = View(wide, *(Over(_Each(getattr(state, what), width), own[what]) for what in own))
    at = {read: i for i, read in enumerate(steps)}
    for q, known, gradient in zip(asked, seen, out, strict=True):
        answers = np.broadcast_to(q.evaluate(wide, view), count * width).reshape(count, width)
        reads: list[tuple[str, Any, Array, Mapping[Any, int]]] = [
            ("flow", key, gradient.flow, system.rows) for key in known.paths
        ]
        for node in known.nodes:
            reads.append(("pressure", node, gradient.pressure, system.node_names))
            reads.append(("temperature", node, gradient.temperature_rise, system.node_names))
        for what, key, into, place in reads:
            if (what, key) in at:
                i, step = at[what, key], steps[what, key]
                slope = (answers[:, 2 * i] - answers[:, 2 * i + 1]) / (2.0 * step)
                # what is closed off has no pressure, and nothing answers to it
                into[place[key]] = np.where(np.isfinite(step), slope, 0.0)
    return out


def _moved(value: Any, steps: tuple[Any, Any], i: int, width: int, count: int) -> Array:
    """`width` columns for each of the scenarios of a value, of which two are moved by these steps."""
    out = np.repeat(np.broadcast_to(value, count), width).reshape(count, width)
    out[:, 2 * i] += steps[0]
    out[:, 2 * i + 1] += steps[1]
    return out.ravel()


def _steps(machine: MachineData, address: str) -> tuple[Any, Any]:
    """A raised and a lowered value of a number, both within its range."""
    declared: Number = machine.layout.declared[address]
    value = machine.numbers[address]
    step = STEP * np.maximum(np.abs(value), 1e-2 if not declared.measure else 1e-3)
    return np.minimum(value + step, declared.high), np.maximum(value - step, declared.low)


def _nudged(machine: MachineData, addresses: Sequence[str]) -> tuple[MachineData, Array]:
    """The machine with two columns for each address, its number raised and lowered; and their distances.

    So for each of its scenarios, side by side; the distances are (C, A).
    """
    count, width = machine.columns or 1, 2 * len(addresses)
    own, distance = {}, np.empty((count, len(addresses)))
    for i, address in enumerate(addresses):
        up, down = _steps(machine, address)
        column = np.repeat(np.broadcast_to(machine.numbers[address], count), width).reshape(count, width)
        column[:, 2 * i], column[:, 2 * i + 1] = up, down
        own[address], distance[:, i] = column.ravel(), up - down
    return _wide(machine, width, own), distance


def _by_shared(
    machine: MachineData, linear: Linear, adjoints: Array, addresses: Sequence[str]
) -> dict[str, Array]:
    """Derivatives, through flows and pressures, in numbers that parts share: air, drives, held nodes."""
    if not addresses:
        return {}
    many, distance = _nudged(machine, addresses)
    values, _ = stacked(machine.system, many.part_numbers(), many.air())
    slopes = shared_derivatives(linear, adjoints, values, 0.5 * distance)
    return dict(zip(addresses, slopes.transpose(2, 0, 1), strict=True))


def _direct(
    machine: MachineData,
    state: SolvedMachine,
    asked: Sequence[Question],
    reads: Sequence[Reads],
    wanted: frozenset[str],
) -> dict[str, Array]:
    """The questions' own slopes in the numbers they read, flows and pressures staying as they are."""
    addresses = list({a: None for seen in reads for a in seen.numbers if a in wanted})
    if not addresses:
        return {}
    many, distance = _nudged(machine, addresses)
    count, width = machine.columns or 1, 2 * len(addresses)
    warmer = np.asarray(many.air().temperature) - _each(machine.air().temperature, width)
    nodes = {node: _each(state.temperature[node], width) + warmer for node in state.temperature}
    view = View(many, _Each(state.flow, width), _Each(state.pressure, width), nodes)
    answers = [np.broadcast_to(q.evaluate(many, view), count * width).reshape(count, width) for q in asked]
    slopes = np.array([(a[:, 0::2] - a[:, 1::2]) / distance for a in answers])
    return dict(zip(addresses, slopes.transpose(2, 1, 0), strict=True))
