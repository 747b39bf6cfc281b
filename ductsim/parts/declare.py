"""How a part says what it is: its numbers declared once, its paths, and its form.

A declaration is at once the constructor's check, the key in a machine file, the measure, the range,
the words in the docs, the default spread, the address and the generated bad-value tests.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, TypeVar, dataclass_transform

import numpy as np

from ..arguments import mapping, same_place
from ..errors import InputError, UnknownName, shown
from ..quantity import si
from ..sources import SOURCES
from .numbers import (
    REQUIRED,
    Nested,
    Number,
    OptionalValue,
    OptionalValues,
    Value,
    Values,
    Word,
    nested,
    number,
    word,
)

__all__ = [
    "KINDS",
    "Fields",
    "Form",
    "LocalAir",
    "Nested",
    "Number",
    "OptionalValue",
    "OptionalValues",
    "Pair",
    "Part",
    "Path",
    "Value",
    "Values",
    "Word",
    "fields",
    "leaf_values",
    "nested",
    "number",
    "part",
    "word",
]


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
        missing = [
            f.name
            for f in dataclasses.fields(cls)  # type: ignore[arg-type]
            if f.default is REQUIRED and f.name not in values
        ]
        if missing:
            doc = cls.declared[missing[0]].doc
            raise InputError(f"the key {missing[0]!r} is missing", place=cls.kind, allowed=doc)
        return cls(**values)

    @property
    def form(self) -> Form:
        """Which fields are given, and how many points and smaller parts there are: all but the numbers."""
        return Form.of(self)

    def numbers(self) -> dict[str, Any]:
        """Leaf name ("length", "bend 1.angle", "flow[3]") -> SI float or column."""
        return dict(zip(self.form.leaves, leaf_values(self), strict=True))

    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other) or self.form != other.form:
            return False
        pairs = zip(leaf_values(self), leaf_values(other), strict=True)
        return all(np.array_equal(a, b) for a, b in pairs)

    def __hash__(self) -> int:
        return hash(self.form)

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


class Part(Fields):
    """One part of the air path between named ends.

    A subclass, decorated with `part("its kind")`, declares its numbers and gives `paths()`, written in
    plain NumPy so that one call serves a single part (floats), a column, or all parts of the same form
    stacked as arrays of shape (parts, scenarios).

    Class attributes
    ----------------
    ends : the words for its connections, in order.
    path_names : one word a path, "" when there is only one.
    directed : False when the part may be turned round without a change.
    sources : keys into `ductsim.sources` for what the part itself adds to its laws.
    """

    ends: ClassVar[tuple[str, ...]] = ("from", "to")
    path_names: ClassVar[tuple[str, ...]] = ("",)
    directed: ClassVar[bool] = False
    sources: ClassVar[tuple[str, ...]] = ()

    def paths(self) -> tuple[Path | Pair, ...]:
        """Per path, its law and coefficients."""
        raise TypeError(f"{type(self).__name__} gives no paths")

    def outside(self) -> list[tuple[Any, str]]:
        """Where the part leaves the range of its own sources (its laws state theirs): (mask, sentence)."""
        return []


@dataclass(slots=True)
class Path:
    """One way of the air through a part: a law, its coefficients, and what the network must know of it.

    Attributes
    ----------
    law : the function `law(flow, air, **coefficients) -> drop, slope, slope_in_density`.
    coefficients : name -> float or array that broadcasts with (parts, scenarios).
    area : section for velocities and tappings [m2].
    start : a typical mass flow, the cold start's first guess [kg/s]; by default 10 m/s in `area`.
    ends : the path's two ends, as places in the part's `ends`.
    density : at which pressure the air is taken: "mean" of both ends, "inlet" (the first end), or
        "entering" (the end the air comes from). Its temperature is always the entering air's.
    shut : True where the path is closed; its coefficients must still be valid numbers there.
    power : `power(flow, density, **coefficients)` [W], shaft power that ends up in the air as heat.
    inlet_temperature : temperature of the air that a fan draws in [K], None for the node's own.
    """

    law: Callable[..., tuple[Any, Any, Any]]
    coefficients: dict[str, Any]
    area: Any
    start: Any = None
    ends: tuple[int, int] = (0, 1)
    density: str = "mean"
    shut: Any = False
    power: Callable[..., Any] | None = None
    inlet_temperature: Any = None


@dataclass(slots=True)
class Pair:
    """Two paths that share an end and act on each other: a jet, a merge, a split.

    The law is `law((x, y), air, **coefficients) -> (d1, d2), ((s11, s12), (s21, s22)), (q1, q2)` where
    `air.density` holds three densities and q1, q2 are the slopes of each drop in these three.

    Attributes
    ----------
    ends : ((from, to), (from, to)) as places in the part's `ends`.
    density : for each of the three densities, (path or mix, end): whose temperature it has (0 or 1: the
        air of that path; 2: both mixed) and at which of the part's ends the pressure is taken.
    area, start, shut : a value for each of the two paths.
    """

    law: Callable[..., tuple[Any, Any, Any]]
    coefficients: dict[str, Any]
    area: tuple[Any, Any]
    ends: tuple[tuple[int, int], tuple[int, int]]
    density: tuple[tuple[int, int], tuple[int, int], tuple[int, int]]
    start: tuple[Any, Any] | None = None
    shut: tuple[Any, Any] = (False, False)


@dataclass(slots=True)
class LocalAir:
    """The air a law sees: density [kg/m3], viscosity [Pa s], outside density [kg/m3].

    For a `Pair`, `density` and `per_pressure` (density per pressure [kg/(m3 Pa)]) are triples.
    """

    density: Any
    viscosity: Any
    outside: Any = 0.0
    per_pressure: Any = 0.0


KINDS: dict[str, type[Part]] = {}
F = TypeVar("F", bound=type[Fields])


def _declared(cls: type, f: dataclasses.Field[Any]) -> Number | Word | Nested:
    declared = f.metadata.get("declared")
    if not isinstance(declared, (Number, Word, Nested)):
        raise TypeError(f"{cls.__name__}.{f.name} is declared by none of number(), word() and nested()")
    return declared


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(number, word, nested))
def fields(kind: str) -> Callable[[F], F]:
    """Class decorator: a frozen dataclass with checked fields, not a part of its own (a bend)."""

    def make(cls: F) -> F:
        cls.kind = kind
        built = dataclass(frozen=True, kw_only=True, eq=False, repr=False)(cls)
        decl = {f.name: _declared(cls, f) for f in dataclasses.fields(built)}  # type: ignore[arg-type]
        optional = {f.name for f in dataclasses.fields(built) if f.default is None}  # type: ignore[arg-type]
        cls.declared = decl
        plain = {n: d for n, d in decl.items() if isinstance(d, Number) and not d.points}
        cls._plain = tuple((n, d, n in optional) for n, d in plain.items())
        cls._rest = tuple((n, d, n in optional) for n, d in decl.items() if n not in plain)
        return built  # type: ignore[return-value]

    return make


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(number, word, nested))
def part(kind: str) -> Callable[[F], F]:
    """Class decorator that makes a `Part` and registers it under its kind, the word in machine files.

    The same class of the same module may be registered again (a notebook cell run twice); the last counts.

    Raises
    ------
    InputError
        For a kind that is none, or taken by another class; a class that is no `Part`; sources that are not
        in `ductsim.sources.SOURCES`; ends and names of paths that do not fit.
    """
    if not isinstance(kind, str) or not kind.strip() or not kind.isprintable() or kind != kind.strip():
        raise InputError(f"{shown(kind)} is no kind", place="part", allowed="a text on one line, like 'hose'")

    def make(cls: F) -> F:
        _check_class(kind, cls)
        built = fields(kind)(cls)
        KINDS[kind] = built  # type: ignore[assignment]
        return built

    return make


def _check_class(kind: str, cls: Any) -> None:
    """What a class must have before it is registered as a kind of part."""
    place = f"part {kind!r}"
    if not isinstance(cls, type) or not issubclass(cls, Part):
        raise InputError(f"{shown(cls)} is no class of parts", place=place, allowed="class Filter(ds.Part)")
    known = KINDS.get(kind)
    if known is not None and not same_place(known, cls):
        raise InputError(
            f"the kind is taken by {known.__module__}.{known.__qualname__}",
            place=place,
            allowed="another kind",
        )
    for name, value, least in (("ends", cls.ends, 2), ("path_names", cls.path_names, 1)):
        words = isinstance(value, tuple) and all(isinstance(word, str) for word in value)
        if not words or len(value) < least or len(set(value)) < len(value):
            raise InputError(
                f"{name} = {shown(value)}",
                place=place,
                allowed=f"a tuple of at least {least} different texts",
            )
    if len(cls.path_names) > 1 and "" in cls.path_names:
        raise InputError("a path without a name", place=place, allowed="a name for each of several paths")
    if not isinstance(cls.sources, tuple):
        raise InputError(f"sources = {shown(cls.sources)}", place=place, allowed="a tuple of keys")
    for key in cls.sources:
        if key not in SOURCES:
            raise UnknownName.of("source", key, SOURCES, place=place)


@dataclass(frozen=True)
class Form:
    """A part without its numbers: parts of one form are stacked and evaluated together.

    Attributes
    ----------
    part : the class.
    shape : field name -> None (not given), a word, a number of points, or the forms of smaller parts.
    """

    part: type[Fields]
    shape: tuple[tuple[str, Any], ...]

    @classmethod
    def of(cls, thing: Fields) -> Form:
        """The form of one part."""
        key = tuple(_shape(decl, getattr(thing, name)) for name, decl in thing.declared.items())
        known = _FORMS.get((type(thing), key))
        if known is None:
            shape = tuple(zip(thing.declared, key, strict=True))
            known = _FORMS[type(thing), key] = cls(type(thing), shape)
        return known

    @property
    def leaves(self) -> tuple[str, ...]:
        """The names of its numbers, in order."""
        return tuple(name for name, _ in self.declarations())

    def declarations(self) -> tuple[tuple[str, Number], ...]:
        """(leaf name, declaration) of each of its numbers, in order."""
        known = _LEAVES.get(self)
        if known is None:
            known = _LEAVES[self] = tuple(self._walk())
        return known

    def declaration(self, leaf: str) -> Number:
        """The declaration of one of its numbers."""
        return dict(self.declarations())[leaf]

    def _walk(self) -> Iterator[tuple[str, Number]]:
        for name, shape in self.shape:
            decl = self.part.declared[name]
            if isinstance(decl, Number) and shape is not None:
                if decl.points:
                    yield from ((f"{name}[{i}]", decl) for i in range(shape))
                else:
                    yield name, decl
            elif isinstance(decl, Nested):
                for i, form in enumerate(shape):
                    yield from ((f"{decl.name} {i + 1}.{leaf}", d) for leaf, d in form.declarations())

    def build(self, values: Sequence[Any]) -> Any:
        """A part of this form from its leaf values, unchecked; arrays of any shape are taken as they are."""
        if len(values) != len(self.leaves):
            raise ValueError(f"{self.part.__name__} takes {len(self.leaves)} values, got {len(values)}")
        return self._build(iter(values))

    def _build(self, rest: Iterator[Any]) -> Any:
        thing = object.__new__(self.part)
        for name, shape in self.shape:
            decl = self.part.declared[name]
            value: Any
            if isinstance(decl, Number):
                value = None if shape is None else next(rest) if not decl.points else None
                if decl.points and shape is not None:
                    value = tuple(next(rest) for _ in range(shape))
            elif isinstance(decl, Nested):
                value = tuple(form._build(rest) for form in shape)
            else:
                value = shape
            thing.__dict__[name] = value
        return thing


_FORMS: dict[tuple[type, Any], Form] = {}
_LEAVES: dict[Form, tuple[tuple[str, Number], ...]] = {}


def _shape(decl: Any, value: Any) -> Any:
    if isinstance(decl, Number):
        if value is None:
            return None
        return len(value) if decl.points else True
    if isinstance(decl, Nested):
        return tuple(Form.of(item) for item in value)
    return value


def leaf_values(thing: Fields) -> list[Any]:
    """The numbers of a part in the order of its form's leaves."""
    out: list[Any] = []
    for name, decl in thing.declared.items():
        value = getattr(thing, name)
        if value is None or isinstance(decl, Word):
            continue
        if isinstance(decl, Nested):
            for item in value:
                out.extend(leaf_values(item))
        elif decl.points:
            out.extend(value)
        else:
            out.append(value)
    return out
