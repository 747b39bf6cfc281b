"""How fast a machine can drive before the crop stays behind, what limits it, and what would help."""

from .result import GroundSpeed
from .study import ground_speed

GroundSpeed.show_by(plots="ductsim.studies.ground_speed.drawn:PLOTS")

__all__ = ["GroundSpeed", "ground_speed"]
