"""Names that a reader takes for one another: twins in capitals or spelling, letters that look the same.

Two such names are two things to a computer, and one thing to whoever reads the answer.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .layout import Layout

# Letters that common typefaces draw like Latin letters or digits. Chosen by our own eye from Cyrillic, Greek
# and Latin; a small part of what the Unicode Consortium's list of confusable characters holds (Unicode
# Technical Standard 39, "Unicode Security Mechanisms"), which was not seen for this table.
_CYRILLIC = dict(zip("аАвВеЕзЗкКмМнНоОрРсСтТуУхХіІјЈѕЅԁԛԝһё", "aABBeE33kKmMHHoOpPcCTTyYxXiIjJsSdqwhë", strict=True))
_GREEK = dict(zip("αΑΒΕΖΗΙκΚΜΝοΟρΡΤυΥΧνγιω", "aABEZHIkKMNoOpPTuYXvyiw", strict=True))
_LATIN = dict(zip("0Oo1Il|ı", "oooIIIIi", strict=True))
_DASHES = dict.fromkeys("‐‑‒–—―−﹣-ー", "-")
_QUOTES = dict.fromkeys("'`´ʹʻʼʽ‘’′", "'")
_LOOKS = str.maketrans({**_CYRILLIC, **_GREEK, **_DASHES, **_QUOTES})
_DIGITS = str.maketrans(_LATIN)
# Letters and marks that take no room of their own, or show nothing; format characters are in no name.
_UNSEEN = dict.fromkeys(map(ord, "\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0"))
_SELECTORS = dict.fromkeys((*range(0xFE00, 0xFE10), *range(0x180B, 0x1810), *range(0xE0100, 0xE01F0)))


def look(name: str) -> str:
    """What is left of a name for the eye: two names with one look are taken for one another."""
    plain = unicodedata.normalize("NFKC", name).translate(_UNSEEN).translate(_SELECTORS)
    plain = unicodedata.normalize("NFC", plain.translate(_LOOKS).translate(_DIGITS))
    shown = "".join(c for c in plain if unicodedata.category(c) != "Cf")
    return unicodedata.normalize("NFKC", " ".join(shown.casefold().split()))


def alike(names: Iterable[str], what: str) -> list[str]:
    """A sentence for each pair of different names with one look, naming both and where they differ."""
    first: dict[str, str] = {}
    out = []
    for name in dict.fromkeys(names):
        known = first.setdefault(look(name), name)
        if known != name:
            out.append(
                f"Two {what} are easily taken for one another: {known!r} and {name!r}"
                f"{_difference(known, name)}; they are told apart letter by letter."
            )
    return out


def _difference(one: str, other: str) -> str:
    """The first letters that differ by name, where they cannot be told apart by eye."""
    if one.isascii() and other.isascii():
        return ""
    i = next((k for k, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    words = [unicodedata.name(name[i], "a sign").lower() if i < len(name) else "nothing" for name in (one, other)]
    return f" (letter {i + 1}: {words[0]}, {words[1]})"


def alike_names(layout: Layout) -> list[str]:
    """Names of a machine's things, nodes and units that are taken for one another."""
    things = [thing.name for group in (layout.drives, layout.parts, layout.tappings) for thing in group]
    nodes = [end for part in layout.parts for end in part.ends]
    return [
        *alike(things, "names"),
        *alike([unit.name for unit in layout.units], "units"),
        *alike(nodes, "nodes"),
    ]
