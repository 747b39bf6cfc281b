"""The command `faults`."""

from __future__ import annotations

from ...terminal.signature import study_command
from .study import what_if

COMMAND = study_command(
    what_if,
    "Use readings",
    "ductsim faults demo:picker",
    name="faults",
    summary="what each of the usual mishaps would do to gauges and crop, the worst first",
    tables=("faults", "signs"),
    most=12,
)
