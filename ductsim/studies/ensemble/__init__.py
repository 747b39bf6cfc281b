"""How sure the answer is: thousands or millions of machines drawn within their spreads."""

from . import told
from .result import Ensemble
from .study import ensemble

Ensemble.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    about=told.about,
    title="How sure the answer is",
    plots="ductsim.studies.ensemble.drawn:PLOTS",
)

__all__ = ["Ensemble", "ensemble"]
