"""Report: everything on one page to print or hand on."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from ..terminal.command import Answer, Command, weakest
from ..terminal.inputs import READERS, Inputs
from ..terminal.parsing import USUAL, Parser, companion_options, machine_options, minutes
from ..writing import check_page
from .demos import Listed

ROLES = ("fixes", "readings", "crop", "seen", "field")


def _report_options(parser: Parser) -> None:
    machine_options(parser, of=f'what to ask (default "{USUAL}")', plot=False)
    parser.take("path", metavar="FILE.html", help="the page to write")
    companion_options(parser, *ROLES)
    parser.take(
        "--budget", metavar="TIME", read=minutes, help='working time there is, like "45 min" or "1.5 h"'
    )
    parser.take("--full", action="store_true", help="print what folds away too, with every picture there is")


def _report(args: Namespace) -> Answer:
    from ..reports.report import report

    place = Path(args.path)
    check_page(place, "report.html")
    inputs = Inputs(args)
    beside = {role: inputs.companion(role, READERS[role]) for role in ROLES if inputs.find(role)}
    beside.setdefault("crop", inputs.machine.crop)
    if beside["crop"] is None:  # what was seen and yields are about a crop
        for role in ("seen", "field"):
            if not getattr(args, role):
                beside.pop(role, None)
    report(
        inputs.machine,
        place,
        of=args.of or USUAL,
        budget=args.budget,
        measures=args.measures,
        full=args.full,
        **beside,
    )
    return Answer(Listed([f"The report is written to {place}."], {}), inputs, weakest=weakest(inputs))


COMMANDS = {
    "report": Command(
        "report",
        "everything on one page to print or hand on",
        "ductsim report demo:picker report.html",
        _report_options,
        _report,
    )
}
