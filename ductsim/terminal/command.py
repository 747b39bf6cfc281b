"""What a command is, and what it hands over."""

from __future__ import annotations

from argparse import Namespace
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from ..result import Result
from .inputs import Inputs
from .parsing import Parser


@dataclass
class Answer:
    """What a command has found, ready to be shown as text or as JSON.

    Attributes
    ----------
    result : Result
        Gives sentences, tables, notes and cautions.
    inputs : Inputs or None
        What was read; None for a command about no machine.
    tables : sequence of str or None
        The names of the tables that the text shows; None for all. JSON always holds all.
    weakest : str
        The weakest unit, where there is one.
    closing : sequence of str
        Lines that end the text (what to do next); not in JSON.
    drawn : Result, optional
        What `--plot` draws, where that is not the result.
    status : int
        The exit status.
    most : int or None
        How many rows of a table the text shows at most, saying how many more there are; JSON holds all.
    """

    result: Result
    inputs: Inputs | None
    tables: Sequence[str] | None = None
    weakest: str = ""
    closing: Sequence[str] = field(default=())
    drawn: Result | None = None
    status: int = 0
    most: int | None = None


@dataclass(frozen=True)
class Command:
    """One command.

    Attributes
    ----------
    name : str
        Its word on the command line.
    summary : str
        What it does, for the overview.
    example : str
        A line that works as it stands.
    options : callable
        `options(parser)` declares what it takes.
    run : callable
        `run(args) -> Answer`.
    more : str
        Further explanation for its own help.
    group : str
        The heading under which the overview lists it.
    """

    name: str
    summary: str
    example: str
    options: Callable[[Parser], None]
    run: Callable[[Namespace], Answer]
    more: str = ""
    group: str = "Take it further"

    def parser(self) -> Parser:
        """The parser of what follows the command's word."""
        made = Parser(self.name, self.summary, self.example, self.more)
        self.options(made)
        made.say_usage()
        return made


def weakest(inputs: Inputs) -> str:
    """The weakest unit of the machine as it is, empty where there is none."""
    return str(inputs.machine.solve(raise_error=False).weakest)
