"""Docs: the reference as one page."""

from __future__ import annotations

import os
from argparse import Namespace

from ..terminal.command import Answer, Command
from ..terminal.parsing import Parser, shown_options
from .demos import Listed
from .registry import by_group


def docs(path: str | os.PathLike[str]) -> None:
    """Write the reference: one searchable HTML page that needs nothing else.

    It holds the file format with every number of every kind of part, the words of `of`, the commands, the
    public functions and classes, the laws with published values beside ours, the theory and the sources.

    Parameters
    ----------
    path : path
        The file to write, whole or not at all; its name ends in .html or .htm.

    Raises
    ------
    InputError
        For another name, and where nothing can be written.
    """
    from ..reference import write_page

    write_page(path, by_group())


def _options(parser: Parser) -> None:
    parser.take("path", metavar="FILE.html", help="the page to write")
    shown_options(parser)


def _docs(args: Namespace) -> Answer:
    docs(args.path)
    return Answer(Listed([f"The reference is written to {args.path}: open it in a browser."], {}), None)


COMMANDS = {
    "docs": Command(
        "docs",
        "the reference as one searchable page: files, parts, commands, laws, sources",
        "ductsim docs ductsim.html",
        _options,
        _docs,
        group="Get started",
    )
}
