"""The steps of a visit."""

from __future__ import annotations

from dataclasses import dataclass

from ..readings.table import Reading

READ, BEFORE, FIX, PROVE = "read", "read before the work", "fix", "read after the work"
AFTER = "after"
"""The set of readings that prove a fix."""


@dataclass(frozen=True)
class Step:
    """One step of a visit.

    Attributes
    ----------
    kind : str
        "read", "read before the work", "fix" or "read after the work".
    start, minutes : float
        When it begins, and how long it takes [min].
    readings : tuple of Reading
        What is read, with what is expected.
    fixes : tuple of str
        What is done, in order.
    """

    kind: str
    start: float
    minutes: float
    readings: tuple[Reading, ...] = ()
    fixes: tuple[str, ...] = ()
