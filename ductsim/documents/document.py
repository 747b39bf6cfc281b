"""Reading a TOML file safely and handing out the keys of its tables, for machines and for fixes."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Callable, Collection, Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

from ..arguments import mapping
from ..errors import InputError, Problems, SeveralErrors, UnknownName, nearest_name, shown
from .lines import line_of, lines_of
from .rescue import rescued

T = TypeVar("T")

FORMAT = 1
"""Of files of fixes and the other companions."""
MACHINE_FORMAT = 2
"""Of machine files; in those of format 1 nothing is lost at an end that says nothing."""
LARGEST_FILE = 2_000_000
LONGEST_LINE = 20_000
MOST_DOTS = 500
DEEPEST = 12


def file_path(path: Any, what: str = "file") -> Path:
    """A path, of a text or of anything that gives one."""
    given = os.fspath(path) if isinstance(path, (str, os.PathLike)) else None
    if not isinstance(given, str):
        raise InputError(f"{shown(path)} is no name of a {what}", allowed="a text or a path")
    return Path(given)


def read_text(
    path: str | os.PathLike[str], largest: int = LARGEST_FILE, what: str = "file"
) -> tuple[str, str]:
    """The text of a file and the SHA-256 of its bytes.

    A byte-order mark is accepted. Nothing is read beyond `largest` bytes.

    Raises
    ------
    InputError
        For a file that is missing, unreadable, too large, empty or no UTF-8 text; for a folder, a pipe or a
        device.
    """
    place = file_path(path)
    file = str(path)
    try:
        mode = place.stat().st_mode
        if stat.S_ISDIR(mode):
            inside = place / f"{what.split()[0]}.toml"  # a machine's folder holds machine.toml
            raise InputError(
                f"is a folder, not a {what}",
                file=file,
                allowed=f"give the {what} in it",
                nearest=str(inside) if inside.is_file() else "",
            )
        if not stat.S_ISREG(mode):  # reading one may never end
            raise InputError(f"is a pipe or a device, not a {what}", file=file, allowed="a file on disk")
        with open(place, "rb") as stream:
            raw = stream.read(largest + 1)
    except InputError:
        raise
    except FileNotFoundError:
        raise InputError(f"no such {what}", file=file, nearest=_neighbour(place)) from None
    except (OSError, ValueError) as err:
        raise InputError(f"cannot be read: {getattr(err, 'strerror', None) or err}", file=file) from None
    if len(raw) > largest:
        raise InputError(
            f"larger than {largest / 1e6:g} MB", file=file, allowed=f"at most {largest / 1e6:g} MB"
        )
    if not raw.strip():
        raise InputError("is empty", file=file)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(
            "is no UTF-8 text", file=file, allowed=f"expected a text file: is this really a {what}?"
        ) from None
    if "\0" in text:
        raise InputError(
            "is a binary file", file=file, allowed=f"expected a text file: is this really a {what}?"
        )
    return text, hashlib.sha256(raw).hexdigest()


def _neighbour(place: Path) -> str:
    """The nearest file name in the same folder, or an empty string."""
    try:
        names = [p.name for _, p in zip(range(2000), place.parent.iterdir(), strict=False)]
    except OSError:
        return ""
    near = nearest_name(place.name, names)
    return str(place.with_name(near)) if near else ""


def read_document(
    path: str | os.PathLike[str], make: Callable[[dict[str, Any]], T], what: str = "machine file"
) -> tuple[T, str]:
    """What `make` makes of the tables of a TOML file, and the SHA-256 of the file's bytes.

    Raises
    ------
    InputError
        Everything that is wrong, each with the file and its line.
    """
    text, digest = read_text(path, what=what)
    try:
        return make_of(text, make), digest
    except InputError as err:
        raise err.at(file=str(path)) from None


def make_of(text: str, make: Callable[[dict[str, Any]], T]) -> T:
    """What `make` makes of the tables of a TOML text; whatever it says is wrong gets its line.

    What is no TOML is said with the rest, as far as it can be guessed how it was meant.
    """
    _check_lines(text)
    read, slips = _rescued(text)
    placed = [(0, one) for one in slips]
    try:
        document = parse(read)
        if not slips:
            return make(document)
        make(document)
    except InputError as err:
        if read == text and slips:  # nothing could be guessed: the parser says the same again
            raise (slips[0] if len(slips) == 1 else SeveralErrors(slips)) from None
        lines = lines_of(read) if any(one.key for one in err.each) else {}
        found = sorted(((line_of(lines, one.key), one) for one in err.each), key=lambda pair: pair[0])
        placed += [(line, one.at(place=f"line {line}" if line else "")) for line, one in found]
    each = [one for _, one in placed]
    raise each[0] if len(each) == 1 else SeveralErrors(each)


def _rescued(text: str) -> tuple[str, list[InputError]]:
    """The text as it was meant, and what in it is no TOML."""
    try:
        return rescued(text)
    except (RecursionError, ValueError) as err:
        raise InputError(f"is not TOML that can be read: {type(err).__name__}") from None


def parse(text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises
    ------
    InputError
        For a text that is not TOML, or is built to take for ever: endless lines, dots or brackets.
    """
    import tomllib

    _check_lines(text)
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        raise InputError(f"is not TOML: {err}", allowed='text in quotes, as in length = "1.2 m"') from None
    except (RecursionError, ValueError) as err:
        raise InputError(f"is not TOML that can be read: {type(err).__name__}") from None
    if _depth(document) > DEEPEST:
        raise InputError("has tables nested too deep", allowed=f"at most {DEEPEST} levels")
    return document


