"""Which reading would tell most next."""

from . import told
from .result import Candidate, Expected, NextReadings
from .study import where_to_measure

NextReadings.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.where_to_measure.drawn:PLOTS",
)

__all__ = ["Candidate", "Expected", "NextReadings", "where_to_measure"]
