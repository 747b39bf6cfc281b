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
from .hose import Hose
from .jet import Jet
from .leak import Leak
from .opening import Opening
from .resistance import Resistance

__all__ = [
    "KINDS",
    "Bend",
    "Duct",
    "Fan",
    "Fields",
    "Hose",
    "Jet",
    "Leak",
    "LocalAir",
    "Opening",
    "Pair",
    "Part",
    "Path",
    "Resistance",
    "fields",
    "nested",
    "number",
    "part",
    "word",
]
