"""What is no TOML in a text, all of it at once: each line is mended as it was meant, and read on.

The parser of the standard library ends at the first slip. A person who leaves out the quotes of one measure
leaves them out of twenty.
"""

from __future__ import annotations

import re
import tomllib

from ..errors import InputError, visible

MOST = 200
"""Slips that are looked for."""
_LINE = re.compile(r"at line (\d+)")
_PAIR = re.compile(r"\s*([A-Za-z0-9_-]+|\"[^\"]*\"|'[^']*')\s*[=:]\s*(.*?)\s*$")
_BARE = re.compile(
    r"([{,]\s*[A-Za-z0-9_-]+\s*=\s*|[\[,]\s*)([^\s\"'\[\]{},=#][^\"'\[\]{},=#]*?)(?=\s*[\]},])"
)
_INCHES = re.compile(r"([=,\[]\s*)([^\"'={}\[\],]*\d)\"(?=\s*[,}\]])")
_PLAIN = re.compile(r"[+-]?(\d[\d_]*)(\.\d+)?([eE][+-]?\d+)?|true|false")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_QUOTES = str.maketrans(
    {
        "\N{LEFT DOUBLE QUOTATION MARK}": '"',
        "\N{RIGHT DOUBLE QUOTATION MARK}": '"',
        "\N{DOUBLE LOW-9 QUOTATION MARK}": '"',
        "\N{NO-BREAK SPACE}": " ",
    }
)


def rescued(text: str) -> tuple[str, list[InputError]]:
    """A text of the same lines that is TOML, as far as it can be guessed, and what was wrong in it.

    Where a line cannot be guessed the text comes back unread, with all that was found.
    """
    rows = text.split("\n")
    found: list[InputError] = []
    whole = True
    tried: set[tuple[int, str]] = set()
    for _ in range(MOST):
        try:
            tomllib.loads("\n".join(rows))
        except tomllib.TOMLDecodeError as err:
            at = _row_of(str(err), len(rows))
            row = _guilty(rows, at)
            was, mended = rows[row], _mended(rows[row], str(err), rows)
            if mended is None or (row, mended) in tried:
                found.append(
                    InputError(f"is not TOML: {err}", allowed='text in quotes, as in length = "1.2 m"')
                )
                if was.startswith("#") or not _PAIR.fullmatch(was):
                    return text, found
                whole, rows[row] = False, f"# {was}"  # without it the lines below can be looked at
                continue
            tried.add((row, mended))
            rows[row] = mended
            found.append(_told(row + 1, was, mended, str(err)))
            continue
        return "\n".join(rows) if whole else text, found
    return text, found


def _row_of(said: str, count: int) -> int:
    known = _LINE.search(said)
    return min(int(known.group(1)), count) - 1 if known else count - 1


def _guilty(rows: list[str], at: int) -> int:
    """The row that an error at a row is about: an end of line that is met in vain is told of the next one."""
    while at > 0 and not rows[at].strip():
        at -= 1
    return at


def _mended(row: str, said: str, rows: list[str]) -> str | None:
    """The row as it was meant; None where nothing can be guessed."""
    plain = row.translate(_QUOTES)
    bare = _without_remark(plain).rstrip(" ,;\r")  # ends of lines as in other files
    for other in (plain, bare, re.sub(r"([\"'\d])\s+(?=[A-Za-z_]+\s*=[^=]*[}\]])", r"\1, ", bare)):
        if other != row and other.strip() and not _reads(row) and _reads(other):
            return other
    if _reads(row):  # by itself it is sound: a table or a key that stands there twice, a bracket left open
        header = re.fullmatch(r"\s*\[([A-Za-z0-9_.-]+)\]\s*(#.*)?", row)
        if header and "Cannot" in said and "twice" in said:
            again = f"[{header.group(1)}]"
            for i, other in enumerate(rows):
                if other.split("#")[0].strip() == again:
                    rows[i] = f"[{again}]"
            return f"[{again}]"
        return f"# {row}" if "overwrite" in said or "twice" in said else None
    pair = _PAIR.fullmatch(_without_remark(plain))
    if pair is None:
        header = re.fullmatch(r"\s*(\[\[?)\s*([^\[\]]*?)\s*(\]\]?)?\s*", _without_remark(plain))
        if header is None:
            return None
        opening, name, _ = header.groups()
        whole = f"{opening}{name}{']' * len(opening)}"
        return whole if _reads(whole) else None
    key, value = pair.groups()
    for written in (_quoted(value), _inner(value)):
        if written is not None and _reads(f"{key} = {written}"):
            return f"{key} = {written}"
    return None


def _without_remark(row: str) -> str:
    """A row without the remark at its end; a mark within quotes stays."""
    return re.sub(r"\s+#[^\"']*$", "", row)


def _quoted(value: str) -> str | None:
    """A value in quotes: a measure without them, or with one forgotten; a bare number as TOML has it."""
    if not value:
        return '""'
    if value[0] in "[{":
        return None
    if _NUMBER.fullmatch(value):
        return str(int(value)) if value.isdigit() else repr(float(value))
    if value[0] in "\"'":
        inner = value.strip(value[0])
        return f"'{inner}'" if '"' in inner and "'" not in inner else '"' + inner.replace('"', "'") + '"'
    inner = re.sub(r"(?<=\d)\s*\"$", " in", value).replace('"', "")
    return f'"{inner}"'


def _inner(value: str) -> str | None:
    """A list or a table whose values lack their quotes, or its closing bracket."""

    def put(match: re.Match[str]) -> str:
        return match.group(1) + (
            match.group(2) if _PLAIN.fullmatch(match.group(2)) else f'"{match.group(2)}"'
        )

    if not value or value[0] not in "[{":
        return None
    value = _INCHES.sub(r'\1"\2 in"', value)
    for end in ("", "}", "]", "}]"):
        whole = value + end
        for _ in range(2):  # neighbours share a comma
            whole = _BARE.sub(put, whole)
        if _reads(f"k = {whole}"):
            return whole
    return None


def _reads(row: str) -> bool:
    try:
        tomllib.loads(row)
    except tomllib.TOMLDecodeError:
        return False
    return True


def _told(line: int, was: str, mended: str, said: str) -> InputError:
    """What is wrong with a line, and how it would be right."""
    place, was = f"line {line}", visible(was.strip())[:60]
    if mended.startswith("# "):
        return InputError(f"{was} stands there a second time", place=place, allowed="each key once")
    if mended.startswith("[[") and "twice" in said:
        return InputError(f"{was} stands there twice", place=place, allowed=f"write {mended} above each")
    return InputError(f"{was} is not TOML", place=place, allowed=f"write {visible(mended.strip())[:80]}")
