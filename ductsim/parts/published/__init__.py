"""Every law against published values: one table, printed by a command and verified by a test.

Our value is computed with the law itself, and with a part where the published number is that of a part.
The standing says whether the published value was seen or is recalled; the references are in
`ductsim.sources`.
"""

from __future__ import annotations

from typing import Any

from ...laws.card import LAWS, card_of
from ...sources import source
from .ducts import air, bends, changes, friction, hose, losses
from .machines import crop, expansion, fans, jets, leaks, tees
from .table import Check


def checks() -> list[Check]:
    """All checks, in the order of the laws."""
    rooms = (air, friction, hose, losses, bends, changes, leaks, fans, jets, expansion, tees, crop)
    out = [found for room in rooms for found in room()]
    for check in out:
        source(check.key)
    return out


def check_rows() -> list[dict[str, Any]]:
    """Every law with its source, the published value, ours, their difference and the standing."""
    return [check.row() for check in checks()]


def law_rows() -> list[dict[str, Any]]:
    """Every law with its equation, range and sources."""
    out = []
    for name, function in LAWS.items():
        card = card_of(function)
        if card is not None:
            out.append(
                {
                    "law": name,
                    "equation": card.equation,
                    "valid": card.valid,
                    "sources": "; ".join(str(source(key)) for key in card.sources),
                }
            )
    return out
