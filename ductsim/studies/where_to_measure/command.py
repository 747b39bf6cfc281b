"""The command `where-to-measure`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from ...terminal.inputs import READERS, Inputs
from ...terminal.parsing import Parser, companion_options, count
from ...terminal.signature import Takes, study_command
from .study import MOST_TOGETHER, where_to_measure


def _readings(parser: Parser) -> None:
    companion_options(parser, "readings")


def _fitted(args: Namespace, inputs: Inputs, values: dict[str, Any]) -> None:
    from ... import fit

    # what is worth reading next hangs on the estimate alone: no draw is needed
    readings = inputs.companion("readings", READERS["readings"])
    values["fit"] = fit(inputs.machine, readings, draws=1)


COMMAND = study_command(
    where_to_measure,
    "Use readings",
    "ductsim where-to-measure demo:picker",
    summary="which reading would tell most next",
    tables=("sheet", "questions", "candidates"),
    most=20,
    takes={
        "of": Takes("what is to become surer (default: all that was fitted)"),
        "most": Takes("how many readings together (default 3)", read=count(1, MOST_TOGETHER)),
        "fit": Takes(left_out=True),
    },
    more_options=_readings,
    prepare=_fitted,
)
