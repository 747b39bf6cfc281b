"""The look of every picture: colours, markers, hatches, sizes; and the ways to make a figure.

Colours are told apart by a colour-blind reader, and in a grey print by their lightness; what matters has a
marker, a hatch or a line style beside its colour. Fonts come with matplotlib, so that a picture is the
same everywhere.
"""

from __future__ import annotations

import contextlib
import math
import os
import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np

from ..errors import InputError, visible
from ..quantity import display_measure, from_si

INK = "#1f2a30"  # text and outlines
DEEP = "#1d4e79"  # the quantity itself, before
MARK = "#d2622a"  # what the reader has to see: the weakest, the limit, what was measured
TEAL = "#57a39a"  # after, the second quantity
SAND = "#dfbb6b"  # the third quantity
PLUM = "#96527e"  # the fourth
MIST = "#d3dadc"  # what stands behind: priors, ranges, what is not allowed
PAPER = "#ffffff"

SERIES = (DEEP, MARK, TEAL, PLUM, SAND, INK)
MARKERS = ("o", "s", "^", "D", "v", "P", "X", "<", ">", "h")
LINES = ("-", (0, (5, 2)), (0, (1, 1.4)), (0, (6, 1.5, 1, 1.5)), (0, (3, 1)), (0, (8, 2)))
WEAK_HATCH = "////"
AFTER_HATCH = "...."

WIDTH = 4.8  # inches; as wide as a phone shows without shrinking the letters

RC: dict[str, Any] = {
    "font.family": "sans-serif",
    "font.sans-serif": ["DejaVu Sans", "Verdana", "sans-serif"],
    "font.size": 8.5,
    "text.color": INK,
    "text.usetex": False,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 9.0,
    "axes.labelsize": 8.5,
    "axes.labelcolor": INK,
    "axes.edgecolor": INK,
    "axes.linewidth": 0.7,
    "axes.facecolor": PAPER,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "axes.grid": False,
    "axes.xmargin": 0.02,
    "axes.formatter.useoffset": False,
    "grid.color": "#dfe4e5",
    "grid.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 8.0,
    "ytick.labelsize": 8.0,
    "xtick.direction": "out",
    "ytick.direction": "out",
    "xtick.major.size": 3.0,
    "ytick.major.size": 3.0,
    "xtick.major.width": 0.7,
    "ytick.major.width": 0.7,
    "lines.linewidth": 1.7,
    "lines.markersize": 5.0,
    "patch.linewidth": 0.7,
    "hatch.linewidth": 0.7,
    "hatch.color": PAPER,
    "legend.frameon": False,
    "legend.fontsize": 8.0,
    "legend.handlelength": 2.4,
    "legend.title_fontsize": 8.0,
    "figure.facecolor": PAPER,
    "figure.dpi": 110,
    "savefig.facecolor": PAPER,
    "savefig.dpi": 200,
    "savefig.bbox": "tight",
    "savefig.pad_inches": 0.08,
    "svg.fonttype": "none",
    "svg.hashsalt": "ductsim",
}


def _loaded() -> Any:
    """Matplotlib; an InputError where it does not start, which hangs on its surroundings alone."""
    try:
        import matplotlib
    except (ValueError, OSError) as err:
        backend = os.environ.get("MPLBACKEND")
        raise InputError(
            f"nothing can be drawn: {' '.join(str(err).partition(';')[0].split())}",
            place=f"MPLBACKEND={backend}" if backend else "matplotlib",
            allowed="unset MPLBACKEND, or set it to agg" if backend else "",
        ) from None
    return matplotlib


@contextlib.contextmanager
def own(callers: bool = False) -> Iterator[None]:
    """Everything made inside has the project's look; the caller's settings stand again afterwards.

    With `callers` what the caller has set holds inside too, colours excepted.
    """
    matplotlib = _loaded()
    look = {key: value for key, value in RC.items() if not (callers and _is_callers(matplotlib, key))}
    # A name may hold letters that the font lacks; the picture then shows a box, which is no reason to warn.
    interactive = matplotlib.is_interactive()
    try:
        with matplotlib.rc_context(look), warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing from")
            warnings.filterwarnings("ignore", message="Matplotlib currently does not support")
            try:
                yield
            finally:
                interactive = matplotlib.is_interactive()
    finally:
        # A notebook's backend turns interactive mode on when a first figure loads it. Taken back with the
        # other settings, every later figure would stay unseen.
        matplotlib.interactive(interactive)


def _is_callers(matplotlib: Any, key: str) -> bool:
    """Whether the caller has set a number or a font to something else than matplotlib's own."""
    coloured = key.endswith("color") or key in ("text.usetex", "svg.hashsalt")
    return not coloured and matplotlib.rcParams[key] != matplotlib.rcParamsDefault[key]


def callers_size() -> tuple[float, float] | None:
    """Width and height of figures as the caller has set them [in]; None where that was left alone."""
    matplotlib = _loaded()
    width, height = matplotlib.rcParams["figure.figsize"]
    usual = tuple(matplotlib.rcParamsDefault["figure.figsize"])
    return None if (width, height) == usual else (float(width), float(height))


