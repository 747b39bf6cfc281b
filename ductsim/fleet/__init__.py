"""Several machines of one description: what is usual among them, and which of them is odd."""

from . import summary
from .result import Fleet, Member, Odd
from .study import learn

Fleet.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.fleet.plots:PLOTS",
)

__all__ = ["Fleet", "Member", "Odd", "learn"]
