"""A machine's logbook: its visits on disk, and what they add up to."""

from . import summary
from .adding import Logged, log_visit
from .result import History
from .study import history
from .visit import Logbook, Visit, read_logbook

History.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.logbook.plots:PLOTS",
)

__all__ = ["History", "Logbook", "Logged", "Visit", "history", "log_visit", "read_logbook"]
