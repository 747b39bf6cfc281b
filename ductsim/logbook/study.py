"""From a logbook to what has worn, what each fix brought, and the machine as it is today."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..fixes.fix import Fix, Task
from ..machine.machine import Machine
from ..readings.table import Readings
from ..readings.unknowns import Unknown, unknowns_of
from ..result import Note
from ..studies.fit import fit
from ..studies.proof import proof
from ..wording import listed
from .adding import backwards
from .result import Brought, History, Look, Moved
from .visit import VISIT, VISITS, Logbook, Visit, named, read_logbook

Array = NDArray[np.float64]

SAMPLES = 200
SURE = 0.975
"""Chance from which a number is said to have moved."""


def history(folder: str | os.PathLike[str] | Logbook, *, draws: int | None = None) -> History:
    """What the visits to a machine add up to: leaks over time, what wore, what each fix really brought.

    The readings of every visit are fitted by themselves, to the machine with the fixes done until then, and
    every unknown is believed beforehand what the machine file says of it: a sealed leak is not taken for
    tight, its readings tell. Readings before and after a fix prove it, also those of two visits.

    Parameters
    ----------
    folder : path or Logbook
        The machine's folder; see `log_visit`.
    draws : int, optional
        Draws behind the intervals of each fit, as `fit` takes them.

    Returns
    -------
    History

    Raises
    ------
    InputError
        One sentence with the file and the place, for whatever is wrong with it.
    """
    book = folder if isinstance(folder, Logbook) else read_logbook(folder)
    walk = _Walk(book.machine, book.machine, unknowns_of(book.machine) if _any_read(book) else [], draws)
    for visit in book.visits:
        try:
            walk.read(visit, visit.readings, "before")
            walk.do(visit)
            walk.read(visit, visit.after, "after")
        except InputError as err:
            raise err.at(file=str(Path(book.folder) / VISITS / visit.name / VISIT)) from None
    state = walk.today.solve(raise_error=False)
    answered = bool(book.machine.layout.units) and bool(np.all(state.solved))
    return History(
        folder=book.folder,
        machine=book.machine,
        today=walk.today,
        weakest_unit=str(state.weakest) if answered else "",
        weakest_vacuum=float(state.ask("weakest vacuum")) if answered else math.nan,
        since=[fix.name for _, fix in walk.pending],
        visits=book.visits,
        looks=walk.looks,
        brought=walk.brought,
        moved=walk.moved(),
        seen=[*book.seen, *backwards(book.visits), *walk.notes],
    )


def _any_read(book: Logbook) -> bool:
    return any(visit.readings or visit.after for visit in book.visits)


@dataclass
class _Walk:
    """The visits one after the other.

    Attributes
    ----------
    described : Machine
        With the fixes done so far, nothing fitted.
    today : Machine
        As the latest readings show it, with the fixes since.
    wanted : list of Unknown
        What is believed of each before anything is read.
    pending : list of (Visit, Fix)
        Done since the latest readings.
    touched : dict
        Unknown -> after how many looks it was last worked on.
    spans : list of (unknown, first, end)
        Between which looks nothing was done to it.
    """

    described: Machine
    today: Machine
    wanted: list[Unknown]
    draws: int | None
    looks: list[Look] = field(default_factory=list)
    brought: list[Brought] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
    pending: list[tuple[Visit, Fix]] = field(default_factory=list)
    touched: dict[str, int] = field(default_factory=dict)
    spans: list[tuple[str, int, int]] = field(default_factory=list)

    def read(self, visit: Visit, readings: Readings | None, when: str) -> None:
        """The machine as these readings show it, and what the work before them brought."""
        if readings is None:
            return
        found = named(self.described, readings)
        own = {
            u.address: (u.low, u.likely, u.high)
            for u in self.wanted
            if u.address in self.described.layout.declared
        }
        try:
            appearance = _look(visit, when, fit(self.described, found, own, draws=self.draws))
        except InputError as err:
            raise err.at(file=readings.file) from None
        if self.pending and self.looks:
            self.brought.append(self._proved(self.looks[-1], appearance))
        self.pending = []
        self.looks.append(appearance)
        self.today = appearance.fit.machine

    def do(self, visit: Visit) -> None:
        """The fixes of a visit."""
        for fix in visit.fixes:
            task = Task.of(fix, self.described)
            for u in self.wanted:
                if u.address in task.effects or u.address.partition(".")[0] in task.parts:
                    self._end(u.address)
            self.described = fix.on(self.described)
            self.today = fix.on(self.today)
            self.pending.append((visit, fix))

    def _end(self, address: str) -> None:
        """A number is worked on: what comes after is another stretch of its life."""
        self.spans.append((address, self.touched.get(address, 0), len(self.looks)))
        self.touched[address] = len(self.looks)

    def _proved(self, before: Look, after: Look) -> Brought:
        names = [fix.name for _, fix in self.pending]
        visits = list(dict.fromkeys(visit.name for visit, _ in self.pending))
        proved = None
        try:
            fix = _together([fix for _, fix in self.pending])
            proved = proof(before.fit, before.fit.taken, after.fit.taken, fix)
        except InputError as err:
            text = f"{listed(names)} ({listed(visits)}) is not proved: {err.problem}."
            self.notes.append(Note(text, "not proved", listed(visits)))
        return Brought(visits, names, before, after, proved)

    def moved(self) -> list[Moved]:
        """What has moved between the first and the last look at it with nothing done to it in between."""
        last = [(u.address, self.touched.get(u.address, 0), len(self.looks)) for u in self.wanted]
        out = []
        for address, start, end in [*self.spans, *last]:
            looks = [appearance for appearance in self.looks[start:end] if address in appearance.values]
            if len(looks) > 1:
                found = _moved(address, looks[0], looks[-1])
                out += [found] if max(found.chance, 1.0 - found.chance) >= SURE else []
        return sorted(out, key=lambda moved: -moved.chance)


def _look(visit: Visit, when: str, found: Any) -> Look:
    machine = found.sample(SAMPLES)
    weakest, unit = np.empty(0, dtype=np.float64), ""
    if machine.layout.units:
        state = machine.solve(raise_error=False)
        made = np.asarray(state.ask("weakest vacuum"), dtype=float)
        names, counts = np.unique([str(name) for name in np.atleast_1d(state.weakest)], return_counts=True)
        weakest, unit = made[np.isfinite(made)], str(names[counts.argmax()])
    values = {u.address: np.array(machine.numbers[u.address], dtype=float) for u in found.wanted}
    return Look(visit.name, when, visit.engine_hours, found, values, weakest, unit)


def _together(fixes: Sequence[Fix]) -> Fix:
    """Several fixes as one; of two that set the same number the later one counts."""
    if len(fixes) == 1:
        return fixes[0]
    change = _merged(fix.change for fix in fixes)
    return Fix(listed([fix.name for fix in fixes]), change, _merged(fix.replace for fix in fixes))


def _merged(tables: Iterable[Any]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for table in tables:
        out |= table
    return out


def _moved(address: str, first: Look, last: Look) -> Moved:
    known = first.engine_hours is not None and last.engine_hours is not None
    measure = first.fit.given.layout.declaration(address).measure
    return Moved(
        unknown=address,
        start=first.visit,
        end=last.visit,
        hours=(last.engine_hours or 0.0) - (first.engine_hours or 0.0) if known else None,
        before=_estimate(first, address),
        now=_estimate(last, address),
        measure=measure,
        chance=chance_larger(first.values[address], last.values[address]),
    )


def _estimate(appearance: Look, address: str) -> float:
    return next(float(row["estimate"]) for row in appearance.fit.unknowns if row["unknown"] == address)


def chance_larger(before: Array, now: Array) -> float:
    """The chance that one number is larger than another, by draws of each that know nothing of each other."""
    below = np.searchsorted(np.sort(before), now, side="left")
    above = np.searchsorted(np.sort(before), now, side="right")
    return float(0.5 * (below + above).mean() / len(before))
