"""How fast a machine can drive before the crop stays behind, what limits it, and what would help."""

from .result import GroundSpeed
from .study import ground_speed

__all__ = ["GroundSpeed", "ground_speed"]
