"""The command line: words in, an answer, one sentence or one JSON envelope out.

Exit status: 0 done; 1 the calculation has no answer (said why); 2 the input is wrong (said where and what);
130 stopped by Ctrl-C; 141 nobody reads the output any more.
"""

from __future__ import annotations

import os
import sys
import warnings
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from .commands.known import by_group, command, places
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
    try:
        status = _run(words)
        sys.stdout.flush()
    except BrokenPipeError:
        # what is still in the buffer has no reader: keep the interpreter from complaining as it leaves
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return NO_READER
    except KeyboardInterrupt:
        return INTERRUPTED
    return status


def _run(words: list[str]) -> int:
    """Do what the words say; every refusal becomes a sentence or an error envelope."""
    try:
        return _do(words)
    except InputError as err:
        return _refuse(err, words, WRONG_INPUT)
    except DuctsimError as err:
        return _refuse(err, words, NO_ANSWER)
    except (BrokenPipeError, KeyboardInterrupt):
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
            sys.stdout.write(overview())
        return DONE
    if words[0] in ("--version", "-V"):
        sys.stdout.write(f"ductsim {VERSION}\n")
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

    measures = getattr(args, "measures", "metric")
    if getattr(args, "json", False):
        from .terminal.envelope import dumps

        sys.stdout.write(dumps(document(answer, chosen.name, measures, heard)) + "\n")
        return
    if args.all:
        answer = replace(answer, tables=None, most=None)
    out = sys.stdout
    sys.stdout.write(page(answer, measures, heard, console.width(out), console.colour(out)))


def _refuse(err: DuctsimError, words: list[str], status: int) -> int:
    """Say what is wrong, on the error stream or as JSON, and return the exit status."""
    if "--json" in words:
        from .terminal.envelope import dumps, error

        sys.stdout.write(dumps(error(err)) + "\n")
    else:
        sentence = " ".join(str(err).split())
        sys.stderr.write(f"ductsim: {sentence}{'' if sentence.endswith(('.', '?')) else '.'}\n")
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
        "Then make a folder of your own:     ductsim demo picker my-machine",
    ]
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
