"""Reading the command line; whatever is wrong with it is one sentence like any other wrong input."""

from __future__ import annotations

import argparse
import re
from argparse import Namespace
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NoReturn

from ..errors import InputError, UnknownName, nearest_name, shown
from ..measures import SYSTEMS, find_measure
from ..quantity import si
from ..writing import check
from . import console


class _Help(argparse.RawDescriptionHelpFormatter):
    """Help on pages of the same width as everything else."""

    def __init__(self, prog: str) -> None:
        super().__init__(prog, max_help_position=26, width=98)


class Parser(argparse.ArgumentParser):
    """A parser whose refusals are InputErrors and whose help ends with one example."""

    def __init__(self, name: str, summary: str, example: str, more: str = "") -> None:
        super().__init__(
            prog=f"ductsim {name}",
            description=summary[0].upper() + summary[1:] + "." + (f"\n\n{more}" if more else ""),
            epilog=f"example:\n  {example}",
            formatter_class=_Help,
            allow_abbrev=False,
        )
        self.word = name
        self.example = example
        self.readers: dict[str, tuple[str, Callable[[Any], Any]]] = {}

    def take(self, *names: str, read: Callable[[Any], Any] | None = None, **options: Any) -> None:
        """Declare an argument; `read` turns its text or texts into a value, or raises InputError."""
        action = self.add_argument(*names, **options)
        if read is not None:
            self.readers[action.dest] = (names[0], read)

    def say_usage(self) -> None:
        """Write the usage as people read it: what must be there, then that there are options."""
        words = [self.prog]
        for action in self._actions:
            name = str(action.metavar or action.dest)
            if action.option_strings:
                words += [f"{action.option_strings[0]} {name}"] if action.required else []
            elif action.nargs in ("?", "*"):
                words.append(f"[{name}{' ...' if action.nargs == '*' else ''}]")
            else:
                words.append(name)
        self.usage = " ".join([*words, "[options]"])

    def print_help(self, file: Any = None) -> None:
        """Print the help like any other answer; argparse itself would pass over an output that fails."""
        console.write(self.format_help())

    def read(self, words: Sequence[str]) -> Namespace:
        """What the words say.

        Raises
        ------
        InputError
            For whatever cannot be understood.
        """
        args, rest = self.parse_known_intermixed_args(list(words))
        if rest:
            self._refuse(rest[0])
        for dest, (name, read) in self.readers.items():
            value = getattr(args, dest)
            if value is not None:
                try:
                    setattr(args, dest, read(value))
                except InputError as err:
                    raise err.at(place=name) from None
        return args

    def _refuse(self, word: str) -> NoReturn:
        if word.startswith("-"):
            known = [name for action in self._actions for name in action.option_strings if name != "-h"]
            raise UnknownName.of("option", word.partition("=")[0], known, place=self.word)
        quotes = 'put a value with a space in quotes, like "2100 rpm"'
        raise InputError(
            f"{shown(word)} is one word too many",
            place=self.word,
            allowed=quotes if find_measure(word) else f"write it like: {self.example}",
        )

    def error(self, message: str) -> NoReturn:
        """Raise what argparse has to say as an InputError."""
        missing = re.fullmatch(r"the following arguments are required: (.*)", message)
        if missing:
            raise InputError(
                f"{missing[1]} is missing", place=self.word, allowed=f"write it like: {self.example}"
            )
        about = re.fullmatch(r"argument ([^:]+): (.*)", message, re.DOTALL)
        if not about:
            raise InputError(message, place=self.word, allowed=f"write it like: {self.example}")
        name, what = about[1], about[2]
        value = re.fullmatch(r"invalid (\w+) value: (.*)", what, re.DOTALL)
        if value:
            what = f"{value[2][:80]} is no {'whole number' if value[1] == 'int' else 'number'}"
        elif what.startswith("expected"):
            what = "has no value"
        raise InputError(what, place=f"{self.word}, {name}", allowed=f"write it like: {self.example}")


# ---- arguments that several commands take


USUAL = "weakest vacuum"
"""What commands ask that ask something even where nobody says what."""


