"""From the tables of a machine file to a layout and its numbers."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from ..crop.box import box_of
from ..crop.crop import Crop, check_crop
from ..description import checks
from ..description.equipment import Belt, ConstantAir, Held, Section, Supplied, Weather, air_of, check_name
from ..description.layout import ACCESS, Drive, Layout, PartEntry, Tapping, Unit
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
from ..errors import InputError, UnknownName, shown
from ..network.system import OUTSIDE
from ..parts import KINDS
from ..parts.declare import Fields, Part, Schema
from ..quantity import si
from .headers import headers
from .templates import expand

TOP = (
    *("format", "ductsim", "input_sha256", "title", "note", "air", "drive", "part", "tapping"),
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


class _Numbers:
    """Collects the numbers of one thing after the other."""

    def __init__(self) -> None:
        self.values: dict[str, Any] = {}
        self.given: set[str] = set()

    def take(self, name: str, obj: Fields, keys: Iterable[str], skip: str = "") -> Schema:
        """Add the numbers of `thing` under `name`; `keys` are the fields that were written."""
        written = set(keys)
        for number_key, value in obj.numbers().items():
            if number_key == skip:
                continue
            self.values[f"{name}.{number_key}"] = value
            if (
                number_key.split("[")[0] in written or "." in number_key
            ):  # a bend's numbers are written with the bend
                self.given.add(f"{name}.{number_key}")
        return obj.schema


def read_tables(document: Mapping[str, Any]) -> Read:
    """A machine from the tables of its file.

    Raises
    ------
    InputError
        One sentence for the first thing that is wrong, in the order of the file.
    """
    free_ends = check_format(document, MACHINE_FORMAT) > 1
    refuse_unknown(document, TOP, "")
    parts, tappings, units, boxes = expand(document)
    open_nodes = frozenset((OUTSIDE, *boxes)) if free_ends else frozenset[str]()
    numbers = _Numbers()
    air = numbers.take("air", *_air(table(document.get("air"), "air")))
    drives, turning = _drives(table(document.get("drive"), "drive"), numbers)
    part_tables = tables(document.get("part"), "part") + parts + headers(document)
    entries = tuple(_part(t, turning, numbers, open_nodes) for t in part_tables)
    unique([e.name for e in entries], "part")
    ends = {e.name: e.schema.part.ends for e in entries if issubclass(e.schema.part, Part)}
    tapping_tables = tables(document.get("tapping"), "tapping") + tappings
    taps = tuple(_tapping(t, ends, numbers) for t in tapping_tables)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # solving with this air warns in its turn
            air_of(air.part, numbers.values)
    except InputError as err:
        raise err.at(place="air") from None
    layout = Layout(
        title=text(document, "title", "", default="Machine"),
        air=air,
        drives=drives,
        parts=entries,
        tappings=taps,
        units=tuple(_unit(t) for t in units),
        held=_nodes(tables(document.get("hold"), "hold"), "hold", Held, numbers),
        supplied=_nodes(tables(document.get("supply"), "supply"), "supply", Supplied, numbers),
        crop=_crop(document, numbers),
        boxes=boxes,
        free_ends=free_ends,
        free={key: document[key] for key in FREE if key in document},
    )
    checks.check_layout(layout)
    check_crop(layout)
    _check_free(layout)
    return Read(layout, numbers.values, frozenset(numbers.given))


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


def _crop(document: Mapping[str, Any], numbers: _Numbers) -> Schema | None:
    if "crop" not in document:
        return None
    values = table(document["crop"], "crop")
    return numbers.take("crop", build(Crop, values, "crop"), values)


def _drives(written: dict[str, Any], numbers: _Numbers) -> tuple[tuple[Drive, ...], dict[str, Any]]:
    """The drives, and name -> the thing that turns."""
    out, turning = [], {}
    for name, values in written.items():
        check_name(name, "a drive", place="drive")
        place = f"drive {name!r}"
        values = dict(table(values, place))
        word = text(values, "kind", place, default="belt")
        values.pop("kind", None)
        if word not in DRIVES:
            raise UnknownName.of("kind of drive", word, DRIVES, place=place)
        obj = build(DRIVES[word], values, place)
        turning[name] = obj
        out.append(Drive(name, numbers.take(name, obj, values)))
    return tuple(out), turning


def _part(
    values: dict[str, Any], turning: Mapping[str, Any], numbers: _Numbers, open_nodes: frozenset[str]
) -> PartEntry:
    values = dict(values)
    name = check_name(text(values, "name", "part"), "a part", place="part")
    place = f"part {name!r}"
    word = text(values, "kind", place)
    if word not in KINDS:
        raise UnknownName.of("kind", word, KINDS, place=place)
    kind = KINDS[word]
    ends = tuple(check_node(text(values, end, place), f"{place}, {end}") for end in kind.ends)
    for key in ("name", "kind", *kind.ends):
        values.pop(key, None)
    drive, note = text(values, "drive", place, default=""), text(values, "note", place, default="")
    values = {key: value for key, value in values.items() if key not in ("drive", "note")}
    values = sized(kind, values, place)
    _check_keys(values, kind, place)
    values = _curve(values, kind, bool(drive), place)
    if drive:
        values["speed"] = _driven(kind, values, drive, turning, place)
    obj = build(kind, values, place).placed(ends, open_nodes)
    if len(set(ends)) < len(ends):
        raise InputError("two of its ends are at the same node", place=place, allowed="a node for each end")
    schema = numbers.take(name, obj, values, skip="speed" if drive else "")
    return PartEntry(name, schema, ends, drive, note)


def _check_keys(values: Mapping[str, Any], kind: type[Part], place: str) -> None:
    """Refuse a key that a part of this kind does not have, naming all that stand in a file."""
    extra = ("name", "kind", "note", *kind.ends)
    if kind.is_fan:
        extra += ("drive",)
    extra += tuple(kind.assumed)
    refuse_unknown(values, (*kind.declared, *extra), f"{place} ({kind.kind})")


def _curve(values: dict[str, Any], kind: type[Part], driven: bool, place: str) -> dict[str, Any]:
    """A fan's curve from its wheel (`typical`) or from one measured point (`through`), where written."""
    given = [key for key in kind.assumed if key in values]
    if not given:
        return values
    key = given[0]
    for other in (*given[1:], "flow", "total_pressure", "static_pressure", "curve_speed"):
        if other in values:
            raise InputError(f"has both {key} and {other}", place=place, allowed="one way to say the curve")
    known = table(values[key], f"{place}, {key}")
    refuse_unknown(known, kind.assumed[key], f"{place}, {key}")
    for name in kind.assumed[key]:
        if not isinstance(known.get(name), (str, int, float)) or isinstance(known[name], bool):
            raise InputError(f"the key {name!r} is missing", place=f"{place}, {key}", allowed="one quantity")
    try:
        fan = getattr(kind, key)(**known)
    except InputError as err:
        raise err.at(place=place) from None
    rest = {name: value for name, value in values.items() if name != key}
    points = {"flow": list(fan.flow), "total_pressure": list(fan.total_pressure), "curve": fan.curve}
    speed = {} if driven else {"speed": fan.speed}
    return {**points, "curve_speed": fan.curve_speed, **speed, **rest}


