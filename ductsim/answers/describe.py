"""What a machine rests on and what it may be asked: numbers with their spreads, sources, questions."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..description.data import MachineData
from ..description.layout import Layout
from ..description.spreads import spread_of
from ..laws.card import card_of
from ..parts.declare import Form, Number
from ..questions.vocabulary import question, vocabulary
from ..result import Result
from ..sources import source
from ..wording import listed


class Description(Result):
    """Every number of a machine: where it is, what it is, whether it was given, how well it is known."""

    def __init__(self, machine: MachineData) -> None:
        self.machine = machine

    def rows(self) -> list[dict[str, Any]]:
        """A row for each address; of a column the middle (median) and its range."""
        machine = self.machine
        out = []
        for address, value in machine.numbers.items():
            declared: Number = machine.layout.declared[address]
            column = isinstance(value, np.ndarray)
            out.append(
                {
                    "address": address,
                    "value": float(np.median(value)) if column else value,
                    "measure": declared.measure,
                    "origin": "given" if address in machine.given else "default",
                    "spread": spread_of(machine, address),
                    "column": f"{np.min(value):g} to {np.max(value):g}" if column else "",
                    "doc": declared.doc,
                }
            )
        return out

    def sentences(self, measures: str = "metric") -> list[str]:
        """How many numbers there are and how many of them are defaults."""
        layout, numbers = self.machine.layout, self.machine.numbers
        given = len(self.machine.given & numbers.keys())
        return [
            f"{layout.title}: {len(layout.parts)} parts, {len(layout.units)} units, {len(numbers)} numbers, "
            f"{given} of them given and {len(numbers) - given} at their defaults."
        ]


class SourceList(Result):
    """The references behind a machine's laws and parts, each with its standing."""

    def __init__(self, machine: MachineData) -> None:
        self.machine = machine

    def _used(self) -> dict[str, list[str]]:
        """Key of a source -> the laws and kinds of parts that cite it."""
        out: dict[str, list[str]] = {}

        def cite(key: str, by: str) -> None:
            users = out.setdefault(key, [])
            if by not in users:
                users.append(by)

        if not self.machine.air().constant:
            for key in AIR_SOURCES:
                cite(key, "air")
        for group in self.machine.system.laws:
            card = card_of(group.law)
            for key in card.sources if card else ():
                cite(key, f"law {group.law.__name__}")
        for part in self.machine.layout.parts:
            for form in _with_smaller(part.form):
                for key in getattr(form.part, "sources", ()):
                    cite(key, form.part.kind)
        return out

    def rows(self) -> list[dict[str, Any]]:
        """A row for each source: key, standing, who uses it, the reference."""
        rows = []
        for key, users in self._used().items():
            found = source(key)
            rows.append(
                {
                    "source": key,
                    "standing": found.standing,
                    "used_by": ", ".join(users),
                    "reference": str(found),
                }
            )
        return rows

    def sentences(self, measures: str = "metric") -> list[str]:
        """How many references there are."""
        return [f"{self.machine.layout.title} rests on {len(self._used())} references."]


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

    def rows(self) -> list[dict[str, Any]]:
        """A row for each question."""
        columns = (self.asked, self.labels, self.measures, self.more_is_better)
        keys = ("of", "label", "measure", "more_is_better")
        return [dict(zip(keys, row, strict=True)) for row in zip(*columns, strict=True)]

    def about(self) -> str:
        """How many there are."""
        return f"{len(self)} questions"

    def sentences(self, measures: str = "metric") -> list[str]:
        """How many questions there are, and some of them."""
        return [f"{len(self)} questions may be asked, such as {listed([repr(of) for of in self.asked[:4]])}."]


def questions_of(layout: Layout) -> QuestionList:
    """Everything that may be asked of machines with this layout."""
    found = [question(layout, words) for words in vocabulary(layout)]
    return QuestionList(
        tuple(one.of for one in found),
        tuple(one.label for one in found),
        tuple(one.measure for one in found),
        tuple(one.more_is_better for one in found),
    )


AIR_SOURCES = ("cipm2007", "std_atmosphere1976", "sutherland")


def _with_smaller(form: Form) -> list[Form]:
    """A form and the forms of its smaller parts (bends)."""
    out = [form]
    for _, shape in form.shape:
        if isinstance(shape, tuple):
            out += [inner for inner in shape if isinstance(inner, Form)]
    return out
