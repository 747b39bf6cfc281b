"""A fleet in tables and sentences."""

from __future__ import annotations

from typing import Any

from ..cautions import cautions_for
from ..quantity import suited
from ..result import Note
from ..wording import listed, said
from .result import Fleet

Row = dict[str, Any]
FEW = 6
TOLD = 0.5


def about(found: Fleet) -> str:
    """How many machines, how many unknowns."""
    return f"{len(found.members)} machines, {len(found.wanted)} unknowns"


def tables(found: Fleet) -> dict[str, list[Row]]:
    """Usual (what the next machine starts from), machines, odd."""
    out = {"usual": [_usual(found, u.address) for u in found.wanted], "machines": _machines(found)}
    odd = [
        {
            "machine": o.name,
            "unknown": o.unknown,
            "estimate": o.estimate,
            "low": o.usual[0],
            "likely": o.usual[1],
            "high": o.usual[2],
            "measure": _measure(found, o.unknown),
            "chance": o.chance,
        }
        for o in found.odd
    ]
    return out | ({"odd": odd} if odd else {})


def _measure(found: Fleet, address: str) -> str:
    return found.given.layout.declaration(address).measure


def _usual(found: Fleet, address: str) -> Row:
    now = found.known[address]
    before = next(u for u in found.wanted if u.address == address)
    return {
        "unknown": address,
        "low": now.low,
        "likely": now.likely,
        "high": now.high,
        "measure": _measure(found, address),
        "prior_low": before.low,
        "prior_likely": before.likely,
        "prior_high": before.high,
        "ratio": found.shares[address],
    }


def _machines(found: Fleet) -> list[Row]:
    odd = {(o.name, o.unknown) for o in found.odd}
    return [
        {
            "machine": member.name,
            "unknown": address,
            "estimate": estimate,
            "low": low,
            "high": high,
            "measure": _measure(found, address),
            "odd": "yes" if (member.name, address) in odd else "no",
        }
        for member in found.members
        for address, (low, estimate, high) in member.values.items()
    ]


def sentences(found: Fleet, measures: str) -> list[str]:
    """What is usual where it was learnt, and what is odd."""
    out = []
    for o in found.odd:
        measure = suited(_measure(found, o.unknown), max(o.estimate, o.usual[2]))
        own, low, high = (said(v, measure, measures) for v in (o.estimate, o.usual[0], o.usual[2]))
        out.append(
            f"{o.name} is odd: {o.unknown} is {own} by its own readings, {low} to {high} is usual (95%)."
        )
    told = sorted((a for a in found.shares if found.shares[a] <= TOLD), key=lambda a: found.shares[a])
    for address in told[:FEW]:
        u = found.known[address]
        measure = suited(_measure(found, address), u.high)
        low, likely, high = (said(v, measure, measures) for v in (u.low, u.likely, u.high))
        out.append(
            f"Usual for {address}: {likely}, {low} to {high} in 95%; that is {found.shares[address]:.0%} of "
            "what was believed before."
        )
    if len(told) > FEW:
        out.append(f"So much is learnt of {len(told) - FEW} more unknowns.")
    if not told:
        out.append("The next machine is believed to be much as before: no unknown was learnt to half of it.")
    if not found.odd:
        out.append("No machine is odd.")
    return out


def notes(found: Fleet) -> list[Note]:
    """What it rests on."""
    out = [
        Note(
            f"Learnt from {len(found.members)} machines; half of the variance believed before counts as what "
            "they have in common, half as how they differ.",
            "assumed",
            value=float(len(found.members)),
        )
    ]
    if found.odd:
        names = listed(list(dict.fromkeys(o.name for o in found.odd)))
        out.append(Note(f"What is odd of {names} does not count for what is usual.", "left out", names))
    return out


def cautions(found: Fleet) -> list[str]:
    """The cautions that belong to reading."""
    return cautions_for(["measure"])
