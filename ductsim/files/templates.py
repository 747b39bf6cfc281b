"""What is written once and repeated per unit: `[each_unit]` and the `{unit}` in its texts."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from ..description.equipment import check_name
from ..documents.document import refuse_unknown, table, tables, texts, unique
from ..errors import InputError, UnknownName, shown

_HOLE = re.compile(r"\{([^{}]*)\}")
EACH_UNIT = ("part", "tapping", "vacuum_at", "duct", "openings", "boxes")
OF_UNIT = ("name", "vacuum_at", "duct", "openings", "note")
MOST_UNITS = 1_000
MOST_REPEATED = 20_000
LONGEST = 1_000


def expand(
    document: Mapping[str, Any],
) -> tuple[list[dict[str, Any]], list[dict[str, Any]], list[dict[str, Any]], tuple[str, ...]]:
    """The repeated parts and tappings, the units and the boxes of a machine file, every text filled in.

    A name among the `boxes` at the top with `{unit}` in it stands for one box a unit, as do those under
    `[each_unit]`.

    Any key of a `[[unit]]` may stand in braces in the texts under `[each_unit]`. A text that is nothing but
    one such hole takes the key's value as it is, a number too.

    Returns
    -------
    parts, tappings, units : lists of tables
        Unit by unit, in the order of the file.
    boxes : tuple of str
        Those of the whole machine first.

    Raises
    ------
    InputError
        For a hole that no key fills, a key that fills no hole, a unit without a name or named twice, and
        more repetition than any machine has.
    """
    each = table(document.get("each_unit"), "each_unit")
    refuse_unknown(each, EACH_UNIT, "each_unit")
    units = tables(document.get("unit"), "unit", MOST_UNITS)
    part_templates = tables(each.get("part"), "each_unit.part")
    tapping_templates = tables(each.get("tapping"), "each_unit.tapping")
    if each and not units:
        raise InputError(
            "there is no unit to repeat it for", place="each_unit", allowed="write a [[unit]] each"
        )
    if len(units) * (len(part_templates) + len(tapping_templates)) > MOST_REPEATED:
        raise InputError(
            f"{len(part_templates) + len(tapping_templates):,} things for {len(units):,} units are too many",
            place="each_unit",
            allowed=f"at most {MOST_REPEATED:,} in all",
        )
    needed = _holes(each) | _holes(document.get("boxes"))
    unique([_words(unit, f"unit {i + 1}")["unit"] for i, unit in enumerate(units)], "unit")
    parts, tappings, out = [], [], []
    written = texts(document, "boxes", "boxes")
    box_templates = [box for box in written if "{" in box] + list(texts(each, "boxes", "each_unit, boxes"))
    boxes = [box for box in written if "{" not in box]
    for i, unit in enumerate(units):
        place = f"unit {i + 1}"
        words = _words(unit, place)
        _check_words(words, unit, needed, f"unit {words['unit']!r}")
        own = {key: unit.get(key, each.get(key)) for key in ("vacuum_at", "duct", "openings", "note")}
        filled = {
            key: fill(value, words, f"unit {words['unit']!r}")
            for key, value in own.items()
            if value is not None
        }
        out.append({"name": words["unit"], **filled})
        parts += [fill(t, words, f"each_unit.part {_called(t)}") for t in part_templates]
        tappings += [fill(t, words, f"each_unit.tapping {_called(t)}") for t in tapping_templates]
        boxes += fill(box_templates, words, "boxes")
    return parts, tappings, out, tuple(boxes)


def fill(value: Any, words: Mapping[str, Any], place: str) -> Any:
    """`value` with every `{key}` in its texts replaced by what the unit says under that key."""
    if isinstance(value, str):
        return _fill_text(value, words, place)
    if isinstance(value, list):
        return [fill(item, words, place) for item in value]
    if isinstance(value, dict):
        return {key: fill(item, words, place) for key, item in value.items()}
    return value


def _fill_text(text: str, words: Mapping[str, Any], place: str) -> Any:
    if "{" not in text and "}" not in text:
        return text
    whole = _HOLE.fullmatch(text)
    if whole:
        return _word(whole.group(1), words, place)
    out = _HOLE.sub(lambda hole: str(_word(hole.group(1), words, place)), text)
    if "{" in _HOLE.sub("", text) or "}" in _HOLE.sub("", text):
        raise InputError(
            f"{shown(text)} has an open brace", place=place, allowed="'{unit}' or '{a key of the unit}'"
        )
    if len(out) > LONGEST:
        raise InputError(f"{shown(text)} becomes {len(out):,} characters long", place=place)
    return out


def _word(key: str, words: Mapping[str, Any], place: str) -> Any:
    if key not in words:
        raise UnknownName.of("key of the unit", key, words, place=place)
    return words[key]


def _words(unit: Mapping[str, Any], place: str) -> dict[str, Any]:
    """What may stand in a unit's holes: `unit` (its name) and every key that holds a text or a number."""
    name = unit.get("name")
    if name is None:
        raise InputError("the key 'name' is missing", place=place)
    if isinstance(name, int) and not isinstance(name, bool):
        name = f"{name:d}" if abs(name) < 10**9 else ""
    check_name(name, "a unit", place=place, reserved=False)
    words = {k: v for k, v in unit.items() if isinstance(v, (str, int, float)) and not isinstance(v, bool)}
    for key, value in words.items():
        if isinstance(value, str) and key not in OF_UNIT and ("{" in value or "}" in value):
            raise InputError(
                f"{key}: {shown(value)} has a brace", place=place, allowed="a plain text or a number"
            )
    return {**words, "name": name, "unit": name}


def _check_words(words: Mapping[str, Any], unit: Mapping[str, Any], needed: set[str], place: str) -> None:
    """Refuse a key of a unit that neither means something nor fills a hole."""
    for key, value in unit.items():
        if key in OF_UNIT:
            continue
        if key not in needed:
            raise UnknownName.of("key", key, sorted(needed - {"unit"}) + list(OF_UNIT), place=place)
        if key not in words:
            raise InputError(
                f"{key}: {shown(value)} fits in no text", place=place, allowed="a text or a number"
            )


def _holes(value: Any) -> set[str]:
    """The keys in braces anywhere in the templates."""
    if isinstance(value, str):
        return set(_HOLE.findall(value))
    if isinstance(value, list):
        return set().union(*map(_holes, value)) if value else set()
    if isinstance(value, dict):
        return _holes(list(value.values()))
    return set()


def _called(template: Mapping[str, Any]) -> str:
    name = template.get("name")
    return repr(name) if isinstance(name, str) else "without a name"
