"""Evening the units out: the setting that lifts the weakest, and among such the one with the least spread."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ...answers.variants import solve_variants
from ...arguments import locked
from ...description.possible import middle
from ...errors import InputError, UnknownName
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...questions.vocabulary import asked_of, question
from .result import Balance
from .search import MOST_COUNTED, Search
from .trims import Trim, Variable, variables_of

Array = NDArray[np.float64]


def balance(
    machine_or_fit: Any,
    trims: Sequence[Trim] | None = None,
    of: str | Sequence[str] = "weakest vacuum",
) -> Balance:
    """Set some numbers so that the weakest unit is lifted as far as it goes, then even the others out.

    Parameters
    ----------
    machine_or_fit : Machine or fit
        For possible machines the setting is found for the middle one (the median of every number), and
        what it brings is told for all of them.
    trims : sequence of Trim, optional
        What may be set and how far; the machine's own `[[trim]]` tables if not given.
    of : str or sequence of str
        "weakest vacuum" evens the vacuums of the units, "weakest opening air" the air through their
        openings, "carrying margin" their margins with the crop. Several questions are evened among each
        other; a single other one is made as good as can be.

    Returns
    -------
    Balance

    Raises
    ------
    InputError
        For trims that are none, and where no setting keeps the fans and drives within their limits.
    """
    machine = possible_machines(machine_or_fit)
    single = middle(machine)
    variables = variables_of(single, trims)
    asked, whole = _questions(single, of)
    questions = [question(single.layout, words) for words in asked]
    if len({q.measure for q in questions}) > 1:
        raise InputError("questions of different measures", place="of", allowed="answers of one measure")
    better = 1.0 if questions[0].more_is_better else -1.0
    addresses = [variable.address for variable in variables]
    start = np.array([single.numbers[address] for address in addresses])
    search = Search(single, variables, asked, better)
    before = single.solve()
    found = _found(search, start)
    settings, lifted = (
        dict(zip(addresses, values.tolist(), strict=True)) for values in (found.setting, found.lifted)
    )
    after = single.change(settings).solve()
    _, slopes = after.machine.jacobian(asked, addresses, after)
    return Balance(
        machine=machine,
        variables=variables,
        of=asked,
        whole=whole,
        start=dict(zip(addresses, start.tolist(), strict=True)),
        settings=settings,
        lifted=lifted,
        optimality=found.optimality,
        gap=found.gap,
        counted=found.counted,
        before=before,
        after=after,
        between=None if lifted == settings else single.change(lifted).solve(),
        slopes=locked(np.asarray(slopes)),
        gains=locked(_gains(machine, settings, asked, better)),
    )


class _Found(NamedTuple):
    """A lifted setting and the final one, in SI, and how they were found."""

    lifted: Array
    setting: Array
    optimality: float = math.nan
    gap: float = math.nan
    counted: int = 0


def _found(search: Search, start: Array) -> _Found:
    count = search.count()
    if 0 < count <= MOST_COUNTED:
        best = search.every()
        return _Found(best, best, counted=count)
    z = search.lift(start)
    optimality = search.optimality(z)
    variables = search.variables
    fixed = np.array([variable.sizes is not None for variable in variables])
    if not fixed.any():
        return _Found(search.values(z), search.values(search.even(z)), optimality, 0.0)
    ideal = float(search.point(z).answers.min())
    chosen = search.rounded(search.values(search.even(z)))
    if not fixed.all():
        free = search.lift(chosen, ~fixed)
        chosen = search.values(search.even(free, ~fixed))
        chosen[fixed] = _at_sizes(variables, chosen)
    answers, _ = search.many(chosen[None, :])
    gap = max(0.0, (ideal - float(answers.min())) * search.scale)
    return _Found(chosen, chosen, optimality, gap)


def _at_sizes(variables: Sequence[Variable], values: Array) -> list[float]:
    """The sizes among some values: scaling one to 0..1 and back may move it by a rounding error."""
    return [d.nearest(v) for d, v in zip(variables, values, strict=True) if d.sizes is not None]


def _gains(machine: Machine, settings: dict[str, float], of: Sequence[str], better: float) -> Array:
    """What the settings gain on each possible machine, (M,); nothing of a single one."""
    count = machine.columns
    if count is None:
        return np.zeros(0)
    both = {
        address: np.array([np.broadcast_to(machine.numbers[address], count), np.full(count, value)])
        for address, value in settings.items()
    }
    found = solve_variants(machine, both, 2)
    before, after = np.nanmin(better * np.array([found.ask(words) for words in of]), axis=0)
    return np.asarray(after - before)


def _questions(machine: Machine, of: str | Sequence[str]) -> tuple[list[str], str]:
    """The questions to be evened, and the one that stands for them if they are one for each unit."""
    if not isinstance(of, str):
        return asked_of(machine.layout, of, "balance"), ""
    question(machine.layout, of)
    if not of.startswith("weakest ") and of != "carrying margin":
        return [of], ""
    each = [f"{of.removeprefix('weakest ')} {unit.name}" for unit in machine.layout.units]
    try:
        for words in each:
            question(machine.layout, words)
    except UnknownName:
        return [of], ""
    return each, of
