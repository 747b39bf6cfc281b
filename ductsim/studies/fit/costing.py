"""What each leak costs the weakest unit, and how probably it is the costliest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...answers.variants import solve_variants
from ...description.data import MachineData
from ...errors import InputError
from ...machine.fitted import Fitted
from ...readings.unknowns import Unknown, leak_sizes

Array = NDArray[np.float64]
Row = dict[str, Any]

MACHINES = 100  # possible ones behind what leaks cost
LEAST = 1.0  # a leak that costs the weakest unit less is not the costliest [Pa]


def priced(fit: Fitted) -> list[Row]:
    """What a fit says of itself: `costs`, or nothing where there is no leak, no unit, or no answer."""
    if not has_costs(fit):
        return []
    try:
        return costs(fit, MACHINES, None)
    except InputError:
        return []


def has_costs(fit: Fitted) -> bool:
    """Whether there are leaks among what was sought, and units that they cost vacuum."""
    sizes = set(leak_sizes(fit.given.layout))
    return bool(fit.given.layout.units) and any(u.address in sizes for u in fit.wanted)


def costs(fit: Fitted, count: int, seed: int | None) -> list[Row]:
    """A row for each leak, the one first that is most probably the costliest; see `Fit.costs`."""
    sizes = set(leak_sizes(fit.given.layout))
    leaks = [u for u in fit.wanted if u.address in sizes]
    if not has_costs(fit):
        raise InputError("there is no leak that costs a unit", place="costs", allowed="leaks and units")
    coordinates, which = fit.distinct(count, seed)
    cost = _costs(fit.at(coordinates), leaks)[:, which]
    known = np.isfinite(cost).all(axis=0)
    cost = cost[:, known]
    if not cost.size:
        raise InputError("no possible machine has an answer", place="costs")
    first = np.where(cost.max(axis=0) > LEAST, cost.argmax(axis=0), -1)
    out = []
    for i, leak in enumerate(leaks):
        low, middle, high = np.quantile(cost[i], [0.025, 0.5, 0.975]).tolist()
        out.append(
            {
                "leak": leak.address,
                "cost": middle,
                "low": low,
                "high": high,
                "mean": float(cost[i].mean()),
                "chance_costliest": float(np.mean(first == i)),
            }
        )
    return sorted(out, key=lambda row: (-row["chance_costliest"], -row["mean"]))


def _costs(possible: MachineData, leaks: Sequence[Unknown]) -> Array:
    """What each leak costs the weakest unit of possible machines [Pa], (leaks, M); NaN without an answer.

    A leak that is no larger than was likely costs nothing: that column is the machine as it is.
    """
    machines = possible.columns or 1
    now = np.array([np.broadcast_to(possible.numbers[leak.address], machines) for leak in leaks])
    likely = np.array([[leak.likely] for leak in leaks])
    leak, machine = np.nonzero(now > likely)
    which = np.concatenate([np.arange(machines), machine])
    values = now[:, which]
    values[leak, machines + np.arange(len(leak))] = likely[leak, 0]
    columns = {own.address: row[None] for own, row in zip(leaks, values, strict=True)}
    vacuum = solve_variants(possible, columns, 1, which).vacuum
    weakest = np.array([own[0] for own in vacuum.values()]).min(axis=0)
    out: Array = np.zeros(now.shape) * weakest[:machines]
    out[leak, machine] = weakest[machines:] - weakest[machine]
    return out
