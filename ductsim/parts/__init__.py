"""The parts of an air path, one file each; importing this room registers all of them."""

from .bend import Bend
from .declare import (
    KINDS,
    Fields,
    LocalAir,
    Pair,
    Part,
    Path,
    fields,
    nested,
    number,
    part,
    word,
)
from .duct import Duct
from .fan import Fan
from .fan_ends import FAN_ENDS
from .flap import Flap
from .gate import Gate
from .hose import Hose
from .jet import Jet
from .leak import Leak
from .opening import Opening
from .resistance import Resistance
from .screen import Screen
from .tee import Merge, Split
from .transition import Entrance, Transition

__all__ = [
    "FAN_ENDS",
    "KINDS",
    "Bend",
    "Duct",
    "Entrance",
    "Fan",
    "Fields",
    "Flap",
    "Gate",
    "Hose",
    "Jet",
    "Leak",
    "LocalAir",
    "Merge",
    "Opening",
    "Pair",
    "Part",
    "Path",
    "Resistance",
    "Screen",
    "Split",
    "Transition",
    "fields",
    "nested",
    "number",
    "part",
    "word",
]
