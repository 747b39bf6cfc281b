"""What each fix is worth: alone, in company, under a budget, within the makers' limits."""

from . import rows, summary
from .result import Comparison
from .study import compare

Comparison.show_by(
    tables=rows.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.compare.plots:PLOTS",
)

__all__ = ["Comparison", "compare"]
