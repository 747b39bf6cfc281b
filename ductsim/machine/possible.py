"""Possible machines: what a study makes of columns and fits."""

from __future__ import annotations

from typing import Any

from ..errors import InputError, shown
from .fitted import Fitted
from .machine import Machine

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
    if isinstance(machine_or_fit, Fitted):
        return machine_or_fit.sample(samples)
    raise InputError(
        f"{shown(machine_or_fit)} is no machine", allowed="a machine, as ds.Machine.read gives, or a fit"
    )
