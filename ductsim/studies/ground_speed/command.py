"""The command `ground-speed`."""

from __future__ import annotations

from ...terminal.signature import Takes, study_command
from .study import ground_speed

COMMAND = study_command(
    ground_speed,
    "Carry crop",
    'ductsim ground-speed demo:picker --season-area "400 ha"',
    summary="how fast the machine can drive before a duct blocks, and which one",
    tables=("fixes", "units"),
    takes={
        "efficiency": Takes("share of the time that the machine picks, like 0.7 (default 1)", "SHARE", float),
        "season_area": Takes('area of a season, like "400 ha"', "AREA"),
        "price_per_hour": Takes("what an hour of the machine costs, in any currency", "COST", float),
        "samples": Takes(left_out=True),
        "seed": Takes(left_out=True),
    },
)
