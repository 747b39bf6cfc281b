"""How fast a machine can drive before the crop stays behind, what limits it, and what would help."""

from . import summary
from .result import Gain, GroundSpeed
from .study import ground_speed

GroundSpeed.show_by(
    tables=summary.tables,
    sentences=summary.sentences,
    notes=summary.notes,
    cautions=summary.cautions,
    about=summary.about,
    plots="ductsim.studies.ground_speed.plots:PLOTS",
)

__all__ = ["Gain", "GroundSpeed", "ground_speed"]
