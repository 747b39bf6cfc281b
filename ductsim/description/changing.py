"""What a change asks of which numbers: patterns spelled out, values read, contradictions refused."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..arguments import listed, mapping, text
from ..errors import InputError, shown
from ..parts.declare import Chosen, Number
from ..quantity import Times, parse_change, si, times
from ..size_limits import at_most
from .layout import Layout

MOST_COMBINATIONS = 10_000_000
"""In a grid: each of its columns takes 80 MB then."""


@dataclass(frozen=True, eq=False)
class Setting:
    """A number that is set, not scaled.

    Attributes
    ----------
    value : float or array of shape (S,), SI
    """

    value: Any

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Setting) and np.array_equal(self.value, other.value)

    def __hash__(self) -> int:
        return hash(np.asarray(self.value).tobytes())


Effect = Setting | Times


def resolve(layout: Layout, change: Mapping[str, Any]) -> dict[str, Effect]:
    """Address -> what `change` does to it; patterns with `*` are spelled out.

    Raises
    ------
    InputError
        For a pattern without a match (UnknownName), a value that is no quantity of the right kind, and
        two entries that contradict each other on one address.
    """
    mapping(change, "change", 'a mapping like {"hose 3.length": "2 m"}')
    return together([_one(layout, _address(pattern), value) for pattern, value in change.items()])


def _one(layout: Layout, pattern: str, value: Any) -> dict[str, Effect]:
    out: dict[str, Effect] = {}
    pattern, value = _switched(layout, pattern, value)
    for address in layout.expand(pattern):
        declared = layout.declaration(address)
        known = declared.chosen(value, pattern)
        if known is not None:
            out[address] = Setting(known)
            continue
        try:
            what, number = parse_change(value, declared.measure)
        except InputError as err:
            raise err.at(place=pattern) from None
        if np.ndim(number) > 1 or np.size(number) == 0:
            raise InputError(
                f"a column of shape {np.shape(number)}", place=pattern, allowed="a number or a 1-D array"
            )
        out[address] = Times(number) if what == "times" else Setting(number)
    return out


def _switched(layout: Layout, pattern: str, value: Any) -> tuple[str, Any]:
    """The number behind a switch of a part, and what its word sets it to: `left fan.belt = "off"`."""
    obj, _, number_key = pattern.rpartition(".")
    if number_key not in layout.switches:
        return pattern, value
    number, words = layout.switches[number_key]
    if not isinstance(value, str) or value not in words:
        raise InputError(
            f"{shown(value)} is no setting",
            place=pattern,
            allowed=" or ".join(f"'{word}'" for word in words),
        )
    return f"{obj}.{number}", words[value]


def together(changes: Iterable[Mapping[str, Effect]]) -> dict[str, Effect]:
    """Several resolved changes as one: factors multiply, the same setting twice counts once.

    Raises
    ------
    InputError
        Where an address is set to two values, or set and scaled: a contradiction.
    """
    out: dict[str, Effect] = {}
    for change in changes:
        for address, effect in change.items():
            known = out.get(address)
            if known is None or (known == effect and isinstance(effect, Setting)):
                out[address] = effect
            elif isinstance(known, Times) and isinstance(effect, Times):
                out[address] = Times(known.factor * effect.factor)
            else:
                raise InputError(
                    f"is changed twice: {_words(known)} and {_words(effect)}",
                    place=address,
                    allowed="several factors, or one value",
                )
    return out


def _words(effect: Effect) -> str:
    if isinstance(effect, Times):
        return f"scaled by {effect!r}"
    value = effect.value
    return f"set to {value:g}" if isinstance(value, float) else f"set to a column of {np.size(value)}"


def apply(old: Any, effect: Effect, declared: Number, address: str) -> Any:
    """The new number at an address, checked against its range."""
    value = effect.value if isinstance(effect, Setting) else old * effect.factor
    return declared.check(value if isinstance(value, (np.ndarray, Chosen)) else float(value), address)


def scenarios(numbers: Mapping[str, Any]) -> int | None:
    """The number of columns S, None when every number is single.

    Raises
    ------
    InputError
        When two columns differ in length, naming both addresses.
    """
    first, size = "", None
    for address, value in numbers.items():
        if isinstance(value, np.ndarray):
            if size is None:
                first, size = address, value.size
            elif value.size != size:
                raise InputError(
                    f"columns of different length: {first!r} has {size:,}, {address!r} has {value.size:,}",
                    allowed="the same number of scenarios in every column",
                )
    return size


def grid(values: Mapping[str, Any]) -> dict[str, Any]:
    """The product of several lists of values, as a change whose columns run in step.

    Parameters
    ----------
    values : mapping
        Address or pattern -> a 1-D list of numbers and texts, an array, quantities of a measures library
        (they keep their measure), or `times(list)`. The first varies slowest.

    Returns
    -------
    dict
        For `Machine.change`; every column has as many scenarios as there are combinations.

    Raises
    ------
    InputError
        For an empty or nested list, items that are no numbers, and more than 10,000,000 combinations.

    Examples
    --------
    >>> grid({"belt.slip": [0.0, 0.02], "hose 3.length": ["1 m", "2 m", "3 m"]})["belt.slip"].tolist()
    [0.0, 0.0, 0.0, 0.02, 0.02, 0.02]
    """
    mapping(values, "grid", "address or pattern -> a list of values")
    lists = {_address(address): _listed(address, value) for address, value in values.items()}
    sizes = [len(items) for items in lists.values()]
    at_most(math.prod(sizes), MOST_COMBINATIONS, "combinations", "grid")
    out: dict[str, Any] = {}
    for i, (address, items) in enumerate(lists.items()):
        inner, outer = math.prod(sizes[i + 1 :]), math.prod(sizes[:i])
        place = np.tile(np.repeat(np.arange(len(items)), inner), outer)
        column = [items[k] for k in place] if isinstance(items, list) else items[place]
        out[address] = times(column) if isinstance(values[address], Times) else column
    return out


def _address(pattern: Any) -> str:
    return text(pattern, "change", "an address or a pattern, like 'hose 3.length'")


def _listed(address: str, value: Any) -> Any:
    """One axis of a grid: an array of SI numbers, or a list or array whose items carry their measures."""
    items = value.factor if isinstance(value, Times) else value
    if hasattr(items, "m_as"):  # a list that a measures library made keeps its measure
        if np.ndim(items.magnitude) != 1 or not len(items.magnitude):
            raise _no_list(address, value)
        return items
    if isinstance(items, (set, frozenset)):  # without an order
        raise _no_list(address, value)
    try:
        found = listed(items, address, "")
    except InputError:
        raise _no_list(address, value) from None
    if not found:
        raise _no_list(address, value)
    carried = [isinstance(item, str) or hasattr(item, "m_as") for item in found]
    own = [item if carries else _number(address, item) for item, carries in zip(found, carried, strict=True)]
    return own if any(carried) else np.array(own)


def _no_list(address: str, value: Any) -> InputError:
    return InputError(f"{shown(value)} is not a list of values", place=address, allowed="a 1-D list or array")


def _number(address: str, item: Any) -> float:
    """One bare number of an axis."""
    try:
        out = si(item, "")
    except InputError as err:
        raise err.at(place=address) from None
    if not isinstance(out, float):
        raise _no_list(address, item)
    return out
