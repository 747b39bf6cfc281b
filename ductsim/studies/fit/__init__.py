"""From readings to the leaks and fans that explain them, with honest intervals."""

from . import summary, summary_suspects
from .result import Fit, Suspects
from .study import fit

Fit.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.fit.plots:FIT_PLOTS",
)
Suspects.show_by(
    tables=summary_suspects.tables,
    sentences=summary_suspects.sentences,
    notes=summary_suspects.notes,
    cautions=summary.cautions,
    about=summary_suspects.about,
    plots="ductsim.studies.fit.plots:SUSPECTS_PLOTS",
)

__all__ = ["Fit", "Suspects", "fit"]
