"""The command `fill`."""

from __future__ import annotations

from ...terminal.signature import Takes, study_command
from .study import fill

COMMAND = study_command(
    fill,
    "Carry crop",
    "ductsim fill demo:picker",
    summary="how evenly the ducts fill the box behind them",
    tables=("fill", "discharges", "moves"),
    takes={"box": Takes(left_out=True)},
)
