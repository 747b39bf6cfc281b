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
LEAST = {"flow": 1e-2, "pressure": 10.0, "temperature": 0.0}
"""Of what a question reads, by what it is: kg/s, Pa, K that set the least step."""
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
    sizes = (system.paths, len(system.nodes), len(system.nodes))
    out = [Gradient(*(np.zeros((size, count)) for size in sizes)) for _ in asked]
    reads = list(dict.fromkeys(read for own in seen for read in _reads(own)))
    if not reads:
        return out
    values = np.array([np.broadcast_to(getattr(state, what)[key], count) for what, key in reads])
    steps = STEP * np.maximum(np.abs(values), [[LEAST[what]] for what, _ in reads])
    # what is closed off has no pressure, and nothing answers to it
    known = np.isfinite(values)
    for i, (what, _) in enumerate(reads):
        if what == "temperature":  # it comes after the pressure of its node
            known[i] &= known[i - 1]
    columns = _columns(values, values + steps, values - steps)
    own = {
        what: {key: column for (w, key), column in zip(reads, columns, strict=True) if w == what}
        for what in LEAST
    }
    width = 2 * len(reads)
    wide = _wide(machine, width)
    view = View(wide, *(Over(_Each(getattr(state, what), width), own[what]) for what in LEAST))
    rows = [system.rows[key] if what == "flow" else system.node(key) for what, key in reads]
    at = {read: i for i, read in enumerate(reads)}
    for q, read_by_it, gradient in zip(asked, seen, out, strict=True):
        answers = np.broadcast_to(q.evaluate(wide, view), count * width).reshape(count, width)
        slopes = np.where(known, (answers[:, 0::2] - answers[:, 1::2]).T / (2.0 * steps), 0.0)
        into = {
            "flow": gradient.flow,
            "pressure": gradient.pressure,
            "temperature": gradient.temperature_rise,
        }
        for read in _reads(read_by_it):
            into[read[0]][rows[at[read]]] = slopes[at[read]]
    return out


def _reads(seen: Reads) -> Iterator[tuple[str, Any]]:
    """What a question read of the state, each with its name."""
    yield from (("flow", key) for key in seen.paths)
    yield from ((what, node) for node in seen.nodes for what in ("pressure", "temperature"))


def _columns(values: Array, up: Array, down: Array) -> Array:
    """Of values (K, C) columns (K, C x 2 K): each raised in one, lowered in the next, for each scenario."""
    place = np.arange(len(values))
    out = np.repeat(values[:, :, None], 2 * len(values), axis=2)
    out[place, :, 2 * place], out[place, :, 2 * place + 1] = up, down
    return out.reshape(len(values), -1)


def _values(machine: MachineData, addresses: Sequence[str]) -> Array:
    """Some of a machine's numbers, (A, C)."""
    values = [machine.numbers[address] for address in addresses]
    if machine.columns is not None:
        return np.array([np.broadcast_to(value, machine.columns) for value in values])
    return np.array(values, dtype=float)[:, None]


def _nudged(machine: MachineData, addresses: Sequence[str]) -> tuple[MachineData, Array]:
    """The machine with two columns for each address, its number raised and lowered; and their distances.

    So for each of its scenarios, side by side; the distances are (C, A). Both values are within the range.
    """
    values = _values(machine, addresses)
    declared: list[Number] = [machine.layout.declared[address] for address in addresses]
    least = np.array([[1e-2 if not d.measure else 1e-3] for d in declared])
    step = STEP * np.maximum(np.abs(values), least)
    up = np.minimum(values + step, np.array([[d.high] for d in declared]))
    down = np.maximum(values - step, np.array([[d.low] for d in declared]))
    own = dict(zip(addresses, _columns(values, up, down), strict=True))
    return _wide(machine, 2 * len(addresses), own), (up - down).T


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
