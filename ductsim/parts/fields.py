"""Something with declared fields, a part or a smaller one within it, and its schema: all but numbers."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar, TypeVar, dataclass_transform

import numpy as np

from ..arguments import mapping
from ..errors import InputError, UnknownName, shown
from ..quantity import si
from .documented import docstring
from .numbers import REQUIRED, Number, Word, number, word


class Fields:
    """Something with declared fields: a part, or a smaller thing within one (a bend).

    Class attributes
    ----------------
    kind : the word in a machine file.
    declared : field name -> its declaration.
    choices : alternatives of which exactly one must be complete, each a tuple of field names.
    """

    kind: ClassVar[str] = ""
    declared: ClassVar[dict[str, Number | Word | Nested]] = {}
    choices: ClassVar[tuple[tuple[str, ...], ...]] = ()
    _plain: ClassVar[tuple[tuple[str, Number, bool], ...]] = ()
    _rest: ClassVar[tuple[tuple[str, Any, bool], ...]] = ()

    def __post_init__(self) -> None:
        own = self.__dict__
        for name, decl, optional in self._plain:
            value = own[name]
            if type(value) is float:
                if decl.low <= value <= decl.high:
                    continue
            elif value is None and optional:
                continue
            if value is None:
                raise InputError(f"{name} is missing", place=self.kind, allowed=decl.doc)
            own[name] = decl.check(value, f"{self.kind}: {name}")
        for name, decl, optional in self._rest:
            if own[name] is not None or not optional:
                own[name] = _check_rest(decl, own[name], f"{self.kind}: {name}")
        if self.choices:
            self._check_choices()
        self.check()

    def _check_choices(self) -> None:
        given = {f for keys in self.choices for f in keys if getattr(self, f) is not None}
        if any(given == set(keys) for keys in self.choices):
            return
        ways = " or ".join(" and ".join(keys) for keys in self.choices)
        got_words = ", ".join(sorted(given)) or "none of them"
        raise InputError(f"got {got_words}", place=self.kind, allowed=f"give exactly one set of {ways}")

    def check(self) -> None:
        """Checks that need more than one field; a part overrides it, with plain comparisons."""

    @classmethod
    def of(cls, values: dict[str, Any]) -> Any:
        """Build from a mapping, refusing keys that are not declared."""
        mapping(values, cls.kind, "a mapping of its fields")
        for key in values:
            if not isinstance(key, str) or key not in cls.declared:
                raise UnknownName.of("key", key, cls.declared, place=cls.kind)
        missing = [name for name in cls.needed() if name not in values]
        if missing:
            doc = cls.declared[missing[0]].doc
            raise InputError(f"the key {missing[0]!r} is missing", place=cls.kind, allowed=doc)
        return cls(**values)

    @classmethod
    def needed(cls) -> list[str]:
        """The fields without a default."""
        return [f.name for f in dataclasses.fields(cls) if f.default is REQUIRED]  # type: ignore[arg-type]

    @property
    def schema(self) -> Schema:
        """Which fields are given, and how many points and smaller parts there are: all but the numbers."""
        return Schema.of(self)

    def numbers(self) -> dict[str, Any]:
        """Leaf name ("length", "bend 1.angle", "flow[3]") -> SI float or column."""
        return dict(zip(self.schema.number_keys, number_values(self), strict=True))

    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other) or self.schema != other.schema:
            return False
        pairs = zip(number_values(self), number_values(other), strict=True)
        return all(np.array_equal(a, b) for a, b in pairs)

    def __hash__(self) -> int:
        return hash(self.schema)

    def __repr__(self) -> str:
        words = []
        for f in dataclasses.fields(self):  # type: ignore[arg-type]
            value = getattr(self, f.name)
            if value is not None and not (isinstance(value, tuple) and not value):
                if isinstance(value, np.ndarray):
                    value = f"<column of {value.size}>"
                words.append(f"{f.name}={value:g}" if isinstance(value, float) else f"{f.name}={value}")
        return f"{type(self).__name__}({', '.join(words)})"


def _check_rest(decl: Any, value: Any, place: str) -> Any:
    if not isinstance(decl, Number):
        return decl.check(value, place)
    if hasattr(value, "m_as"):  # a list that a measures library made
        try:
            value = si(value, decl.measure)
        except InputError as err:
            raise err.at(place=place) from None
    elif hasattr(value, "__array__"):
        value = np.asarray(value)
    array = isinstance(value, np.ndarray) and value.ndim > 0
    if not array and (isinstance(value, (str, bytes)) or not isinstance(value, Sequence)):
        raise InputError(f"{shown(value)} is not a list", place=place, allowed="a list of values")
    return tuple(decl.check(v, f"{place}[{i}]") for i, v in enumerate(value))


def _is_scalar(value: Any) -> bool:
    """An array without a dimension passes for a list until it is read."""
    return getattr(value, "shape", None) == ()


@dataclass(frozen=True, slots=True)
class Nested:
    """A field that holds a tuple of smaller parts (bends); `name` is their word in addresses."""

    kind: type[Fields]
    name: str
    doc: str

    def check(self, value: Any, place: str) -> tuple[Fields, ...]:
        """`value` as a tuple of the smaller parts; mappings are built into them."""
        if isinstance(value, (self.kind, dict)):
            value = (value,)
        if isinstance(value, (str, bytes)) or not isinstance(value, Iterable) or _is_scalar(value):
            raise InputError(f"{shown(value)} is not a list", place=place, allowed=f"a list: {self.doc}")
        out = []
        for i, item in enumerate(value):
            if isinstance(item, dict):
                try:
                    item = self.kind.of(item)
                except InputError as err:
                    raise err.at(place=f"{place}: {self.name} {i + 1}") from None
            if not isinstance(item, self.kind):
                raise InputError(f"{shown(item)} is not a {self.name}", place=place)
            out.append(item)
        return tuple(out)


def nested(kind: type[Fields], name: str, *, default: tuple[Any, ...] = (), doc: str) -> Any:
    """Declare a tuple of smaller parts of one kind, none by default."""
    return field(default=default, metadata={"declared": Nested(kind, name, doc)})


F = TypeVar("F", bound=type[Fields])


def _declared(cls: type, f: dataclasses.Field[Any]) -> Number | Word | Nested:
    declared = f.metadata.get("declared")
    if not isinstance(declared, (Number, Word, Nested)):
        raise TypeError(f"{cls.__name__}.{f.name} is declared by none of number(), word() and nested()")
    return declared


def same_as(kind: type[Fields], name: str) -> Any:
    """Declare a number just as `kind` has declared its own: measure, range, default, spread and words.

    It is no field specifier: type checkers take its value for the default, which they cannot see.
    """
    known = next(f for f in dataclasses.fields(kind) if f.name == name)  # type: ignore[arg-type]
    return dataclasses.field(default=known.default, metadata=known.metadata)


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(number, word, nested))
def fields(kind: str) -> Callable[[F], F]:
    """Class decorator: a frozen dataclass with checked fields, not a part of its own (a bend)."""

    def make(cls: F) -> F:
        cls.kind = kind
        own = cls.__doc__ or ""  # before the dataclass puts its signature where there is none
        built = dataclass(frozen=True, kw_only=True, eq=False, repr=False)(cls)
        decl = {f.name: _declared(cls, f) for f in dataclasses.fields(built)}  # type: ignore[arg-type]
        optional = {f.name for f in dataclasses.fields(built) if f.default is None}  # type: ignore[arg-type]
        cls.declared = decl
        plain = {n: d for n, d in decl.items() if isinstance(d, Number) and not d.points}
        cls._plain = tuple((n, d, n in optional) for n, d in plain.items())
        cls._rest = tuple((n, d, n in optional) for n, d in decl.items() if n not in plain)
        cls.__doc__ = docstring(cls, own)
        return built  # type: ignore[return-value]

    return make


@dataclass(frozen=True)
class Schema:
    """A part without its numbers: parts of one schema are stacked and evaluated together.

    Attributes
    ----------
    part : the class.
    shape : field name -> None (not given), a word, a number of points, or the forms of smaller parts.
    """

    part: type[Fields]
    shape: tuple[tuple[str, Any], ...]

    @classmethod
    def of(cls, obj: Fields) -> Schema:
        """The schema of one part."""
        key = tuple(_shape(decl, getattr(obj, name)) for name, decl in obj.declared.items())
        known = _SCHEMAS.get((type(obj), key))
        if known is None:
            shape = tuple(zip(obj.declared, key, strict=True))
            known = _SCHEMAS[type(obj), key] = cls(type(obj), shape)
        return known

    @property
    def number_keys(self) -> tuple[str, ...]:
        """The names of its numbers, in order."""
        return tuple(name for name, _ in self.declarations())

    def declarations(self) -> tuple[tuple[str, Number], ...]:
        """(key of a number, declaration) of each of its numbers, in order."""
        known = _LEAVES.get(self)
        if known is None:
            known = _LEAVES[self] = tuple(self._walk())
        return known

    def declaration(self, number_key: str) -> Number:
        """The declaration of one of its numbers."""
        return dict(self.declarations())[number_key]

    def _walk(self) -> Iterator[tuple[str, Number]]:
        for name, shape in self.shape:
            decl = self.part.declared[name]
            if isinstance(decl, Number) and shape is not None:
                if decl.points:
                    yield from ((f"{name}[{i}]", decl) for i in range(shape))
                else:
                    yield name, decl
            elif isinstance(decl, Nested):
                for i, schema in enumerate(shape):
                    yield from (
                        (f"{decl.name} {i + 1}.{number_key}", d) for number_key, d in schema.declarations()
                    )

    def build(self, values: Sequence[Any]) -> Any:
        """A part of this schema from its numbers, unchecked; arrays of any shape are taken as they are."""
        if len(values) != len(self.declarations()):
            raise ValueError(f"{self.part.__name__} takes {len(self.number_keys)} values, got {len(values)}")
        return self._build(iter(values))

    def _build(self, rest: Iterator[Any]) -> Any:
        obj = object.__new__(self.part)
        for name, shape in self.shape:
            decl = self.part.declared[name]
            value: Any
            if isinstance(decl, Number):
                value = None if shape is None else next(rest) if not decl.points else None
                if decl.points and shape is not None:
                    value = tuple(next(rest) for _ in range(shape))
            elif isinstance(decl, Nested):
                value = tuple(schema._build(rest) for schema in shape)
            else:
                value = shape
            obj.__dict__[name] = value
        return obj


_SCHEMAS: dict[tuple[type, Any], Schema] = {}
_LEAVES: dict[Schema, tuple[tuple[str, Number], ...]] = {}


def _shape(decl: Any, value: Any) -> Any:
    if isinstance(decl, Number):
        if value is None:
            return None
        return len(value) if decl.points else True
    if isinstance(decl, Nested):
        return tuple(Schema.of(item) for item in value)
    return value


def number_values(obj: Fields) -> list[Any]:
    """The numbers of a part in the order of its schema."""
    out: list[Any] = []
    for name, decl in obj.declared.items():
        value = getattr(obj, name)
        if value is None or isinstance(decl, Word):
            continue
        if isinstance(decl, Nested):
            for item in value:
                out.extend(number_values(item))
        elif decl.points:
            out.extend(value)
        else:
            out.append(value)
    return out
