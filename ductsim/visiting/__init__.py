"""A visit planned within the time there is: readings, fix, proof; and planned anew as readings come."""

from . import summary
from .result import VisitPlan
from .steps import Step
from .study import visit

VisitPlan.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.visiting.plots:PLOTS",
)

__all__ = ["Step", "VisitPlan", "visit"]
