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
from ..errors import InputError, Problems, UnknownName, shown
from ..measures import SYSTEMS
from ..network.system import OUTSIDE
from ..parts import KINDS
from ..parts.declare import Fields, Part, Schema
from ..quantity import si
from .headers import headers
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
        A sentence for each thing that is wrong, with the keys that lead to it: first whatever is wrong in
        single tables; where nothing is, the first thing by which they do not fit each other.
    """
    free_ends = check_format(document, MACHINE_FORMAT) > 1
    wrong = Problems()
    with wrong.noting():
        refuse_unknown(document, TOP, "")
    numbers = _Numbers()
    things: dict[str, Any] = {"measures": "metric", "title": "Machine", "free_ends": free_ends}
    with wrong.noting("measures"):
        things["measures"] = _measures(document)
    with wrong.noting("title"):
        things["title"] = text(document, "title", "", default="Machine")
    with wrong.noting("air"):
        things["air"] = _weather(table(document.get("air"), "air"), numbers)
    drives, turning = _drives(table(document.get("drive"), "drive"), numbers, wrong)
    things["drives"] = drives
    with wrong.noting():
        _parts_and_units(document, turning, numbers, wrong, things)
    for key, kind in (("hold", Held), ("supply", Supplied)):
        with wrong.noting(key):
            things[key] = _nodes(tables(document.get(key), key), key, kind, numbers)
    with wrong.noting("crop"):
        things["crop"] = _crop(document, numbers)
    wrong.refuse()
    measures = things.pop("measures")
    held, supplied = things.pop("hold"), things.pop("supply")
    free = {key: document[key] for key in FREE if key in document}
    layout = Layout(**things, held=held, supplied=supplied, free=free)
    checks.check_layout(layout)
    check_crop(layout)
    _check_free(layout)
    return Read(layout, numbers.values, frozenset(numbers.given), measures)


def _measures(document: Mapping[str, Any]) -> str:
    word = text(document, "measures", "", default="metric")
    return one_of(word, SYSTEMS, "measures", "system of measures")


def _parts_and_units(
    document: Mapping[str, Any],
    turning: Mapping[str, Any],
    numbers: _Numbers,
    wrong: Problems,
    things: dict[str, Any],
) -> None:
    """Add parts, tappings, units and boxes to `things`, and what is wrong with them to `wrong`."""
    parts, tappings, units, boxes = expand(document)
    open_nodes = frozenset((OUTSIDE, *boxes)) if things["free_ends"] else frozenset[str]()
    entries: list[PartEntry] = []
    shared: list[Placed] = []
    with wrong.noting():
        shared = headers(document)
    for own in placed(tables(document.get("part"), "part"), "part") + parts + shared:
        with own.noting(wrong):
            entries.append(_part(own.values, turning, numbers, open_nodes))
    complete = not wrong.found
    unique([e.name for e in entries], "part")
    ends = {e.name: e.schema.part.ends for e in entries if issubclass(e.schema.part, Part)}
    taps = []
    for own in placed(tables(document.get("tapping"), "tapping"), "tapping") + tappings:
        if complete or own.values.get("path") in ends:  # its part may be one that could not be read
            with own.noting(wrong):
                taps.append(_tapping(own.values, ends, numbers))
    found = []
    for own in units:
        with own.noting(wrong):
            found.append(_unit(own.values))
    things |= {"parts": tuple(entries), "tappings": tuple(taps), "units": tuple(found), "boxes": boxes}


def _weather(values: dict[str, Any], numbers: _Numbers) -> Schema:
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


def _crop(document: Mapping[str, Any], numbers: _Numbers) -> Schema | None:
    if "crop" not in document:
        return None
    values = table(document["crop"], "crop")
    return numbers.take("crop", build(Crop, values, "crop"), values)


def _drives(
    written: dict[str, Any], numbers: _Numbers, wrong: Problems
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


def _part(
    values: dict[str, Any], turning: Mapping[str, Any], numbers: _Numbers, open_nodes: frozenset[str]
) -> PartEntry:
    values = dict(values)
    name = check_name(text(values, "name", "part"), "a part", place="part")
    place = f"part {name!r}"
    word = text(values, "kind", place)
    if word not in KINDS:
        raise UnknownName.of("kind", word, KINDS, place=place).at(key=("kind",))
    kind = KINDS[word]
    ends = tuple(check_node(text(values, end, place), f"{place}, {end}") for end in kind.ends)
    for key in ("name", "kind", *kind.ends):
        values.pop(key, None)
    drive, note = text(values, "drive", place, default=""), text(values, "note", place, default="")
    values = {key: value for key, value in values.items() if key not in ("drive", "note")}
    values = sized(kind, values, place)
    _check_keys(values, kind, place)
    values = _curve(values, kind, turning.get(drive), bool(drive), place)
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


def _curve(
    values: dict[str, Any], kind: type[Part], turned_by: Any, driven: bool, place: str
) -> dict[str, Any]:
    """A fan's curve from its wheel (`typical`) or from one measured point (`through`), where written.

    The speed that belongs to it is the fan's own where nothing else is said.
    """
    given = [key for key in kind.assumed if key in values]
    if not given:
        return values
    key = given[0]
    for other in (*given[1:], "flow", "total_pressure", "static_pressure", "curve_speed", "pressure_scale"):
        if other in values:
            raise InputError(f"has both {key} and {other}", place=place, allowed="one way to say the curve")
    known = dict(table(values[key], f"{place}, {key}"))
    refuse_unknown(known, (*kind.assumed[key], *kind.assumed_more.get(key, ())), f"{place}, {key}")
    own = turned_by.speed if turned_by is not None else values.get("speed")
    if own is not None:
        known.setdefault("speed", own)
    for name in kind.assumed[key]:
        if not isinstance(known.get(name), (str, int, float)) or isinstance(known[name], bool):
            raise InputError(f"the key {name!r} is missing", place=f"{place}, {key}", allowed="one quantity")
    try:
        fan = getattr(kind, key)(**known)
    except InputError as err:
        raise err.at(place=place) from None
    rest = {name: value for name, value in values.items() if name != key}
    points: dict[str, Any] = {
        "flow": list(fan.flow),
        "total_pressure": list(fan.total_pressure),
        "curve": fan.curve,
    }
    for name in ("shaft_power", "pressure_scale"):
        value = getattr(fan, name)
        if value is not None and not (name == "shaft_power" and "efficiency" in values):
            points[name] = list(value) if isinstance(value, tuple) else value
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
    known = turning[drive]
    return 1.0 if known is None else float(known.speed)  # one that cannot be read has been noted


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
