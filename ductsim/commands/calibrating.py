"""Calibrate: what the crop needs, by the speeds at which the machine ran or blocked."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from ..speed import calibrate
from ..terminal.inputs import Inputs
from ..terminal.parsing import fitted_option
from ..terminal.signature import Takes, study_command


def _fitted(_: Namespace, inputs: Inputs, values: dict[str, Any]) -> None:
    """Calibrate on what the readings make of the machine, where they are named."""
    found = inputs.fitted()
    if found is not inputs.machine:
        values |= {"machine": found.machine, "fitted": True}


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
            "fitted": Takes(left_out=True),
        },
        more_options=fitted_option,
        prepare=_fitted,
    )
}
