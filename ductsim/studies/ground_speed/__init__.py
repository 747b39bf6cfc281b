"""How fast a machine can drive before the crop stays behind, what limits it, and what would help."""

from . import told
from .result import Gain, GroundSpeed
from .study import ground_speed

GroundSpeed.show_by(
    tables=told.tables,
    sentences=told.sentences,
    notes=told.notes,
    cautions=told.cautions,
    about=told.about,
    plots="ductsim.studies.ground_speed.drawn:PLOTS",
)

__all__ = ["Gain", "GroundSpeed", "ground_speed"]
