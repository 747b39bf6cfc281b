"""What the answer does while one number runs through its values."""

from . import summary
from .result import Change, Sweep
from .study import sweep

Sweep.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.sweep.plots:PLOTS",
)

__all__ = ["Change", "Sweep", "sweep"]
