"""Learning from several machines: from fits or folders to what is usual, and to what is odd."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import listed
from ..description.layout import Layout
from ..description.spreads import spread_of
from ..errors import InputError, shown
from ..inference.population import Told, Usual, oddness
from ..inference.population import learn as learn_from
from ..inference.scales import EDGE, Scale, Scales
from ..logbook.visit import read_logbook
from ..readings.unknowns import Unknown, speed_addresses
from ..studies.fit import Fit, fit
from .result import Fleet, Member, Odd

Array = NDArray[np.float64]

MOST_MACHINES = 500
FEWEST = 2
ODD = 0.05
"""Chance that a fleet without an odd machine has one named, over all machines and unknowns."""
CHANCE = 2.0
"""So many standard errors of the draws are taken off what a fit says beyond the prior."""
QUANTILES = (0.025, 0.5, 0.975)
LEAST = 1e-3
"""A likely value is no less than this share of what was likely before: 0 could not be fitted about."""


def learn(fits: Any, names: Iterable[str] | None = None, *, draws: int | None = None) -> Fleet:
    """What is usual among machines of one description, so that the next one starts from it; and what is odd.

    Each unknown has a mean and a spread among machines. Both are learnt from what each machine's own readings
    say, by hierarchical Bayes; how surely depends on how many machines there are and what was read.

    Parameters
    ----------
    fits : list of Fit, list of folders, or mapping from names to either
        What `ds.fit` returned for each machine, or folders with a `machine.toml` and visits, as
        `ds.log_visit` writes them. Of a folder the first visit with readings counts, before any work.
    names : list of str, optional
        What the machines are called; by default the folders' names, or "machine 1" and so on.
    draws : int, optional
        Draws behind each fit of a folder, as `fit` takes them.

    Returns
    -------
    Fleet

    Raises
    ------
    InputError
        For fewer than two machines, machines whose descriptions differ in more than their usual spreads or
        whose unknowns were believed differently, and folders without readings before the first fix.
    """
    found = _fits(fits, names, draws)
    first_name, first = next(iter(found.items()))
    for name, other in found.items():
        _alike(first_name, first, name, other)
    scales = [first.scales[u.address] for u in first.wanted]
    machines = [_told(f) for f in found.values()]
    left_out = np.zeros((len(found), len(scales)), dtype=bool)
    chances: dict[tuple[int, int], float] = {}
    while True:
        usual = learn_from(machines, left_out)
        odd, seen, freed = oddness(machines, left_out, np.array([u.spread for u in usual]))
        i = int(np.argmin(odd.min(axis=1)))
        if odd[i].min() >= ODD / odd.size:
            break
        a = int(np.argmin(odd[i])) if left_out[i, freed[i]] else int(freed[i])
        chances[i, a] = float(odd[i].min())
        left_out[i, a] = True
    known = {u.address: _known(u, s, own) for u, s, own in zip(first.wanted, scales, usual, strict=True)}
    return Fleet(
        given=first.given,
        wanted=list(first.wanted),
        known=known,
        populations={u.address: own for u, own in zip(first.wanted, usual, strict=True)},
        shares={
            u.address: (known[u.address].high - known[u.address].low) / (u.high - u.low) for u in first.wanted
        },
        members=_members(found, machines, usual, scales, left_out),
        odd=[
            _odd(list(found)[i], first.wanted[a], scales[a], float(seen[i, a]), known, chance)
            for (i, a), chance in sorted(chances.items(), key=lambda item: item[1])
        ],
    )


# ---- the machines


def _fits(fits: Any, names: Iterable[str] | None, draws: int | None) -> dict[str, Fit]:
    """Name -> fit, of fits and folders."""
    if isinstance(fits, Mapping):
        own, items = [str(name) for name in fits], list(fits.values())
    else:
        items = listed(fits, "learn", "a list of fits or folders")
        own = [_name(item, i) for i, item in enumerate(items, 1)]
    if names is not None:
        own = [str(name) for name in names]
    if not FEWEST <= len(items) <= MOST_MACHINES:
        raise InputError(
            f"{len(items)} machines", place="learn", allowed=f"{FEWEST} to {MOST_MACHINES} machines"
        )
    if len(own) != len(items):
        raise InputError(
            f"{len(own)} names for {len(items)} machines", place="learn, names", allowed="one for each"
        )
    if len(set(own)) < len(own):
        name = next(n for n in own if own.count(n) > 1)
        raise InputError(f"the name {name!r} is used twice", place="learn", allowed="each name once")
    return {name: _fit(item, draws) for name, item in zip(own, items, strict=True)}


def _name(item: Any, place: int) -> str:
    if isinstance(item, (str, os.PathLike)):
        return os.path.basename(os.path.abspath(os.fspath(item)))
    return f"machine {place}"


def _fit(item: Any, draws: int | None) -> Fit:
    if isinstance(item, Fit):
        return item
    if not isinstance(item, (str, os.PathLike)):
        raise InputError(f"{shown(item)} is no fit", place="learn", allowed="a fit, or a folder")
    book = read_logbook(item)
    for visit in book.visits:
        if visit.readings is not None:
            return fit(book.machine, visit.readings, draws=draws)
        if visit.fixes:
            break
    raise InputError(
        "no visit has readings before the first fix", file=str(item), allowed="readings of it as it was found"
    )


def _alike(first: str, one: Fit, name: str, other: Fit) -> None:
    """Refuse to mix machines whose descriptions differ in what matters."""

    def refuse(what: str) -> None:
        raise InputError(
            f"{name} is no machine like {first}: {what}",
            place="learn",
            allowed="machines of one description; learn from the others by themselves",
        )

    a, b = one.given, other.given
    if _built(a.layout) != _built(b.layout):
        refuse("they have other parts, or join them otherwise")
    if [(u.address, u.low, u.likely, u.high) for u in one.wanted] != [
        (u.address, u.low, u.likely, u.high) for u in other.wanted
    ]:
        refuse("other things were believed of their unknowns beforehand")
    skip = {*speed_addresses(a.layout), *(u.address for u in one.wanted)}
    for address in a.numbers:
        if address in skip or address.startswith(("air.", "crop.")):
            continue
        mine, theirs = float(np.median(a.numbers[address])), float(np.median(b.numbers[address]))
        if abs(theirs - mine) > max(spread_of(a, address), 1e-6) * max(abs(mine), abs(theirs)):
            refuse(f"{address} is {theirs:g} there, {mine:g} here")


def _built(layout: Layout) -> tuple[Any, ...]:
    """What a machine is built of, without its title and what is believed of it."""
    return layout.drives, layout.parts, layout.tappings, layout.units, layout.held, layout.boxes


def _told(found: Fit) -> Told:
    """What the readings alone say of the unknowns, from the draws."""
    count = len(found.wanted)
    draws = found.draws
    mean = draws.x[:count] @ draws.weights
    away = draws.x[:count] - mean[:, None]
    covariance = (away * draws.weights) @ away.T + 1e-6 * np.eye(count)
    return Told.of(mean, covariance, CHANCE * np.sqrt(2.0 / draws.effective))


# ---- what was learnt


def _value(scale: Scale, coordinate: float) -> float:
    return float(Scales([scale]).values(np.array([[coordinate]]))[0, 0])


def _three(scale: Scale, coordinates: Iterable[float]) -> tuple[float, float, float]:
    low, likely, high = sorted(_value(scale, z) for z in coordinates)
    return low, likely, high


def _known(before: Unknown, scale: Scale, usual: Usual) -> Unknown:
    """What is believed of an unknown of the next machine."""
    low, likely, high = _three(scale, (usual.quantile(share) for share in QUANTILES))
    likely = max(likely, LEAST * before.likely)
    low, high = min(low, (1.0 - LEAST) * likely), max(high, (1.0 + LEAST) * likely)
    return Unknown(before.address, low, likely, high)


def _members(
    found: Mapping[str, Fit],
    machines: list[Told],
    usual: list[Usual],
    scales: list[Scale],
    left_out: NDArray[np.bool_],
) -> list[Member]:
    mean = np.array([u.mean for u in usual])
    variance = np.array([u.variance for u in usual])
    out = []
    for i, (name, own) in enumerate(found.items()):
        centre = np.where(left_out[i], 0.0, mean)
        middle, covariance = machines[i].believed(centre, np.where(left_out[i], 1.0, variance))
        sd = np.sqrt(np.diag(covariance))
        values = {
            u.address: _three(scale, (m - EDGE * s, m, m + EDGE * s))
            for u, scale, m, s in zip(own.wanted, scales, middle.tolist(), sd.tolist(), strict=True)
        }
        out.append(Member(name, values, len(own.taken)))
    return out


def _odd(
    name: str, unknown: Unknown, scale: Scale, seen: float, known: Mapping[str, Unknown], chance: float
) -> Odd:
    own = known[unknown.address]
    return Odd(name, unknown.address, _value(scale, seen), (own.low, own.likely, own.high), chance)
