"""Rewrite: a machine file of an earlier format as one of today's."""

from __future__ import annotations

from argparse import Namespace
from pathlib import Path

from ..documents.document import read_text
from ..errors import InputError
from ..files.rewriting import WHY, rewritten
from ..machine.machine import Machine
from ..terminal.command import Answer, Command
from ..terminal.parsing import Parser, shown_options
from ..writing import check, write_text
from .demos import Listed


def _options(parser: Parser) -> None:
    parser.take("old", metavar="OLD.toml", help="a machine file of format 1")
    parser.take("new", metavar="NEW.toml", help="the file to write")
    shown_options(parser)


def _rewrite(args: Namespace) -> Answer:
    old, new = Path(args.old), Path(args.new)
    text, _ = read_text(old, what="machine file")
    check(new, [old])
    try:
        written = rewritten(text)
    except InputError as err:
        raise err.at(file=str(old)) from None
    write_text(new, written)
    Machine.read(new)
    count = written.count(WHY)
    said = [f"{new} is of format 2 and gives the same answers as {old}."]
    if count:
        lines = "One line says" if count == 1 else f"{count} lines say"
        said.append(
            f"{lines} that an end is ducted where it lies outside or in a box: delete it where air leaves or "
            "enters freely, and take what loss_coefficient counted of that out of it."
        )
    return Answer(Listed(said, {}), None)


COMMANDS = {
    "rewrite": Command(
        "rewrite",
        "a machine file of format 1 as one of format 2, with the same answers",
        "ductsim rewrite old.toml new.toml",
        _options,
        _rewrite,
        "Comments and templates stay. In format 2 an end outside or in a box\nloses its velocity pressure "
        "unless it says that it is 'ducted';\nthe written file says so wherever format 1 lost nothing.",
        group="Get started",
    )
}
