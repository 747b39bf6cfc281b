"""The command `fit`."""

from __future__ import annotations

from argparse import Namespace
from typing import Any

from ...machine.fitted import DRAWS, MOST_COLUMNS
from ...terminal.inputs import Inputs
from ...terminal.parsing import Parser, count
from ...terminal.signature import Takes, study_command
from .study import fit


def _options(parser: Parser) -> None:
    text = "take all leaks for sound and find the few that are not"
    parser.take("--suspects", dest="by_suspects", action="store_true", help=text)
    text = f"draws behind the intervals (default {DRAWS})"
    parser.take("--draws", type=int, metavar="N", read=count(1, MOST_COLUMNS), help=text)


def _named(args: Namespace, inputs: Inputs, values: dict[str, Any]) -> None:
    values["draws"] = args.draws
    if args.by_suspects:
        values["suspects"] = "leaks"


COMMAND = study_command(
    fit,
    "Use readings",
    "ductsim fit demo:picker",
    summary="which leaks and which fan condition explain the readings",
    tables=("unknowns", "readings", "alike", "suspects"),
    takes={
        "unknowns": Takes(left_out=True),
        "suspects": Takes(left_out=True),
        "errors": Takes(left_out=True),
        "draws": Takes(left_out=True),
        "relative": Takes("let only ratios between readings count: fan not known"),
    },
    more_options=_options,
    prepare=_named,
)
