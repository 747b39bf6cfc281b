"""Figures as SVG that stands inside a page: no header, no metadata, no name that another figure has too."""

from __future__ import annotations

import io
import re
import warnings
from typing import Any

from . import style
from .tables import escaped

_METADATA = dict.fromkeys(("Date", "Creator", "Format", "Type"))


def inline(figure: Any, key: str, words: str) -> str:
    """A figure as an `<svg>` element.

    Parameters
    ----------
    figure : Figure
        Its text stays text; the page's reader supplies the letters.
    key : str
        A word that no other figure of the page has; every id begins with it.
    words : str
        What the figure shows, for those who cannot see it.

    Returns
    -------
    str
        An SVG element, everything in it escaped.
    """
    stream = io.StringIO()
    with style.own(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        figure.savefig(stream, format="svg", metadata=_METADATA, bbox_inches=_laid_out(figure))
    text = stream.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r"<!--.*?-->\s*", "", text, flags=re.DOTALL)
    text = re.sub(r'(\sid=")', rf"\1{key}-", text)
    text = re.sub(r"url\(#", f"url(#{key}-", text)
    text = re.sub(r'(href=")#', rf"\1#{key}-", text)
    return _opened(text, words)


def _laid_out(figure: Any) -> Any:
    """Put everything in its place, and leave it there; the box around it all [in].

    `savefig` would draw the figure a first time to learn as much.
    """
    from matplotlib import rcParams
    from matplotlib.backends import backend_svg

    backend: Any = backend_svg
    canvas = backend.FigureCanvasSVG(figure)
    figure.set_dpi(canvas.fixed_dpi)
    renderer = backend.RendererSVG(*figure.bbox.size, io.StringIO())
    canvas.get_renderer = lambda: renderer  # one for all, which measures every word once
    engine = figure.get_layout_engine()
    if engine is not None:
        engine.execute(figure)
        figure.set_layout_engine(None)
    return figure.get_tightbbox(renderer).padded(rcParams["savefig.pad_inches"])


def _opened(text: str, words: str) -> str:
    """The element with a size that adapts to the page and a name for screen readers."""
    head, rest = text.split(">", 1)
    box = re.search(r'viewBox="[^"]*"', head)
    width = re.search(r'width="([0-9.]+)pt"', head)
    if box is None or width is None:
        raise ValueError("the figure has no size")
    points = float(width.group(1))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        f'{box.group(0)} role="img" aria-label="{escaped(words)}" '
        f'style="--wide:{points / 72.0:.3f}in">{rest.strip()}'
    )
