"""Report: everything on one page to print or hand on."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from ..errors import InputError
from ..terminal.command import Answer, Command, weakest
from ..terminal.inputs import READERS, Inputs
from ..terminal.parsing import Parser, companion_options, machine_options, minutes
from ..writing import check
from .demos import Listed

USUAL = "weakest vacuum"


def _report_options(parser: Parser) -> None:
    machine_options(parser, of=f'what to ask (default "{USUAL}")', plot=False)
    parser.take("path", metavar="FILE.html", help="the page to write")
    companion_options(parser, "fixes", "readings", "crop")
    parser.take(
        "--budget", metavar="TIME", read=minutes, help='working time there is, like "45 min" or "1.5 h"'
    )


def _report(args: Namespace) -> Answer:
    from ..reports.report import report

    place = Path(args.path)
    if place.suffix.lower() not in (".html", ".htm"):
        raise InputError("the name does not end in .html", file=str(place), allowed="a name like report.html")
    check(place)
    inputs = Inputs(args)
    fixes = inputs.companion("fixes", READERS["fixes"]) if inputs.find("fixes") else None
    readings = inputs.companion("readings", READERS["readings"]) if inputs.find("readings") else None
    crop = inputs.companion("crop", READERS["crop"]) if inputs.find("crop") else None
    report(
        inputs.machine,
        place,
        fixes=fixes,
        readings=readings,
        crop=crop or inputs.machine.crop,
        of=args.of or USUAL,
        budget=args.budget,
        measures=args.measures,
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
