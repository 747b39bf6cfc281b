"""The command `balance`."""

from __future__ import annotations

from ...terminal.signature import Takes, study_command
from .study import balance

COMMAND = study_command(
    balance,
    "Decide what to change",
    "ductsim balance demo:picker",
    summary="even the units out with jets and restrictors",
    takes={"trims": Takes(left_out=True)},
)
