"""Where along a row the crop would stay behind, and how the box fills on the way."""

from . import summary
from .result import FieldPass
from .study import field_pass

FieldPass.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.field_pass.plots:PLOTS",
)

__all__ = ["FieldPass", "field_pass"]