def machine_options(parser: Parser, *, of: str = "", many: bool = False, plot: bool = True) -> None:
    """The machine and the options that all commands about one have in common.

    `of` is what its questions are for, in a few words; empty where the command takes none. With `many` it
    takes several.
    """
    parser.take("machine", metavar="MACHINE", help="a machine file, or demo:picker, demo:suction, demo:bench")
    if of:
        text = of + "; may be repeated" * many
        parser.take("--of", action="append", metavar="WORDS", read=questions(many), help=text)
    parser.take(
        "--change",
        action="append",
        default=[],
        metavar="ADDRESS=VALUE",
        read=changes,
        help='change a number first, like "belt.engine_speed=2300 rpm" or "hose *.length=x0.8"; repeatable',
    )
    shown_options(parser)
    if plot:
        parser.take(
            "--plot", metavar="FILE", read=picture, help="also draw the result to a .png, .svg or .pdf file"
        )
        parser.take(
            "--picture", default="", metavar="WORD", help="which of its pictures, where there are several"
        )


def shown_options(parser: Parser) -> None:
    """How the answer is shown."""
    parser.take(
        "--measures",
        default=None,
        metavar="SYSTEM",
        read=system,
        help="metric or inch (default: what the machine file says, else metric)",
    )
    parser.take("--all", action="store_true", help="show every table in full")
    parser.take("--json", action="store_true", help="print JSON instead of text, with every table in full")


def companion_options(parser: Parser, *roles: str) -> None:
    """The files that go with a machine: fixes, readings, crop."""
    for role in roles:
        parser.take(f"--{role}", metavar="FILE", help=COMPANIONS[role])


def fitted_option(parser: Parser) -> None:
    """Readings to fit the machine to before it is asked."""
    parser.take(
        "--readings",
        metavar="FILE",
        help="first fit the machine to these readings, and ask all that is possible",
    )


COMPANIONS = {
    "fixes": "file of fixes (default: MACHINE_fixes.toml or fixes.toml beside the machine file)",
    "readings": "file of readings (default: MACHINE_readings.csv or readings.csv beside the machine file)",
    "crop": "file of the crop (default: MACHINE_crop.toml or crop.toml beside the machine file)",
    "seen": "file of what was seen (default: MACHINE_seen.csv or seen.csv beside the machine file)",
    "field": "file of yields along a row (default: MACHINE_field.csv or field.csv beside the machine file)",
}


PICTURES = ("png", "svg", "pdf")


def picture(path: str) -> str:
    """The name of a picture; one that cannot be drawn is refused before any work is done for it."""
    place = Path(path)
    ending = place.suffix.lstrip(".").lower()
    if ending not in PICTURES:
        raise InputError(
            f"{ending!r} is no kind of picture that can be drawn" if ending else "the name has no ending",
            file=path,
            allowed=f"a name that ends in .{', .'.join(PICTURES)}",
            nearest=nearest_name(ending, PICTURES),
        )
    check(path)
    return path


def system(word: str) -> str:
    """A system of measures by its word."""
    if word not in SYSTEMS:
        raise UnknownName.of("system of measures", word, SYSTEMS)
    return word


def changes(texts: Sequence[str]) -> dict[str, str]:
    """Texts like "ADDRESS=VALUE" as a change; no value holds "=", but a name may."""
    out: dict[str, str] = {}
    for text in texts:
        address, equals, value = text.rpartition("=")
        if not equals or not address.strip() or not value.strip():
            raise InputError(
                f"{shown(text)} is no change",
                allowed="write ADDRESS=VALUE, like 'belt.engine_speed=2300 rpm'",
            )
        if address.strip() in out:
            raise InputError(f"{address.strip()!r} is changed twice", allowed="each address once")
        out[address.strip()] = value.strip()
    return out


def questions(many: bool) -> Callable[[Sequence[str]], str | list[str]]:
    """A reader of questions: one as it is, several as a list, or refused where the command takes one."""

    def read(texts: Sequence[str]) -> str | list[str]:
        if len(texts) > 1 and not many:
            raise InputError(f"{len(texts)} questions are too many", allowed="one question here")
        return texts[0] if len(texts) == 1 else list(texts)

    return read


def count(lowest: int, highest: int) -> Callable[[int], int]:
    """A reader of whole numbers within limits."""

    def read(value: int) -> int:
        if not lowest <= value <= highest:
            raise InputError(f"{value:,} is out of range", allowed=f"{lowest:,} to {highest:,}")
        return value

    return read


def minutes(text: str) -> float:
    """A working time in minutes; a bare number is minutes, as in a file of fixes."""
    try:
        value = float(text)
    except ValueError:
        value = si(text, "s") / 60.0
    if not 0.0 <= value <= 1e5:
        raise InputError(
            f"{text!r} is no working time", allowed="0 minutes or more, as in '45 min' or '1.5 h'"
        )
    return float(value)
