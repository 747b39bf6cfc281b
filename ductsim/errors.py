"""Every way ductsim says no: one sentence that names the place, the problem and what is allowed."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any


class DuctsimError(Exception):
    """The base of all errors that ductsim raises on purpose."""

    def __str__(self) -> str:
        return visible(super().__str__())


class InputError(DuctsimError, ValueError):
    """The input is wrong: where, what, what is allowed, the nearest known name.

    Parameters
    ----------
    problem : str
        What is wrong, with the value that was given.
    place : str
        Table and name, or part and field, where it is wrong.
    allowed : str
        What would be right.
    nearest : str
        The nearest known name, when a name was not known.
    file : str
        The file it stands in, if it came from one.
    key : tuple
        The keys, and places in lists, that lead to it from where it was found; the reader of a file makes
        the line of them.
    """

    def __init__(
        self,
        problem: str,
        *,
        place: str = "",
        allowed: str = "",
        nearest: str = "",
        file: str = "",
        key: tuple[str | int, ...] = (),
    ) -> None:
        super().__init__(problem)
        self.problem = problem
        self.place = place
        self.allowed = allowed
        self.nearest = nearest
        self.file = file
        self.key = key

    @property
    def each(self) -> tuple[InputError, ...]:
        """Every single thing that is wrong: itself, or what a `SeveralErrors` holds."""
        return (self,)

    def at(self, *, place: str = "", file: str = "", key: tuple[str | int, ...] = ()) -> InputError:
        """The same error, seen from further out: `place` and `key` are put in front, `file` is filled in."""
        joined = ", ".join(word for word in (place, self.place) if word)
        return type(self)(
            self.problem,
            place=joined,
            allowed=self.allowed,
            nearest=self.nearest,
            file=self.file or file,
            key=(*key, *self.key),
        )

    def as_dict(self) -> dict[str, str]:
        """The fields of the command line's `error` object."""
        return {
            "file": self.file,
            "place": self.place,
            "problem": self.problem,
            "allowed": self.allowed,
            "nearest": self.nearest,
        }

    @property
    def words(self) -> str:
        """All of it but for the full stop."""
        text = ": ".join(word for word in (self.file, self.place, self.problem) if word)
        if self.allowed:
            text += f"; {self.allowed}"
        if self.nearest:
            text += f"; did you mean {self.nearest!r}?"
        return visible(text)

    def __str__(self) -> str:
        return self.words if self.words.endswith(("?", ".")) else f"{self.words}."

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild, (type(self), self.as_dict())


def _rebuild(kind: type[InputError], fields: dict[str, Any]) -> InputError:
    return kind(fields.pop("problem"), **fields)


class UnknownName(InputError, KeyError):
    """A name that is not in the machine, the network or the list; also a KeyError."""

    @classmethod
    def of(cls, what: str, name: object, known: Iterable[str], *, place: str = "") -> UnknownName:
        """The error for `name`, with the nearest of the `known` names."""
        names = list(known)
        nearest = nearest_name(str(name), names)
        allowed = "" if nearest or not names else f"known: {', '.join(map(repr, names))}"
        if what not in WHOLE and len(names) > 12 and allowed:
            allowed = f"known: {', '.join(map(repr, names[:12]))} and {len(names) - 12} more"
        return cls(f"unknown {what} {shown(name)}", place=place, allowed=allowed, nearest=nearest)


WHOLE = ("key", "kind", "column", "word", "option", "kind of drive", "key of the unit", "quantity")
"""What is always listed whole: the package's own words; names of a machine may be thousands."""


