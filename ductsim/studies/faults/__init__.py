"""What the usual mishaps would do, one by one: what gauges would show, what the driver would notice."""

from . import summary
from .result import Faults, Seen
from .study import what_if

Faults.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.faults.plots:PLOTS",
)

__all__ = ["Faults", "Seen", "what_if"]
