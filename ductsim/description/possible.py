"""Possible machines as columns: the middle one, several joined, and how a study adds an axis of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .data import M

Array = NDArray[np.float64]


def middle(machine: M) -> M:
    """A single machine: each number the median of its column."""
    if machine.columns is None:
        return machine
    numbers = {a: float(np.median(v)) if np.ndim(v) else v for a, v in machine.numbers.items()}
    return machine.rebuilt(numbers)


def across(machine: M, values: Mapping[str, Array], count: int, which: Any = None) -> M:
    """A machine with `count` variants of each of its possible machines, as columns in that order.

    Parameters
    ----------
    machine : MachineData
        Single, or with a column of M possible machines.
    values : mapping
        Address -> array of shape (count, 1) or (count, M). They are taken as they are, unchecked.
    count : int
        How many variants.
    which : index array, optional
        Which of the possible machines; all of them if not given. M is their number from here on.

    Returns
    -------
    MachineData
        With count x M scenarios; reshape its answers to (count, M).
    """
    size = 1 if machine.columns is None else machine.columns if which is None else len(which)
    numbers: dict[str, Any] = {}
    for address, value in machine.numbers.items():
        if address in values:
            numbers[address] = np.broadcast_to(values[address], (count, size)).ravel()
        elif isinstance(value, np.ndarray):
            numbers[address] = np.tile(value if which is None else value[which], count)
        else:
            numbers[address] = value
    return machine.rebuilt(numbers)


def joined(machines: Sequence[M]) -> M:
    """Machines of one layout as the columns of one, one after the other; a single one gets a column too.

    One without columns counts as often as the others have them at most.
    """
    most = max(machine.columns or 1 for machine in machines)
    sizes = [machine.columns or most for machine in machines]
    numbers: dict[str, Any] = {}
    for address, first in machines[0].numbers.items():
        values = [machine.numbers[address] for machine in machines]
        if all(np.ndim(value) == 0 and value == first for value in values):
            numbers[address] = first
        else:
            own = zip(values, sizes, strict=True)
            numbers[address] = np.concatenate([np.broadcast_to(value, size) for value, size in own])
    if all(np.ndim(value) == 0 for value in numbers.values()):
        address, first = next(iter(numbers.items()))
        numbers[address] = np.full(sum(sizes), float(first))
    return machines[0].rebuilt(numbers)
