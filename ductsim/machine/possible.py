"""Possible machines: what a study makes of columns and fits, and how it adds an axis of its own to them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, shown
from .machine import Machine

Array = NDArray[np.float64]
SAMPLES = 200
"""How many possible machines are drawn from a fit."""


def possible_machines(machine_or_fit: Any, samples: int = SAMPLES) -> Machine:
    """The machine that a study works on: a machine as it is, or what a fit holds possible, as columns.

    Raises
    ------
    InputError
        For anything else.
    """
    if isinstance(machine_or_fit, Machine):
        return machine_or_fit
    sample = getattr(machine_or_fit, "sample", None)
    if callable(sample) and not hasattr(machine_or_fit, "__array__"):  # tables have a sample too
        drawn = sample(samples)
        if isinstance(drawn, Machine):
            return drawn
    raise InputError(
        f"{shown(machine_or_fit)} is no machine", allowed="a machine, as ds.Machine.read gives, or a fit"
    )


def middle(machine: Machine) -> Machine:
    """A single machine: each number the median of its column."""
    if machine.columns is None:
        return machine
    numbers = {a: float(np.median(v)) if np.ndim(v) else v for a, v in machine.numbers.items()}
    return Machine(machine.layout, numbers, machine.given, file=machine.file, sha256=machine.sha256)


def across(machine: Machine, values: Mapping[str, Array], count: int, which: Any = None) -> Machine:
    """A machine with `count` variants of each of its possible machines, as columns in that order.

    Parameters
    ----------
    machine : Machine
        Single, or with a column of M possible machines.
    values : mapping
        Address -> array of shape (count, 1) or (count, M). They are taken as they are, unchecked.
    count : int
        How many variants.
    which : index array, optional
        Which of the possible machines; all of them if not given. M is their number from here on.

    Returns
    -------
    Machine
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
    return Machine(machine.layout, numbers, machine.given, file=machine.file, sha256=machine.sha256)
