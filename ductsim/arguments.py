"""What every public function asks of its arguments first: the right kind of thing, or a sentence."""

from __future__ import annotations

import operator
from collections.abc import Iterable, Iterator, Mapping
from typing import Any, TypeVar

import numpy as np

from .errors import InputError, UnknownName, shown

T = TypeVar("T")


def instance(value: Any, kind: Any, place: str, what: str, allowed: str = "") -> Any:
    """`value` if it is a `kind`; `what` is what such a thing is called ("a machine")."""
    if not isinstance(value, kind):
        raise InputError(f"{shown(value)} is not {what}", place=place, allowed=allowed or what)
    return value


def mapping(value: Any, place: str, allowed: str) -> Mapping[Any, Any]:
    """`value` if it is a mapping."""
    if not isinstance(value, Mapping):
        raise InputError(f"{shown(value)} is not a mapping", place=place, allowed=allowed)
    return value


def text(value: Any, place: str, allowed: str = "a text") -> str:
    """`value` as a plain text."""
    return str(instance(value, str, place, "a text", allowed))


def one_of(value: Any, known: Iterable[str], place: str, what: str) -> str:
    """`value` if it is one of the known words."""
    words = list(known)
    if not isinstance(value, str) or value not in words:
        raise UnknownName.of(what, value, words, place=place)
    return str(value)


def listed(value: Any, place: str, allowed: str) -> list[Any]:
    """The items of a list, or of anything else that has items in an order; no text, no mapping."""
    if isinstance(value, (str, bytes, bytearray, memoryview, Mapping)) or not isinstance(value, Iterable):
        raise InputError(f"{shown(value)} is not a list", place=place, allowed=allowed)
    shape = getattr(value, "shape", (1,))
    if len(shape) != 1:
        raise InputError(f"an array of shape {shape}", place=place, allowed=allowed)
    return list(value)


def texts(value: Any, place: str, allowed: str) -> list[str]:
    """One text or several, as a list; at least one."""
    if isinstance(value, str):
        return [str(value)]
    items = [text(item, place, allowed) for item in listed(value, place, allowed)]
    if not items:
        raise InputError("an empty list", place=place, allowed=allowed)
    return items


def whole(value: Any, place: str, what: str, least: int = 0, most: int | None = None) -> int:
    """A whole number, a NumPy one too; no truth value."""
    allowed = f"a whole number from {least}" + ("" if most is None else f" to {most}")
    try:
        out = None if isinstance(value, (bool, np.bool_, np.ndarray)) else operator.index(value)
    except TypeError:
        out = None
    if out is None or out < least or (most is not None and out > most):
        raise InputError(f"{what} {shown(value)}", place=place, allowed=allowed)
    return out


def locked(values: T) -> T:
    """An array that refuses to be written to, sharing its memory; anything else as it is."""
    if not isinstance(values, np.ndarray):
        return values
    out = values.view()
    out.setflags(write=False)
    return out


class ByName(Mapping[str, Any]):
    """A read-only mapping whose unknown names are told with the nearest one; `what` its names are."""

    __slots__ = ("_own", "_what")

    def __init__(self, what: str, own: dict[str, Any]) -> None:
        self._what, self._own = what, own

    def __getitem__(self, name: str) -> Any:
        try:
            return self._own[name]
        except (KeyError, TypeError):
            raise UnknownName.of(self._what, name, self._own) from None

    def __contains__(self, name: object) -> bool:
        """Whether something goes by that name; looks for no nearest one."""
        try:
            return name in self._own
        except TypeError:
            return False

    def get(self, name: str, default: Any = None) -> Any:
        """What goes by a name, or `default`."""
        return self._own.get(name, default)

    def __iter__(self) -> Iterator[str]:
        return iter(self._own)

    def __len__(self) -> int:
        return len(self._own)

    def keys(self) -> Any:
        """The names."""
        return self._own.keys()

    def items(self) -> Any:
        """Names with what goes by them."""
        return self._own.items()

    def values(self) -> Any:
        """What goes by the names."""
        return self._own.values()

    def _ipython_key_completions_(self) -> list[str]:
        """The names, for the completion of keys in a notebook."""
        return list(self._own)

    def __repr__(self) -> str:
        return repr(self._own)


def same_place(one: Any, other: Any) -> bool:
    """Whether two functions or classes are one definition that ran twice, as a notebook cell does."""
    return all(getattr(one, a, None) == getattr(other, a, None) for a in ("__module__", "__qualname__"))
