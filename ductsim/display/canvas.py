"""Pictures of whatever has a presentation: on given axes, in a window or notebook, in a file.

`draw(result, ax=None)` is what a result's `plot` calls. With no Axes given, a figure is made that a notebook
or a window shows; `figure_of` and `save` make one for a file, which no window ever sees.
"""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import Any

from ..errors import InputError, shown
from ..quantity import display_measure
from ..writing import check, write_whole
from . import style
from .presentation import Plot, Shown

ENDINGS = ("png", "svg", "pdf")


def draw(result: Shown, ax: Any = None, what: str = "", measures: str = "metric") -> Any:
    """Draw a result.

    Sizes, fonts and lines that the caller has set in matplotlib (`rcParams`, a style context) hold, and so
    does a `figure.figsize`. Colours stay the project's own: together they are told apart by everybody.

    Parameters
    ----------
    result : Result, Machine or MachineState
        What a study returned, or a machine, whose air path is drawn.
    ax : Axes, optional
        Where to draw. By default a new figure that a notebook or a window shows.
    what : str
        Which of its plots, where a result has several; by default the first of `result.plots()`.
    measures : str
        "metric" or "inch".

    Returns
    -------
    Axes

    Raises
    ------
    InputError
        For something that has no plot, and for an unknown plot (UnknownName).
    """
    plot = _plot(result, what)
    if ax is not None and not hasattr(ax, "get_figure"):
        raise InputError(f"{shown(ax)} is no place to draw", place="plot, ax", allowed="Axes of matplotlib")
    display_measure("m", measures)  # refuses an unknown system before anything is drawn
    with style.own(callers=True):
        if ax is None:
            if plot.whole:
                return plot.function(result, None, measures, style.shown_axes)
            ax = style.shown_axes(*(style.callers_size() or plot.size_for(result)))
        plot.function(result, ax, measures)
        style.wrap(ax)
    return ax


def figure_of(result: Shown, what: str = "", measures: str = "metric") -> Any:
    """The plot of a result as a matplotlib Figure that belongs to no window; see `draw`."""
    plot = _plot(result, what)
    display_measure("m", measures)
    with style.own():
        if plot.whole:
            return plot.function(result, None, measures, _unseen).figure
        figure = style.figure(*plot.size_for(result))
        ax = figure.add_subplot()
        plot.function(result, ax, measures)
        style.wrap(ax)
    return figure


def save(result: Shown, path: str | os.PathLike[str], what: str = "", measures: str = "metric") -> None:
    """Write the plot of a result to a file that ends in .png, .svg or .pdf, whole or not at all.

    Raises
    ------
    InputError
        For another ending, and where nothing can be written; and see `draw`.
    """
    place = Path(path)
    ending = place.suffix.lstrip(".").lower()
    if ending not in ENDINGS:
        raise InputError(
            f"pictures of kind {ending!r} are not drawn",
            file=str(path),
            allowed=f"one of {', '.join(ENDINGS)}",
        )
    check(path)
    figure = figure_of(result, what, measures)
    stream = io.BytesIO()
    with style.own():
        figure.savefig(stream, format=ending)
    write_whole(path, stream.getvalue())


def _unseen(width: float, height: float) -> Any:
    """Axes in a figure that belongs to nobody's window."""
    return style.figure(width, height).add_subplot()


def _plot(result: Any, what: str) -> Plot:
    if not isinstance(result, Shown):
        raise InputError(f"{shown(result)} has no plot", place="plot", allowed="a result or a machine")
    return result.picture(what)