def _check_lines(text: str) -> None:
    """Refuse lines that are built to take for ever."""
    for count, line in enumerate(text.splitlines(), 1):
        if len(line) > LONGEST_LINE or line.count(".") > MOST_DOTS:
            raise InputError(
                f"line {count} is {len(line):,} characters long with {line.count('.'):,} dots",
                allowed=f"at most {LONGEST_LINE:,} characters and {MOST_DOTS} dots in a line",
            )


def written(document: Any, make: Callable[[dict[str, Any]], T], what: str = "machine file") -> T:
    """What `make` makes of a document that is given as a mapping of tables, or as the TOML text itself.

    Raises
    ------
    InputError
        For anything else, a text that is not TOML, and whatever `make` says.
    """
    if not isinstance(document, str):
        return make(dict(mapping(document, "of", f"the tables of a {what}, or its text")))
    if "\n" not in document and "=" not in document:
        raise InputError(
            f"{shown(document)} is not the text of a {what}",
            place="of",
            allowed="the text itself; to read a file, ds.Machine.read(path)",
        )
    return make_of(document, make)


def _depth(document: Any) -> int:
    """How deep tables and lists are nested, counted without recursion and no further than needed."""
    level, depth = [document], 0
    while level and depth <= DEEPEST:
        depth += 1
        level = [
            inner
            for item in level
            for inner in (
                item.values() if isinstance(item, Mapping) else item if isinstance(item, list) else ()
            )
            if isinstance(inner, (Mapping, list))
        ]
    return depth


def check_format(document: Mapping[str, Any], newest: int = FORMAT) -> int:
    """The format of a file; refuses one that is newer than `newest`, and a file without a format."""
    mapping(document, "machine", "the tables of a machine file")
    if "format" not in document:
        raise InputError("the key 'format' is missing", allowed=f"write format = {newest} at the top")
    given = document["format"]
    if isinstance(given, bool) or not isinstance(given, int) or given < 1:
        raise InputError(f"format {shown(given)} is unknown", allowed=f"format = {newest}")
    if given > newest:
        raise InputError(
            f"format {given} is newer than this version reads",
            allowed=f"up to format {newest}; get a newer ductsim",
        )
    return given


def refuse_unknown(table: Mapping[str, Any], known: Collection[str], place: str) -> None:
    """An UnknownName for each key of `table` that is not known."""
    found = Problems()
    for key in table:
        with found.noting(key):
            if key not in known:
                raise UnknownName.of("key", key, known, place=place)
    found.refuse()


def tables(value: Any, place: str, most: int = 20_000) -> list[dict[str, Any]]:
    """`value` as a list of tables (`[[part]]`)."""
    if value is None:
        return []
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        bracket = place.replace("[", "").replace("]", "")
        raise InputError("is not a list of tables", place=place, allowed=f"write [[{bracket}]] above each")
    if len(value) > most:
        raise InputError(f"has {len(value):,} entries", place=place, allowed=f"at most {most:,}")
    return value


def table(value: Any, place: str) -> dict[str, Any]:
    """`value` as one table (`[air]`)."""
    if value is None:
        return {}
    if not isinstance(value, dict):
        bracket = place.replace("[", "").replace("]", "")
        raise InputError(f"{shown(value)} is not a table", place=place, allowed=f"write [{bracket}]")
    return value


def text(source: Mapping[str, Any], key: str, place: str, default: str | None = None) -> str:
    """The text under a key; without a default the key must be there."""
    if key not in source:
        if default is None:
            raise InputError(f"the key {key!r} is missing", place=place)
        return default
    value = source[key]
    if not isinstance(value, str):
        raise InputError(
            f"{key}: {shown(value)} is not a text", place=place, allowed="a text in quotes", key=(key,)
        )
    return value


def texts(source: Mapping[str, Any], key: str, place: str) -> tuple[str, ...]:
    """The texts under a key, a single one or a list; none when the key is not there."""
    value = source.get(key, [])
    value = [value] if isinstance(value, str) else value
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise InputError(f"{key}: {shown(value)} is not a list of texts", place=place)
    return tuple(value)


def unique(names: Iterable[str], what: str) -> None:
    """An InputError for the first name that comes twice."""
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise InputError(f"the name {name!r} is used twice", place=what, allowed="each name once")
        seen.add(name)
