"""The jobs of a report: in their order, each with what it brings and the reading that will prove it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..description.data import running_speed
from ..errors import InputError, NoOperatingPoint
from ..fixes.fix import Fix
from ..machine.machine import Machine
from ..quantity import RPM
from ..statistics import middle, quantile
from ..studies.proof import Proof
from ..studies.proof.study import Solved, planned_beside
from ..wording import said, within
from .findings import Findings

MOST_READINGS = 6
"""More readings than this in a row are no proof in the field."""
TURNS = 0.005
"""Relative change of a fan's speed that a tachometer shows."""


@dataclass(frozen=True)
class Job:
    """One row of the work to be done.

    Attributes
    ----------
    name : str
        The fix.
    minutes, cost : str
        As they are written.
    gain : str
        What it adds to the answer after the jobs above it.
    after : str
        The answer then.
    weakest : str
        The weakest unit then; empty where there is none.
    proof : str
        The reading that will prove it, before and after.
    """

    name: str
    minutes: str
    cost: str
    gain: str
    after: str
    weakest: str
    proof: str


def jobs_of(found: Findings) -> list[Job]:
    """The recommended fixes in their order; none without a comparison."""
    comparison = found.comparison
    if comparison is None or not found.order:
        return []
    names = [fix.name for fix in found.order]
    masks = [comparison.mask(names[:k]) for k in range(len(names) + 1)]
    comparison.sure.need(masks)
    solved = comparison.sure
    rows = [solved.row(mask) for mask in masks]
    out: list[Job] = []
    proofs = Solved()
    for k, fix in enumerate(found.order):
        more = solved.gains_of(rows[k + 1]) - solved.gains_of(rows[k])
        out.append(
            Job(
                name=fix.name,
                minutes=f"{fix.minutes:,.4g}",
                cost=f"{fix.cost:,.10g}" if fix.cost else "",
                gain=_gain(found, more),
                after=answer_after(found, rows[k + 1]),
                weakest=solved.weakest(rows[k + 1]) if solved.combining.units else "",
                proof=proved_by(comparison.done(names[:k]), fix, found.measures, proofs),
            )
        )
    return out


def _gain(found: Findings, gains: Any) -> str:
    """A gain with no more digits than the possible machines agree on."""
    assert found.comparison is not None
    measure = found.comparison.question.measure
    middle_one = quantile(gains, 0.5)
    if found.comparison.machines == 1:
        return said(middle_one, measure, found.measures, digits=2, sign=True)
    ends = [quantile(gains, share) for share in (0.05, 0.95)]
    return within(middle_one, ends, measure, found.measures, sign=True)[0]


def answer_after(found: Findings, row: int) -> str:
    """The answer of a solved set, with no more digits than the possible machines agree on.

    Of a single machine the set's answer is taken to be as unsure as that with nothing done.
    """
    assert found.comparison is not None
    answers = found.comparison.sure.answers.answer[row]
    low, mid, high = (quantile(answers, share) for share in (0.05, 0.5, 0.95))
    if found.comparison.machines == 1:
        alike = found.possible.ask(found.comparison.of)
        less, usual, more = (quantile(alike, share) for share in (0.05, 0.5, 0.95))
        low, high = (mid * end / usual if usual else mid for end in (less, more))
    return within(mid, (low, high), found.comparison.question.measure, found.measures)[0]


# ---- proof


def proved_by(machine: Machine, fix: Fix, measures: str, solved: Solved | None = None) -> str:
    """Where to read before and after a fix, what should be there, and how often to read.

    Parameters
    ----------
    machine : Machine
        Before the fix; its columns are possible machines.
    fix : Fix
        The work.
    measures : str
        "metric" or "inch".
    solved : Solved, optional
        What was solved for the proof of the fix before.
    """
    turned = _turned(machine, fix)
    if turned:
        return turned
    places = list(machine.layout.tapping)
    if not places:
        return "no tapping to read at"
    try:
        every = planned_beside(solved or Solved(), machine, fix, places)
        k = int(np.argmax(np.abs(every.expected) / np.sqrt(np.diag(every.covariance))))
        return _told(every.only([places[k]]), measures)
    except (InputError, NoOperatingPoint):
        return "not known"


def _turned(machine: Machine, fix: Fix) -> str:
    """The fan whose speed a fix changes: a tachometer proves that."""
    before, after = machine.part_numbers(), fix.on(machine).part_numbers()
    for name in machine.layout.fans:
        old, new = (float(middle(running_speed(numbers, name))) for numbers in (before, after))
        if old and abs(new / old - 1.0) > TURNS:
            return f"{name}: {old * RPM:,.0f} \N{RIGHTWARDS ARROW} {new * RPM:,.0f} rpm"
    return ""


def _told(found: Proof, measures: str) -> str:
    """One place: the reading before and the one after, rounded to what is known of the change."""
    before, change = float(found.means[0, 0]), float(found.expected[0])
    sd = float(np.sqrt(found.covariance[0, 0]))
    times, sets = found.readings_needed, found.sets_needed
    if times is None and sets is None:
        return "too small for a gauge"
    half = max(sd, 0.5 * (quantile(found.changes[0], 0.95) - quantile(found.changes[0], 0.05)))
    if before < 0.0 and before + change < 0.0:  # suction, as a technician reads it
        before, change = -before, -change
        word = " of vacuum"
    else:
        word = ""
    measure = found.points[0].measure
    old, new = (
        within(value, (value - half, value + half), measure, measures)[0]
        for value in (before, before + change)
    )
    if old == new:
        return "too small for a gauge"
    number = old.rpartition(" ")[0] or old
    where = f"{found.points[0].where}: {number} \N{RIGHTWARDS ARROW} {new}{word}"
    if times is not None and times <= MOST_READINGS:
        return where if times == 1 else f"{where}, mean of {times} readings"
    if sets is not None and sets <= MOST_READINGS:
        return f"{where}, {sets} sets, gauge zeroed for each"
    return f"{where}, hardly told"
