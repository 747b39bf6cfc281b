"""From the tables of a machine file to a layout and its numbers."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from ..arguments import one_of
from ..crop.box import box_of
from ..crop.crop import Crop, check_crop
from ..description import checks
from ..description.equipment import Belt, ConstantAir, Held, Section, Supplied, Weather, air_of, check_name
from ..description.layout import ACCESS, Drive, Layout, Tapping, Unit
from ..description.spreads import KEYS as SPREAD_KEYS
from ..documents.building import build, one_value, sized
from ..documents.document import (
    MACHINE_FORMAT,
    check_format,
    refuse_unknown,
    table,
    tables,
    text,
    texts,
    unique,
)
from ..errors import InputError, Problems, UnknownName, shown
from ..measures import SYSTEMS
from ..network.groups import OUTSIDE
from ..parts.declare import Fields, Schema
from ..quantity import si
from .headers import headers
from .parts import Numbers, read_part
from .templates import Placed, expand, placed

TOP = (
    *("format", "ductsim", "input_sha256", "title", "measures", "note", "air", "drive", "part", "tapping"),
    *("unit", "each_unit", "header", "boxes", "hold", "supply", "crop", "fill", "unknown", "trim", "spread"),
)
FREE = ("fill", "unknown", "trim", "spread")
FREE_WORDS = ("number", "kind", "group", "note")
FREE_KEYS = {
    "unknown": ("number", "low", "likely", "high", "note"),
    "trim": ("number", "low", "high", "sizes", "note"),
    "spread": SPREAD_KEYS,
}
DRIVES: dict[str, type[Fields]] = {"belt": Belt}


class Read(NamedTuple):
    """What a document says: the layout, its numbers, and which of them were given."""

    layout: Layout
    numbers: dict[str, Any]
    given: frozenset[str]
    measures: str = "metric"


def read_tables(document: Mapping[str, Any]) -> Read:
    """A machine from the tables of its file.

    Raises
    ------
    InputError
        A sentence for each thing that is wrong, with the keys that lead to it: in single tables, and by which
        they do not fit each other. What only follows from something else that is wrong is left out.
    """
    wrong = Problems()
    objects: dict[str, Any] = {"measures": "metric", "title": "Machine", "free_ends": True}
    with wrong.noting("format"):
        objects["free_ends"] = check_format(document, MACHINE_FORMAT) > 1
    if document.get("format") is not None:
        wrong.refuse()  # of another format nothing is known
    with wrong.noting():
        refuse_unknown(document, TOP, "")
    numbers = Numbers()
    with wrong.noting("measures"):
        objects["measures"] = _measures(document)
    with wrong.noting("title"):
        objects["title"] = text(document, "title", "", default="Machine")
    with wrong.noting("air"):
        objects["air"] = _weather(table(document.get("air"), "air"), numbers)
    drives, turning = _drives(table(document.get("drive"), "drive"), numbers, wrong)
    objects["drives"] = drives
    where = _parts_and_units(document, turning, numbers, wrong, objects)
    for key, kind in (("hold", Held), ("supply", Supplied)):
        with wrong.noting(key):
            objects[key] = _nodes(tables(document.get(key), key), key, kind, numbers)
    with wrong.noting("crop"):
        objects["crop"] = _crop(document, numbers)
    measures = objects.pop("measures")
    held, supplied = objects.pop("hold", ()), objects.pop("supply", ())
    whole, tapped = objects.pop("whole"), objects.pop("tapped")
    free = {key: document[key] for key in FREE if key in document}
    layout = Layout(**{"air": Schema(Weather, ()), **objects}, held=held, supplied=supplied, free=free)
    if layout.parts or not wrong.found:  # without a part, something else may be why
        try:
            checks.check_layout(layout, whole, tapped)
        except InputError as err:
            with wrong.noting():
                _refuse_where_written(err, where)
    wrong.refuse()
    check_crop(layout)
    _check_free(layout)
    return Read(layout, numbers.values, frozenset(numbers.given), measures)


def _measures(document: Mapping[str, Any]) -> str:
    word = text(document, "measures", "", default="metric")
    return one_of(word, SYSTEMS, "measures", "system of measures")


def _parts_and_units(
    document: Mapping[str, Any],
    turning: Mapping[str, Any],
    numbers: Numbers,
    wrong: Problems,
    objects: dict[str, Any],
) -> dict[tuple[str, str], Placed]:
    """Add parts, tappings, units and boxes to `objects`, and what is wrong with them to `wrong`.

    What comes back says where each is written, by what it is and its name. `objects["whole"]` says whether of
    every part at least its kind, its name and its ends are known.
    """
    where: dict[tuple[str, str], Placed] = {}
    objects |= {"parts": (), "tappings": (), "units": (), "boxes": (), "whole": False, "tapped": False}
    with wrong.noting():
        parts, tappings, units, boxes, complete = expand(document, wrong)
        open_nodes = frozenset((OUTSIDE, *boxes)) if objects["free_ends"] else frozenset[str]()
        entries, objs = [], {}
        own: list[Placed] = []
        with wrong.noting("part"):
            own += placed(tables(document.get("part"), "part"), "part")
        own += parts
        before = len(wrong.found)
        with wrong.noting():
            own += headers(document)
        complete = complete and len(wrong.found) == before
        for one in own:
            read = read_part(one, turning, numbers, open_nodes, wrong)
            complete = complete and read.placed
            if read.entry is not None:
                entries.append(read.entry)
                where.setdefault(("part", read.entry.name), one)
            if read.obj is not None:
                objs[entries[-1].name] = read.obj
        taps = []
        ends = {e.name: e.kind.ends for e in entries}
        own = placed(tables(document.get("tapping"), "tapping"), "tapping") + tappings
        for one in own:
            if complete or one.values.get("path") in ends:  # its part may be one that could not be read
                tapping = _tapping(one, ends, objs, numbers, wrong)
                if tapping is not None:
                    taps.append(tapping)
                    where.setdefault(("tapping", tapping.name), one)
        found = []
        for one in units:
            with one.noting(wrong):
                found.append(_unit(one.values))
                where["unit", found[-1].name] = one
        objects |= {"parts": tuple(entries), "tappings": tuple(taps), "units": tuple(found), "boxes": boxes}
        objects["whole"], objects["tapped"] = complete, len(taps) == len(own)
    return where


def _refuse_where_written(wrong: InputError, where: Mapping[tuple[str, str], Placed]) -> None:
    """Raise what is wrong with keys that lead to it in the file; of a template only what is found first."""
    problems = Problems()
    for err in wrong.each:
        known = where.get((str(err.key[0]), str(err.key[1]))) if len(err.key) > 1 else None
        one = err.at()
        if known is None:
            problems.found.append(one)
            continue
        one.key = err.key[2:]
        with known.noting(problems):
            raise one
    seen: set[Any] = set()
    for err in problems.found[:]:
        if err.key[:1] == ("each_unit",) and err.key in seen:
            problems.found.remove(err)
        seen.add(err.key)
    problems.refuse()


def _weather(values: dict[str, Any], numbers: Numbers) -> Schema:
    """The air, tried out."""
    air = numbers.take("air", *_air(values))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # solving with this air warns in its turn
            air_of(air.part, numbers.values)
    except InputError as err:
        raise err.at(place="air") from None
    return air


def _air(values: dict[str, Any]) -> tuple[Fields, Iterable[str]]:
    kind: type[Fields] = Weather
    if "density" in values or "viscosity" in values:
        kind = ConstantAir
        for key in values:
            if key in Weather.declared:
                raise InputError(
                    f"got density and {key}",
                    place="air",
                    allowed="a constant density, or the weather, not both",
                )
    return build(kind, values, "air"), values


def _crop(document: Mapping[str, Any], numbers: Numbers) -> Schema | None:
    if "crop" not in document:
        return None
    values = table(document["crop"], "crop")
    return numbers.take("crop", build(Crop, values, "crop"), values)


def _drives(
    written: dict[str, Any], numbers: Numbers, wrong: Problems
) -> tuple[tuple[Drive, ...], dict[str, Any]]:
    """The drives, and name -> the thing that turns."""
    out: list[Drive] = []
    turning: dict[str, Any] = {}
    for name, values in written.items():
        turning[name] = None
        with wrong.noting("drive", name):
            check_name(name, "a drive", place="drive")
            place = f"drive {name!r}"
            values = dict(table(values, place))
            word = text(values, "kind", place, default="belt")
            values.pop("kind", None)
            if word not in DRIVES:
                raise UnknownName.of("kind of drive", word, DRIVES, place=place).at(key=("kind",))
            turning[name] = build(DRIVES[word], values, place)
            out.append(Drive(name, numbers.take(name, turning[name], values)))
    return tuple(out), turning


def _tapping(
    own: Placed,
    ends: Mapping[str, tuple[str, ...]],
    objs: Mapping[str, Any],
    numbers: Numbers,
    wrong: Problems,
) -> Tapping | None:
    """A tapping; None where not even its name, its part and its end are known. All that is wrong is noted.

    Without a section it has that of its part there, where the part has one.
    """
    values, before = own.values, len(wrong.found)
    name = path = end = access = note = ""
    minutes, place = 2.0, "tapping"
    with own.noting(wrong):
        name = check_name(text(values, "name", "tapping"), "a tapping", place="tapping")
        place = f"tapping {name!r}"
    with own.noting(wrong):
        path = text(values, "path", place)
        if path not in ends:
            raise UnknownName.of("part", path, ends, place=f"{place}, path")
    with own.noting(wrong):
        end = text(values, "end", place)
        if path in ends and end not in ends[path]:
            raise UnknownName.of("end", end, ends[path], place=f"{place}, end of {path!r}")
    with own.noting(wrong):
        access = text(values, "access", place, default="easy")
        if access not in ACCESS:
            raise UnknownName.of("word", access, ACCESS, place=f"{place}, access")
    with own.noting(wrong):
        minutes = _minutes(values.get("minutes", 120.0), place)
    with own.noting(wrong):
        note = text(values, "note", place, default="")
    known = len(wrong.found) == before
    schema = Schema(Section, ())
    with own.noting(wrong):
        sizes = sized(Section, values, place)
        refuse_unknown(sizes, ("name", "path", "end", "access", "minutes", "note", *Section.declared), place)
        given = {k: v for k, v in sizes.items() if k in Section.declared}
        filled = given or ({"area": objs[path].section_at(end)} if path in objs and known else {})
        if not given and filled.get("area") is None and path in ends and path not in objs:
            return Tapping(name, path, end, schema, access, minutes, note)  # what is wrong is its part
        schema = numbers.take(name, build(Section, _stated(filled), place), given)
    return Tapping(name, path, end, schema, access, minutes, note) if known else None


def _stated(values: dict[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in values.items() if value is not None}


def _minutes(value: Any, place: str) -> float:
    """How long a reading takes [min]; bare numbers are seconds as everywhere."""
    try:
        seconds = si(value, "s")
    except InputError as err:
        raise err.at(place=f"{place}, minutes") from None
    if not isinstance(seconds, float) or not 0.0 <= seconds <= 86400.0:
        raise InputError(f"{shown(value)} is out of range", place=f"{place}, minutes", allowed="0 to 24 h")
    return seconds / 60.0


def _unit(values: dict[str, Any]) -> Unit:
    name = values["name"]
    place = f"unit {name!r}"
    unique(texts(values, "openings", place), f"{place}, openings")
    return Unit(
        name=name,
        vacuum_at=_named(values, "vacuum_at", place, "the [[tapping]] whose gauge shows its vacuum"),
        duct=_named(values, "duct", place, "the part that carries its crop away"),
        openings=texts(values, "openings", place),
        note=text(values, "note", place, default=""),
    )


def _named(values: Mapping[str, Any], key: str, place: str, what: str) -> str:
    """The text under a key that must be there; `what` says what it names."""
    if key not in values:
        raise InputError(f"the key {key!r} is missing", place=place, allowed=f"the name of {what}")
    return text(values, key, place)


def _nodes(
    written: list[dict[str, Any]], what: str, kind: type[Fields], numbers: Numbers
) -> tuple[tuple[str, Schema], ...]:
    """The nodes of `[[hold]]` or `[[supply]]` with the form of their number."""
    out = []
    for values in written:
        node = check_name(text(values, "node", what), "a node", place=what)
        rest = {key: value for key, value in values.items() if key != "node"}
        refuse_unknown(rest, ("node", *kind.declared), f"{what} {node!r}")
        out.append((node, numbers.take(node, build(kind, rest, f"{what} {node!r}"), rest)))
    unique([node for node, _ in out], what)
    return tuple(out)


def _check_free(layout: Layout) -> None:
    """The tables that later questions read: they name numbers which there are, and each value is one."""
    for key, keys in FREE_KEYS.items():
        for entry in tables(layout.free.get(key), key):
            pattern = text(entry, "number", key)
            try:
                layout.expand(pattern)
            except InputError as err:
                raise err.at(place=f"{key}, number") from None
            place = f"{key} {pattern!r}"
            refuse_unknown(entry, keys, place)
            _check_values(entry, place)
    if "fill" in layout.free:
        box_of(layout)


def _check_values(entry: Mapping[str, Any], place: str) -> None:
    """Words are texts, sizes are a list of single values, everything else is one value."""
    for key, value in entry.items():
        if key in FREE_WORDS:
            text(entry, key, place)
        elif key == "sizes" and isinstance(value, list):
            for i, item in enumerate(value):
                one_value(item, f"sizes[{i}]", place)
        else:
            one_value(value, key, place)
