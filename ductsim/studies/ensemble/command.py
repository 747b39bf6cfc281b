"""The command `ensemble`."""

from __future__ import annotations

import sys
from argparse import Namespace
from typing import Any

from ...chunks import processes
from ...terminal.parsing import Parser, count
from ...terminal.signature import Takes, study_command
from .study import ensemble


def _processes(parser: Parser) -> None:
    text = "how many share the work (default 1)"
    parser.take("--processes", type=int, default=1, metavar="N", read=count(1, 256), help=text)


def _shared(args: Namespace, run: Any) -> Any:
    """The study with its work shared, and told of as it goes on; who stops it hears what is kept."""
    try:
        if args.processes == 1:
            found = run(progress=args.sign.progress)
        else:
            with processes(args.processes) as pool:
                found = run(progress=args.sign.progress, executor=pool)
    except KeyboardInterrupt as stopped:
        if args.folder:
            stopped.add_note(f"what is done is kept in {args.folder}")
        raise
    for note in found.folder_notes:  # also where the answer goes to a file or another program
        sys.stderr.write(f"ductsim: {note}\n")
    return found


COMMAND = study_command(
    ensemble,
    "Take it further",
    "ductsim ensemble demo:picker --samples 2000",
    summary="how sure the answer is: thousands of machines within the spreads",
    most=20,
    takes={
        "samples": Takes("how many machines to draw (default 10,000)", read=count(2, 100_000_000)),
        "seed": Takes("of the draw (default 0)", read=count(0, 2**32 - 1)),
        "method": Takes("latin hypercube, sobol or random", "WORD"),
        "shares": Takes("also which numbers the scatter comes from; takes longer"),
        "folder": Takes("keep what is done there, to go on where it was stopped", "FOLDER"),
        **dict.fromkeys(("spreads", "executor", "chunk", "progress", "correlation"), Takes(left_out=True)),
    },
    more_options=_processes,
    around=_shared,
)
