"""Sizes that a user gives, held against what memory and patience can stand."""

from __future__ import annotations

from collections.abc import Iterable, Sized
from itertools import islice
from typing import Any

from .errors import InputError, shown


def at_most(count: int, most: int, what: str, place: str = "") -> None:
    """Refuse a size beyond its limit before anything is computed.

    Parameters
    ----------
    count, most : int
        What was asked for, and the limit.
    what : str
        What is counted, in the plural.
    place : str
        Where it was asked for.

    Raises
    ------
    InputError
        Naming both.
    """
    if count > most:
        raise InputError(f"{count:,} {what} are too many", place=place, allowed=f"at most {most:,}")


def listed_at_most(items: Iterable[Any], most: int, what: str, place: str = "") -> list[Any]:
    """The items as a list; an endless or overlong row of them is refused without being read to its end.

    Raises
    ------
    InputError
        Naming the limit.
    """
    if (
        not isinstance(items, Iterable)
        or isinstance(items, (str, bytes))
        or getattr(items, "shape", (1,)) == ()
    ):
        raise InputError(f"{shown(items)} is no list of {what}", place=place, allowed="a list")
    if isinstance(items, Sized):
        at_most(len(items), most, what, place)
    out = list(islice(items, most + 1))
    if len(out) > most:
        raise InputError(f"too many {what}", place=place, allowed=f"at most {most:,}")
    return out
