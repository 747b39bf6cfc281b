"""Evening the units out: the weakest lifted as far as the trims go, then the others evened."""

from . import summary
from .result import Balance
from .study import balance
from .trims import Trim

Balance.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.balance.plots:PLOTS",
)

__all__ = ["Balance", "Trim", "balance"]
