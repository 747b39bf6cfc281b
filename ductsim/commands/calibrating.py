"""Calibrate: what the crop needs, by the speeds at which the machine ran or blocked."""

from __future__ import annotations

from ..speed import calibrate
from ..terminal.signature import Takes, study_command

COMMANDS = {
    "calibrate": study_command(
        calibrate,
        "Carry crop",
        "ductsim calibrate demo:picker",
        summary="what the crop needs, by the speeds at which the machine ran or blocked",
        takes={
            "number": Takes(
                "the least value in question: opening_ratio (default), capture_velocity, suction_velocity "
                "or conveying_velocity",
                "WORD",
            ),
            "scatter": Takes(left_out=True),
            "prior_spread": Takes(left_out=True),
        },
    )
}
