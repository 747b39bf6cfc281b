"""The invented machines that come with the package."""

from __future__ import annotations

from pathlib import Path

from ..arguments import one_of
from .machine import Machine

FOLDER = Path(__file__).parent.parent / "examples"


def names() -> list[str]:
    """The names of the demonstration machines."""
    return sorted(path.stem for path in FOLDER.glob("*.toml") if "_" not in path.stem)


def demo_file(name: str) -> Path:
    """The machine file of a demonstration machine.

    Raises
    ------
    UnknownName
    """
    return FOLDER / f"{one_of(name, names(), 'demo', 'demonstration machine')}.toml"


def demo(name: str) -> Machine:
    """A demonstration machine: "picker", "suction" or "bench". All of them are invented.

    Raises
    ------
    UnknownName
    """
    machine = Machine.read(demo_file(name))
    return machine.rebuilt(file=f"demo:{name}")
