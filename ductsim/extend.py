"""Names for extending the package: parts, laws, questions, results and commands of your own.

`ds.Part`, `ds.part` and `ds.number` stand at the top too, as do those that a first part needs; here is the
whole list, for `from ductsim.extend import ...`.
"""

from __future__ import annotations

from .checking import PartCheck, check_part
from .description.data import MachineData
from .description.layout import Layout
from .display.presentation import Plot, Presentation
from .laws.card import LAWS, law
from .parts.declare import (
    KINDS,
    Fields,
    LocalAir,
    OptionalValue,
    OptionalValues,
    Pair,
    Part,
    Path,
    Value,
    Values,
    fields,
    nested,
    number,
    part,
    word,
)
from .quantity import Quantity
from .questions.gauges import Flows
from .questions.vocabulary import Question, add_word
from .result import Note, Result, Row
from .sources import SOURCES, Source
from .terminal.command import Command
from .terminal.signature import Takes, study_command

__all__ = [
    "KINDS",
    "LAWS",
    "SOURCES",
    "Command",
    "Fields",
    "Flows",
    "Layout",
    "LocalAir",
    "MachineData",
    "Note",
    "OptionalValue",
    "OptionalValues",
    "Pair",
    "Part",
    "PartCheck",
    "Path",
    "Plot",
    "Presentation",
    "Quantity",
    "Question",
    "Result",
    "Row",
    "Source",
    "Takes",
    "Value",
    "Values",
    "add_word",
    "check_part",
    "fields",
    "law",
    "nested",
    "number",
    "part",
    "study_command",
    "word",
]
