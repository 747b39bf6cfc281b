"""What each fix is worth: alone, in company, under a budget, within the makers' limits."""

from . import rows, told
from .result import Comparison
from .study import compare

Comparison.show_by(
    tables=rows.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.compare.drawn:PLOTS",
)

__all__ = ["Comparison", "compare"]
