"""Where in a TOML text each key stands: the parser of the standard library keeps no lines.

Only for texts that the parser has read without complaint; of these every way to write a key is understood.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Sequence

KeyPath = tuple[str | int, ...]
"""The keys, and places in lists, that lead to a value: ("part", 2, "length")."""

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"{3,5}(?!")' r"|'''.*?'{3,5}(?!')" r'|"(?:[^"\\\n]|\\.)*"' r"|'[^'\n]*'", re.DOTALL
)
_PLAIN = re.compile(r"[^,\]}#\n]*")


def lines_of(text: str) -> dict[KeyPath, int]:
    r"""The line of every key and of every item of a list, from 1.

    Examples
    --------
    >>> lines_of('title = "x"\n\n[[part]]\nname = "a"')
    {('title',): 1, ('part',): 3, ('part', 0): 3, ('part', 0, 'name'): 4}
    """
    return _Scan(text).lines


def line_of(lines: dict[KeyPath, int], path: Sequence[str | int]) -> int:
    """The line of a path, else that of the nearest thing around it; 0 where nothing is known."""
    whole = tuple(path)
    return next((lines[whole[:n]] for n in range(len(whole), 0, -1) if whole[:n] in lines), 0)


class _Scan:
    """One pass over a text."""

    def __init__(self, text: str) -> None:
        self.text, self.at = text, 0
        self.ends = [i for i, character in enumerate(text) if character == "\n"]
        self.lines: dict[KeyPath, int] = {}
        self.counts: dict[KeyPath, int] = {}
        table: KeyPath = ()
        self.blank()
        while self.at < len(text):
            if text[self.at] == "[":
                table = self.header()
            else:
                self.pair(table)
            self.blank()

    def blank(self) -> None:
        found = _BLANK.match(self.text, self.at)
        assert found is not None
        self.at = found.end()

    def note(self, path: KeyPath, at: int) -> None:
        self.lines.setdefault(path, bisect_right(self.ends, at - 1) + 1)

    def header(self) -> KeyPath:
        """A table's header, or that of one of several; what follows stands under its path."""
        start = self.at
        several = self.text.startswith("[[", start)
        self.at += 1 + several
        *around, last = self.keys()
        self.at = self.text.index("]", self.at) + 1 + several
        path: KeyPath = ()
        for key in around:
            path += (key,)
            self.note(path, start)
            if path in self.counts:
                path += (self.counts[path] - 1,)
        path += (last,)
        self.note(path, start)
        if several:
            self.counts[path] = self.counts.get(path, 0) + 1
            path += (self.counts[path] - 1,)
            self.note(path, start)
        return path

    def keys(self) -> list[str]:
        """A dotted key; the place is after it."""
        out: list[str] = []
        while True:
            self.blank()
            found = _STRING.match(self.text, self.at) or _BARE.match(self.text, self.at)
            assert found is not None
            word = found.group()
            out.append(tomllib.loads(f"k = {word}")["k"] if word[0] in "\"'" else word)
            self.at = found.end()
            self.blank()
            if not self.text.startswith(".", self.at):
                return out
            self.at += 1

    def pair(self, table: KeyPath) -> None:
        """A key and its value."""
        start = self.at
        path = table
        for key in self.keys():
            path += (key,)
            self.note(path, start)
        self.at = self.text.index("=", self.at) + 1
        self.blank()
        self.value(path)

    def value(self, path: KeyPath) -> None:
        """A value, with the keys and items that are in it."""
        opening = self.text[self.at]
        if opening in "[{":
            self.inside(path, "]" if opening == "[" else "}")
            return
        found = _STRING.match(self.text, self.at) or _PLAIN.match(self.text, self.at)
        assert found is not None
        self.at = found.end()

    def inside(self, path: KeyPath, closing: str) -> None:
        self.at += 1
        place = 0
        while True:
            self.blank()
            if self.text[self.at] == closing:
                self.at += 1
                return
            if closing == "}":
                self.pair(path)
            else:
                self.note((*path, place), self.at)
                self.value((*path, place))
            place += 1
            self.blank()
            if self.text[self.at] == ",":
                self.at += 1