class SeveralErrors(InputError):
    """Several things that are wrong in one input; `each` holds them, the fields are those of the first.

    Parameters
    ----------
    each : sequence of InputError
        At least one.
    """

    def __init__(self, each: Iterable[InputError]) -> None:
        self._each = tuple(each)
        first = self._each[0]
        super().__init__(
            first.problem, place=first.place, allowed=first.allowed, nearest=first.nearest, file=first.file
        )

    @property
    def each(self) -> tuple[InputError, ...]:
        """Every single thing that is wrong."""
        return self._each

    def at(self, *, place: str = "", file: str = "", key: tuple[str | int, ...] = ()) -> InputError:
        """The same errors, each seen from further out."""
        return SeveralErrors([err.at(place=place, file=file, key=key) for err in self._each])

    def __str__(self) -> str:
        """The first sentence as always; the others on lines of their own."""
        return "\n".join(map(str, self._each))

    def __reduce__(self) -> tuple[Any, ...]:
        return SeveralErrors, (self._each,)


class Problems:
    """Collects what is wrong, to say all of it at once."""

    def __init__(self) -> None:
        self.found: list[InputError] = []

    @contextmanager
    def noting(self, *key: str | int) -> Iterator[None]:
        """Go on after whatever is wrong in the body; `key` is where it stands in the file."""
        try:
            yield
        except InputError as err:
            self.found += err.at(key=key).each

    def refuse(self) -> None:
        """Raise what was found, each thing once; nothing where nothing was."""
        # a slip in a template shows in every unit: its first is enough
        once: dict[Any, InputError] = {}
        for err in self.found:
            once.setdefault((err.key, err.problem) if err.key else str(err), err)
        different = list(once.values())
        if different:
            raise different[0] if len(different) == 1 else SeveralErrors(different)


class NoOperatingPoint(DuctsimError, RuntimeError):
    """The calculation has no answer; `.state` holds everything, the last iterate included.

    Attributes
    ----------
    state : State
        The unsolved state.
    outcome : str
        What happened, a sentence.
    node : str
        The node it happened at, or an empty string.
    remedy : str
        What to do about it, a sentence.
    """

    def __init__(self, outcome: str, *, node: str = "", remedy: str = "", state: Any = None) -> None:
        super().__init__(outcome)
        self.outcome = outcome
        self.node = node
        self.remedy = remedy
        self.state = state

    def __str__(self) -> str:
        return visible(" ".join(word for word in (self.outcome, self.remedy) if word))

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild_point, (self.outcome, self.node, self.remedy, self.state)


def _rebuild_point(outcome: str, node: str, remedy: str, state: Any) -> NoOperatingPoint:
    return NoOperatingPoint(outcome, node=node, remedy=remedy, state=state)


class OutsideRange(UserWarning):
    """A law was used outside the range its source covers; it still returned a value."""


def visible(text: str) -> str:
    r"""A text on one line in which nothing acts on a terminal or hides: control characters are escaped.

    Ends of lines, tabs and wide spaces become plain spaces; whatever else cannot be printed (escape
    sequences, marks that turn the writing round, characters without width) is shown as its escape.

    Examples
    --------
    >>> visible("door" + chr(27) + "[2J")
    'door\\x1b[2J'
    """
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() else " " if _spaces(c) else repr(c)[1:-1] for c in text)


def _spaces(character: str) -> bool:
    return character in "\t\n\r" or unicodedata.category(character).startswith("Z")


class WrongSlope(UserWarning):
    """A law from outside the package states slopes that its own drops do not have: derivatives are wrong."""


def shown(value: object) -> str:
    """`repr` of what was given, cut to a length that a message can bear."""
    try:
        text = repr(value)
    except ValueError:  # Python refuses to print an integer of thousands of digits
        return "a very long number"
    return text if len(text) <= 60 else f"{text[:48]}... ({len(text)} characters)"


def nearest_name(name: str, known: Iterable[str]) -> str:
    """The known name closest to `name`, or an empty string when none is close."""
    if len(name) > 200:  # no name is that long, and comparing would take long too
        return ""
    names = list(known)
    folded = {k.casefold(): k for k in names}
    if name.casefold() in folded:
        return folded[name.casefold()]
    from difflib import get_close_matches

    close = get_close_matches(name, names, n=1, cutoff=0.6)
    begun = [known for known in names if len(name) > 2 and known.startswith(name)]  # "dia" of diameter
    return close[0] if close else begun[0] if len(begun) == 1 else ""
