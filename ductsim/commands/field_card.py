"""Field page: one file for a phone, without network or Python."""

from __future__ import annotations

import os
from argparse import Namespace
from pathlib import Path

from ..terminal.command import Answer, Command, weakest
from ..terminal.inputs import READERS, Inputs
from ..terminal.parsing import USUAL, Parser, companion_options, machine_options
from ..terminal.signature import SEEN
from ..writing import check_page


def _options(parser: Parser) -> None:
    machine_options(parser, of=f'what to ask (default "{USUAL}")', plot=False)
    parser.take("path", metavar="FILE.html", help="the page to write")
    companion_options(parser, "fixes", "readings", "crop")
    parser.take("--seen", metavar="FILE", help=SEEN)
    text = 'an engine speed to choose on the page, like "1900 rpm"; once for each'
    parser.take("--speed", dest="speeds", action="append", metavar="SPEED", help=text)


def _field_card(args: Namespace) -> Answer:
    from ..reports.field_card import field_card

    place = Path(args.path)
    check_page(place, "page.html")
    inputs = Inputs(args)
    given = {
        name: inputs.companion(name, READERS[name]) if inputs.find(name) else None
        for name in ("fixes", "readings", "crop")
    }
    if args.seen:
        given["seen"] = inputs.companion("seen", READERS["seen"])
    found = field_card(
        inputs.machine, place, **given, of=args.of or USUAL, speeds=args.speeds, measures=args.measures
    )
    size = os.path.getsize(place) / 1e6
    closing = [f"The page is written to {place} ({size:.1f} MB); send it to the phone and open it there."]
    return Answer(found, inputs, tables=(), weakest=weakest(inputs), closing=closing)


COMMANDS = {
    "field-card": Command(
        "field-card",
        "one page for a phone: fixes to tick, readings to type, no network",
        "ductsim field-card demo:picker page.html",
        _options,
        _field_card,
    )
}
