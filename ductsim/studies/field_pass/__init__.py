"""Where along a row the crop would stay behind, and how the box fills on the way."""

from . import told
from .result import FieldPass
from .study import field_pass

FieldPass.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.field_pass.drawn:PLOTS",
)

__all__ = ["FieldPass", "field_pass"]
