"""One part from its table: all that is wrong with it is noted at once, and what is known stays known."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Mapping
from typing import Any, NamedTuple

from ..description.equipment import check_name
from ..description.layout import PartEntry
from ..documents.building import build, check_values, sized
from ..documents.document import table, text
from ..errors import InputError, Problems, UnknownName, nearest_name
from ..network.groups import OUTSIDE
from ..parts import KINDS
from ..parts.choices import CANT_TELL
from ..parts.declare import Fields, Number, Part, Schema
from .templates import Placed

EVERYDAY = {
    **dict.fromkeys(("pipe", "tube", "line", "chute", "elbow", "bend", "header", "manifold"), "duct"),
    **dict.fromkeys(("flexible hose", "flex", "flex hose", "flexible duct"), "hose"),
    **dict.fromkeys(("nozzle", "ejector", "injector", "jet pump", "venturi"), "jet"),
    **dict.fromkeys(("inlet", "intake", "mouth", "door", "orifice", "outlet", "vent", "hole"), "opening"),
    **dict.fromkeys(("blower", "ventilator", "impeller", "exhauster"), "fan"),
    **dict.fromkeys(("filter", "grille", "mesh", "sieve", "perforated plate"), "screen"),
    **dict.fromkeys(("gap", "crack", "slit", "leakage", "seam"), "leak"),
    **dict.fromkeys(("reducer", "cone", "diffuser", "contraction", "expansion"), "transition"),
    **dict.fromkeys(("damper", "slide", "valve"), "gate"),
    **dict.fromkeys(("tee", "junction", "y", "wye"), "merge"),
    **dict.fromkeys(("loss", "separator", "cyclone"), "resistance"),
}
"""What people call a part -> the kind that is most likely meant."""
EVERYDAY_KEYS = {
    **dict.fromkeys(("dia", "bore", "size", "inner_diameter", "inside_diameter", "id"), "diameter"),
    **dict.fromkeys(("blades", "blade_shape", "blade", "wheel", "type"), "typical"),
    **dict.fromkeys(("rpm", "fan_speed", "speed_rpm"), "speed"),
    **dict.fromkeys(("pressure", "total", "rise"), "total_pressure"),
    **dict.fromkeys(("airflow", "volume_flow", "cfm"), "flow"),
    **dict.fromkeys(("mixing_tube", "throat", "throat_diameter", "mixing_section"), "mixing_diameter"),
    **dict.fromkeys(("nozzle", "nozzle_size", "nozzle_bore"), "nozzle_diameter"),
    **dict.fromkeys(("k", "K", "loss", "coefficient", "zeta", "edge", "loss_factor"), "loss_coefficient"),
    **dict.fromkeys(("open_area", "free_area", "opening"), "area"),
    **dict.fromkeys(("bend", "elbows", "elbow"), "bends"),
    **dict.fromkeys(("wall", "material", "inside", "lining"), "roughness"),
    **dict.fromkeys(("porosity", "open_share"), "open_fraction"),
    **dict.fromkeys(("lift", "height_gain"), "rise"),
    **dict.fromkeys(("pulley",), "drive"),
}
"""What people write for a key -> the key that is most likely meant, where the kind has it."""


class Numbers:
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


class PartRead(NamedTuple):
    """What is known of a part.

    Attributes
    ----------
    entry : PartEntry or None
        Of a part that could not be read, one without numbers that holds its place; None where not even its
        kind and name are known.
    obj : Part or None
        None where it could not be read.
    placed : bool
        Whether its kind, its name and all its ends are known.
    """

    entry: PartEntry | None
    obj: Part | None
    placed: bool


def read_part(
    own: Placed, turning: Mapping[str, Any], numbers: Numbers, open_nodes: frozenset[str], wrong: Problems
) -> PartRead:
    """A part from its table; all that is wrong with it goes to `wrong`."""
    values, before = dict(own.values), len(wrong.found)
    name, place = "", "part"
    with own.noting(wrong):
        name = check_name(text(values, "name", "part"), "a part", place="part")
        place = f"part {name!r}"
    kind = _kind(own, values, place, wrong)
    if kind is None:
        return PartRead(None, None, False)
    begun = len(wrong.found)
    ends = _ends(own, values, kind, place, wrong)
    sure = bool(name) and len(wrong.found) == begun
    drive = note = ""
    with own.noting(wrong):
        drive, note = text(values, "drive", place, default=""), text(values, "note", place, default="")
    values = {k: v for k, v in values.items() if k not in ("name", "kind", "drive", "note", *kind.ends)}
    values, unsaid = _without_unknown(own, values, kind, place, wrong)
    failed = len(wrong.found)
    with own.noting(wrong):
        values = sized(kind, values, place)
    with own.noting(wrong):
        values = _curve(values, kind, turning.get(drive), bool(drive), place)
    with own.noting(wrong):
        values = _driven(kind, values, drive, turning, place)
    if len(wrong.found) > failed:  # what could not be read says nothing of what is missing
        unsaid |= set(kind.declared)
        values = {key: value for key, value in values.items() if key in kind.declared}
    filled = _cannot_tell(kind, values)
    obj = None
    with own.noting(wrong):
        check_values(kind, filled, place, unsaid)
        if not unsaid:
            obj = build(kind, filled, place).placed(ends, open_nodes)
    if obj is None or len(wrong.found) > before:
        return PartRead(PartEntry(name, Schema(kind, ()), ends, drive) if name else None, None, sure)
    schema = numbers.take(name, obj, values, skip="speed" if drive else "")
    return PartRead(PartEntry(name, schema, ends, drive, note), obj, True)


def _kind(own: Placed, values: Mapping[str, Any], place: str, wrong: Problems) -> type[Part] | None:
    """The kind, or that which an everyday word most likely means."""
    word = ""
    with own.noting(wrong):
        word = text(values, "kind", place)
        if word not in KINDS:
            meant = EVERYDAY.get(word.casefold().strip(), "") or nearest_name(word, KINDS)
            err = UnknownName.of("kind", word, KINDS, place=place)
            err.nearest, err.allowed = meant, "" if meant else err.allowed
            word = meant
            raise err.at(key=("kind",))
    return KINDS.get(word)


def _ends(
    own: Placed, values: Mapping[str, Any], kind: type[Part], place: str, wrong: Problems
) -> tuple[str, ...]:
    """The nodes at its ends; one that cannot be read counts as the open air, of which nothing is asked."""
    out = []
    for end in kind.ends:
        node = OUTSIDE
        with own.noting(wrong):
            if end not in values:
                doc = f"the node at its end {end!r}: outside, or any name of yours that another part shares"
                raise InputError(f"the key {end!r} is missing", place=place, allowed=doc)
            node = check_node(text(values, end, place), f"{place}, {end}")
        out.append(node)
    with own.noting(wrong):
        if len(set(out)) < len(out) and out == [values.get(end) for end in kind.ends]:
            raise InputError(
                "two of its ends are at the same node", place=place, allowed="a node for each end"
            )
    return tuple(out)


def _without_unknown(
    own: Placed, values: dict[str, Any], kind: type[Part], place: str, wrong: Problems
) -> tuple[dict[str, Any], set[str]]:
    """The values under known keys, and the keys that unknown ones probably stand for."""
    extra = ("name", "kind", "note", *kind.ends, *kind.assumed) + (("drive",) if kind.is_fan else ())
    known = (*kind.declared, *extra)
    sizes = [
        f"{key.removesuffix('area')}{word}"
        for key in kind.declared
        if key.endswith("area")
        for word in ("diameter", "width", "height")
    ]
    out: dict[str, Any] = {}
    meant: set[str] = set()
    for key, value in values.items():
        if key in known or key in sizes:
            out[key] = value
            continue
        with own.noting(wrong):
            raise _unknown_key(key, kind, (*known, *sizes), known, place)
        near = wrong.found[-1].nearest
        table_of = [name for name, keys in kind.assumed.items() if key in keys]
        meant |= {near, re.sub(r"(diameter|width|height)$", "area", near)}
        meant |= set(kind.declared) if table_of or near in kind.assumed else set()
    return out, meant


def _unknown_key(
    key: str, kind: type[Part], near: Collection[str], known: Iterable[str], place: str
) -> InputError:
    """What is said of a key: the table it belongs into, the nearest one, or all there are."""
    where = f"{place} ({kind.kind})"
    for name, keys in kind.assumed.items():
        if key in (*keys, *kind.assumed_more.get(name, ())):
            inner = ", ".join(f"{word} = ..." for word in keys if word != "speed")
            allowed = f"it stands in a table: {name} = {{ {inner} }}"
            return UnknownName(f"unknown key {key!r}", place=where, allowed=allowed).at(key=(key,))
    meant = EVERYDAY_KEYS.get(key.casefold(), "")
    nearest = meant if meant in near else nearest_name(key, near)
    err = UnknownName.of("key", key, known, place=where)
    return UnknownName(err.problem, place=where, allowed="" if nearest else err.allowed, nearest=nearest).at(
        key=(key,)
    )


def _cannot_tell(kind: type[Part], values: dict[str, Any]) -> dict[str, Any]:
    """The values with "can't tell" for what is required, not given, and has that word."""
    out = dict(values)
    needed = set(kind.needed())
    for keys in kind.choices:
        if len(keys) == 1 and not any(key in values for other in kind.choices for key in other):
            needed |= set(keys)
    for key in needed:
        declared = kind.declared[key]
        if key in out or not isinstance(declared, Number):
            continue
        if any(choice.word == CANT_TELL for choice in declared.words):
            out[key] = CANT_TELL
    return out


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
    found = Problems()
    known = dict(table(values[key], f"{place}, {key}"))
    allowed = (*kind.assumed[key], *kind.assumed_more.get(key, ()))
    for name in list(known):
        with found.noting(key):
            if name not in allowed:
                del known[name]
                raise UnknownName.of("key", name, allowed, place=f"{place}, {key}")
    own = turned_by.speed if turned_by is not None else values.get("speed")
    if own is not None:
        known.setdefault("speed", own)
    for name in kind.assumed[key]:
        with found.noting(key):
            if name == "speed" and driven and name not in known:
                continue  # of a drive that could not be read
            if not isinstance(known.get(name), (str, int, float)) or isinstance(known[name], bool):
                raise InputError(
                    f"the key {name!r} is missing", place=f"{place}, {key}", allowed="one quantity"
                )
    found.refuse()
    if driven:
        known.setdefault("speed", 1.0)
    try:
        fan = getattr(kind, key)(**known)
    except InputError as err:
        raise err.at(place=place, key=(key,)) from None
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
    kind: type[Part], values: dict[str, Any], drive: str, turning: Mapping[str, Any], place: str
) -> dict[str, Any]:
    """The values with the speed that a drive gives to the part."""
    if not drive:
        return values
    if not kind.is_fan:
        raise InputError(f"the kind {kind.kind!r} has no speed for a drive to give", place=place)
    if drive not in turning:
        raise UnknownName.of("drive", drive, turning, place=place).at(key=("drive",))
    if "speed" in values:
        raise InputError("has both a drive and a speed", place=place, allowed="one of the two")
    known = turning[drive]
    return {**values, "speed": 1.0 if known is None else float(known.speed)}  # of one that has been noted


def check_node(name: str, place: str) -> str:
    """`name` as a valid name of a node."""
    return check_name(name, "a node", place=place, reserved=False)
