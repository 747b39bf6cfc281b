"""The terminal: its encoding, its width, its colours, and a sign of life while it waits."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from ..display.tables import WIDTH
from ..errors import DuctsimError

NARROWEST = 60
FIRST_SIGN = 1.0  # seconds of silence before the first sign of life


class NoReader(BrokenPipeError):
    """Nobody reads the output any more."""


class NoOutput(DuctsimError):
    """The answer is there and cannot be printed."""


def prepare(stream: TextIO | None) -> None:
    """Make a stream print whatever a name may hold: a pipe or a file gets UTF-8, a console what it can.

    A stream is None where the process was started with it closed.
    """
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is None:
        return
    with contextlib.suppress(OSError, ValueError):  # what is closed or full is said when it is written to
        if _terminal(stream):
            reconfigure(errors="replace")
        else:
            reconfigure(encoding="utf-8", errors="replace")


def write(text: str) -> None:
    """Print a whole answer, down to the device.

    Raises
    ------
    NoOutput
        When it cannot be printed.
    NoReader
        When nobody reads it any more.
    """
    try:
        _put(sys.stdout, text)
    except BrokenPipeError as err:
        _drop(sys.stdout)
        raise NoReader(*err.args) from None
    except (OSError, ValueError) as err:
        _drop(sys.stdout)
        why = getattr(err, "strerror", None) or str(err)
        raise NoOutput(f"the answer cannot be printed: {why}") from None


def say(sentence: str) -> None:
    """Say something on the error stream; where that is closed or full, the exit status has to do."""
    try:
        _put(sys.stderr, sentence)
    except (OSError, ValueError):
        _drop(sys.stderr)


def _put(stream: TextIO | None, text: str) -> None:
    if stream is None:
        raise ValueError("the output is closed")
    try:
        stream.write(text)
    except UnicodeEncodeError:  # a stream that is not ours to set: these letters it has
        stream.write(text.encode("ascii", "backslashreplace").decode("ascii"))
    stream.flush()


def _drop(stream: TextIO | None) -> None:
    """Send what is still in a stream's buffer nowhere: the interpreter would complain of it as it leaves."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, stream.fileno())  # type: ignore[union-attr]
        os.close(nowhere)


def width(stream: TextIO | None) -> int:
    """How wide a page may be: what the terminal has, at most 100."""
    if not _terminal(stream):
        return WIDTH
    return max(NARROWEST, min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns))


def colour(stream: TextIO | None) -> bool:
    """Whether a stream shows colours: a terminal that is not told otherwise."""
    if not _terminal(stream) or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return os.name != "nt" or "WT_SESSION" in os.environ or "TERM" in os.environ


def _terminal(stream: TextIO | None) -> bool:
    try:
        return stream is not None and stream.isatty()
    except ValueError:  # a closed stream
        return False


class Sign:
    """What a person at a terminal is told while a command runs.

    Attributes
    ----------
    done : str
        How far it is, in words.
    """

    def __init__(self, words: str) -> None:
        self.words = words
        self.done = ""

    def progress(self, done: int, of: int) -> None:
        """Take note of how many of how many pieces are done."""
        self.done = f", {done:,} of {of:,}"


@contextmanager
def sign_of_life(words: str, stream: TextIO | None = None) -> Iterator[Sign]:
    """While the body runs, tell a person at a terminal how far it is; tell nobody otherwise."""
    out = stream or sys.stderr
    sign = Sign(words)
    if out is None or not _terminal(out):
        yield sign
        return
    over = threading.Event()
    thread = threading.Thread(target=_tell, args=(sign, out, over), daemon=True)
    thread.start()
    try:
        yield sign
    finally:
        over.set()
        thread.join()


def _tell(sign: Sign, out: TextIO, over: threading.Event) -> None:
    with contextlib.suppress(OSError, ValueError):  # a terminal that has gone is no reason to stop
        _tell_on(sign, out, over)


def _tell_on(sign: Sign, out: TextIO, over: threading.Event) -> None:
    start, told = time.monotonic(), 0
    while not over.wait(FIRST_SIGN):
        line = f"{sign.words} ... {time.monotonic() - start:,.0f} s{sign.done}"
        out.write("\r" + line.ljust(told))
        out.flush()
        told = len(line)
    if told:
        out.write("\r" + " " * told + "\r")
        out.flush()
