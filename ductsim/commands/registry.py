"""All commands: the package's own, and one of every study that has one."""

from __future__ import annotations

from functools import cache
from importlib import import_module
from pkgutil import iter_modules

from .. import studies
from ..errors import UnknownName
from ..terminal.command import Command

GROUPS = (
    "Look at a machine",
    "Decide what to change",
    "Use readings",
    "Carry crop",
    "Take it further",
    "Get started",
)
"""The headings of the overview, in order."""

OWN = {
    "solve": "solving",
    "check": "solving",
    "sensitivity": "solving",
    "calibrate": "calibrating",
    "log": "logbook",
    "history": "logbook",
    "visit": "visiting",
    "fleet": "fleet",
    "report": "reporting",
    "field-card": "field_card",
    "start": "beginning",
    "kinds": "beginning",
    "demo": "demos",
    "laws": "demos",
    "docs": "documenting",
    "rewrite": "rewriting",
}
"""Command -> the module beside this one that holds it; a study's command stands in the study's folder."""


@cache
def places() -> dict[str, str]:
    """Command -> the module whose COMMAND or COMMANDS it is, found without loading it.

    A study is a folder of `studies` with a `command.py`, or a single file; its name is the command's word.
    """
    found = {name: f"ductsim.commands.{module}" for name, module in OWN.items()}
    for study in iter_modules(studies.__path__):
        module = f"{studies.__name__}.{study.name}" + (".command" if study.ispkg else "")
        found[study.name.replace("_", "-")] = module
    return found


def command(name: str) -> Command:
    """The command of that name.

    Raises
    ------
    UnknownName
        With the nearest command.
    """
    if name not in places():
        raise UnknownName.of("command", name, places())
    module = import_module(places()[name])
    found: Command = module.COMMANDS[name] if name in OWN else module.COMMAND
    return found


def by_group() -> dict[str, list[Command]]:
    """Heading -> its commands, for the overview."""
    known = [command(name) for name in places()]
    return {group: [c for c in known if c.group == group] for group in GROUPS}
