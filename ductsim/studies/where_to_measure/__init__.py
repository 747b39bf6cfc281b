"""What to do next, and which reading would better that choice; or which readings tell most of something."""

from . import next_summary, summary
from .next_step import NextStep
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
NextStep.show_by(
    tables=next_summary.tables,
    sentences=next_summary.sentences,
    notes=next_summary.notes,
    cautions=next_summary.cautions,
    about=next_summary.about,
    plots="ductsim.studies.where_to_measure.next_plots:PLOTS",
)

__all__ = ["Candidate", "Expected", "NextReadings", "NextStep", "where_to_measure"]
