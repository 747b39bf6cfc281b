"""The logbook of a machine: `log` and `history`."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from ..logbook import history, log_visit, read_logbook
from ..logbook.visit import MACHINE
from ..terminal.command import Answer, Command
from ..terminal.parsing import Parser, picture, shown_options
from ..writing import check

FOLDER = "the machine's folder, which holds machine.toml and its visits"


def _log_options(parser: Parser) -> None:
    parser.take("folder", metavar="FOLDER", help=FOLDER)
    parser.take("--date", metavar="DAY", help="the day of the visit, like 2026-09-14 (default: today)")
    parser.take("--readings", metavar="FILE", help="what was read before anything was done")
    parser.take("--after", metavar="FILE", help="what was read after it")
    text = "a fix that was done, by its name in the folder's fixes.toml; repeatable, in order"
    parser.take("--fix", action="append", default=[], metavar="NAME", help=text)
    parser.take("--seen", action="append", default=[], metavar="TEXT", help="what was seen; repeatable")
    parser.take(
        "--engine-hours", dest="engine_hours", metavar="HOURS", read=_hours, help="the meter, like 1250"
    )
    shown_options(parser)


def _hours(word: str) -> float | str:
    """A bare number is one of hours, as the option says; a text keeps its measure."""
    try:
        return float(word)
    except ValueError:
        return word


def _log(args: Namespace) -> Answer:
    found = log_visit(
        args.folder,
        args.date,
        readings=args.readings,
        after=args.after,
        fixes=args.fix,
        seen=args.seen,
        engine_hours=args.engine_hours,
    )
    return Answer(found, None, closing=["What all visits add up to:", f"  ductsim history {args.folder}"])


def _history_options(parser: Parser) -> None:
    parser.take("folder", metavar="FOLDER", help=FOLDER)
    text = "also write the machine as it is today to this file, for all other commands"
    parser.take("--today", metavar="FILE.toml", help=text)
    shown_options(parser)
    parser.take(
        "--plot", metavar="FILE", read=picture, help="also draw the result to a .png, .svg or .pdf file"
    )
    parser.take("--picture", default="", metavar="WORD", help="which of its pictures: weakest, leaks")


def _history(args: Namespace) -> Answer:
    book = read_logbook(args.folder)
    if args.today:
        check(args.today, [Path(args.folder) / MACHINE])
    found = history(book)
    closing = []
    if args.today:
        found.today.write(args.today)
        closing = [f"The machine of today is written to {args.today}:", f"  ductsim solve {args.today}"]
    return Answer(found, None, ("visits", "fixes", "moved"), found.weakest_unit, closing)


COMMANDS = {
    c.name: c
    for c in (
        Command(
            "log",
            "write down a visit: readings, what was done and seen, engine hours",
            'ductsim log my-machine --readings today.csv --fix "seal hatch 4" --engine-hours 1250',
            _log_options,
            _log,
            "Each visit becomes a folder under FOLDER/visits, named by its day: plain TOML and CSV.\n"
            "It is there whole or not at all, and no visit is written over another.",
            group="Use readings",
        ),
        Command(
            "history",
            "what all visits add up to: what wore, what each fix brought, the machine today",
            "ductsim history my-machine --today today.toml",
            _history_options,
            _history,
            group="Use readings",
        ),
    )
}
