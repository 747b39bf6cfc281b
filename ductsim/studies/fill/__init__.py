"""How evenly the ducts fill the box behind the machine."""

from . import summary
from .result import Fill, Move
from .study import fill

Fill.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.fill.plots:PLOTS",
)

__all__ = ["Fill", "Move", "fill"]
