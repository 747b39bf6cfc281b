"""Parts of one form added at once, their numbers in arrays: large networks without a text for each number."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, compress
from operator import eq
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import listed, text
from ..errors import InputError, shown
from ..parts.declare import Part, Schema, number_values

PLACE = "add_many"


@dataclass(frozen=True)
class Many:
    """Parts of one schema.

    Attributes
    ----------
    names : their names.
    schema : their schema.
    ends : per end of the part, the nodes where it stands, one for each part.
    values : per number of the schema, one for all, or an array (parts,) with one for each.
    """

    names: list[str]
    schema: Schema
    ends: tuple[list[str], ...]
    values: list[Any]

    @classmethod
    def of(cls, names: Sequence[str], part: Part, ends: Sequence[Any]) -> Many:
        """The parts with these names, as `part` says, whose columns have a number for each of them.

        Raises
        ------
        InputError
            For what is no part, names or ends that are no texts, a part with two ends at one node, and counts
            that differ.
        """
        if not isinstance(part, Part):
            raise InputError(f"{shown(part)} is not a part", place=PLACE)
        own = _texts(names, "names of the parts")
        count = len(own)
        if len(ends) != len(part.ends):
            allowed = f"name its ends: {', '.join(part.ends)}"
            raise InputError(f"got {len(ends)} ends", place=PLACE, allowed=allowed)
        nodes = []
        for word, end in zip(part.ends, ends, strict=True):
            found = [str(end)] * count if isinstance(end, str) else _texts(end, "a node, or one for each")
            _same_count(f"end {word!r}", len(found), count)
            nodes.append(found)
        for one, other in combinations(nodes, 2):
            if any(map(eq, one, other)):
                i = next(i for i in range(count) if one[i] == other[i])
                raise InputError(f"two ends at the same node {one[i]!r}", place=f"part {own[i]!r}")
        schema, values = part.schema, number_values(part)
        for number_key, value in zip(schema.number_keys, values, strict=True):
            if isinstance(value, np.ndarray):
                _same_count(number_key, value.size, count)
        return cls(own, schema, tuple(nodes), values)

    def placed(self, still: Collection[str]) -> list[Many]:
        """The parts as they stand, with the ends that are free where air is at rest, one group a schema."""
        which = sum(2**i * np.array([node in still for node in end]) for i, end in enumerate(self.ends))
        out = []
        for ends_at_rest in np.unique(which):
            some = self.some(np.flatnonzero(which == ends_at_rest))
            part = some.schema.build(some.values).placed([end[0] for end in some.ends], still)
            out.append(Many(some.names, part.schema, some.ends, number_values(part)))
        return out

    def some(self, which: NDArray[np.intp]) -> Many:
        """Some of the parts, by their places."""
        if len(which) == len(self.names):
            return self
        kept = np.zeros(len(self.names), dtype=bool)
        kept[which] = True
        names, *ends = (list(compress(texts, kept)) for texts in (self.names, *self.ends))
        values = [v[which] if isinstance(v, np.ndarray) else v for v in self.values]
        return Many(names, self.schema, tuple(ends), values)

    def parts(self) -> Iterator[tuple[str, Part, tuple[str, ...]]]:
        """One by one: name, part, ends."""
        for i, name in enumerate(self.names):
            values = [float(v[i]) if isinstance(v, np.ndarray) else v for v in self.values]
            yield name, self.schema.build(values), tuple(end[i] for end in self.ends)

    def columns(self) -> list[NDArray[np.float64]]:
        """The numbers as they are stacked: per number of the schema, (parts, 1)."""
        shape = (len(self.names), 1)
        return [
            v[:, None] if isinstance(v, np.ndarray) else np.broadcast_to(float(v), shape) for v in self.values
        ]


class ManyNumbers(Mapping[str, Any]):
    """Address -> number, of parts that were added at once too; their addresses are written when asked for."""

    def __init__(self, own: dict[str, Any], many: Sequence[Many]) -> None:
        self.own, self.many = own, tuple(many)

    @cached_property
    def _all(self) -> dict[str, Any]:
        out = dict(self.own)
        for group in self.many:
            for number_key, value in zip(group.schema.number_keys, group.values, strict=True):
                each = value.tolist() if isinstance(value, np.ndarray) else [value] * len(group.names)
                out.update(zip([f"{name}.{number_key}" for name in group.names], each, strict=True))
        return out

    def __getitem__(self, address: str) -> Any:
        return self.own[address] if address in self.own else self._all[address]

    def __iter__(self) -> Iterator[str]:
        return iter(self._all)

    def __len__(self) -> int:
        return len(self._all)


def _texts(values: Any, what: str) -> list[str]:
    items = listed(values, PLACE, what)
    if not items:
        raise InputError("an empty list", place=PLACE, allowed=what)
    if set(map(type, items)) != {str}:
        items = [text(item, PLACE, what) for item in items]
    return items


def _same_count(what: str, count: int, names: int) -> None:
    if count != names:
        allowed = f"one for all, or one for each of {names:,} parts"
        raise InputError(f"{what} has {count:,} values", place=PLACE, allowed=allowed)
