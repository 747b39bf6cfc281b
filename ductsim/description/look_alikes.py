"""Names that a reader takes for one another: twins in capitals or spelling, letters that look the same.

Two such names are two things to a computer, and one thing to whoever reads the answer.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable

# Letters that common typefaces draw like Latin letters or digits. Chosen by our own eye from Cyrillic, Greek
# and Latin; a small part of what the Unicode Consortium's list of confusable characters holds (Unicode
# Technical Standard 39, "Unicode Security Mechanisms"; named from memory, not seen for this table).
_CYRILLIC = dict(
    zip(
        "\u0430\u0410\u0432\u0412\u0435\u0415\u0437\u0417\u043a\u041a\u043c\u041c\u043d\u041d"
        "\u043e\u041e\u0440\u0420\u0441\u0421\u0442\u0422\u0443\u0423\u0445\u0425\u0456\u0406"
        "\u0458\u0408\u0455\u0405\u0501\u051b\u051d\u04bb\u0451",
        "aABBeE33kKmMHHoOpPcCTTyYxXiIjJsSdqwh\u00eb",
        strict=True,
    )
)
_GREEK = dict(
    zip(
        "\u03b1\u0391\u0392\u0395\u0396\u0397\u0399\u03ba\u039a\u039c\u039d\u03bf\u039f\u03c1"
        "\u03a1\u03a4\u03c5\u03a5\u03a7\u03bd\u03b3\u03b9\u03c9",
        "aABEZHIkKMNoOpPTuYXvyiw",
        strict=True,
    )
)
_LATIN = dict(zip("0Oo1Il|\u0131", "oooIIIII", strict=True))
_DASHES = dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212\ufe63-", "-")
_QUOTES = dict.fromkeys("`\u00b4\u02b9\u02bb\u02bc\u02bd\u2018\u2019\u2032", "'")
_LOOK_ALIKES = str.maketrans({**_CYRILLIC, **_GREEK, **_DASHES, **_QUOTES})
_DIGITS = str.maketrans(_LATIN)
# Letters and marks that take no room of their own, or show nothing; format characters are in no name.
_UNSEEN = dict.fromkeys(map(ord, "\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0"))
_SELECTORS = dict.fromkeys((*range(0xFE00, 0xFE10), *range(0x180B, 0x1810), *range(0xE0100, 0xE01F0)))


def appearance(name: str) -> str:
    """What is left of a name for the eye: two names with one appearance are taken for one another."""
    plain = unicodedata.normalize("NFKC", name).translate(_UNSEEN).translate(_SELECTORS)
    plain = unicodedata.normalize("NFC", plain.translate(_LOOK_ALIKES).translate(_DIGITS))
    shown = "".join(c for c in plain if unicodedata.category(c) != "Cf")
    return unicodedata.normalize("NFKC", " ".join(shown.casefold().split()))


def look_alikes(names: Iterable[str], what: str) -> list[str]:
    """A sentence for each pair of different names with one appearance, naming both and where they differ."""
    first: dict[str, str] = {}
    out = []
    for name in dict.fromkeys(names):
        known = first.setdefault(appearance(name), name)
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
    i = next(
        (k for k, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other))
    )
    words = [
        unicodedata.name(name[i], "a sign").lower() if i < len(name) else "nothing" for name in (one, other)
    ]
    return f" (letter {i + 1}: {words[0]}, {words[1]})"
