"""The public names of the package with their signatures, members and docstrings."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, get_origin

import ductsim

from ..parts.declare import Fields, Part
from ..result import Result

GROUPS = {
    "Studies": ("studies", "logbook"),
    "Machines, answers and what goes with them": (
        *("machine", "answers", "description", "documents", "files", "questions"),
        *("crop", "fixes", "readings", "speed"),
    ),
    "Showing and keeping": ("display", "drawing", "reports", "commands", "result", "keeping"),
    "Networks and parts": ("network", "parts", "laws", "air", "conveying", "checking"),
}
"""Heading -> the rooms whose public names stand under it; all others stand under `REST`."""

REST = "Measures, errors and small things"


@dataclass
class Entry:
    """One public name, or one member of a public class.

    Attributes
    ----------
    name : str
    what : str
        "function", "class", "error", "value", "type", "module", "property" or "method".
    signature : str
        Its arguments with their types and what comes back; empty where it is not called.
    doc : str
    members : list of Entry
        The public members of a class.
    kind : str
        The kind of part that a class is, if it is one.
    """

    name: str
    what: str
    signature: str = ""
    doc: str = ""
    members: list[Entry] = field(default_factory=list)
    kind: str = ""


def groups() -> dict[str, list[Entry]]:
    """Heading -> the public names under it, in the order of the alphabet."""
    out: dict[str, list[Entry]] = {heading: [] for heading in (*GROUPS, REST)}
    top = {name: getattr(ductsim, name) for name in dir(ductsim) if not name.startswith("__")}
    more = {
        f"extend.{name}": getattr(ductsim.extend, name) for name in ductsim.extend.__all__ if name not in top
    }
    for name, value in sorted((top | more).items(), key=lambda item: item[0].lower()):
        out[_heading(value)].append(entry(name, value))
    return out


def _heading(value: Any) -> str:
    room = (getattr(value, "__module__", "") or "").split(".")
    found = (heading for heading, rooms in GROUPS.items() if len(room) > 1 and room[1] in rooms)
    return next(found, REST)


def entry(name: str, value: Any) -> Entry:
    """A public name."""
    if inspect.isclass(value):
        kind = value.kind if issubclass(value, Part) else ""
        what = "error" if issubclass(value, Exception) else "class"
        doc = value.__doc__ or ""
        own = list(_members(value))
        made_elsewhere = issubclass(value, (Exception, Fields, Result))  # or by numbers that stand below
        called = "" if made_elsewhere else signature(value)
        return Entry(name, what, called, inspect.cleandoc(doc), own, kind)
    if get_origin(value) is not None:
        return Entry(name, "type", "", f"`{value}`".replace("typing.", ""))
    if inspect.ismodule(value):
        return Entry(name, "module", "", inspect.getdoc(value) or "")
    if callable(value):
        return Entry(name, "function", signature(value), inspect.getdoc(value) or "")
    return Entry(name, "value", "", _about_value(value))


def _about_value(value: Any) -> str:
    """What a table of the package holds: how many entries, and the first of their keys."""
    keys = list(map(str, value))
    shown = ", ".join(keys[:6]) + (" ..." if len(keys) > 6 else "")
    return f"A {type(value).__name__} of {len(keys)}: {shown}"


def _members(cls: type) -> Iterator[Entry]:
    """Public members with a docstring, without those that every result, part or error has."""
    common = next(
        (base for base in (Result, Fields, Exception) if issubclass(cls, base) and cls is not base), object
    )
    shared = set(dir(common))
    declared = cls.declared if issubclass(cls, Fields) else {}
    for name in sorted(set(dir(cls)) - shared):
        if name.startswith("_") or name in declared:
            continue
        value = inspect.getattr_static(cls, name)
        plain = value.__func__ if isinstance(value, (classmethod, staticmethod)) else value
        doc = inspect.getdoc(plain) or ""
        if inspect.isfunction(plain):
            yield Entry(name, "method", signature(getattr(cls, name)), doc)
        elif doc and (isinstance(plain, property) or hasattr(plain, "attrname")):
            yield Entry(name, "property", "", doc)


class _Written(str):
    """Words that stand in a signature as they are."""

    def __repr__(self) -> str:
        return str(self)


def signature(function: Any) -> str:
    """The arguments of a function or class as they are written, without `self`."""
    try:
        found = inspect.signature(function)
    except (TypeError, ValueError):  # built-in ones have none
        return "(...)"
    parameters = []
    for i, parameter in enumerate(found.parameters.values()):
        if i == 0 and parameter.name == "self":
            continue
        default = parameter.default
        if default is not parameter.empty and repr(default).startswith("<"):  # says nothing to a reader
            default = _Written("...")
        parameters.append(parameter.replace(annotation=_annotation(parameter.annotation), default=default))
    returned = inspect.Signature.empty if inspect.isclass(function) else _annotation(found.return_annotation)
    return str(found.replace(parameters=parameters, return_annotation=returned))


def _annotation(annotation: Any) -> Any:
    return _Written(annotation) if isinstance(annotation, str) else annotation
