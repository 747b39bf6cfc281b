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


def overprinted(figure):
    """Pairs of words that lie on each other in a drawn figure."""
    boxes = []
    for ax in axes(figure):
        legend = ax.get_legend()
        own = [ax.title, ax._left_title, *ax.texts, *(legend.get_texts() if legend else ())]
        if ax.axison:
            own += [ax.xaxis.label, ax.yaxis.label, *_in_view(ax)]
        boxes += [(t.get_text(), t.get_window_extent()) for t in own if t.get_visible() and t.get_text()]
    out = []
    for i, (one, a) in enumerate(boxes):
        out += [(one, other) for other, b in boxes[i + 1 :] if one != other and _shared(a, b) > 1.0]
    return out


def _in_view(ax):
    """The labels of the ticks that are drawn."""
    out = []
    for axis, ends in ((ax.xaxis, ax.get_xlim()), (ax.yaxis, ax.get_ylim())):
        for place, label in zip(axis.get_majorticklocs(), axis.get_majorticklabels(), strict=False):
            if min(ends) <= place <= max(ends):
                out.append(label)
    return out


def on_points(ax):
    """Texts of Axes that lie on a drawn point of a line with markers."""
    out = []
    for text in ax.texts:
        box = text.get_window_extent()
        for line in ax.lines:
            if line.get_marker() in ("None", "", None) or line.get_linestyle() != "None":
                continue
            half = 0.5 * line.get_markersize() * ax.figure.dpi / 72.0
            for x, y in line.get_transform().transform(line.get_xydata()):
                if box.x0 - half < x < box.x1 + half and box.y0 < y < box.y1:
                    out.append((text.get_text(), line.get_label()))
    return out


def _shared(a, b):
    """The smaller side of what two boxes share, in points of the picture; 0 where they are apart."""
    wide, high = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
    return max(0.0, min(wide, high))
