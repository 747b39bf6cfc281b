"""What the usual mishaps would do, one by one: what gauges would show, what the driver would notice."""

from . import told
from .result import Faults, Seen
from .study import what_if

Faults.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.faults.drawn:PLOTS",
)

__all__ = ["Faults", "Seen", "what_if"]
