"""Several machines of one description: `fleet`."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from ..fleet import learn
from ..logbook.visit import MACHINE
from ..terminal.command import Answer, Command
from ..terminal.parsing import Parser, picture, shown_options
from ..writing import check


def _options(parser: Parser) -> None:
    text = "the folders of the machines, each with machine.toml and its visits"
    parser.take("folders", metavar="FOLDER", nargs="*", help=text)
    text = "also write the machine file that the next machine starts from"
    parser.take("--next", dest="following", metavar="FILE.toml", help=text)
    shown_options(parser)
    parser.take(
        "--plot", metavar="FILE", read=picture, help="also draw the result to a .png, .svg or .pdf file"
    )
    parser.take("--picture", default="", metavar="WORD", help="which of its pictures: usual, learnt")


def _fleet(args: Namespace) -> Answer:
    if args.following:
        check(args.following, [Path(folder) / MACHINE for folder in args.folders])
    found = learn(args.folders)
    closing = []
    if args.following:
        found.write(args.following)
        closing = [
            f"What the next machine starts from is written to {args.following}:",
            f"  ductsim fit {args.following} --readings FILE",
        ]
    return Answer(found, None, ("odd", "usual"), closing=closing)


COMMANDS = {
    "fleet": Command(
        "fleet",
        "what is usual among machines of one description, and which is odd",
        "ductsim fleet machine-1 machine-2 machine-3 --next next.toml",
        _options,
        _fleet,
        "Of each folder the first visit with readings counts, before any work. Machines whose descriptions\n"
        "differ in more than their usual spreads are not mixed.",
        group="Use readings",
    )
}
