"""How a result is told and drawn: its presentation, registered once beside the study that makes it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from importlib import import_module
from typing import Any, ClassVar

from ..arguments import one_of
from ..errors import InputError
from . import style

Row = dict[str, Any]
Tables = Mapping[str, list[Row] | Callable[[], list[Row]]]
Size = tuple[float, float]


@dataclass(frozen=True)
class Plot:
    """One picture of a result.

    Attributes
    ----------
    function : callable
        `function(result, axes, measures)` draws into axes; `measures` is "metric" or "inch".
    words : str
        What it shows, in a few words.
    size : (width, height) or callable
        What suits it [in]; a callable gets the result.
    whole : bool
        True when the picture decides its own size: `function(result, axes, measures, make)` then gets None
        for axes, asks `make(width, height)` [in] for some, and returns them.
    """

    function: Callable[..., Any]
    words: str
    size: Size | Callable[[Any], Size] = (style.WIDTH, 3.0)
    whole: bool = False

    def size_for(self, result: Any) -> Size:
        """Width and height for a result [in]."""
        return self.size(result) if callable(self.size) else self.size


@dataclass(frozen=True)
class Presentation:
    """Everything that shows a result; each is a function of the result.

    Attributes
    ----------
    tables : callable
        `tables(result)` -> {name: rows}, the rows of `result.rows()` first. In place of rows that take time
        to work out may stand a function that makes them, without arguments; no rows, no table.
    sentences : callable
        `sentences(result, measures)` -> plain sentences, the answer first.
    notes : callable
        `notes(result)` -> list of `Note`: what deserves a look.
    cautions : callable
        `cautions(result)` -> list of str: what to beware of.
    about : callable
        `about(result)` -> a few words for one line, from what is there: it computes nothing.
    title : str
        A heading for it, as a section of a report has; by default the name of its class in words.
    plots : mapping, or str
        Word -> `Plot`, the usual one first; or where they stand, as "module:NAME", which is loaded when
        something is drawn.
    """

    tables: Callable[[Any], Tables] | None = None
    sentences: Callable[[Any, str], list[str]] | None = None
    notes: Callable[[Any], list[Any]] | None = None
    cautions: Callable[[Any], list[str]] | None = None
    about: Callable[[Any], str] | None = None
    title: str = ""
    plots: Mapping[str, Plot] | str = field(default_factory=dict)


class Shown:
    """Something with a presentation.

    Attributes
    ----------
    presentation : Presentation
        Set once by `show_by`, for the class and its subclasses.
    """

    __slots__ = ()
    presentation: ClassVar[Presentation] = Presentation()

    @classmethod
    def show_by(cls, **presentation: Any) -> None:
        """Register a presentation of this class, see `Presentation`. Other words stay those of its base.

        Raises
        ------
        UnknownName
            For a word that is none of them.
        """
        for word in presentation:
            one_of(word, (own.name for own in fields(Presentation)), f"{cls.__name__}.show_by", "face")
        cls.presentation = replace(cls.presentation, **presentation)

    def plots(self) -> Mapping[str, Plot]:
        """The pictures there are, by their words, the usual one first."""
        plots = self.presentation.plots
        if isinstance(plots, str):
            module, _, name = plots.partition(":")
            found: Mapping[str, Plot] = getattr(import_module(module), name)
            return found
        return plots

    def picture(self, what: str = "") -> Plot:
        """One of the pictures; the usual one when none is named.

        Raises
        ------
        InputError
            For something that has no plot, and for an unknown plot (UnknownName).
        """
        known = self.plots()
        if not known:
            raise InputError(f"a {type(self).__name__} has no plot", place="plot")
        if not isinstance(what, str) or what:
            one_of(what, known, "plot", "plot")
        return known[what or next(iter(known))]
