"""What is written once and repeated per unit: `[each_unit]` and the `{unit}` in its texts."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from ..description.equipment import check_name
from ..documents.document import refuse_unknown, table, tables, texts, unique
from ..documents.lines import KeyPath
from ..errors import InputError, Problems, UnknownName, shown

_HOLE = re.compile(r"\{([^{}]*)\}")
EACH_UNIT = ("part", "tapping", "vacuum_at", "duct", "openings", "boxes")
OF_UNIT = ("name", "vacuum_at", "duct", "openings", "note")
MOST_UNITS = 1_000
MOST_REPEATED = 20_000
LONGEST = 1_000


@dataclass(frozen=True)
class Placed:
    """A table of a file, or one made from a template, and where it stands.

    Attributes
    ----------
    values : dict
    key : tuple
        The keys and places that lead to it.
    filled : mapping
        Key -> what leads to the unit's key that fills it.
    """

    values: dict[str, Any]
    key: KeyPath
    filled: Mapping[str, KeyPath] = field(default_factory=dict)

    @contextmanager
    def noting(self, problems: Problems) -> Iterator[None]:
        """Note whatever is wrong in the body where its key stands: with the unit, where that fills it."""
        try:
            yield
        except InputError as err:
            for one in err.each:
                first = next((key for key in one.key if isinstance(key, str)), "")
                own = one.at()
                own.key = self.filled.get(first, (*self.key, *one.key))
                problems.found.append(own)


def placed(written: list[dict[str, Any]], *key: str) -> list[Placed]:
    """The tables of a list, each with its place."""
    return [Placed(values, (*key, i)) for i, values in enumerate(written)]


def expand(
    document: Mapping[str, Any], wrong: Problems
) -> tuple[list[Placed], list[Placed], list[Placed], tuple[str, ...], bool]:
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
    whole : bool
        Whether every text could be filled in. What is wrong goes to `wrong`: a hole that no key fills, a key
        that fills no hole, a unit without a name or named twice.

    Raises
    ------
    InputError
        For what is no table, and more repetition than any machine has.
    """
    each: dict[str, Any] = {}
    begun = len(wrong.found)
    with wrong.noting("each_unit"):
        each = table(document.get("each_unit"), "each_unit")
    unread = len(wrong.found) > begun
    with wrong.noting("each_unit"):
        refuse_unknown(each, EACH_UNIT, "each_unit")
    misspelt = any(isinstance(value, list) for key, value in each.items() if key not in EACH_UNIT)
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
    words: dict[str, tuple[int, dict[str, Any], dict[str, Any]]] = {}
    unsure = set()
    for i, unit in enumerate(units):
        before = len(wrong.found)
        with wrong.noting("unit", i):
            own = _words(unit, f"unit {i + 1}")
            unique([*words, own["unit"]], "unit")
            words[own["unit"]] = (i, unit, own)
            _check_words(own, unit, needed, f"unit {own['unit']!r}", wrong, i)
        if len(wrong.found) > before:
            unsure.add(i)
    parts, tappings, out = [], [], []
    written = texts(document, "boxes", "boxes")
    box_templates = [box for box in written if "{" in box] + list(texts(each, "boxes", "each_unit, boxes"))
    boxes = [box for box in written if "{" not in box]
    for i, unit, own in words.values():
        keys = {key: unit.get(key, each.get(key)) for key in ("vacuum_at", "duct", "openings", "note")}
        filled = {"name": own["unit"]}
        with wrong.noting("unit", i):
            place = f"unit {own['unit']!r}"
            filled |= {key: fill(value, own, place) for key, value in keys.items() if value is not None}
        out.append(Placed(filled, ("unit", i), {k: ("each_unit", k) for k in keys if k not in unit}))
        parts += _repeated(part_templates, "part", i, own, wrong, i in unsure)
        tappings += _repeated(tapping_templates, "tapping", i, own, wrong, i in unsure)
        with wrong.noting("boxes"):
            boxes += fill(box_templates, own, "boxes")
    whole = not (misspelt or unread) and len(parts) == len(part_templates) * len(units)
    whole = whole and len(tappings) == len(tapping_templates) * len(units)
    return parts, tappings, out, tuple(boxes), whole


def _repeated(
    templates: list[dict[str, Any]],
    what: str,
    unit: int,
    words: Mapping[str, Any],
    problems: Problems,
    unsure: bool,
) -> list[Placed]:
    """The templates filled in for a unit, each with what leads to it and to the keys that fill it.

    Of a unit whose keys are wrong already nothing more is said where one is missing.
    """
    out = []
    for i, template in enumerate(templates):
        key: KeyPath = ("each_unit", what, i)
        if unsure and not _holes(template) <= set(words):
            continue
        with problems.noting(*key):
            values = fill(template, words, f"each_unit.{what} {_called(template)}")
            holes = {k: sorted(_holes(value) - {"unit", "name"}) for k, value in template.items()}
            out.append(Placed(values, key, {k: ("unit", unit, own[0]) for k, own in holes.items() if own}))
    return out


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


def _check_words(
    words: Mapping[str, Any],
    unit: Mapping[str, Any],
    needed: set[str],
    place: str,
    wrong: Problems,
    at: int,
) -> None:
    """Note each key of a unit that neither means something nor fills a hole."""
    for key, value in unit.items():
        if key in OF_UNIT:
            continue
        with wrong.noting("unit", at, key):
            if key not in needed:
                known = sorted(needed - {"unit"}) + list(OF_UNIT)
                raise UnknownName.of("key", key, known, place=place)
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
