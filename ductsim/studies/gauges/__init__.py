"""What every gauge should show on a healthy machine, and the questions before the day's work."""

from . import summary
from .result import Gauges
from .study import gauges

Gauges.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.gauges.plots:PLOTS",
    title="What the gauges should show",
)

__all__ = ["Gauges", "gauges"]
