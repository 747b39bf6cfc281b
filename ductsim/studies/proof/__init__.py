"""Whether a fix has worked, by readings before and after."""

from . import summary
from .result import Proof
from .study import proof

Proof.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.proof.plots:PLOTS",
)

__all__ = ["Proof", "proof"]
