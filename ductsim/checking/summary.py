"""What the checks of a part found, in rows and sentences."""

from __future__ import annotations

from typing import Any

from ..display.rows import Of, rows_of
from ..wording import counted
from .check import PartCheck


def about(found: PartCheck) -> str:
    """The part, and whether it passed."""
    return f"{found.kind}, {'passed' if found.passed else f'{len(found.failed)} checks failed'}"


def tables(found: PartCheck) -> dict[str, list[dict[str, Any]]]:
    """A row for each check: its name, whether it passed, what was found and on which example."""
    columns = (
        Of("check"),
        Of("passed", value=lambda own: not own.found),
        Of("found", doc="what is wrong with the first example that fails"),
        Of("example", doc="that example"),
        Of("about", doc="what the check looks at"),
    )
    return {"table": rows_of(found.findings, *columns)}


def sentences(found: PartCheck, measures: str) -> list[str]:
    """Whether the part may be relied upon, then one sentence for each check that failed."""
    tried = counted(len(found.examples), "example")
    count = len(found.findings)
    if found.passed:
        return [f"The part {found.kind!r} passes all {count} checks on {tried}."]
    out = [f"The part {found.kind!r} fails {len(found.failed)} of {count} checks on {tried}."]
    return out + [f"{own.check}: {own.found}, in {own.example}." for own in found.failed]
