"""Names that are joined by plus signs in a cell, where a name may hold a plus itself."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from itertools import groupby


def names_in(texts: Sequence[str], known: Collection[str]) -> tuple[str, ...]:
    """Names from texts in which a plus may belong to a name or stand between two, each once.

    A text that is a known name stays as it is; else it is taken apart, each time into the longest name there
    is. What is no known name comes out as it was written.
    """
    if all(text in known for text in texts):
        return tuple(texts)
    spelled = {_close(name): name for name in known}
    longest = 1 + max((name.count("+") for name in known), default=0)
    out: list[str] = []
    for own, group in groupby(texts, key=lambda text: text in known):
        if own:
            out += group
            continue
        words = [word.strip() for text in group for word in text.split("+")]
        at = 0
        while at < len(words):
            joined = (("+".join(words[at : at + n]), n) for n in range(longest, 0, -1))
            name, used = next(((spelled[j], n) for j, n in joined if j in spelled), (words[at], 1))
            out.append(name)
            at += used
    return tuple(dict.fromkeys(filter(None, out)))


def _close(name: str) -> str:
    """A name without spaces about its plus signs."""
    return "+".join(word.strip() for word in name.split("+"))
