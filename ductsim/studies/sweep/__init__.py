"""What the answer does while one number runs through its values."""

from . import told
from .result import Change, Sweep
from .study import sweep

Sweep.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.sweep.drawn:PLOTS",
)

__all__ = ["Change", "Sweep", "sweep"]
