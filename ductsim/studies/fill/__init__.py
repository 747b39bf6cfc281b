"""How evenly the ducts fill the box behind the machine."""

from . import told
from .result import Fill, Move
from .study import fill

Fill.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.fill.drawn:PLOTS",
)

__all__ = ["Fill", "Move", "fill"]
