"""From readings to the leaks and fans that explain them, with honest intervals."""

from . import told, told_suspects
from .result import Fit, Suspects
from .study import fit

Fit.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.fit.drawn:FIT_PLOTS",
)
Suspects.show_by(
    tables=told_suspects.tables,
    sentences=told_suspects.sentences,
    notes=told_suspects.notes,
    cautions=told.cautions,
    about=told_suspects.about,
    plots="ductsim.studies.fit.drawn:SUSPECTS_PLOTS",
)

__all__ = ["Fit", "Suspects", "fit"]
