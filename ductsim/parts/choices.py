"""Words that stand in place of a number which no tape or gauge tells: each a value, its spread, its source."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Choice:
    """A word in place of a number.

    Attributes
    ----------
    word : str
        What stands in the file: "wire-wound".
    value : float
        The number in SI.
    spread : float
        Relative standard deviation [-]: how well the word alone tells the number; our assumption, from how
        far the sources lie apart.
    source : str
        Key of the value's source.
    """

    word: str
    value: float
    spread: float
    source: str


class Chosen(float):
    """A number that a word stood for; it is a float, and knows the word until another number takes its place."""

    choice: Choice

    def __new__(cls, choice: Choice) -> Chosen:
        """The value of a choice."""
        out = super().__new__(cls, choice.value)
        out.choice = choice
        return out

    def __reduce__(self) -> tuple[type[Chosen], tuple[Choice]]:
        return Chosen, (self.choice,)


def choice_of(word: object, choices: Iterable[Choice]) -> Choice | None:
    """The choice of that word, None where there is none."""
    return next((choice for choice in choices if choice.word == word), None)
