"""The parts of an air path, one file each; importing this room registers all of them."""

from importlib import import_module
from pkgutil import iter_modules

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

__all__ = [
    "KINDS",
    "Fields",
    "LocalAir",
    "Pair",
    "Part",
    "Path",
    "fields",
    "nested",
    "number",
    "part",
    "word",
]

# A part's file is found by itself; kinds stand in the order of their files' names.
for _module in sorted(found.name for found in iter_modules(__path__) if not found.ispkg):
    import_module(f"{__name__}.{_module}")
