"""How every answer depends on every number of a machine, exactly, by one adjoint solve a question."""

from __future__ import annotations

from collections.abc import Sequence
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
    if drives:
        return chain(machine, drives, addresses, lambda q, a: _held(found.machine, q, a, found), of)
    return _held(machine, of, addresses, found)


def _held(
    machine: MachineData, of: Sequence[str], addresses: Sequence[str], found: SolvedMachine
) -> tuple[Array, Array]:
    """Answers and their derivatives, each drive's slip held."""
    layout = machine.layout
    questions = [question(layout, words) for words in of]
    answers, reads = zip(*(watch(q, machine, found) for q in questions), strict=True)
    values, _ = stacked(machine.system, machine.part_numbers(), machine.air())
    linear = Linear(machine.system, values, found.arrays)
    adjoints = linear.adjoints(
        [_by_unknowns(machine, found, q, r) for q, r in zip(questions, reads, strict=True)]
    )
    wanted = frozenset(addresses)
    by_part = field_derivatives(linear, adjoints, wanted)
    shared = [a for a in layout.declared if a in wanted and (a not in by_part or a in layout.feeding)]
    through = dict(zip(shared, _by_shared(machine, linear, adjoints, shared).T, strict=True))
    out = np.zeros((len(questions), len(addresses)))
    direct = _direct(machine, found, questions, reads, wanted)
    for j, address in enumerate(addresses):
        out[:, j] = through[address] if address in through else by_part[address]
        if address in direct:
            out[:, j] += direct[address]
    return np.array(answers, dtype=float), out


def _by_unknowns(machine: MachineData, state: SolvedMachine, asked: Question, seen: Reads) -> Gradient:
    """The question's slopes in the flows, pressures and temperatures that it reads, all nudged at once."""
    system = machine.system
    out = Gradient(np.zeros(system.paths), np.zeros(len(system.nodes)), np.zeros(len(system.nodes)))
    reads: list[tuple[str, Any, float]] = [
        ("flow", key, STEP * max(abs(state.flow[key]), 1e-2)) for key in seen.paths
    ]
    for node in seen.nodes:
        if np.isfinite(state.pressure[node]):
            reads.append(("pressure", node, STEP * max(abs(state.pressure[node]), 10.0)))
            reads.append(("temperature", node, STEP * state.temperature[node]))
    if not reads:
        return out
    own: dict[str, dict[Any, Array]] = {"flow": {}, "pressure": {}, "temperature": {}}
    for i, (what, key, step) in enumerate(reads):
        column = np.full(2 * len(reads), getattr(state, what)[key])
        column[2 * i] += step
        column[2 * i + 1] -= step
        own[what][key] = column
    view = View(
        machine, *(Over(getattr(state, what), own[what]) for what in ("flow", "pressure", "temperature"))
    )
    answers = np.broadcast_to(asked.evaluate(machine, view), 2 * len(reads))
    for i, (what, key, step) in enumerate(reads):
        slope = (answers[2 * i] - answers[2 * i + 1]) / (2.0 * step)
        if what == "flow":
            out.flow[system.rows[key]] = slope
        elif what == "pressure":
            out.pressure[system.node(key)] = slope
        else:
            out.temperature_rise[system.node(key)] = slope
    return out


def _steps(machine: MachineData, addresses: Sequence[str]) -> tuple[Array, Array]:
    """For each number a raised and a lowered value, both within its range."""
    up, down = [], []
    for address in addresses:
        declared: Number = machine.layout.declared[address]
        value = machine.numbers[address]
        step = STEP * max(abs(value), 1e-2 if not declared.measure else 1e-3)
        up.append(min(value + step, declared.high))
        down.append(max(value - step, declared.low))
    return np.array(up), np.array(down)


def _nudged(machine: MachineData, addresses: Sequence[str]) -> tuple[MachineData, Array]:
    """The machine with two columns for each address, its number raised and lowered; and their distances."""
    up, down = _steps(machine, addresses)
    numbers = dict(machine.numbers)
    for i, address in enumerate(addresses):
        column = np.full(2 * len(addresses), machine.numbers[address])
        column[2 * i], column[2 * i + 1] = up[i], down[i]
        numbers[address] = column
    return machine.rebuilt(numbers), up - down


def _by_shared(machine: MachineData, linear: Linear, adjoints: Array, addresses: Sequence[str]) -> Array:
    """Derivatives, through flows and pressures, in numbers that parts share: air, drives, held nodes."""
    if not addresses:
        return np.zeros((len(adjoints), 0))
    many, distance = _nudged(machine, addresses)
    values, _ = stacked(machine.system, many.part_numbers(), many.air())
    return shared_derivatives(linear, adjoints, values, 0.5 * distance)


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
    warmer = np.asarray(many.air().temperature) - machine.air().temperature
    nodes = {node: state.temperature[node] + warmer for node in state.temperature}
    view = View(many, state.flow, state.pressure, nodes)
    answers = np.array([np.broadcast_to(q.evaluate(many, view), 2 * len(addresses)) for q in asked])
    slopes = (answers[:, 0::2] - answers[:, 1::2]) / distance
    return dict(zip(addresses, slopes.T, strict=True))
