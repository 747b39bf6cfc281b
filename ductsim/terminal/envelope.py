"""The one shape in which `--json` prints every answer and every refusal.

`envelope.schema.json` beside this file describes it. Numbers are in the measures that the keys of their
rows state, whatever system of measures the sentences use; what is not known is null.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from ..display.tables import json_rows, plain
from ..errors import DuctsimError, InputError, NoOperatingPoint
from ..version import VERSION

FORMAT = 1
SCHEMA = Path(__file__).with_name("envelope.schema.json")


def envelope(
    command: str,
    inputs: Sequence[Mapping[str, str]],
    measures: str,
    answer: Iterable[str],
    *,
    weakest: Any = "",
    tables: Mapping[str, Sequence[Mapping[str, Any]]] | None = None,
    notes: Iterable[str] = (),
    cautions: Iterable[str] = (),
) -> dict[str, Any]:
    """An answer as JSON holds it.

    Parameters
    ----------
    command : str
        The command's word.
    inputs : sequence of mappings
        `{"file": ..., "sha256": ...}` of the machine, then with `role` of what else was read.
    measures : "metric" or "inch"
        The system that the sentences use; tables do not depend on it.
    answer : iterable of str
        Sentences, the answer first.
    weakest : str, optional
        The weakest unit, empty where the command names none.
    tables : mapping, optional
        Name -> rows.
    notes : iterable of str
        What deserves a look.
    cautions : iterable of str
        What to beware of.
    """
    first = dict(inputs[0]) if inputs else {"file": "", "sha256": ""}
    if len(inputs) > 1:
        first["with"] = [dict(other) for other in inputs[1:]]  # type: ignore[assignment]
    return {
        "ductsim": VERSION,
        "format": FORMAT,
        "command": command,
        "input": first,
        "measures": measures,
        "answer": list(answer),
        "weakest": plain(weakest) if weakest is not None else "",
        "tables": {name: json_rows(rows) for name, rows in (tables or {}).items()},
        "notes": list(notes),
        "cautions": list(cautions),
    }


def error(problem: BaseException) -> dict[str, Any]:
    """A refusal, or the want of an answer, as JSON holds it."""
    if isinstance(problem, InputError):
        first, *others = problem.each
        fields: dict[str, Any] = first.as_dict()
        if others:
            fields["others"] = [other.as_dict() for other in others]
    elif isinstance(problem, NoOperatingPoint):
        fields = _fields(place=problem.node, problem=problem.outcome, allowed=problem.remedy)
    elif isinstance(problem, DuctsimError):
        fields = _fields(problem=str(problem))
    else:
        fields = _fields(problem=f"{type(problem).__name__}: {problem}")
    return {"error": fields}


def _fields(place: str = "", problem: str = "", allowed: str = "") -> dict[str, str]:
    return {"file": "", "place": place, "problem": problem, "allowed": allowed, "nearest": ""}


def dumps(document: Mapping[str, Any]) -> str:
    """The JSON text: pure ASCII, so that no console or pipe can spoil it, and never NaN."""
    return json.dumps(document, indent=1, allow_nan=False)


def schema() -> dict[str, Any]:
    """The JSON schema (draft 2020-12) of everything that `--json` prints."""
    found: dict[str, Any] = json.loads(SCHEMA.read_text(encoding="utf-8"))
    return found
