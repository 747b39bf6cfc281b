"""The command `proof`."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path
from typing import Any

from ...errors import InputError, UnknownName
from ...terminal.inputs import READERS, Inputs
from ...terminal.parsing import Parser, companion_options
from ...terminal.signature import Takes, study_command
from .study import proof


def _options(parser: Parser) -> None:
    parser.take(
        "files",
        metavar="BEFORE AFTER",
        nargs="*",
        help="the readings before the fix and those after it; without them, how many it would take",
    )
    parser.take("--fix", required=True, metavar="NAME", help="the fix that was done, by its name")
    companion_options(parser, "fixes")


def _sets(args: Namespace, inputs: Inputs, values: dict[str, Any]) -> None:
    """The fix by its name, and two files of readings or none."""
    if len(args.files) not in (0, 2):
        raise InputError(
            f"{len(args.files)} file{'s' * (len(args.files) > 1)} of readings",
            place="proof",
            allowed="two of them, before and after, or none",
        )
    fixes = inputs.companion("fixes", READERS["fixes"])
    done = next((fix for fix in fixes if fix.name == args.fix), None)
    if done is None:
        raise UnknownName.of("fix", args.fix, [fix.name for fix in fixes], place="--fix")
    values["fix"] = done
    for role, file in zip(("before", "after"), args.files):
        values[role] = inputs.take(role, Path(file), READERS["readings"])
    values.setdefault("before", None)
    values.setdefault("after", None)


COMMAND = study_command(
    proof,
    "Use readings",
    'ductsim proof demo:picker --fix "seal hatch 4"',
    summary="has a fix worked, by readings before and after; or how many it takes to tell",
    takes=dict.fromkeys(("before", "after", "fix", "errors", "seed", "at"), Takes(left_out=True)),
    more_options=_options,
    prepare=_sets,
)
