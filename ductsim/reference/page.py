"""The page: everything gathered, put into the template, written whole or not at all."""

from __future__ import annotations

import inspect
import os
import re
from collections.abc import Iterable, Mapping
from functools import partial
from typing import Any

from ..documents.document import file_path
from ..laws.card import LAWS, card_of
from ..parts.declare import KINDS
from ..parts.documented import HEADING, alternatives, number_rows
from ..parts.published import check_rows
from ..sources import SOURCES
from ..terminal.command import Command
from ..version import VERSION
from ..writing import check_page, write_text
from . import docstrings, interface, tables

NUMBERS = (HEADING.partition("\n")[0],)


def write_page(path: str | os.PathLike[str], commands: Mapping[str, Iterable[Command]]) -> None:
    """Write the reference to one HTML file that needs nothing else.

    Parameters
    ----------
    path : path
        The file to write, whole or not at all.
    commands : mapping
        Heading -> the commands under it.

    Raises
    ------
    InputError
        For a name that does not end in .html or .htm, and where nothing can be written.
    """
    place = str(file_path(path))
    check_page(place, "reference.html")
    write_text(place, page(commands))


def page(commands: Mapping[str, Iterable[Command]]) -> str:
    """The reference as the text of an HTML file."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    published = check_rows()  # loads every law
    names = interface.groups()
    link = partial(_place, known=_places(names))
    appearance = Environment(
        loader=PackageLoader("ductsim.reference"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    appearance.globals |= {
        "text": lambda words: docstrings.inline(words, link),
        "doc": lambda words, skip=(): docstrings.html(words, link, skip),
        "slug": slug,
        "NUMBERS": NUMBERS,
    }
    cited = citing()
    return appearance.get_template("reference.html").render(
        version=VERSION,
        measures=tables.measure_rows(),
        machine_tables=tables.machine_tables(),
        companion_tables=tables.companion_tables(),
        kinds=[_kind(kind) for kind in KINDS.values()],
        smaller=[_kind(kind) for kind in smaller_kinds()],
        words=tables.word_rows(),
        commands={
            heading: [(command, tables.option_rows(command)) for command in group]
            for heading, group in commands.items()
        },
        names=names,
        laws=[_law(function, published) for function in LAWS.values()],
        other_published=[row for row in published if row["law"] not in LAWS],
        sources=[(entry, cited.get(key, [])) for key, entry in SOURCES.items()],
        bibtex="\n\n".join(entry.bibtex() for entry in SOURCES.values()),
    )


def slug(*words: str) -> str:
    """An anchor: letters, digits and hyphens; numbers of a part stand behind a point."""
    return ".".join(re.sub(r"\W+", "-", word).strip("-") for word in words)


def _places(names: Mapping[str, list[interface.Entry]]) -> dict[str, str]:
    """What a word in backticks may name -> its anchor."""
    out = {name: slug("law", name) for name in LAWS}
    out |= {key: slug("source", key) for key in SOURCES}
    for group in names.values():
        for entry in group:
            out[entry.name] = slug("kind", entry.kind) if entry.kind else slug("name", entry.name)
            told = (member.name for member in entry.members if not entry.kind or member.name != "paths")
            out |= {f"{entry.name}.{name}": slug("name", entry.name, name) for name in told}
    return out


def _place(words: str, known: Mapping[str, str]) -> str:
    """The anchor of `ds.Duct`, `Machine.solve(...)` or the like; an empty text for what is no name."""
    plain = words.removeprefix("ductsim.").removeprefix("ds.").partition("(")[0]
    return known.get(plain, "")


def smaller_kinds() -> list[Any]:
    """What stands within parts (bends), each once."""
    found: dict[Any, None] = {}
    for kind in KINDS.values():
        for declared in kind.declared.values():
            if hasattr(declared, "kind"):
                found[declared.kind] = None
    return list(found)


def _kind(kind: Any) -> dict[str, Any]:
    return {
        "kind": kind.kind,
        "name": kind.__name__,
        "doc": inspect.cleandoc(kind.__doc__ or ""),
        "rows": [*number_rows(kind), *tables.other_rows(kind)],
        "alternatives": alternatives(kind),
        "ends": getattr(kind, "ends", ()),
        "paths": [name for name in getattr(kind, "path_names", ()) if name],
        "directed": getattr(kind, "directed", False),
        "sources": getattr(kind, "sources", ()),
        "members": [
            member for member in interface.entry(kind.__name__, kind).members if member.name != "paths"
        ],
    }


def _law(function: Any, published: list[dict[str, Any]]) -> dict[str, Any]:
    card: Any = card_of(function)
    return {
        "card": card,
        "signature": interface.signature(function),
        "doc": inspect.getdoc(function) or "",
        "outside": docstrings.summary(inspect.getdoc(card.outside) or "") if card.outside else "",
        "published": [row for row in published if row["law"] == card.name],
    }


def citing() -> dict[str, list[tuple[str, str]]]:
    """Key of a source -> (anchor, name) of the laws and kinds of parts that cite it."""
    out: dict[str, list[tuple[str, str]]] = {}
    for name, function in LAWS.items():
        for key in getattr(card_of(function), "sources", ()):
            out.setdefault(key, []).append((slug("law", name), f"law {name}"))
    for kind in KINDS.values():
        for key in kind.sources:
            out.setdefault(key, []).append((slug("kind", kind.kind), kind.kind))
    return out
