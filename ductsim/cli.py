"""The command line: words in, an answer, one sentence or one JSON envelope out.

Exit status: 0 done; 1 the calculation has no answer, or the answer cannot be printed (said why); 2 the input
is wrong, or a file cannot be written (said where and what); 130 stopped by Ctrl-C, 143 or 129 by the system
(said so); 141 nobody reads the output any more. Where the error stream is closed, the status says it.
"""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

from .commands.registry import by_group, command, places
from .errors import DuctsimError, InputError, OutsideRange, nearest_name
from .terminal import console
from .terminal.command import Answer, Command
from .version import VERSION

DONE, NO_ANSWER, WRONG_INPUT, INTERRUPTED, NO_READER = 0, 1, 2, 130, 141
LONGEST_WORD = 20_000


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line and return its exit status; never raises for anything a user can do.

    Parameters
    ----------
    argv : sequence of str, optional
        The words after `ductsim`; those of the process if not given.
    """
    words = list(sys.argv[1:] if argv is None else argv)
    for stream in (sys.stdout, sys.stderr):
        console.prepare(stream)
    # its notes about its own folders and settings are no part of an answer
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    try:
        with _told_to_stop():
            return _run(words)
    except console.NoReader:
        return NO_READER


class _Stopped(KeyboardInterrupt):
    """The system has told the process to stop, by the signal it holds."""


def _stop(number: int, _: Any) -> None:
    raise _Stopped(signal.Signals(number))


@contextmanager
def _told_to_stop() -> Iterator[None]:
    """While the body runs, the system ends it as Ctrl-C does: what it has begun to write is removed."""
    before: dict[signal.Signals, Any] = {}
    if threading.current_thread() is threading.main_thread():  # only there is a signal heard
        for name in ("SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) == signal.SIG_DFL:
                before[number] = signal.signal(number, _stop)
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _run(words: list[str]) -> int:
    """Do what the words say; every refusal becomes a sentence or an error envelope."""
    try:
        return _do(words)
    except _Stopped as stopped:
        number = stopped.args[0]
        return _refuse(_ended(f"stopped by the system ({number.name})", stopped), words, 128 + number)
    except KeyboardInterrupt as stopped:
        return _refuse(_ended("stopped by Ctrl-C", stopped), words, INTERRUPTED)
    except InputError as err:
        return _refuse(err, words, WRONG_INPUT)
    except DuctsimError as err:
        return _refuse(err, words, NO_ANSWER)
    except console.NoReader:
        raise
    except SystemExit as leave:  # argparse has printed its help
        return leave.code if isinstance(leave.code, int) else DONE
    except MemoryError:
        return _refuse(
            DuctsimError("there is not enough memory for this: ask for less at once"), words, NO_ANSWER
        )
    except Exception as err:
        if os.environ.get("DUCTSIM_TRACEBACK"):
            raise
        return _refuse(_own_fault(err), words, NO_ANSWER)


def _ended(how: str, stopped: KeyboardInterrupt) -> DuctsimError:
    """How the work ended, and what the command had to add."""
    return DuctsimError("; ".join([how, *getattr(stopped, "__notes__", ())]))


def _own_fault(err: Exception) -> DuctsimError:
    """What to say when it is neither the input nor the calculation."""
    what = " ".join(f"{type(err).__name__}: {err}".split())[:200]
    return DuctsimError(
        f"stopped by a fault of its own ({what}); please report it with the command and its files; "
        "with DUCTSIM_TRACEBACK=1 in the environment it says where"
    )


def _do(words: list[str]) -> int:
    if not words or words[0] in ("-h", "--help", "help"):
        if len(words) > 1 and words[0] == "help":
            command(words[1]).parser().print_help()
        else:
            console.write(overview())
        return DONE
    if words[0] in ("--version", "-V"):
        console.write(f"ductsim {VERSION}\n")
        return DONE
    if max(map(len, words)) > LONGEST_WORD:
        raise InputError(
            "a word of the command line is too long", allowed=f"up to {LONGEST_WORD:,} characters"
        )
    chosen = _chosen(words)
    args = chosen.parser().read(words[1:])
    with warnings.catch_warnings(record=True) as heard:
        warnings.simplefilter("always", OutsideRange)
        with console.sign_of_life(f"ductsim {chosen.name}") as args.sign:
            answer = chosen.run(args)
            if getattr(args, "plot", None):
                _draw(answer, args)
        _show(chosen, answer, args, [str(w.message) for w in heard if issubclass(w.category, OutsideRange)])
    return answer.status


def _draw(answer: Answer, args: Any) -> None:
    from .display.canvas import save

    save(answer.drawn or answer.result, args.plot, args.picture, args.measures)


def _chosen(words: list[str]) -> Command:
    """The command that the first word names."""
    first = words[0]
    if first in places():
        return command(first)
    later = next((word for word in words[1:] if word in places()), "")
    if later:
        raise InputError(
            f"{first!r} stands before the command", allowed=f"the command first: ductsim {later} ..."
        )
    if first.startswith("demo:") or first.endswith(".toml"):
        raise InputError("the command is missing", allowed=f"write it like: ductsim solve {first}")
    near = nearest_name(first, places()) or nearest_name(first.replace("_", "-"), places())
    raise InputError(
        f"unknown command {first[:60]!r}",
        allowed="" if near else f"known: {', '.join(places())}",
        nearest=near,
    )


def _show(chosen: Command, answer: Answer, args: Any, heard: list[str]) -> None:
    from .terminal.page import document, page

    measures = getattr(args, "measures", None) or "metric"
    if getattr(args, "json", False):
        from .terminal.envelope import dumps

        console.write(dumps(document(answer, chosen.name, measures, heard)) + "\n")
        return
    if args.all:
        answer = replace(answer, tables=None, most=None)
    out = sys.stdout
    console.write(page(answer, measures, heard, console.width(out), console.colour(out)))


def _refuse(err: DuctsimError, words: list[str], status: int) -> int:
    """Say what is wrong, on the error stream or as JSON, and return the exit status."""
    if "--json" in words and not isinstance(err, console.NoOutput):
        from .terminal.envelope import dumps, error

        try:
            console.write(dumps(error(err)) + "\n")
            return status
        except console.NoOutput:
            pass  # then the error stream hears it
    each = err.each if isinstance(err, InputError) else (err,)
    for one in each:
        sentence = " ".join(str(one).split())
        console.say(f"ductsim: {sentence}{'' if sentence.endswith(('.', '?')) else '.'}\n")
    return status


def overview() -> str:
    """What `ductsim --help` prints."""
    lines = [
        "Air, suction and crop flow in the duct systems of mechanical crop harvesters.",
        "",
        "  ductsim COMMAND MACHINE [options]",
        "",
        "MACHINE is a machine file, or one of the invented ones: demo:picker, demo:suction, demo:bench.",
    ]
    for heading, group in by_group().items():
        lines += ["", heading, *(f"  {c.name:18}{c.summary}" for c in group)]
    lines += [
        "",
        "Every command explains itself:      ductsim solve --help",
        "Start here:                         ductsim solve demo:picker",
        "Then begin with your own machine:   ductsim start my-machine",
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
