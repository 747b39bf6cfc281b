"""Whether the tables of a machine file that only later questions read would do for these."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ..description.spreads import read_spreads, resolve
from ..documents.document import read_document
from ..errors import Problems
from ..machine.machine import Machine
from ..readings.unknowns import unknowns_of
from ..studies.balance.trims import variables_of


def refuse_tables(machine: Machine, file: str) -> None:
    """Refuse `[[trim]]`, `[[unknown]]` and `[[spread]]` tables by the rules of who reads them.

    Parameters
    ----------
    machine : Machine
        Whose numbers they name.
    file : str
        Where it was read from, for the lines.

    Raises
    ------
    InputError
        Everything that is wrong, each with the file and its line.
    """
    read_document(file, lambda document: _refuse(machine, document))


def _refuse(machine: Machine, document: Mapping[str, Any]) -> None:
    wrong = Problems()
    readers: dict[str, Callable[[list[Any]], Any]] = {
        "trim": lambda some: variables_of(machine, some),
        "unknown": lambda some: unknowns_of(machine, some),
        "spread": lambda some: resolve(machine, read_spreads(some)),
    }
    for key, read in readers.items():
        entries, before = document.get(key, []), len(wrong.found)
        for place, entry in enumerate(entries):
            with wrong.noting(key, place):
                read([entry])
        if entries and len(wrong.found) == before:  # each by itself will do; together they may not
            with wrong.noting(key, 0):
                read(entries)
    wrong.refuse()
