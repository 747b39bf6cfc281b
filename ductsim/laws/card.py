"""A law's card: its equation, where it holds, and which published sources it follows."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from ..errors import InputError, shown

Outside = Callable[..., list[tuple[Any, str]]]
Walls = Callable[..., tuple[Any, Any, Any]]


@dataclass(frozen=True, slots=True)
class LawCard:
    """What a law states about itself.

    Attributes
    ----------
    name : str
        The name of the function.
    equation : str
        The equation in plain text, measures in brackets where they are not SI.
    valid : str
        In which range its sources cover it, in words.
    sources : tuple of str
        Keys into `ductsim.sources.SOURCES`.
    outside : callable or None
        `outside(flow, air, **coefficients) -> [(mask, sentence), ...]`: where a solved state uses the law
        outside its range. Called once after a solve, never while iterating.
    several : bool
        Whether a drop may fall as its flow rises, so that a network may have several stable answers.
    walls : callable or None
        `walls(found, flow, air, **coefficients) -> drop, slope, slope_in_density`: the share of what the law
        `found` that is lost along walls and in bends, which crop's drag multiplies; None: no share of it.
    """

    name: str
    equation: str
    valid: str
    sources: tuple[str, ...]
    outside: Outside | None = None
    several: bool = False
    walls: Walls | None = None


LAWS: dict[str, Callable[..., Any]] = {}
"""Every law by its name, in the order in which they were defined."""

L = TypeVar("L", bound=Callable[..., Any])


def law(
    *,
    equation: str,
    valid: str,
    sources: tuple[str, ...],
    outside: Outside | None = None,
    several: bool = False,
    walls: Walls | None = None,
) -> Callable[[L], L]:
    """Decorator that gives a law its card and lists it in `LAWS`.

    The function itself comes back, so a call costs nothing extra. A user's own law may be registered
    again under the same name (a notebook cell run twice); the last one counts.

    Raises
    ------
    InputError
        If `sources` is a bare string, or empty: a law without a published source cites
        "common_practice" or "our_assumption".
    """
    if not isinstance(sources, (tuple, list)) or not sources or not all(isinstance(s, str) for s in sources):
        raise InputError(
            f"sources = {shown(sources)}", place="law", allowed="a tuple with at least one key of ds.SOURCES"
        )
    for word, function in (("outside", outside), ("walls", walls)):
        if function is not None and not callable(function):
            raise InputError(f"{word} = {shown(function)}", place="law", allowed="a function")

    def give(function: L) -> L:
        name = function.__name__
        card = LawCard(name, equation, valid, tuple(sources), outside, several, walls)
        function.card = card  # type: ignore[attr-defined]
        LAWS[name] = function
        return function

    return give


def card_of(function: Callable[..., Any]) -> LawCard | None:
    """The card of a law, or None for a function that has none."""
    card = getattr(function, "card", None)
    return card if isinstance(card, LawCard) else None
