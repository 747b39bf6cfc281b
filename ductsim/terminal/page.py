"""The text that a command prints: sentences, tables, notes, cautions."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

from ..display.tables import WIDTH, text
from ..errors import visible
from ..result import Result
from .command import Answer
from .envelope import envelope

BOLD, YELLOW, DIM, PLAIN = "\033[1m", "\033[33m", "\033[2m", "\033[0m"


def notes_of(result: Result, said: Iterable[str], extra: Iterable[str] = ()) -> list[str]:
    """A result's notes and some more, each once; those that its sentences `said` are left out."""
    already = set(said)
    return [n for n in dict.fromkeys([*result.notes, *extra]) if n not in already]


def page(
    answer: Answer, measures: str, extra_notes: Iterable[str] = (), width: int = WIDTH, colour: bool = False
) -> str:
    """The answer as text: sentences first, then tables, notes, cautions, and what was read."""
    result = answer.result
    bold, yellow, dim, plain = (BOLD, YELLOW, DIM, PLAIN) if colour else ("", "", "", "")
    said = result.sentences(measures)
    first, *rest = said or [""]
    blocks = ["\n".join([bold + _wrapped(first, width) + plain, *(_wrapped(s, width) for s in rest)])]
    tables = result.tables() if answer.tables is None else result.some_tables(answer.tables)
    for name, rows in tables.items():
        blocks.append(_table(name, rows, measures, width, answer.most, bold, plain))
    blocks += _listed("Notes", notes_of(result, said, extra_notes), width, bold, plain)
    blocks += _listed("Cautions", result.cautions, width, yellow, plain)
    if answer.closing:
        blocks.append("\n".join(map(visible, answer.closing)))
    read = answer.inputs.read if answer.inputs else []
    if len(read) > 1:
        others = ", ".join(f"{other['role']} {other['file']}" for other in read[1:])
        blocks.append(dim + _wrapped(f"Read: {read[0]['file']}, {others}.", width) + plain)
    return "\n\n".join(block for block in blocks if block.strip()) + "\n"


def _table(
    name: str, rows: Sequence[Any], measures: str, width: int, most: int | None, bold: str, plain: str
) -> str:
    """A table under its name; a result's only table has none."""
    title = name.replace("_", " ")
    heading = "" if name == "table" else f"{bold}{title[:1].upper()}{title[1:]}{plain}\n"
    rest = len(rows) - (most or len(rows))
    more = f"\n... and {rest:,} more rows" if rest > 0 else ""
    return heading + text(rows[:most], measures, width) + more


def _wrapped(sentence: str, width: int) -> str:
    return "\n".join(textwrap.wrap(visible(sentence), width, break_on_hyphens=False)) or ""


def _listed(title: str, lines: Sequence[str], width: int, before: str, after: str) -> list[str]:
    """A titled list, or nothing when it is empty."""
    if not lines:
        return []
    items = [
        textwrap.fill(
            visible(line), width, initial_indent="- ", subsequent_indent="  ", break_on_hyphens=False
        )
        for line in lines
    ]
    return ["\n".join([f"{before}{title}{after}", *items])]


def document(answer: Answer, command: str, measures: str, extra_notes: Iterable[str] = ()) -> dict[str, Any]:
    """The answer as the envelope that `--json` prints."""
    result = answer.result
    return envelope(
        command,
        answer.inputs.read if answer.inputs else [],
        measures,
        result.sentences(measures),
        weakest=answer.weakest,
        tables=result.tables(),
        notes=notes_of(result, (), extra_notes),
        cautions=result.cautions,
    )
