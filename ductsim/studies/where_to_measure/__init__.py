"""Which reading would tell most next."""

from . import summary
from .result import Candidate, Expected, NextReadings
from .study import where_to_measure

NextReadings.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.where_to_measure.plots:PLOTS",
)

__all__ = ["Candidate", "Expected", "NextReadings", "where_to_measure"]
