"""Trims: the numbers that may be set to even the units out, and how far."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...errors import InputError, UnknownName, shown
from ...machine.machine import Machine
from ...quantity import single
from ...size_limits import at_most, listed_at_most

Array = NDArray[np.float64]
MOST_TRIMS = 200
"""Numbers that one balance sets: each step solves a linear programme whose size grows with them."""
AT_END = 1e-6
"""Share of its range within which a number is at its limit [-]."""
KEYS = ("number", "low", "high", "sizes", "note")


@dataclass(frozen=True)
class Trim:
    """A number that may be set.

    Parameters
    ----------
    number : str
        Address or pattern; each number that a pattern matches is set by itself.
    low, high : float or str, optional
        Its limits, in SI or with their measure. They may be left out where there are sizes.
    sizes : sequence, optional
        The sizes that can be bought; without them every value between the limits can be had.
    """

    number: str
    low: Any = None
    high: Any = None
    sizes: Sequence[Any] | None = None

    @classmethod
    def of(cls, table: Any) -> Trim:
        """A trim from a `[[trim]]` table, or itself.

        Raises
        ------
        InputError
            For unknown keys and a missing number.
        """
        if isinstance(table, Trim):
            return table
        if not isinstance(table, Mapping):
            raise InputError(
                f"{shown(table)} is no trim", place="trim", allowed="ds.Trim(number, low, high), or a table"
            )
        for key in table:
            if key not in KEYS:
                raise UnknownName.of("key", key, KEYS, place="trim")
        if not isinstance(table.get("number"), str):
            raise InputError("the key 'number' is missing", place="trim", allowed="an address or a pattern")
        return cls(table["number"], table.get("low"), table.get("high"), table.get("sizes"))


@dataclass(frozen=True)
class Variable:
    """One number with its limits, in SI.

    Attributes
    ----------
    address : str
    low, high : float
    sizes : array or None
        Rising; None where every value between the limits can be had.
    """

    address: str
    low: float
    high: float
    sizes: Array | None = None

    def end(self, value: float) -> str:
        """At which of its limits a value is: "low", "high" or an empty text."""
        room = AT_END * (self.high - self.low)
        if value <= self.low + room:
            return "low"
        return "high" if value >= self.high - room else ""

    def nearest(self, value: float) -> float:
        """The value or size closest to a value."""
        if self.sizes is None:
            return float(np.clip(value, self.low, self.high))
        return float(self.sizes[np.abs(self.sizes - value).argmin()])


def variables_of(machine: Machine, trims: Any) -> list[Variable]:
    """The numbers that the trims name, one by one.

    Raises
    ------
    InputError
        For no trims, more than 200, unknown numbers, limits that are none, sizes out of range, and a number
        named twice.
    """
    if trims is None:
        trims = machine.layout.free.get("trim", [])
    known = [trims] if isinstance(trims, (Trim, Mapping)) else trims
    if isinstance(known, str) or not isinstance(known, Iterable) or getattr(known, "shape", (1,)) == ():
        raise InputError(
            f"{shown(trims)} is no list of trims", allowed="ds.Trim(number, low, high) in a list"
        )
    out: dict[str, Variable] = {}
    for trim in map(Trim.of, listed_at_most(known, MOST_TRIMS, "trims", "trim")):
        for address in machine.layout.expand(trim.number):
            if address in out:
                raise InputError(
                    "is named by two trims", place=f"trim {address!r}", allowed="each number once"
                )
            try:
                out[address] = _variable(machine, address, trim)
            except InputError as err:
                raise err.at(place=f"trim {trim.number!r}") from None
    if not out:
        raise InputError(
            "there is no trim", place="trim", allowed="write a [[trim]] with number, low and high, or sizes"
        )
    at_most(len(out), MOST_TRIMS, "numbers to trim", "trim")
    return list(out.values())


def _variable(machine: Machine, address: str, trim: Trim) -> Variable:
    declared = machine.layout.declared[address]

    def read(value: Any, place: str) -> float:
        try:
            number = single(value, declared.measure)
        except InputError as err:
            raise err.at(place=place) from None
        return float(declared.check(number, place))

    low = None if trim.low is None else read(trim.low, "low")
    high = None if trim.high is None else read(trim.high, "high")
    sizes = None
    if trim.sizes is not None:
        items = trim.sizes
        if isinstance(items, str) or not isinstance(items, Iterable) or getattr(items, "shape", (1,)) == ():
            raise InputError(f"{shown(items)} is no list", place="sizes", allowed="a list of sizes")
        sizes = np.unique([read(item, "sizes") for item in items])
        sizes = sizes[
            (sizes >= (-np.inf if low is None else low)) & (sizes <= (np.inf if high is None else high))
        ]
        if not sizes.size:
            raise InputError("no size lies within the limits", place="sizes", allowed="at least one size")
        low, high = float(sizes[0]), float(sizes[-1])
    if low is None or high is None:
        raise InputError("low or high is missing", allowed="both limits, or a list of sizes")
    if low > high or (low == high and sizes is None):
        raise InputError(f"low ({low:g}) is not below high ({high:g})", allowed="low below high")
    return Variable(address, low, high, sizes)
