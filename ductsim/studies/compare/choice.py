"""Choosing among sets of fixes: the front, the order of the work, the search among too many sets."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from .sets import SolvedSets

AXES = ("minutes", "cost", "power")
CLOSE = 1e-3
"""On the front, gains and powers closer than this share of the machine's own count as equal [-]."""
MOST_ORDERED = 14
"""Up to so many fixes the order of the work is found exactly."""


def front(solved: SolvedSets, axes: Iterable[str] = AXES) -> NDArray[np.intp]:
    """Rows of the allowed sets that no other beats: more gain for no more minutes, cost and power.

    Gains and powers are compared in steps of `CLOSE` of the machine's own, so that a set is not on the
    front for a difference that nobody could measure.

    Parameters
    ----------
    solved : SolvedSets
        The solved sets.
    axes : iterable of str
        What is to be small: some of "minutes", "cost", "power".

    Returns
    -------
    array of rows, in the order of time, then gain
    """
    rows = np.flatnonzero(solved.allowed)
    power = float(np.nanmedian(solved.answers.power[solved.row(0)])) if solved.answers.power.size else 0.0
    own = {"minutes": solved.minutes, "cost": solved.cost}
    own["power"] = np.round(solved.power / max(CLOSE * abs(power), 1e-9))
    gain = np.round(solved.gain / max(CLOSE * abs(solved.base), 1e-12))
    values = np.column_stack([-gain, *(own[axis] for axis in axes)])[rows]
    # in this order no set is beaten by a later one, and of equal sets the one with fewest fixes comes first
    size = solved.members[rows].sum(axis=1)
    left = np.lexsort((size, *values.T[::-1]))
    kept: list[int] = []
    while left.size:
        kept.append(int(left[0]))
        left = left[~np.all(values[left[0]] <= values[left], axis=1)]
    found = rows[kept]
    return found[np.lexsort((solved.gain[found], solved.minutes[found]))]


def order_of_work(solved: SolvedSets, mask: int) -> list[int]:
    """The fixes of a set in the order that gains most early on.

    If the work is broken off at a moment that nobody knows beforehand, this order leaves the largest gain
    on average: it makes the sum over all fixes of (gain before it x its minutes) as large as can be. Steps
    that are not allowed on the way are avoided where possible. Up to 14 fixes it is exact, else the fix
    with the largest gain per minute comes next, again and again.
    """
    fixes = [i for i in range(solved.n) if mask >> i & 1]
    if len(fixes) > MOST_ORDERED:
        return _greedy_order(solved, fixes)
    solved.need(_parts_of(fixes))
    allowed, gain = solved.allowed, solved.gain
    for careful in (True, False):
        best: dict[int, tuple[float, list[int]]] = {0: (0.0, [])}
        for part in sorted(_parts_of(fixes), key=int.bit_count):
            if part not in best or part == mask:
                continue
            row = solved.row(part)
            if careful and part and not allowed[row]:
                continue
            so_far, steps = best[part]
            now = 0.0 if math.isnan(gain[row]) else float(gain[row])
            for i in fixes:
                after = part | 1 << i
                if after == part:
                    continue
                area = so_far + now * float(solved.time[i])
                if after not in best or area > best[after][0] + 1e-9 * abs(area):
                    best[after] = (area, [*steps, i])
        if mask in best:
            return best[mask][1]
    return fixes


def _parts_of(fixes: list[int]) -> list[int]:
    return [sum(1 << i for i in part) for size in range(len(fixes) + 1) for part in combinations(fixes, size)]


def _greedy_order(solved: SolvedSets, fixes: list[int]) -> list[int]:
    done, out, rest = 0, [], list(fixes)
    while rest:
        solved.need(done | 1 << i for i in rest)
        gains = {i: _known(solved.gain[solved.row(done | 1 << i)]) for i in rest}
        step = max(
            rest, key=lambda i: (gains[i] - _known(solved.gain[solved.row(done)])) / (solved.time[i] + 1.0)
        )
        done |= 1 << step
        out.append(step)
        rest.remove(step)
    return out


def _known(value: float) -> float:
    return -math.inf if math.isnan(value) else float(value)


# ---- where there are too many sets to solve them all


def search(solved: SolvedSets, within: float | None, most: int) -> None:
    """Look for the best set that takes at most `within` minutes; what is tried stays in `solved`.

    From nothing done, fixes are added by gain, and once more by gain per minute; then single fixes are
    added, taken away and swapped, and pairs added, as long as that gains. It ends when `most` sets are
    solved.
    """
    for per_minute in (False, True):
        now = _climb(solved, 0, within, per_minute, most, lambda mask: _additions(solved, mask))
        _climb(solved, now, within, False, most, lambda mask: _moves(solved, mask))


def _climb(
    solved: SolvedSets,
    now: int,
    within: float | None,
    per_minute: bool,
    most: int,
    moves: Callable[[int], list[int]],
) -> int:
    limit = math.inf if within is None else within * (1.0 + 1e-12)
    solved.need([now])
    while True:
        near = [mask for mask in moves(now) if _time(solved, mask) <= limit]
        new = [mask for mask in near if not solved.has(mask)][: max(0, most - len(solved.masks))]
        solved.need(new)
        near = [mask for mask in near if solved.has(mask)]
        allowed, gain = solved.allowed, solved.gain
        here = gain[solved.row(now)]
        good = [
            mask for mask in near if allowed[solved.row(mask)] and gain[solved.row(mask)] > here + solved.tie
        ]
        if not good:
            return now

        more = {mask: float(gain[solved.row(mask)] - here) for mask in good}
        if per_minute:
            more = {mask: value / (_time(solved, mask & ~now) + 1.0) for mask, value in more.items()}
        now = max(more, key=more.__getitem__)


def _time(solved: SolvedSets, mask: int) -> float:
    return float(sum(solved.time[i] for i in range(solved.n) if mask >> i & 1))


def _additions(solved: SolvedSets, mask: int) -> list[int]:
    return [mask | 1 << i for i in range(solved.n) if not mask >> i & 1]


def _moves(solved: SolvedSets, mask: int) -> list[int]:
    done = [i for i in range(solved.n) if mask >> i & 1]
    rest = [i for i in range(solved.n) if not mask >> i & 1]
    out = [mask ^ 1 << i for i in range(solved.n)]
    out += [mask ^ 1 << i ^ 1 << j for i in done for j in rest]
    out += [mask | 1 << i | 1 << j for i, j in combinations(rest, 2)]
    return out
