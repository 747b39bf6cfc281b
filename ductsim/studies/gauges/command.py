"""The command `gauges`."""

from __future__ import annotations

from ...terminal.signature import Takes, study_command
from .study import gauges

COMMAND = study_command(
    gauges,
    "Use readings",
    'ductsim gauges demo:picker "1900 rpm" "2100 rpm"',
    summary="what every gauge should show on a healthy machine, with a column to write in",
    takes={
        "speeds": Takes('engine speeds like "2100 rpm" (default: today\'s)', "SPEED", place=True, many=True),
    },
)
