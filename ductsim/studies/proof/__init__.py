"""Whether a fix has worked, by readings before and after."""

from . import told
from .result import Proof
from .study import proof

Proof.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.proof.drawn:PLOTS",
)

__all__ = ["Proof", "proof"]
