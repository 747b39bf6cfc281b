"""How sure the answer is: thousands or millions of machines drawn within their spreads."""

from . import summary
from .result import Ensemble
from .study import ensemble

Ensemble.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    about=summary.about,
    title="How sure the answer is",
    plots="ductsim.studies.ensemble.plots:PLOTS",
)

__all__ = ["Ensemble", "ensemble"]
