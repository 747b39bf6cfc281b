"""Possible machines: what a study makes of columns and fits."""

from __future__ import annotations

from typing import Any

from ..errors import InputError, shown
from .fitted import Fitted
from .machine import Machine
from .network import Network

SAMPLES = 200
"""How many possible machines are drawn from a fit."""


def as_machine(machine: Any, place: str) -> Machine:
    """The machine that a study works on: a machine as it is, a network as a machine without units.

    Raises
    ------
    InputError
        For anything else.
    """
    if isinstance(machine, Network):
        return machine.machine()
    if not isinstance(machine, Machine):
        raise InputError(
            f"{shown(machine)} is not a machine", place=place, allowed="a machine, as ds.Machine.read gives"
        )
    return machine


def possible_machines(machine_or_fit: Any, samples: int = SAMPLES) -> Machine:
    """The machine that a study works on: a machine or network, or what a fit holds possible, as columns.

    Raises
    ------
    InputError
        For anything else.
    """
    if isinstance(machine_or_fit, (Machine, Network)):
        return as_machine(machine_or_fit, "study")
    if isinstance(machine_or_fit, Fitted):
        return machine_or_fit.sample(samples)
    raise InputError(
        f"{shown(machine_or_fit)} is no machine", allowed="a machine, as ds.Machine.read gives, or a fit"
    )
