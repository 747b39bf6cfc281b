"""The command `compare`."""

from __future__ import annotations

from ...terminal.parsing import minutes
from ...terminal.signature import Takes, study_command
from .study import compare

COMMAND = study_command(
    compare,
    "Decide what to change",
    'ductsim compare demo:picker --budget "45 min"',
    summary="what each fix is worth: alone, together, per minute of work",
    tables=("fixes", "order", "units"),
    takes={"budget": Takes('working time there is, like "45 min" or "1.5 h"', "TIME", minutes)},
)
