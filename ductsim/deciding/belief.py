"""What is believed of a machine, as draws: possible machines, and what instruments would show on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..inference.scales import Scales
from ..machine.fitted import Fitted
from ..machine.machine import Machine
from ..machine.possible import as_machine
from ..readings.errors import ReadingErrors
from ..readings.model import made
from ..readings.table import Reading
from ..readings.unknowns import (
    Unknown,
    assumed,
    default_scale,
    fan_faults,
    leak_sizes,
    members,
    nuisances,
    unknowns_of,
)

Array = NDArray[np.float64]


@dataclass
class Belief:
    """Possible machines, each with its weight.

    Attributes
    ----------
    given : Machine
        The machine as described.
    wanted : list of Unknown
        What is to be found of it.
    machine : Machine
        N possible machines as columns.
    weights : array (N,)
        They add up to 1.
    errors : ReadingErrors
        How far readings will be off.
    relative : bool
        Only ratios between readings count.
    taken : list of Reading
        What was read so far.
    """

    given: Machine
    wanted: list[Unknown]
    machine: Machine
    weights: Array
    errors: ReadingErrors
    relative: bool
    taken: list[Reading]

    @classmethod
    def of(cls, subject: Any, count: int, seed: int, errors: ReadingErrors | None = None) -> Belief:
        """What a fit left possible; or what is believed of a machine before any reading.

        A machine with columns is its own possible machines.

        Raises
        ------
        InputError
            For anything else.
        """
        if isinstance(subject, Fitted):
            many = subject.sample(count, seed)
            own, wanted, relative = subject.errors, subject.wanted, subject.relative
            given, taken = subject.given, list(subject.taken)
        else:
            given, wanted = described(subject)
            own, relative, taken = ReadingErrors(), False, []
            many = subject if _possible(subject) else _drawn(given, wanted, count, seed)
            many = many.without_crop() if many.carries else many
        few, weights = _each_once(many)
        return cls(given, wanted, few, weights, errors or own, relative, taken)

    def only(self, kept: NDArray[np.bool_]) -> Belief:
        """Without some of the possible machines."""
        if kept.all():
            return self
        share = self.weights[kept]
        return replace(self, machine=_picked(self.machine, kept), weights=share / share.sum())

    def shown(self, readings: Sequence[Reading], seed: int) -> tuple[Array, Array]:
        """What the instruments show (M, N) on each possible machine, and the mean of what is there (M,).

        All readings are of one set: gauge and tachometer are off by the same for all of them. The errors that
        each reading has by itself are not in it.
        """
        static = [replace(r, quantity="velocity pressure") for r in readings if r.quantity == "static"]
        true = made(self.machine, [*readings, *static])
        true, faced = true[: len(readings)], true[len(readings) :]
        known = np.isfinite(true)
        mean = np.where(known, true, 0.0) @ self.weights / np.maximum(known @ self.weights, 1e-12)
        out = self.errors.shown(readings, np.where(known, true, mean[:, None]), faced, seed, self.relative)
        return out, mean


def described(subject: Any) -> tuple[Machine, list[Unknown]]:
    """The machine as described, which carries no crop, and what is to be found of it.

    Raises
    ------
    InputError
        For what is neither a machine nor a fit.
    """
    if isinstance(subject, Fitted):
        return subject.given, subject.wanted
    machine = as_machine(subject, "what to do next")
    machine = machine if machine.columns is None else machine[0]
    machine = machine.without_crop() if machine.carries else machine
    return machine, _wanted(machine)


def _possible(subject: Any) -> bool:
    return isinstance(subject, Machine) and subject.columns is not None


def _wanted(machine: Machine) -> list[Unknown]:
    """What is to be found of a machine; nothing where nothing is unknown."""
    try:
        return unknowns_of(machine)
    except InputError:
        if machine.layout.free.get("unknown"):
            raise
        return []


def sought(machine: Machine, wanted: Sequence[Unknown]) -> list[Unknown]:
    """The unknowns that work can mend: leaks, soiled blades and blinded screens.

    Raises
    ------
    InputError
        Where there is none.
    """
    mendable = {*leak_sizes(machine.layout), *fan_faults(machine.layout)}
    found = [u for u in wanted if u.address in mendable]
    if not found:
        found = [assumed(machine, a) for a in leak_sizes(machine.layout) if machine.numbers[a] > 0.0]
    if not found:
        raise InputError(
            "there is nothing that a fix would mend", place="fixes", allowed="a list of ds.Fix, or leaks"
        )
    return found


def _drawn(machine: Machine, wanted: Sequence[Unknown], count: int, seed: int) -> Machine:
    """Machines as they are believed to be before any reading, as columns; both ends of every draw."""
    names = [u.address for u in wanted]
    others = nuisances(machine, names)
    scales = [u.scale(machine.layout) for u in wanted] + [default_scale(machine, name) for name in others]
    half = np.random.default_rng(seed).standard_normal((len(scales), (count + 1) // 2))
    values = Scales(scales).values(np.concatenate([half, -half], axis=1)[:, :count])
    numbers: dict[str, Any] = dict(machine.numbers)
    for name, value in zip([*names, *others], values, strict=True):
        for address in members(machine.layout, name):
            numbers[address] = value if address == name else machine.numbers[address] * value
    return machine.rebuilt(numbers)


def _each_once(machine: Machine) -> tuple[Machine, Array]:
    """The possible machines, each once, and their shares."""
    count = machine.columns or 1
    columns = [np.asarray(v) for v in machine.numbers.values() if np.ndim(v)]
    _, first, counts = np.unique(np.array(columns), axis=1, return_index=True, return_counts=True)
    order = np.argsort(first)
    places = first[order]
    many = machine if len(places) == count else _picked(machine, places)
    return many, counts[order] / count


def _picked(machine: Machine, which: Any) -> Machine:
    return machine.rebuilt({a: v[which] if np.ndim(v) else v for a, v in machine.numbers.items()})
