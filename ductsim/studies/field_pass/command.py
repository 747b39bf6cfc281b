"""The command `field-pass`."""

from __future__ import annotations

from ...terminal.signature import Takes, study_command
from .study import field_pass

COMMAND = study_command(
    field_pass,
    "Carry crop",
    "ductsim field-pass demo:picker --margin 1.15",
    summary="where along a row the machine would block, and when the box is full",
    tables=("blocked", "stretches"),
    most=30,
    takes={
        "speed": Takes('the ground speed, like "5 km/h" (default: the crop\'s)', "SPEED"),
        "margin": Takes("hold this margin instead, like 1.15", "MARGIN", float),
        "spacing": Takes(left_out=True),
        "box": Takes(left_out=True),
    },
)
