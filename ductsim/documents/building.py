"""Things with declared fields from the tables of a file, in which one number is one number."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from typing import Any

from ..errors import InputError, Problems, UnknownName, shown
from ..parts.declare import Fields, Nested, Number, Word
from ..quantity import si

NO_COLUMN = "a file holds no columns"


def build(kind: type[Fields], values: Mapping[str, Any], place: str) -> Any:
    """A thing of a kind from the values under its keys; lists where one number belongs are refused.

    Raises
    ------
    InputError
        With the place of the thing, for whatever is wrong with its values.
    """
    values = sized(kind, values, place)
    check_values(kind, values, place)
    try:
        return kind.of(dict(values))
    except InputError as err:
        raise _with_known_key(err, kind).at(place=place) from None
    except (TypeError, ValueError, OverflowError, AttributeError) as err:
        raise InputError(f"cannot be read: {err}", place=place) from None


def check_values(
    kind: type[Fields], values: Mapping[str, Any], place: str, unsaid: Collection[str] = ()
) -> None:
    """Every key and every value by itself, so that all that is wrong is said at once.

    Parameters
    ----------
    kind : type of Fields
        What is declared.
    values : mapping
        Key -> what is written there.
    place : str
        Of the thing.
    unsaid : collection of str
        Keys of which nothing is said where they are missing, since something else is wrong with them.

    Raises
    ------
    InputError
        For unknown keys, values that are none, and keys that are missing.
    """
    found = Problems()
    for key, value in values.items():
        declared = kind.declared.get(key)
        with found.noting(key):
            if declared is None:
                raise UnknownName.of("key", key, kind.declared, place=place)
            _check_single(kind, {key: value}, place)
            if isinstance(declared, Number) and value is not None:
                for i, item in enumerate(value if declared.points else [value]):
                    declared.check(item, f"{place}, {key}[{i}]" if declared.points else f"{place}, {key}")
            elif isinstance(declared, Word):
                declared.check(value, f"{place}, {key}")
            elif isinstance(declared, Nested):
                _check_nested(declared, value, place, key)
    for name in kind.needed():
        with found.noting():
            if name not in values and name not in unsaid:
                raise InputError(f"the key {name!r} is missing", place=place, allowed=_asked(kind, name))
    ways = [key for keys in kind.choices for key in keys]
    with found.noting():
        if ways and not any(key in values or key in unsaid for key in ways):
            words = " or ".join(" and ".join(keys) for keys in kind.choices)
            raise InputError(f"none of {', '.join(ways)} is given", place=place, allowed=f"give {words}")
    found.refuse()


def _check_nested(declared: Nested, value: Any, place: str, key: str) -> None:
    """The smaller things of a thing, each by itself."""
    found = Problems()
    keys = ", ".join(f"{key} = ..." for key in declared.kind.declared)
    for i, item in enumerate(value if isinstance(value, (list, tuple)) else [value]):
        with found.noting(*((i,) if isinstance(value, (list, tuple)) else ())):
            if not isinstance(item, dict):
                allowed = f"a list with a table for each: [{{ {keys} }}]"
                raise InputError(
                    f"{shown(item)} is no {declared.name}", place=f"{place}, {key}", allowed=allowed
                )
            build(declared.kind, item, f"{place}, {declared.name} {i + 1}")
    found.refuse()


def _asked(kind: type[Fields], name: str) -> str:
    """What is asked for under a key: what it means, and the words that may stand for it."""
    declared = kind.declared[name]
    words = [choice.word for choice in declared.words] if isinstance(declared, Number) else []
    return declared.doc + (f": a number, or {', '.join(map(repr, words))}" if words else "")


def sized(kind: type[Fields], values: Mapping[str, Any], place: str) -> dict[str, Any]:
    """The values with each area that is given by `width` and `height`, or by `diameter`, as an area.

    "nozzle_diameter" stands for "nozzle_area", "diameter" for "area", where it has no such number itself.

    Raises
    ------
    InputError
        For an area given in two ways, a width without its height, and sizes that are none.
    """
    out = dict(values)
    for area in [key for key in kind.declared if key == "area" or key.endswith("_area")]:
        prefix = area.removesuffix("area")
        names = [f"{prefix}{word}" for word in ("diameter", "width", "height")]
        given = [name for name in names if name in out and name not in kind.declared]
        if not given:
            continue
        if area in out or given not in (names[:1], names[1:]):
            raise InputError(
                f"{area} from {', '.join(given)}" + (f" beside {area}" if area in out else ""),
                place=place,
                allowed=f"{area}, or {names[0]}, or {names[1]} and {names[2]}",
            )
        sizes = [_size(out.pop(name), f"{place}, {name}") for name in given]
        out[area] = 0.25 * math.pi * sizes[0] ** 2 if len(sizes) == 1 else sizes[0] * sizes[1]
    return out


def _size(value: Any, place: str) -> float:
    """A length above zero, one number [m]."""
    one_value(value, place.rpartition(", ")[2], place.rpartition(", ")[0])
    try:
        size = si(value, "m")
    except InputError as err:
        raise err.at(place=place) from None
    if not isinstance(size, float) or not 0.0 <= size < 1e6:
        raise InputError(f"{shown(value)} is out of range", place=place, allowed="a length, 0 or more")
    return size


def one_value(value: Any, key: str, place: str) -> None:
    """Refuse a list or a table where one number belongs: Python may give columns, a file may not."""
    if isinstance(value, (list, tuple, dict)):
        raise InputError(f"{key}: {shown(value)} is not one number", place=place, allowed=NO_COLUMN)


def _check_single(kind: type[Fields], values: Mapping[str, Any], place: str) -> None:
    """Every number of a thing, of its curves and of what it is made of, is one number."""
    for key, value in values.items():
        declared = kind.declared.get(key)
        if isinstance(declared, Number) and declared.points:
            if not isinstance(value, (list, tuple)):
                raise InputError(
                    f"{key}: {shown(value)} is not a list", place=place, allowed="a list of values"
                )
            for i, item in enumerate(value):
                one_value(item, f"{key}[{i}]", place)
        elif isinstance(declared, Number):
            one_value(value, key, place)
            if isinstance(value, int) and not isinstance(value, bool):
                _check_integer(value, declared.measure, f"{place}, {key}")
        elif isinstance(declared, Nested):
            items = value if isinstance(value, (list, tuple)) else [value]
            for i, item in enumerate(items, 1):
                if isinstance(item, dict):
                    _check_single(declared.kind, item, f"{place}, {declared.name} {i}")


def _check_integer(value: int, measure: str, place: str) -> None:
    """An integer of hundreds of digits is no float."""
    try:
        si(value, measure)
    except InputError as err:
        raise err.at(place=place) from None


def _with_known_key(err: InputError, kind: type[Fields]) -> InputError:
    """Without the kind's name as a place of its own: the place is the thing's name."""
    inner = err.place.removeprefix(kind.kind).removeprefix(": ")
    return type(err)(err.problem, place=inner, allowed=err.allowed, nearest=err.nearest, file=err.file)
