"""Comparing fixes: every one alone, every set of them, and what is best in the time there is."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import listed
from ...errors import InputError, shown
from ...fixes.file import read_fixes
from ...fixes.fix import Fix, named_once, spelled_out
from ...fixes.sets import combining
from ...machine.possible import possible_machines
from .choice import search
from .elsewhere import Elsewhere, middle_of
from .result import Comparison, minutes_of
from .sets import SolvedSets
from .worth import best_within, interactions, sampled_worths, shapley

Array = NDArray[np.float64]
MOST_EXACT = 14
"""Up to so many fixes every set of them is solved."""
MOST_SCENARIOS = 50_000
"""With possible machines: how many scenarios the table of all sets may take, and that of all pairs."""
PAIRED = 50
"""On so many of them pairs of fixes are solved where that is done, to tell how the others differ."""
MOST_ESTIMATED = 4_000_000
"""Answers on possible machines that are estimated from one of them: sets times machines, some 30 MB."""
ORDERS = 100
"""How many orders are sampled for the worths where there are too many fixes for the exact ones."""
MOST_STEPS = 4000
"""Fixes times orders: with more than 40 fixes fewer orders are sampled."""
MOST_FIXES = 100
"""Their 4,950 pairs and some 40,000 sets more take half a minute; both grow with the square of the number."""
MOST_SETS = 40_000
"""With too many fixes for all sets: so many sets are solved in the search for the best, at most."""
MOST_SURE = 2_000_000
"""Possible machines times fixes, each of them solved alone: some minutes and a gigabyte."""
BUDGETS = (30.0, 60.0, 120.0)
"""Working times that are looked at when no budget is given [min]."""


def compare(
    machine_or_fit: Any,
    fixes: Any,
    of: str | Sequence[str] = "weakest vacuum",
    budget: float | str | None = None,
) -> Comparison:
    """What each fix is worth, alone and with others, and the best of them for the time there is.

    Parameters
    ----------
    machine_or_fit : Machine or fit
        A machine with columns, and what a fit holds possible, are possible machines: gains then have
        intervals, and sets of fixes a chance to be the best buy.
    fixes : list of Fix, path, mapping or DataFrame
        What `read_fixes` takes. A fix that makes no sense on this machine is named with one
        sentence in `errors`; the others are compared all the same.
    of : str or sequence of str
        The question, by default the vacuum of the weakest unit. Of several the first says what is best; what
        the fixes do to the others stands beside it.
    budget : float or str, optional
        The working time there is: a number of minutes [min], or a text with its measure ("1.5 h").

    Returns
    -------
    Comparison

    Raises
    ------
    InputError
        For no fixes, more than 100 of them, too many possible machines, fixes of the same name, a budget that
        is none, and an unknown question.
    NoOperatingPoint
        When the machine as it is has no answer.
    """
    machine = possible_machines(machine_or_fit)
    given = _checked(read_fixes(fixes))
    within = minutes_of(budget)
    tasks, errors = spelled_out(given, machine)
    engine = combining(machine, tasks, of)
    n = len(tasks)
    _bound(engine.machines, n)
    exact = n <= MOST_EXACT
    whole = SolvedSets(engine)
    solved = _on_one(whole, 2**n if exact else MOST_SETS) or whole
    solved.need([0])
    if not solved.could_be_done(0):
        machine.solve()  # raises what is the matter
    if exact:
        solved.need(range(2**n))
    else:
        _search(solved, within)
    found = Comparison(
        machine=machine,
        fixes=given,
        errors=errors,
        of=engine.of,
        budget=within,
        exact=exact,
        orders=min(ORDERS, MOST_STEPS // max(n, 1)),
        solved=solved,
        checked=None if solved is whole else whole,
    )
    _weigh(found)
    found.sure.need([0])
    found.sure.need(1 << i for i in range(n))
    _recommend(found)
    return found


def _on_one(whole: SolvedSets, sets: int) -> SolvedSets | None:
    """Where to solve so many sets if that is too much on all possible machines: on one near their middle.

    What the others have beyond it is told by single fixes, solved on all, and if they are not too many by
    pairs, solved on some.
    """
    engine, n = whole.combining, whole.n
    if engine.machines == 1 or engine.machines * sets <= MOST_SCENARIOS:
        return None
    few = min(engine.machines, max(1, MOST_ESTIMATED // sets))
    singles = whole if few == engine.machines else SolvedSets(engine, _spread(engine.machines, few))
    singles.need([0, *(1 << i for i in range(n))])
    one = middle_of(singles.answers)
    known = Elsewhere.of(engine.of, singles.members, singles.answers, one)
    own = np.arange(engine.machines) if singles.which is None else singles.which
    if n * (n - 1) // 2 * PAIRED <= MOST_SCENARIOS:
        some = np.union1d(_spread(few, min(few, PAIRED)), [one])
        pairs = singles.on(some)
        pairs.need(_pairs(n))
        more = Elsewhere.of(engine.of, pairs.members, pairs.answers, int(np.flatnonzero(some == one)[0]))
        known = known.joined(more, some)
    return SolvedSets(engine, own[[one]], elsewhere=known)


def _spread(machines: int, count: int) -> NDArray[np.intp]:
    """Some of the possible machines, evenly through their list."""
    return np.linspace(0, machines - 1, count).astype(np.intp)


def _pairs(n: int) -> list[int]:
    """All sets of two fixes."""
    return [1 << i | 1 << j for i in range(n) for j in range(i)]


def _search(solved: SolvedSets, within: float | None) -> None:
    """Solve what is worth solving of too many sets."""
    n = solved.n
    solved.need([*(1 << i for i in range(n)), *_pairs(n), 2**n - 1])
    total = float(solved.time.sum())
    budgets = [within, *BUDGETS, *(total * np.arange(1, 8) / 8.0), None]
    for k, most in enumerate(budgets):
        known = len(solved.masks)
        search(solved, most, known + max(0, MOST_SETS - known) // (len(budgets) - k))


def _weigh(found: Comparison) -> None:
    """Worths, and how the fixes act on each other; without the fixes that are never allowed."""
    solved, n = found.solved, found.n
    found.usable = [i for i in range(n) if solved.members[solved.allowed, i].any()] or [*range(n)]
    found.worths, found.worth_errors = np.full(n, np.nan), np.zeros(n)
    if found.exact:
        rows = [solved.row(mask) for mask in _parts(found.usable)]
        found.worths[found.usable] = shapley(best_within(solved.gain[rows]))
    else:
        found.worths[found.usable], found.worth_errors[found.usable] = _sampled(found)
    gain = solved.by_mask()
    found.together = interactions(
        lambda mask: gain.get(mask, np.nan), found.usable, solved.noticed, 3 if found.exact else 1
    )


def _sampled(found: Comparison) -> tuple[Array, Array]:
    """Worths from some orders in which the fixes are done, with their standard errors."""
    rng = np.random.default_rng(0)
    orders = np.array([rng.permutation(len(found.usable)) for _ in range(found.orders)])
    steps = [[0] for _ in orders]
    for masks, order in zip(steps, orders, strict=True):
        for j in order:
            masks.append(masks[-1] | 1 << found.usable[j])
    found.solved.need(mask for masks in steps for mask in masks)
    gain = found.solved.by_mask()
    gains = np.array([[gain[mask] for mask in masks] for masks in steps])
    for row in gains:  # a fix that contradicts one before it cannot be done: it adds nothing
        for k in range(1, len(row)):
            row[k] = row[k - 1] if np.isnan(row[k]) else row[k]
    return sampled_worths(gains, orders)


def _recommend(found: Comparison) -> None:
    """The best set, how sure that is, its order, and the best sets of the budgets that are shown."""
    budgets = [found.budget, *(BUDGETS if found.budget is None else ())]
    found.look_closer(budgets, ("minutes",), _foreseen(found))
    best = next(iter(found.ranked(found.budget)), 0)
    found.recommended = _worth_doing(found.sure, best)[-1]
    found.left_out = found.names(best & ~found.recommended)
    if found.machines > 1:
        found.chances = _chances(found)
    found.order = found.order_of(found.names(found.recommended))
    on_the_way = [found.mask(found.order[:k]) for k in range(len(found.order) + 1)]
    found.sure.need(on_the_way)
    found.on_front(("minutes",))
    if found.recommended and found.machine.columns is None:
        found.seen = found.done().solve(raise_error=False).notes
    for within in budgets:
        found.ranked(within)


def _foreseen(found: Comparison) -> list[int]:
    """What is probably going to be asked about the best set, as one of the possible machines tells it."""
    solved = found.solved
    if found.checked is None or not found.exact or not (likely := solved.ranked(found.budget)).size:
        return []
    steps = _worth_doing(solved, solved.masks[likely[0]])
    order = found.order_of(found.names(steps[-1]))
    on_the_way = [found.mask(order[:k]) for k in range(len(order))]
    return [*on_the_way, *(part for mask in steps for part in _without_one(mask))]


def _without_one(mask: int) -> list[int]:
    """The sets that have one fix less."""
    return [mask & ~(1 << i) for i in range(mask.bit_length()) if mask >> i & 1]


def _worth_doing(sure: SolvedSets, mask: int) -> list[int]:
    """The set without fixes that add less than what counts as none, as long as what is left is allowed.

    They are left out one by one: the set itself, and what is left after each step.
    """
    out = [mask]
    while mask:
        fewer = _without_one(mask)
        sure.need(fewer)
        rows = [sure.row(part) for part in fewer]
        gains = {part: float(sure.gain[r]) for part, r in zip(fewer, rows, strict=True) if sure.allowed[r]}
        best = max(gains, key=gains.__getitem__, default=mask)
        if best == mask or sure.gain[sure.row(mask)] - gains[best] >= sure.noticed:
            break
        mask = best
        out.append(mask)
    return out


def _chances(found: Comparison) -> dict[int, float]:
    """Set -> the share of the possible machines on which it is the best within the budget."""
    sure = found.sure
    rows = sure.ranked(found.budget)
    if not rows.size:
        return {}
    gains = np.nan_to_num(sure.gains_of(rows), nan=-np.inf)
    # equal gains count for the set that the ranking puts first
    best = (gains > gains.max(axis=0) - sure.tie).argmax(axis=0)
    # what counts as none takes nothing from the set that is advised
    advised = np.flatnonzero(rows == sure.row(found.recommended))
    if found.left_out and advised.size:
        best[gains[advised[0]] > gains.max(axis=0) - sure.noticed] = advised[0]
    share = np.bincount(best, minlength=len(rows)) / len(best)
    return {sure.masks[row]: float(chance) for row, chance in zip(rows, share, strict=True) if chance}


def _checked(fixes: Any) -> list[Fix]:
    known = [fixes] if isinstance(fixes, Fix) else fixes
    try:
        out = listed(known, "", "")
    except InputError:
        raise InputError(
            f"{shown(fixes)} is no list of fixes", allowed="ds.read_fixes(file), or a list of ds.Fix"
        ) from None
    for fix in out:
        if not isinstance(fix, Fix):
            raise InputError(f"{shown(fix)} is no fix", place="fixes", allowed="ds.Fix(name, change={...})")
    if not out:
        raise InputError("there is no fix to compare", place="fixes")
    if len(out) > MOST_FIXES:
        raise InputError(
            f"there are {len(out):,} fixes", place="fixes", allowed=f"{MOST_FIXES} in one comparison"
        )
    named_once(out)
    return out


def _bound(machines: int, fixes: int) -> None:
    """Refuse what would take too long before anything is solved."""
    if machines * (fixes + 1) > MOST_SURE:
        raise InputError(
            f"{fixes} fixes on {machines:,} possible machines",
            place="compare",
            allowed=f"{MOST_SURE // (fixes + 1):,} possible machines with so many fixes",
        )


def _parts(fixes: Sequence[int]) -> list[int]:
    """All sets of some fixes, in the order of the bits of their places."""
    out = np.zeros(1, dtype=np.int64)
    for i in fixes:
        out = np.concatenate([out, out | 1 << i])
    return out.tolist()
