"""The base of everything a study returns: one set of rows feeds every way of showing it."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterable
from functools import cached_property
from typing import TYPE_CHECKING, Any, Self

from . import storage
from .arguments import one_of
from .display.canvas import draw
from .display.presentation import Shown, Tables
from .display.tables import frame, html, json_rows, plain
from .errors import visible

if TYPE_CHECKING:
    import pandas as pd

Row = dict[str, Any]


class Note(str):
    """A sentence about what deserves a look, with what it is about.

    Attributes
    ----------
    kind : str
        What sort of thing it says, in a word or two ("limit passed", "no answer").
    place : str
        The part, unit, drive or number it is about; an empty text where it is about the whole.
    value : float or None
        The number it turns on, in SI.
    """

    __slots__ = ("kind", "place", "value")

    kind: str
    place: str
    value: float | None

    def __new__(cls, text: str, kind: str = "", place: str = "", value: float | None = None) -> Self:
        """`text` is the whole sentence."""
        self = super().__new__(cls, text)
        self.kind, self.place, self.value = kind, place, value
        return self

    def about(self) -> dict[str, Any]:
        """Kind, place and value by name."""
        return {"kind": self.kind, "place": self.place, "value": plain(self.value)}

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (str(self), self.kind, self.place, self.value)


storage.keeps(
    Note,
    lambda note: {"text": str(note), "kind": note.kind, "place": note.place, "value": note.value},
    lambda cls, fields: cls(**fields),
)


class Result(Shown):
    """Plain data that a study has worked out, and every way of showing it.

    A subclass is a dataclass of what was found. How it is told and drawn is either registered once with
    `show_by(tables=, sentences=, notes=, cautions=, about=, title=, plots=)`, as the package's own studies
    do in their folders, or written as methods of these names. That is all that text, HTML, JSON, pictures,
    files, a section of a report and a command need; each of them may ask any result for all of it. Nothing
    that shows a result works anything out that takes time: `repr` reads what is there.
    """

    def heading(self) -> str:
        """What stands over it: the title that its class registered, else the name of the class in words."""
        words = re.sub(r"(?<=[a-z0-9])(?=[A-Z])", " ", type(self).__name__).split()
        return self.presentation.title or " ".join([*words[:1], *(word.lower() for word in words[1:])])

    def tables(self) -> dict[str, list[Row]]:
        """Name -> rows of everything there is to show: dicts with measures in the keys (`vacuum_Pa`)."""
        return {} if self.presentation.tables is None else _made(self.presentation.tables(self))

    def some_tables(self, names: Iterable[str]) -> dict[str, list[Row]]:
        """The tables that go by these names, in that order; nothing is worked out for the others."""
        every = self._tables()
        return _made({name: every[name] for name in names if name in every})

    def _tables(self) -> Tables:
        """All of them, what takes time not yet worked out."""
        if self.presentation.tables is None or type(self).tables is not Result.tables:
            return self.tables()
        return self.presentation.tables(self)

    def rows(self) -> list[Row]:
        """The rows of the first of the tables."""
        first = dict(list(self._tables().items())[:1])
        return next(iter(_made(first).values()), [])

    def sentences(self, measures: str = "metric") -> list[str]:
        """A few plain sentences, the answer first; `measures` is "metric" or "inch"."""
        return [] if self.presentation.sentences is None else self.presentation.sentences(self, measures)

    @cached_property
    def notes(self) -> list[Note]:
        """What deserves a look, each a sentence that knows what it is about."""
        found = () if self.presentation.notes is None else self.presentation.notes(self)
        return [note if isinstance(note, Note) else Note(note) for note in found]

    @cached_property
    def cautions(self) -> list[str]:
        """What to beware of when acting on it."""
        return [] if self.presentation.cautions is None else self.presentation.cautions(self)

    def about(self) -> str:
        """A few words for one line, from what is there."""
        return "" if self.presentation.about is None else self.presentation.about(self)

    # ---- ways of showing

    def table(self, name: str = "", measures: str = "") -> pd.DataFrame:
        """One of the tables as a DataFrame, the first if none is named.

        In SI as the keys say; with `measures` "metric" or "inch" in those, named in the columns' heads.

        Raises
        ------
        UnknownName
            For a name that no table has, and an unknown system of measures.
        """
        if not name:
            return frame(self.rows(), measures)
        found = self.some_tables([name] if isinstance(name, str) else ())
        tables = found or self.tables()
        return frame(tables[one_of(name, tables, type(self).__name__, "table")], measures)

    def to_json(self, measures: str = "metric") -> str:
        """Sentences, tables, notes and cautions as JSON; tables in the measures that their keys say.

        A note is a mapping with its `text` and what it is about: `kind`, `place`, `value`.
        """
        return json.dumps(
            {
                "result": type(self).__name__,
                "answer": self.sentences(measures),
                "tables": {name: json_rows(rows) for name, rows in self.tables().items()},
                "notes": [{"text": str(note), **note.about()} for note in self.notes],
                "cautions": list(self.cautions),
            },
            allow_nan=False,
        )

    def plot(self, ax: Any = None, what: str = "", measures: str = "metric") -> Any:
        """Draw the result; matplotlib Axes come back.

        `what` names one of `plots()` where it has several; `measures` is "metric" or "inch".
        """
        return draw(self, ax, what, measures)

    # ---- kept

    def save(self, path: str | os.PathLike[str]) -> None:
        """Write the result to a file of its own (JSON and arrays), whole or not at all; `load` reads it.

        Raises
        ------
        InputError
            Where nothing can be written, and for a result that holds what cannot be kept.
        """
        storage.save(self, path)

    @classmethod
    def load(cls, path: str | os.PathLike[str]) -> Self:
        """A result that `save` wrote; `ds.Result.load` reads any of them.

        Raises
        ------
        InputError
            For another file, a newer format, another kind of result, and one that is not whole.
        """
        found: Self = storage.load(path, cls)
        return found

    def __str__(self) -> str:
        return "\n".join(map(visible, self.sentences(self._own_measures())))

    def __repr__(self) -> str:
        about = self.about()
        return f"<{type(self).__name__}{': ' * bool(about)}{visible(about)}>"

    def _repr_html_(self) -> str:
        measures = self._own_measures()
        return html(self.sentences(measures), self.rows(), measures)

    def _own_measures(self) -> str:
        """The system of measures in which its machine is told, else its own, "metric" without one."""
        machine = getattr(self, "machine", None) or getattr(self, "given", None)
        own = getattr(machine, "measures", getattr(self, "measures", None))
        return own if isinstance(own, str) else "metric"

    def __getstate__(self) -> dict[str, Any]:
        """Without what can be worked out again."""
        kept = dict(self.__dict__)
        for name in _worked_out(type(self)):
            kept.pop(name, None)
        return kept

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state)


def _made(tables: Tables) -> dict[str, list[Row]]:
    """With the rows that are worked out when they are asked for."""
    out: dict[str, list[Row]] = {}
    for name, rows in tables.items():
        made = rows() if callable(rows) else rows
        if made or made is rows:
            out[name] = made
    return out


def _worked_out(cls: type) -> Iterable[str]:
    """The names of the cached properties of a class."""
    return (n for c in cls.__mro__ for n, value in vars(c).items() if isinstance(value, cached_property))
