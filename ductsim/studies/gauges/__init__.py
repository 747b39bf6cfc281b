"""What every gauge should show on a healthy machine, and the questions before the day's work."""

from . import told
from .result import Gauges
from .study import gauges

Gauges.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.gauges.drawn:PLOTS",
    title="What the gauges should show",
)

__all__ = ["Gauges", "gauges"]
