"""The command `where-to-measure`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from ...terminal.inputs import READERS, Inputs
from ...terminal.parsing import Parser, companion_options, count, minutes
from ...terminal.signature import Takes, study_command
from .next_study import SAMPLES
from .study import MOST_TOGETHER, where_to_measure


def _readings(parser: Parser) -> None:
    companion_options(parser, "readings")


def _fitted(args: Namespace, inputs: Inputs, values: dict[str, Any]) -> None:
    from ... import fit

    knowing = args.of is not None
    if inputs.find("readings") is None and not args.readings and not knowing:
        values["fit"] = inputs.machine
        return
    # which reading tells most hangs on the estimate alone: no draw is needed
    readings = inputs.companion("readings", READERS["readings"])
    values["fit"] = fit(inputs.machine, readings, draws=1 if knowing else SAMPLES)


COMMAND = study_command(
    where_to_measure,
    "Use readings",
    "ductsim where-to-measure demo:picker",
    summary="what to do next, and which reading would better that choice",
    tables=("sheet", "work", "questions", "candidates"),
    most=20,
    takes={
        "of": Takes('what is to become surer, or "unknowns" (default: what to do next)'),
        "minutes": Takes("the time there is for readings and fixes, like 60 or '1.5 h'", "TIME", minutes),
        "answer": Takes("the answer that fixes are to better (default: weakest vacuum)", "WORDS"),
        "most": Takes("how many readings together, with --of (default 3)", read=count(1, MOST_TOGETHER)),
        "seed": Takes(left_out=True),
        "fit": Takes(left_out=True),
    },
    more_options=_readings,
    prepare=_fitted,
)
