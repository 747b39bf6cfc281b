"""What a drawn figure shows: its axes, words and widths."""

from ductsim.display import canvas as plots
from ductsim.display import style


def drawn(result, what="", measures="metric"):
    figure = plots.figure_of(result, what, measures)
    with style.own():
        figure.canvas.draw()
    return figure


def axes(figure):
    """All Axes, those inside others too."""
    out = []
    for ax in figure.axes:
        out += [ax, *ax.child_axes]
    return out


def words(figure):
    """Everything that is written, as one text."""
    out = []
    for ax in axes(figure):
        out += [ax.get_title(loc="left"), ax.get_xlabel(), ax.get_ylabel()]
        out += [t.get_text() for t in ax.texts]
        out += [t.get_text() for t in (*ax.get_xticklabels(), *ax.get_yticklabels())]
        legend = ax.get_legend()
        out += [t.get_text() for t in legend.get_texts()] if legend else []
    return "\n".join(out)


def widths(ax):
    """The lengths of the level bars of Axes, from above."""
    return [patch.get_width() for patch in ax.patches]
