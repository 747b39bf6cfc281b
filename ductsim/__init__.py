"""Air, suction and crop flow in the duct systems of mechanical crop harvesters.

Describe the machine as measured, read off the vacuum and the air at every unit, and see what each fix is
worth. Every public name is loaded when it is first used; they are listed once, in `__init__.pyi`, and a
part is found in its file.
"""

from __future__ import annotations

import re
from importlib import import_module
from pathlib import Path as _Path
from typing import Any

from .version import VERSION as __version__


def _public() -> dict[str, str]:
    """Public name -> the module that it is loaded from: of each part, and what the stub lists."""
    here = _Path(__file__)
    found = {
        name: f"parts.{file.stem}"
        for file in sorted((here.parent / "parts").glob("*.py"))
        for name in re.findall(r"^@part\(.*\)\nclass (\w+)", file.read_text(encoding="utf-8"), re.MULTILINE)
    }
    stub = here.with_suffix(".pyi").read_text(encoding="utf-8")
    return found | {name: module for module, name in re.findall(r"from \.(\S*) import (\w+) as", stub)}


_MODULES = _public()

__all__ = ["__version__", *_MODULES]


def __getattr__(name: str) -> Any:
    module = _MODULES.get(name)
    if module is None:
        raise AttributeError(f"module 'ductsim' has no attribute {name!r}")
    value = (
        getattr(import_module(f".{module}", __name__), name)
        if module
        else import_module(f".{name}", __name__)
    )
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
