"""What a machine rests on and what it may be asked: numbers with their spreads, sources, questions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..description.data import MachineData
from ..description.layout import Layout
from ..description.spreads import spread_of
from ..display.rows import Of, rows_of
from ..laws.card import card_of
from ..parts.declare import Chosen, Schema
from ..questions.vocabulary import question, vocabulary
from ..result import Result
from ..sources import source
from ..statistics import middle
from ..wording import listed

Row = dict[str, Any]

# ---- its numbers


@dataclass(repr=False, eq=False)
class Description(Result):
    """Every number of a machine: where it is, what it is, whether it was given, how well it is known.

    Attributes
    ----------
    machine : Machine
    """

    machine: MachineData


def about_numbers(found: Description) -> str:
    """The machine and how many numbers it has."""
    return f"{found.machine.layout.title or 'a machine'}, {len(found.machine.numbers):,} numbers"


def number_tables(found: Description) -> dict[str, list[Row]]:
    """A row for each address; of a column the middle (median) and its range."""
    machine = found.machine
    numbers, declared = machine.numbers, machine.layout.declared
    columns = (
        Of("address", value=str),
        Of("value", doc="in SI; of a column the median", value=lambda a: middle(numbers[a])),
        Of("measure", doc="SI measure of the value", value=lambda a: declared[a].measure),
        Of("origin", value=lambda a: "given" if a in machine.given else "default"),
        Of("choice", doc="word that stands for the number", value=lambda a: _choice(numbers[a], "word")),
        Of("source", doc="source of that word's value", value=lambda a: _choice(numbers[a], "source")),
        Of("spread", doc="usual relative standard deviation", value=lambda a: spread_of(machine, a)),
        Of("column", doc="least and largest value of a column", value=lambda a: _range(numbers[a])),
        Of("doc", value=lambda a: declared[a].doc),
    )
    return {"table": rows_of(numbers, *columns)}


def _choice(value: Any, what: str) -> str:
    """The word of a number that a word stood for, or its source; an empty text for a plain number."""
    return getattr(value.choice, what) if isinstance(value, Chosen) else ""


def _range(value: Any) -> str:
    return f"{np.min(value):g} to {np.max(value):g}" if np.ndim(value) else ""


def about_machine(found: Description, measures: str) -> list[str]:
    """How many numbers there are and how many of them are defaults."""
    layout, numbers = found.machine.layout, found.machine.numbers
    given = len(found.machine.given & numbers.keys())
    return [
        f"{layout.title}: {len(layout.parts)} parts, {len(layout.units)} units, {len(numbers)} numbers, "
        f"{given} of them given and {len(numbers) - given} at their defaults."
    ]


# ---- its sources


@dataclass(repr=False, eq=False)
class SourceList(Result):
    """The references behind a machine's laws and parts, each with its standing; made by `machine.sources`.

    Attributes
    ----------
    title : str
        The machine's.
    used : dict
        Key of a source -> the laws and kinds of parts that cite it.
    """

    title: str
    used: dict[str, list[str]]

    def bibtex(self) -> str:
        """The references as entries of a bibliography, for a paper that cites them."""
        return "\n\n".join(source(key).bibtex() for key in self.used) + "\n"


def sources_of(machine: MachineData) -> SourceList:
    """The sources behind the laws that a machine uses, and what uses them."""
    used: dict[str, list[str]] = {}

    def cite(key: str, by: str) -> None:
        users = used.setdefault(key, [])
        if by not in users:
            users.append(by)

    if not machine.air().constant:
        for key in AIR_SOURCES:
            cite(key, "air")
    for group in machine.system.laws:
        card = card_of(group.law)
        for key in card.sources if card else ():
            cite(key, f"law {group.law.__name__}")
    for address, value in machine.numbers.items():
        if isinstance(value, Chosen):
            cite(value.choice.source, address)
    for part in machine.layout.parts:
        for schema in _with_smaller(part.schema):
            for key in getattr(schema.part, "sources", ()):
                cite(key, schema.part.kind)
    return SourceList(machine.layout.title, used)


def about_sources(found: SourceList) -> str:
    """How many there are."""
    return f"{found.title or 'a machine'}, {len(found.used)} references"


def source_tables(found: SourceList) -> dict[str, list[Row]]:
    """A row for each source: key, standing, who uses it, the reference."""
    columns = (
        Of("source", value=str),
        Of("standing", value=lambda key: source(key).standing),
        Of("used_by", value=lambda key: ", ".join(found.used[key])),
        Of("reference", value=lambda key: str(source(key))),
    )
    return {"table": rows_of(found.used, *columns)}


def source_sentences(found: SourceList, measures: str) -> list[str]:
    """How many references there are."""
    return [f"{found.title} rests on {len(found.used)} references."]


# ---- what it may be asked


@dataclass(repr=False, eq=False)
class QuestionList(Result):
    """Everything that may be asked of a machine; a loop goes through the questions.

    Attributes
    ----------
    asked : tuple of str
        The words of `of`, in the order of the vocabulary.
    labels, measures : tuples of str
        What each answer is, and its SI measure.
    more_is_better : tuple of bool
    """

    asked: tuple[str, ...]
    labels: tuple[str, ...]
    measures: tuple[str, ...]
    more_is_better: tuple[bool, ...]

    def __len__(self) -> int:
        return len(self.asked)

    def __iter__(self) -> Iterator[str]:
        return iter(self.asked)

    def __contains__(self, of: object) -> bool:
        return of in self.asked


def questions_of(layout: Layout) -> QuestionList:
    """Everything that may be asked of machines with this layout."""
    found = [question(layout, words) for words in vocabulary(layout)]
    return QuestionList(
        tuple(one.of for one in found),
        tuple(one.label for one in found),
        tuple(one.measure for one in found),
        tuple(one.more_is_better for one in found),
    )


def about_questions(found: QuestionList) -> str:
    """How many there are."""
    return f"{len(found)} questions"


def question_tables(found: QuestionList) -> dict[str, list[Row]]:
    """A row for each question."""
    columns = (
        Of("of", doc="the words of the question", value=lambda i: found.asked[i]),
        Of("label", doc="what the answer is", value=lambda i: found.labels[i]),
        Of("measure", doc="SI measure of the answer", value=lambda i: found.measures[i]),
        Of("more_is_better", value=lambda i: found.more_is_better[i]),
    )
    return {"table": rows_of(range(len(found)), *columns)}


def question_sentences(found: QuestionList, measures: str) -> list[str]:
    """How many questions there are, and some of them."""
    return [f"{len(found)} questions may be asked, such as {listed([repr(of) for of in found.asked[:4]])}."]


AIR_SOURCES = ("cipm2007", "std_atmosphere1976", "sutherland")


def _with_smaller(schema: Schema) -> list[Schema]:
    """A schema and the schemas of its smaller parts (bends)."""
    out = [schema]
    for _, shape in schema.shape:
        if isinstance(shape, tuple):
            out += [inner for inner in shape if isinstance(inner, Schema)]
    return out
