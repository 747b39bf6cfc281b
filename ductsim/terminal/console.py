"""The terminal: its encoding, its width, its colours, and a sign of life while it waits."""

from __future__ import annotations

import os
import shutil
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TextIO

from ..display.tables import WIDTH

NARROWEST = 60
FIRST_SIGN = 1.0  # seconds of silence before the first sign of life


def prepare(stream: TextIO) -> None:
    """Make a stream print whatever a name may hold: a pipe or a file gets UTF-8, a console what it can."""
    reconfigure = getattr(stream, "reconfigure", None)
    if reconfigure is None:
        return
    if stream.isatty():
        reconfigure(errors="replace")
    else:
        reconfigure(encoding="utf-8", errors="replace")


def width(stream: TextIO) -> int:
    """How wide a page may be: what the terminal has, at most 100."""
    if not _terminal(stream):
        return WIDTH
    return max(NARROWEST, min(WIDTH, shutil.get_terminal_size((WIDTH, 24)).columns))


def colour(stream: TextIO) -> bool:
    """Whether a stream shows colours: a terminal that is not told otherwise."""
    if not _terminal(stream) or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return os.name != "nt" or "WT_SESSION" in os.environ or "TERM" in os.environ


def _terminal(stream: TextIO) -> bool:
    try:
        return stream.isatty()
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
    if not _terminal(out):
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
    start, told = time.monotonic(), 0
    while not over.wait(FIRST_SIGN):
        line = f"{sign.words} ... {time.monotonic() - start:,.0f} s{sign.done}"
        out.write("\r" + line.ljust(told))
        out.flush()
        told = len(line)
    if told:
        out.write("\r" + " " * told + "\r")
        out.flush()