def wrap(ax: Any) -> None:
    """Title and words below go on below themselves where the picture is too narrow for them."""
    for own_axes in (ax, *ax.child_axes):
        own_axes.xaxis.label.set_wrap(True)


def figure(width: float = WIDTH, height: float = 3.0) -> Any:
    """An empty figure that belongs to nobody's window, for files; inches."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    out = Figure(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(out)
    return out


def shown_axes(width: float, height: float) -> Any:
    """Axes in a figure that a notebook or a window shows."""
    from matplotlib import pyplot

    _, ax = pyplot.subplots(figsize=(width, height), layout="constrained")
    return ax


def panels(ax: Any, shares: list[float], gap: float = 0.05) -> list[Any]:
    """Axes side by side inside `ax`, which is itself made invisible.

    Parameters
    ----------
    ax : Axes
        Where they stand.
    shares : list of float
        Widths of the panels, relative to each other.
    gap : float
        Space between two panels, in widths of `ax` [-].
    """
    ax.set_axis_off()
    room = 1.0 - gap * (len(shares) - 1)
    out, left = [], 0.0
    for share in shares:
        width = room * share / sum(shares)
        out.append(ax.inset_axes((left, 0.0, width, 1.0)))
        left += width + gap
    return out


def stacked(ax: Any, count: int, gap: float = 0.1) -> list[Any]:
    """Axes below each other inside `ax`, which is itself made invisible; the first on top.

    `gap` is the space between two, in heights of `ax` [-].
    """
    ax.set_axis_off()
    height = (1.0 - gap * (count - 1)) / count
    return [ax.inset_axes((0.0, 1.0 - height - i * (height + gap), 1.0, height)) for i in range(count)]


# ---- words and numbers


def cut(name: object, longest: int = 34) -> str:
    """A name on one line, its middle giving way when it is long."""
    text = visible(" ".join(str(name).split()))
    if len(text) > longest:
        tail = longest // 3
        text = f"{text[: longest - tail - 1].rstrip()}…{text[-tail:].lstrip()}"
    return text


def plain(name: object, longest: int = 34) -> str:
    """A name that is safe to draw: cut, and no formula is read into it."""
    return cut(name, longest).replace("$", r"\$")


def wrapped(name: object, longest: int = 14, lines: int = 2) -> str:
    """A name on up to `lines` lines, each safe to draw."""
    words = " ".join(str(name).split()).split(" ")
    out = [""]
    for word in words:
        joined = f"{out[-1]} {word}".strip()
        if len(joined) <= longest or not out[-1]:
            out[-1] = joined
        else:
            out.append(word)
    if len(out) > lines and max(map(len, out[: lines - 1])) <= longest:
        out = [*out[: lines - 1], cut(" ".join(out[lines - 1 :]), longest)]
    elif max(map(len, out)) > longest:
        whole = " ".join(words)
        if len(whole) > lines * longest:
            whole = cut(whole, lines * longest - 2)
        out = [whole[i : i + longest].strip() for i in range(0, len(whole), longest)]
    return "\n".join(plain(line, longest) for line in out[:lines])


def measure(words: str, si_measure: str, measures: str = "metric") -> str:
    """The words of an axis with their measure: "vacuum [Pa]"."""
    spelled = display_measure(si_measure, measures) if si_measure else ""
    return f"{words} [{spelled}]" if spelled else words


def number(value: Any, digits: int = 3, beside: float = 0.0) -> str:
    """A number with about so many digits that matter, thousands marked, a true minus sign.

    Beside a larger number (`beside`) it has one decimal more than that, not all of its own.
    """
    value = float(value)
    if not math.isfinite(value):
        return "no answer"
    if value == 0.0:
        return "0"
    size = math.floor(math.log10(abs(value)))
    if size >= 6 or size < -4:
        text = f"{value:.{digits - 1}e}"
    else:
        places = max(0, digits - 1 - size)
        if beside:
            places = min(places, max(0, digits - math.floor(math.log10(abs(beside)))))
        text = f"{value:,.{places}f}"
    return text.replace("-", "\N{MINUS SIGN}")


def signed(value: Any, digits: int = 3) -> str:
    """As `number`, with a plus before what is above zero."""
    text = number(value, digits)
    return text if text == "no answer" or text == "0" or text[0] == "\N{MINUS SIGN}" else f"+{text}"


def shown(value: Any, si_measure: str, measures: str = "metric", digits: int = 3) -> str:
    """An SI value as people read it: "305 Pa"."""
    spelled = display_measure(si_measure, measures)
    return f"{number(from_si(value, spelled), digits)} {spelled}".strip()


def middle(value: Any) -> float:
    """A float as it is, the median of the known values of a column."""
    known = np.asarray(value, dtype=float)
    known = known[np.isfinite(known)] if known.ndim else known
    return float(np.median(known)) if known.size else math.nan


def spread(value: Any, low: float = 0.05, high: float = 0.95) -> tuple[float, float]:
    """The range of a column between two quantiles; a float's own value twice."""
    known = np.asarray(value, dtype=float)
    known = known[np.isfinite(known)] if known.ndim else known
    if not known.size:
        return math.nan, math.nan
    return float(np.quantile(known, low)), float(np.quantile(known, high))
