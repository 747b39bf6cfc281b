"""What one field of a part means: a number with its measure and range, or a word."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError, UnknownName, nearest_name, shown
from ..measures import own_measure
from ..quantity import HasArray, Quantity, si, single
from .choices import Choice, Chosen, choice_of

REQUIRED: Any = dataclasses.MISSING
# No length, area or pressure of a machine is beyond these in SI; within them, squares and fifth powers of a
# number, and quotients of such, are still numbers.
SMALLEST, LARGEST = 1e-30, 1e30
MOST = {"m": 1e6, "m2": 1e6}
"""The largest length and area where none is declared: no machine has them."""


@dataclass(frozen=True, slots=True)
class Number:
    """What one number of a part means: measure, range, default, spread and words.

    Attributes
    ----------
    measure : str
        The SI measure, in the spelling of the allow-list ("m2", "Pa", "rad/s"; "" for a ratio).
    low, high : float
        The smallest and largest value allowed, both included.
    spread : float
        Usual relative standard deviation of the number [-]; 0 where it is exact by definition.
    doc : str
        What it is, in a few words.
    allowed : str
        The range in words, for messages.
    points : bool
        True for a list of numbers (curve points).
    words : tuple of Choice
        Words that may stand in its place.
    """

    measure: str
    low: float
    high: float
    spread: float
    doc: str
    allowed: str
    points: bool = False
    words: tuple[Choice, ...] = ()

    def check(self, value: Any, place: str) -> Any:
        """`value` as an SI float or 1-D array within the range; else an InputError that names `place`."""
        if type(value) is not float:
            value = self._convert(value, place)
            if not isinstance(value, float):
                if not np.all((value >= self.low) & (value <= self.high)):
                    bad = value[~((value >= self.low) & (value <= self.high))][0]
                    raise InputError(
                        f"{bad:g} in the column is out of range", place=place, allowed=self._rule(bad)
                    )
                return value
        if not self.low <= value <= self.high:
            unit = f" {self.measure}" if self.measure else ""
            raise InputError(f"{value:g}{unit} is out of range", place=place, allowed=self._rule(value))
        return value

    def _rule(self, value: float) -> str:
        """What is allowed, for a value that is not: also how small or large any number may be."""
        if self.high == MOST.get(self.measure) and self.high < value <= LARGEST:
            return f"{self.allowed}, and nothing is computed above {self.high:g} {self.measure}"
        if 0.0 < abs(value) < SMALLEST or LARGEST < abs(value) < np.inf:
            return f"{self.allowed}, and no number of a machine is below {SMALLEST:g} or beyond {LARGEST:g}"
        return self.allowed

    def chosen(self, value: Any, place: str) -> Chosen | None:
        """The number that a word stands for; None for what is no word. It keeps the word.

        Raises
        ------
        UnknownName
            For a word that stands for no number here, where some do.
        """
        if type(value) is Chosen:
            return value
        if not self.words or not isinstance(value, str):
            return None
        known = choice_of(value, self.words)
        if known is None and value.strip() and not any(sign.isdigit() for sign in value):
            words = [choice.word for choice in self.words]
            allowed = f"{self.allowed}, or {', '.join(map(repr, words))}"
            nearest = nearest_name(value, words)
            raise UnknownName(f"unknown word {shown(value)}", place=place, allowed=allowed, nearest=nearest)
        return None if known is None else Chosen(known)

    def _convert(self, value: Any, place: str) -> Any:
        known = self.chosen(value, place)
        if known is not None:
            return known
        try:
            out = si(value, self.measure)
        except InputError as err:
            raise err.at(place=place) from None
        if isinstance(out, np.ndarray):
            if out.ndim != 1 or out.size == 0:
                raise InputError(
                    f"a column of shape {out.shape}", place=place, allowed="a number or a 1-D array"
                )
            out.setflags(write=False)
        return out


@dataclass(frozen=True, slots=True)
class Word:
    """A text field that takes one of a few words."""

    choices: tuple[str, ...]
    doc: str

    def check(self, value: Any, place: str) -> str:
        """`value` if it is one of the words."""
        if not isinstance(value, str) or value not in self.choices:
            raise UnknownName.of("word", value, self.choices, place=place)
        return str(value)


class Value:
    """The type of a declared number: a `Quantity` goes in, an SI float or a column comes out.

    It stands in the annotation of a field (`length: Value = number("m", ...)`) for type checkers alone.
    """

    def __get__(self, obj: Any, kind: Any = None) -> Any:
        """The number in SI: a float, an array of shape (S,) for a column."""

    def __set__(self, obj: Any, value: Quantity) -> None:
        """What the constructor takes."""


class OptionalValue:
    """The type of a declared number that need not be given; None comes out then."""

    def __get__(self, obj: Any, kind: Any = None) -> Any:
        """The number in SI, or None."""

    def __set__(self, obj: Any, value: Quantity | None) -> None:
        """What the constructor takes."""


class Values:
    """The type of a declared list of numbers (`points=True`): a tuple comes out."""

    def __get__(self, obj: Any, kind: Any = None) -> Any:
        """The numbers in SI, in order."""

    def __set__(self, obj: Any, value: Sequence[Quantity] | NDArray[Any] | HasArray) -> None:
        """What the constructor takes."""


class OptionalValues:
    """The type of a declared list of numbers that need not be given; None comes out then."""

    def __get__(self, obj: Any, kind: Any = None) -> Any:
        """The numbers in SI, in order, or None."""

    def __set__(self, obj: Any, value: Sequence[Quantity] | NDArray[Any] | HasArray | None) -> None:
        """What the constructor takes."""


def number(
    measure: str,
    *,
    above: float | None = None,
    at_least: float | None = None,
    below: float | None = None,
    at_most: float | None = None,
    default: Any = REQUIRED,
    spread: float = 0.0,
    doc: str,
    cure: str = "",
    points: bool = False,
    words: tuple[Choice, ...] = (),
) -> Any:
    """Declare a number of a part.

    `above` and `below` leave the bound out, `at_least` and `at_most` take it in; NaN and infinity never
    pass. `default=None` makes the number optional. `cure` is appended to the message for a value out of
    range ("write '90 deg'"). `points=True` declares a list of numbers; `words` may stand in
    place of the number.
    """
    at_least, at_most, above, below = (
        None if bound is None else single(bound, "", "number") for bound in (at_least, at_most, above, below)
    )
    low = -LARGEST if at_least is None else at_least
    high = LARGEST if at_most is None else at_most
    if above is not None:
        low = float(np.nextafter(above, np.inf)) if above else SMALLEST
    if below is not None:
        high = float(np.nextafter(below, -np.inf))
    if not isinstance(measure, str):
        raise InputError(f"{shown(measure)} is no measure", place="number", allowed="a text like 'm2'")
    own_measure(measure)
    if at_most is None and below is None:
        high = MOST.get(measure, LARGEST)
    unit = f" {measure}" if measure else ""
    bounds = [
        f"above {above:g}{unit}" if above is not None else "",
        f"at least {at_least:g}{unit}" if at_least is not None else "",
        f"below {below:g}{unit}" if below is not None else "",
        f"at most {at_most:g}{unit}" if at_most is not None else "",
    ]
    within = " and ".join(b for b in bounds if b)
    allowed = f"allowed: {within or 'a finite number'}" + (f" ({cure})" if cure else "")
    declared = Number(measure, low, high, spread, doc, allowed, points, words)
    return field(default=default, metadata={"declared": declared})


def word(*choices: str, default: Any = REQUIRED, doc: str) -> Any:
    """Declare a text field that takes one of `choices`."""
    return field(default=default, metadata={"declared": Word(choices, doc)})
