"""Plots of everything that a study returns: one function for each, found by the name of its class.

`draw(result, ax=None)` is what a result's `plot` calls. With no Axes given, a figure is made that a notebook
or a window shows; `figure_of` and `save` make one for a file, which no window ever sees.
"""

from __future__ import annotations

import io
import os
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

from ..arguments import one_of
from ..errors import InputError, shown
from ..quantity import display_measure
from ..writing import check, write_whole
from . import style

Draw = Callable[[Any, Any, str], Any]

PLOTS: dict[str, dict[str, tuple[str, str, str]]] = {
    "Machine": {"drawing": ("drawing", "draw_machine", "The air path, drawn from the description")},
    "MachineState": {
        "units": ("plots_machine", "units", "Vacuum, opening air and duct air of every unit"),
        "fans": ("plots_machine", "fan_curves", "The fans on their curves"),
        "drawing": ("drawing", "draw_machine", "The air path, drawn from the description"),
    },
    "Sensitivity": {
        "elasticity": ("plots_machine", "elasticities", "What the answer hangs on"),
        "spread": ("plots_machine", "effects_of_spread", "Why the answer is unsure"),
    },
    "Comparison": {
        "gains": ("plots_fixes", "gains", "Gain of each fix alone, and its worth in company"),
        "front": ("plots_fixes", "front", "Gain against working time, all sets of fixes"),
        "units": ("plots_fixes", "units_after", "Every unit before and after the recommended fixes"),
    },
    "Sweep": {
        "answer": ("plots_fixes", "swept", "The answer over the number that is swept"),
        "units": ("plots_fixes", "swept_units", "The vacuum of every unit over it"),
        "power": ("plots_fixes", "swept_power", "The shaft power over it"),
    },
    "Balance": {
        "units": ("plots_fixes", "balanced", "Every unit before and after the trims are set"),
        "trims": ("plots_fixes", "trims", "The trims between their limits"),
    },
    "Fit": {
        "unknowns": ("plots_readings", "unknowns", "Every unknown before and after the readings"),
        "readings": ("plots_readings", "readings", "Measured against fitted"),
        "misfits": ("plots_readings", "misfits", "How far each reading is from the fit"),
    },
    "Suspects": {"chances": ("plots_readings", "chances", "How probably each suspect is at fault")},
    "NextReadings": {
        "readings": ("plots_readings", "telling", "What each single reading would tell"),
        "questions": ("plots_readings", "questions", "What would be known then"),
    },
    "Proof": {
        "change": ("plots_readings", "change", "The change expected and the change measured"),
        "before and after": ("plots_readings", "before_and_after", "Readings before and after"),
    },
    "GroundSpeed": {
        "margins": ("plots_crop", "margins", "Air there over air needed, at every section"),
        "yield": ("plots_crop", "speed_against_yield", "The fastest speed over the yield"),
        "engine speed": ("plots_crop", "speed_against_engine", "The fastest speed over the engine's speed"),
        "front share": ("plots_crop", "speed_against_share", "The fastest speed over the openings' shares"),
        "fixes": ("plots_crop", "fix_gains", "What each fix makes of the fastest speed"),
    },
    "Fill": {"profile": ("plots_crop", "profile", "How full the box is across its width")},
    "Calibration": {
        "number": ("plots_crop", "calibrated", "The least value before and after what was seen"),
    },
    "FieldPass": {
        "margins": ("plots_crop", "pass_margins", "The smallest margin along the row"),
        "level": ("plots_crop", "pass_level", "The level of the box along the row"),
    },
    "Ensemble": {
        "answers": ("plots_sample", "answers", "How the answers scatter"),
        "weakest": ("plots_sample", "weakest", "How probably each unit is the weakest"),
        "shares": ("plots_sample", "shares", "Where the scatter comes from"),
    },
}
"""Class -> {word: (module, function, what it shows)}; the first is drawn when none is asked for."""
ENDINGS = ("png", "svg", "pdf")


def draw(result: Any, ax: Any = None, what: str = "", measures: str = "metric") -> Any:
    """Draw a result.

    Parameters
    ----------
    result : Result, Machine or MachineState
        What a study returned, or a machine, whose air path is drawn.
    ax : Axes, optional
        Where to draw. By default a new figure that a notebook or a window shows.
    what : str
        Which of its plots, where a result has several; by default the first of `kinds(result)`.
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
    function = _function(result, what)
    display_measure("m", measures)  # refuses an unknown system before anything is drawn
    if ax is not None and not hasattr(ax, "get_figure"):
        raise InputError(f"{shown(ax)} is no place to draw", place="plot, ax", allowed="Axes of matplotlib")
    with style.own():
        if ax is None:
            if function.__name__ == "draw_machine":
                return function(result, None, measures)
            ax = style.shown_axes(*size_of(result, what))
        function(result, ax, measures)
    return ax


def figure_of(result: Any, what: str = "", measures: str = "metric") -> Any:
    """The plot of a result as a matplotlib Figure that belongs to no window; see `draw`."""
    function = _function(result, what)
    display_measure("m", measures)
    with style.own():
        if function.__name__ == "draw_machine":
            from .drawing import figure_of as drawn

            return drawn(result, measures)
        figure = style.figure(*size_of(result, what))
        function(result, figure.add_subplot(), measures)
    return figure


def save(result: Any, path: str | os.PathLike[str], what: str = "", measures: str = "metric") -> None:
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


def kinds(result: Any) -> list[str]:
    """The words for the plots that a result has, the usual one first; none for what cannot be drawn."""
    for cls in type(result).__mro__:
        if cls.__name__ in PLOTS:
            return list(PLOTS[cls.__name__])
    return []


def size_of(result: Any, what: str = "") -> tuple[float, float]:
    """Width and height that suit a plot [in]: higher with more rows to show."""
    module, function, _ = _entry(result, what)
    sizes = getattr(import_module(f".{module}", __package__), "SIZES", {})
    size = sizes.get(function, (style.WIDTH, 3.0))
    return size(result) if callable(size) else size


def words_of(result: Any, what: str = "") -> str:
    """What a plot shows, in a few words."""
    return _entry(result, what)[2]


def _entry(result: Any, what: str) -> tuple[str, str, str]:
    words = kinds(result)
    if not words:
        raise InputError(
            f"a {type(result).__name__} has no plot", place="plot", allowed=f"one of {', '.join(PLOTS)}"
        )
    if not isinstance(what, str) or what:
        one_of(what, words, "plot", "plot")
    own = next(PLOTS[cls.__name__] for cls in type(result).__mro__ if cls.__name__ in PLOTS)
    return own[what or words[0]]


def _function(result: Any, what: str) -> Draw:
    module, name, _ = _entry(result, what)
    return getattr(import_module(f".{module}", __package__), name)
