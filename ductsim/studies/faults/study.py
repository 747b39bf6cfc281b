"""The usual mishaps of a machine, each solved by itself."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from ...answers.variants import Variants, solve_variants
from ...arguments import text
from ...crop.margins import Place
from ...description.possible import middle
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...questions.gauges import tapping_pressures
from ...questions.vocabulary import question
from .mishaps import Case, cases, with_holes, without_drive
from .result import Faults, Seen

AS_IT_IS = Case("as it is", "as it is", "", ())
ROUNDING = 1e-9
"""Share of the largest of its kind below which a value is rounding, and counts as 0 [-]."""


def what_if(machine_or_fit: Any, of: str = "weakest vacuum") -> Faults:
    """What the usual mishaps would do to a machine, one by one, the worst first.

    A fan without its belt, a hose that is off, kinked or plugged, a plugged duct, a blinded screen, a soiled
    fan, a torn seal, a door that stands open or has its latch open, two neighbours' hoses exchanged: what
    can happen to a part is declared by its kind (`Part.mishaps`). Each is solved by itself on the machine as
    it is, with what every gauge would show and what the driver would notice first.

    Parameters
    ----------
    machine_or_fit : Machine or fit
        Of possible machines the middle one is taken.
    of : str
        The question that tells how bad a mishap is.

    Returns
    -------
    Faults

    Raises
    ------
    InputError
        For no machine and an unknown question.
    NoOperatingPoint
        Where the machine as it is has no answer.
    """
    machine = middle(possible_machines(machine_or_fit))
    asked = question(machine.layout, text(of, "what_if, of", "a question, like 'weakest vacuum'"))
    state = machine.solve()
    every = cases(machine)
    placed = [AS_IT_IS, *(case for case in every if not case.free)]
    before, *after = _solved(*_prepared(machine, placed), placed, asked.of)
    for case in every:
        if case.free:
            after += _solved(without_drive(machine, case), {}, [case], asked.of)
    found = Faults(machine, asked.of, before, after, seen=list(state.notes))
    found.after.sort(key=lambda own: _rank(found, own))
    return found


def _rank(found: Faults, own: Seen) -> tuple[bool, float, float]:
    """The worst first, by what they take from the answer, then by the air left at all openings together."""
    return not own.solved, -found.damage(own) if own.solved else 0.0, float(sum(own.opening_air.values()))


def _prepared(machine: Machine, listed: Sequence[Case]) -> tuple[Machine, dict[str, Any]]:
    """The layout in which all cases are numbers, and the columns of those numbers, (cases, 1)."""
    made, holes = with_holes(machine, list(listed))
    columns: dict[str, Any] = {}
    for i, case in enumerate(listed):
        numbers = dict(case.numbers)
        for node, (area, coefficient) in case.holes.items():
            numbers[f"{holes[node]}.area"] = area
            numbers[f"{holes[node]}.discharge_coefficient"] = coefficient
        for address, value in numbers.items():
            column = columns.setdefault(address, np.full((len(listed), 1), made.numbers[address]))
            column[i] = value
    return made, columns


def _solved(machine: Machine, columns: dict[str, Any], listed: Sequence[Case], of: str) -> list[Seen]:
    """What the machine shows in each case."""
    found = solve_variants(machine, columns, len(listed))
    state, layout = found.state, machine.layout
    gauges = {
        tapping.name: found.matrix(tapping_pressures(state.machine, state, tapping.name).static)
        for tapping in layout.tappings
    }
    answers = found.ask(of)
    answers = np.where(np.abs(answers) < ROUNDING * _largest(answers), 0.0, answers)
    margins, where = _margins(found)
    return [
        Seen(
            kind=case.kind,
            words=case.words,
            sign=case.sign,
            parts=case.parts,
            answer=float(answers[i, 0]),
            vacuum=_at(found.vacuum, i),
            opening_air=_at(found.opening_air, i),
            gauges=_at(gauges, i),
            power=float(found.power[i, 0]),
            weakest=found.weakest[i],
            margin=float(margins[i]),
            place=where[i],
            passed=found.passed.get(i, ""),
        )
        for i, case in enumerate(listed)
    ]


def _at(values: dict[str, Any], i: int) -> dict[str, float]:
    found = {name: float(own[i, 0]) for name, own in values.items()}
    least = ROUNDING * max((_largest(own) for own in values.values()), default=0.0)
    return {name: 0.0 if abs(value) < least else value for name, value in found.items()}


def _largest(values: Any) -> float:
    """The largest size among the values that are known; 0 where none is."""
    return float(np.nan_to_num(np.abs(values)).max(initial=0.0))


def _margins(found: Variants) -> tuple[Any, list[Place | None]]:
    """The smallest carrying margin of each variant, and where it is; NaN and None without a crop."""
    first = found.state.limiting
    if first is None:
        return np.full(found.count, np.nan), [None] * found.count
    where = [
        Place(units, part, what) if part else None
        for units, part, what in zip(first.units, first.place, first.what, strict=True)
    ]
    return np.asarray(first.margin, dtype=float), where
