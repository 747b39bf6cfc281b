"""How a part says what it is: its numbers declared once, what is known of its kind, its paths.

A declaration is at once the constructor's check, the key in a machine file, the measure, the range,
the words in the docs, the default spread, the address and the generated bad-value tests.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Self, TypeVar, dataclass_transform

from ..arguments import mapping, one_of, same_place
from ..cautions import TAGS
from ..errors import InputError, UnknownName, shown
from ..sources import SOURCES
from .choices import Choice, Chosen
from .fields import Fields, Nested, Schema, fields, nested, number_values, same_as
from .mishaps import Mishap
from .numbers import Number, OptionalValue, OptionalValues, Value, Values, Word, number, word

__all__ = [
    "KINDS",
    "Choice",
    "Chosen",
    "Fields",
    "LocalAir",
    "Mishap",
    "Nested",
    "Number",
    "OptionalValue",
    "OptionalValues",
    "Pair",
    "Part",
    "Path",
    "Schema",
    "Value",
    "Values",
    "Word",
    "fields",
    "nested",
    "number",
    "number_values",
    "part",
    "same_as",
    "word",
]


class Part(Fields):
    """One part of the air path between named ends.

    A subclass, decorated with `part("its kind")`, declares its numbers and gives `paths()`, written in
    plain NumPy so that one call serves a single part (floats), a column, or all parts of the same schema
    stacked as arrays of shape (parts, scenarios).

    Class attributes
    ----------------
    ends : the words for its connections, in order.
    path_names : one word a path, "" when there is only one.
    crop_ways : the ways that crop can take through it towards a duct, each as two places in `ends`.
    speeds_crop : True where crop is sped up on its way through: ducts, hoses, jets.
    carries_on : True where crop goes on through it beyond the duct of its unit.
    sources : keys into `ductsim.sources` for what the part itself adds to its laws.
    is_fan : True where the part has a number `speed` in rad/s, which a drive may give, and its path takes
        shaft power.
    is_leak : True where no air is meant to pass: readings look for its size, a drawing dashes its lines.
    assumed : name -> keys of a table that a file may hold in place of its numbers; the class method of that
        name takes them.
    assumed_more : name -> keys that this table may hold besides.
    sizes : the numbers that say how large its opening is, of which one is given; it is 0 while the part is
        taped shut. Without any, the part cannot be taped.
    faults : the numbers, shares from 0, that dirt, wear and damage raise.
    mishaps : what happens to such parts in the field, each to be looked at by itself.
    switches : word in an address -> the number that it sets and by which words: `left fan.belt = "off"`.
    mixed_up : True where two of them are easily exchanged for one another when a machine is put together.
    work : the kind of work that a change of it is, a key of `ductsim.cautions.TAGS`.
    work_on : number -> kind of work, where it is another.
    symbol : its symbol in a drawing, a key of `ductsim.drawing.symbols.SYMBOLS`.
    legend : its words in a drawing's legend; the kind itself if empty.
    """

    ends: ClassVar[tuple[str, ...]] = ("from", "to")
    path_names: ClassVar[tuple[str, ...]] = ("",)
    crop_ways: ClassVar[tuple[tuple[int, int], ...]] = ((0, 1),)
    speeds_crop: ClassVar[bool] = False
    carries_on: ClassVar[bool] = False
    sources: ClassVar[tuple[str, ...]] = ()
    is_fan: ClassVar[bool] = False
    is_leak: ClassVar[bool] = False
    assumed: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    assumed_more: ClassVar[Mapping[str, tuple[str, ...]]] = {}
    sizes: ClassVar[tuple[str, ...]] = ()
    faults: ClassVar[tuple[str, ...]] = ()
    mishaps: ClassVar[tuple[Mishap, ...]] = ()
    switches: ClassVar[Mapping[str, tuple[str, Mapping[str, float]]]] = {}
    mixed_up: ClassVar[bool] = False
    work: ClassVar[str] = "part"
    work_on: ClassVar[Mapping[str, str]] = {}
    symbol: ClassVar[str] = "block"
    legend: ClassVar[str] = ""

    def paths(self) -> tuple[Path | Pair, ...]:
        """Per path, its law and coefficients."""
        raise TypeError(f"{type(self).__name__} gives no paths")

    def section_at(self, end: str) -> Any:
        """The section at one of its ends [m2], where air fills it; None where the part tells none."""
        return None

    def placed(self, nodes: Sequence[str], free: Collection[str]) -> Self:
        """The part as it stands between `nodes`, of which those in `free` are the open air or boxes."""
        return self

    @classmethod
    def ducted(cls, nodes: Sequence[str], free: Collection[str]) -> dict[str, str]:
        """The words that keep ends at nodes in `free` from being free ends: key -> word."""
        return {}

    @classmethod
    def implied(cls, field: str, shape: Mapping[str, Any]) -> str:
        """The word of a number that a file need not hold, since another of its words says it; else empty."""
        return ""

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
F = TypeVar("F", bound="type[Part]")


@dataclass_transform(kw_only_default=True, frozen_default=True, field_specifiers=(number, word, nested))
def part(kind: str) -> Callable[[F], F]:
    """Class decorator that makes a `Part` and registers it under its kind, the word in machine files.

    The same class of the same module may be registered again (a notebook cell run twice); the last counts.

    Raises
    ------
    InputError
        For a kind that is none, or taken by another class; a class that is no `Part`; sources that are not
        in `ductsim.sources.SOURCES`; ends and names of paths that do not fit; numbers named like what every
        part has; class attributes that name no number of the part or no kind of work.
    """
    if not isinstance(kind, str) or not kind.strip() or not kind.isprintable() or kind != kind.strip():
        raise InputError(f"{shown(kind)} is no kind", place="part", allowed="a text on one line, like 'hose'")

    def make(cls: F) -> F:
        _check_class(kind, cls)
        built: Any = fields(kind)(cls)
        _check_known(f"part {kind!r}", built)
        KINDS[kind] = built
        return built  # type: ignore[no-any-return]

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


def _check_known(place: str, cls: type[Part]) -> None:
    """What a part says of its kind must fit its numbers and the words that it is said in."""
    for name in cls.declared:
        if hasattr(Part, name):
            raise InputError(f"{name!r} is what every part has", place=place, allowed="another name for it")
    for key in ("is_fan", "is_leak", "speeds_crop", "carries_on", "mixed_up"):
        if not isinstance(getattr(cls, key), bool):
            raise InputError(f"{key} = {shown(getattr(cls, key))}", place=place, allowed="True or False")
    from_zero = [
        name
        for name, decl in cls.declared.items()
        if isinstance(decl, Number) and not decl.points and decl.low <= 0.0
    ]
    for key in ("sizes", "faults"):
        names = getattr(cls, key)
        if not isinstance(names, tuple):
            raise InputError(f"{key} = {shown(names)}", place=place, allowed='a tuple, like ("area",)')
        for name in names:
            one_of(name, from_zero, f"{place}, {key}", "number that may be 0")
    if not isinstance(cls.mishaps, tuple) or not all(isinstance(own, Mishap) for own in cls.mishaps):
        raise InputError(f"mishaps = {shown(cls.mishaps)}", place=place, allowed="a tuple of ds.Mishap(...)")
    for own in cls.mishaps:
        for name in own.numbers:
            one_of(name, cls.declared, f"{place}, mishaps", "number")
    mapping(cls.switches, f"{place}, switches", "word -> (number, words)")
    for name, _ in cls.switches.values():
        one_of(name, cls.declared, f"{place}, switches", "number")
    mapping(cls.work_on, f"{place}, work_on", "number -> kind of work")
    for name in cls.work_on:
        one_of(name, cls.declared, f"{place}, work_on", "number")
    for work in (cls.work, *cls.work_on.values()):
        one_of(work, TAGS, f"{place}, work", "kind of work")
    for key in ("symbol", "legend"):
        if not isinstance(getattr(cls, key), str):
            raise InputError(f"{key} = {shown(getattr(cls, key))}", place=place, allowed="a text")
    ends = range(len(cls.ends))
    ways = cls.crop_ways if isinstance(cls.crop_ways, tuple) else (None,)
    if not all(isinstance(way, tuple) and len(way) == 2 and {*way} <= {*ends} for way in ways):
        raise InputError(
            f"crop_ways = {shown(cls.crop_ways)}",
            place=place,
            allowed="a tuple of (from, to), places in its ends",
        )
    speed = cls.declared.get("speed")
    if cls.is_fan and not (isinstance(speed, Number) and speed.measure == "rad/s"):
        raise InputError("a fan without a speed", place=place, allowed="a number speed in rad/s")
