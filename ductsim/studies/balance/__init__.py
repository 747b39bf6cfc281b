"""Evening the units out: the weakest lifted as far as the trims go, then the others evened."""

from . import told
from .result import Balance
from .study import balance
from .trims import Trim

Balance.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.balance.drawn:PLOTS",
)

__all__ = ["Balance", "Trim", "balance"]
