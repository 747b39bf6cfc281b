"""A command from a study's signature: its parameters become options, its docstring their help.

A parameter called `machine` or `machine_or_fit` is the machine file (and the readings that it is fitted
to); those called `fixes`, `readings`, `crop`, `seen` and `field` are its companion files; every other one is
an option of its own name. What a study's command does otherwise is said by `Takes`.
"""

from __future__ import annotations

import inspect
import re
from argparse import Namespace
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from .command import Answer, Command, weakest
from .inputs import READERS, Inputs
from .parsing import COMPANIONS, Parser, companion_options, count, fitted_option, machine_options

SEEN = "first calibrate the least air-to-crop ratio by what was seen"


@dataclass(frozen=True)
class Takes:
    """How a command takes one parameter of its study, where the rule of its type does not suit.

    Attributes
    ----------
    help : str
        What it is; by default the first sentence of the docstring about it.
    metavar : str
        The word that stands for its value in the usage.
    read : callable, optional
        Turns the text into a value, or raises InputError.
    place : bool
        True where it is a word on its own and no option.
    many : bool
        True where it may be given several times.
    left_out : bool
        True where the command line cannot give it.
    """

    help: str = ""
    metavar: str = ""
    read: Callable[[Any], Any] | None = None
    place: bool = False
    many: bool = False
    left_out: bool = False


@dataclass(frozen=True)
class StudyCommand:
    """What makes a study's function into a command."""

    run: Callable[..., Any]
    takes: Mapping[str, Takes]
    tables: Sequence[str] | None
    most: int | None
    more_options: Callable[[Parser], None] | None
    prepare: Callable[[Namespace, Inputs, dict[str, Any]], None] | None
    around: Callable[[Namespace, Callable[..., Any]], Any] | None

    @property
    def parameters(self) -> dict[str, inspect.Parameter]:
        """The parameters that the command line can give, by name."""
        known = inspect.signature(self.run).parameters
        return {n: p for n, p in known.items() if not self.takes.get(n, Takes()).left_out}

    def options(self, parser: Parser) -> None:
        """Declare everything that the study takes."""
        parameters, told = self.parameters, parameter_docs(self.run)
        asked = parameters.get("of")
        of = "" if asked is None else self.takes.get("of", Takes()).help or _asked(asked)
        machine_options(parser, of=of, many=asked is not None and "Sequence" in str(asked.annotation))
        if "machine_or_fit" in parameters:
            fitted_option(parser)
        for name, parameter in parameters.items():
            if name in COMPANIONS:
                companion_options(parser, name)
            elif name not in ("machine", "machine_or_fit", "of"):
                self._option(parser, name, parameter, told.get(name, ""))
        if "crop" in parameters and "seen" not in parameters:
            parser.take("--seen", metavar="FILE", help=SEEN)
        if self.more_options is not None:
            self.more_options(parser)

    def _option(self, parser: Parser, name: str, parameter: inspect.Parameter, told: str) -> None:
        own = self.takes.get(name, Takes())
        text = own.help or told
        if parameter.default is False:
            parser.take(_dashed(name), dest=name, action="store_true", help=text)
            return
        options: dict[str, Any] = {
            "help": text,
            "read": own.read,
            "metavar": own.metavar or _metavar(parameter),
        }
        if own.place:
            if own.many:
                options["nargs"] = "*"
            parser.take(name, **options)
            return
        if own.read is float:
            options |= {"type": float, "read": None}
        if isinstance(parameter.default, int):
            options |= {"type": int, "read": own.read or count(0, 10**9)}
        if own.many:
            options |= {"action": "append"}
        parser.take(_dashed(name), dest=name, default=None if own.many else parameter.default, **options)

    def __call__(self, args: Namespace) -> Answer:
        """Read the inputs, run the study, and hand over what it has found."""
        inputs = Inputs(args)
        values: dict[str, Any] = {}
        for name, parameter in self.parameters.items():
            if name == "machine":
                values[name] = inputs.machine
            elif name == "machine_or_fit":
                values[name] = inputs.fitted()
            elif name in COMPANIONS:
                wanted = parameter.default is inspect.Parameter.empty or getattr(args, name, None)
                if wanted or inputs.find(name) is not None:
                    values[name] = inputs.companion(name, READERS[name])
            elif getattr(args, name, None) is not None:
                values[name] = getattr(args, name)
        if getattr(args, "seen", None) and "crop" in self.parameters and "seen" not in self.parameters:
            values["crop"] = inputs.calibrated(values.get("crop"), values.get("machine_or_fit"))
        if self.prepare is not None:
            self.prepare(args, inputs, values)
        run = partial(self.run, **values)
        found = run() if self.around is None else self.around(args, run)
        return Answer(found, inputs, self.tables, weakest(inputs), most=self.most)


def study_command(
    run: Callable[..., Any],
    group: str,
    example: str,
    *,
    name: str = "",
    summary: str = "",
    more: str = "",
    tables: Sequence[str] | None = None,
    most: int | None = None,
    takes: Mapping[str, Takes] | None = None,
    more_options: Callable[[Parser], None] | None = None,
    prepare: Callable[[Namespace, Inputs, dict[str, Any]], None] | None = None,
    around: Callable[[Namespace, Callable[..., Any]], Any] | None = None,
) -> Command:
    """The command of a study.

    Parameters
    ----------
    run : function
        The study.
    group : str
        The heading under which the overview lists it.
    example : str
        A line that works as it stands.
    name : str
        The command's word; by default the function's name with hyphens.
    summary : str
        What it does; by default the first sentence of its docstring.
    more : str
        Further explanation for its help.
    tables : sequence of str, optional
        The tables that the text shows; all if not given.
    most : int, optional
        How many rows of a table the text shows.
    takes : mapping, optional
        Parameter -> `Takes`, where its type alone does not tell.
    more_options : callable, optional
        `more_options(parser)` declares options besides the parameters.
    prepare : callable, optional
        `prepare(args, inputs, values)` makes those options into parameters, in place.
    around : callable, optional
        `around(args, run)` calls `run(**more)` itself, where more is needed only while it runs.
    """
    made = StudyCommand(run, takes or {}, tables, most, more_options, prepare, around)
    text = summary or _first_sentence(inspect.getdoc(run) or "")
    return Command(name or run.__name__.replace("_", "-"), text, example, made.options, made, more, group)


def parameter_docs(run: Callable[..., Any]) -> dict[str, str]:
    """Parameter -> the first sentence about it in the docstring's section "Parameters"."""
    section = re.search(
        r"^Parameters\n-+\n(.*?)(?=^\w[\w ]*\n-+$|\Z)", inspect.getdoc(run) or "", re.S | re.M
    )
    if section is None:
        return {}
    found = re.findall(r"^(\w[\w, ]*) : [^\n]*\n((?:    [^\n]*\n?|\n)*)", section[1], re.M)
    return {name.strip(): _first_sentence(text) for names, text in found for name in names.split(",")}


def _first_sentence(text: str) -> str:
    """The first sentence, its capital and full stop taken away."""
    words = " ".join(text.split())
    first = re.split(r"(?<=[a-z)\"])\. |; ", words, maxsplit=1)[0].rstrip(".")
    return first[:1].lower() + first[1:] if first[1:2].islower() else first


def _asked(of: inspect.Parameter) -> str:
    return "what to ask" + (f' (default "{of.default}")' if isinstance(of.default, str) else "")


def _dashed(name: str) -> str:
    return f"--{name.replace('_', '-')}"


def _metavar(parameter: inspect.Parameter) -> str:
    return "N" if isinstance(parameter.default, int) else parameter.name.upper()