def _driven(
    kind: type[Part], values: Mapping[str, Any], drive: str, turning: Mapping[str, Any], place: str
) -> float:
    """The speed a drive gives to a part."""
    if not kind.is_fan:
        raise InputError(f"the kind {kind.kind!r} has no speed for a drive to give", place=place)
    if drive not in turning:
        raise UnknownName.of("drive", drive, turning, place=place)
    if "speed" in values:
        raise InputError("has both a drive and a speed", place=place, allowed="one of the two")
    return float(turning[drive].speed)


def check_node(name: str, place: str) -> str:
    """`name` as a valid name of a node."""
    return check_name(name, "a node", place=place, reserved=False)


def _tapping(values: dict[str, Any], ends: Mapping[str, tuple[str, ...]], numbers: _Numbers) -> Tapping:
    name = check_name(text(values, "name", "tapping"), "a tapping", place="tapping")
    place = f"tapping {name!r}"
    values = sized(Section, values, place)
    refuse_unknown(values, ("name", "path", "end", "access", "minutes", "note", *Section.declared), place)
    path = text(values, "path", place)
    if path not in ends:
        raise UnknownName.of("part", path, ends, place=f"{place}, path")
    end = text(values, "end", place)
    if end not in ends[path]:
        raise UnknownName.of("end", end, ends[path], place=f"{place}, end of {path!r}")
    access = text(values, "access", place, default="easy")
    if access not in ACCESS:
        raise UnknownName.of("word", access, ACCESS, place=f"{place}, access")
    obj = build(Section, {k: v for k, v in values.items() if k in Section.declared}, place)
    minutes = _minutes(values.get("minutes", 120.0), place)
    note = text(values, "note", place, default="")
    return Tapping(name, path, end, numbers.take(name, obj, values), access, minutes, note)


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
        vacuum_at=text(values, "vacuum_at", place),
        duct=text(values, "duct", place),
        openings=texts(values, "openings", place),
        note=text(values, "note", place, default=""),
    )


def _nodes(
    written: list[dict[str, Any]], what: str, kind: type[Fields], numbers: _Numbers
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
