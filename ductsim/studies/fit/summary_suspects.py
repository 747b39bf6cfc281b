"""What a search for suspects says, in tables and sentences."""

from __future__ import annotations

from typing import Any

from ...inference.scales import Scales
from ...result import Note
from ...wording import listed
from .result import Suspects
from .summary import of_draws, said_of
from .suspecting import RATE

Row = dict[str, Any]

SHOWN = 0.005  # chance from which a hypothesis is worth a look
MOST_NEXT = 4


def about(found: Suspects) -> str:
    """How many were suspected by what, in a few words."""
    return f"{len(found.suspects)} suspects, {len(found.taken)} readings"


def tables(found: Suspects) -> dict[str, list[Row]]:
    """The suspects, and the hypotheses that are worth a look."""
    rows = [
        {"faulty": " + ".join(names) or "none", "chance": chance}
        for names, chance in found.hypotheses
        if chance > SHOWN
    ]
    return {"suspects": _suspects(found), "hypotheses": rows}


def _suspects(found: Suspects) -> list[Row]:
    """A row for each suspect, the most probable first."""
    count = len(found.scales)
    best = Scales(list(found.scales.values())).values(found.estimate.x[:count, None])[:, 0].tolist()
    chances, rows = found.chances, []
    for u, estimate in zip(found.suspects, best, strict=False):
        low, high, _ = found.interval(u.address)
        rows.append(
            {
                "suspect": u.address,
                "chance": chances[u.address],
                "estimate": estimate,
                "low": low,
                "high": high,
                "likely": u.likely,
                "measure": found.given.layout.declaration(u.address).measure,
            }
        )
    return sorted(rows, key=lambda row: -row["chance"])


def sentences(found: Suspects, measures: str) -> list[str]:
    """Who is at fault, how surely, and who is not excluded."""
    rows = _suspects(found)
    names, chance = found.hypotheses[0]
    if not names:
        out = [f"No suspect is at fault, most probably ({chance:.0%})."]
    else:
        words = [_size(row, measures) for row in rows if row["suspect"] in names]
        verb = "are" if len(words) > 1 else "is"
        out = [f"Most probably {listed(words)} {verb} at fault ({chance:.0%} for just that)."]
    others = [f"{r['suspect']} ({r['chance']:.0%})" for r in rows if r["suspect"] not in names][:MOST_NEXT]
    if others:
        out.append(f"Next come {listed(others)}.")
    return out


def _size(row: Row, measures: str) -> str:
    estimate, likely = said_of(row, ("estimate", "likely"), measures)
    return f"{row['suspect']} ({estimate}, likely {likely})"


def notes(found: Suspects) -> list[Note]:
    """What was assumed, and how much was worked out."""
    effort = f"{len(found.hypotheses)} hypotheses, {found.solves:,} operating points, {found.seconds:.1f} s."
    return [
        *found.taken.notes,
        *of_draws(found.draws),
        Note(f"Beforehand {RATE:.0%} of the suspects are at fault: our assumption.", "assumed", value=RATE),
        Note(effort, "effort", value=found.seconds),
    ]
