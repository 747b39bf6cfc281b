"""What each fix makes of the limiting speed: all fixes of one layout are driven to their limits together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from ...answers.limits import limits_of
from ...answers.state import solve
from ...crop.crop import Crop, with_crop
from ...crop.margins import Place, limiting
from ...crop.solving import calm_point
from ...description.possible import joined, middle
from ...errors import InputError
from ...fixes.fix import Fix
from ...machine.machine import Machine
from ...speed.limit import ROUGH, limits_and_slopes, speed_limit
from .result import Gain, near_limit, usable_guess

Array = NDArray[np.float64]

TOGETHER = 20_000
"""Draws that are driven to their limits at once, of all fixes: their states take some 100 MB."""


def gains_of(
    fixes: Sequence[Fix],
    plain: Machine,
    crop: Crop | None,
    draws: Mapping[str, Array],
    before: tuple[Array, Array],
    limit: float,
) -> list[Gain]:
    """What each fix makes of the limiting speed, with the same draws as before it, in the order given.

    `before` holds the limits and slopes of the draws without a fix.
    """
    speeds, _ = before
    found: dict[int, Gain] = {}
    alike: dict[int, dict[int, Machine]] = {}
    for place, fix in enumerate(fixes):
        try:
            done = with_crop(fix.on(plain), crop)
        except InputError as err:
            found[place] = Gain(fix, np.nan, np.full_like(speeds, np.nan), problem=str(err))
            continue
        alike.setdefault(id(done.layout), {})[place] = done
    most = max(1, TOGETHER // len(speeds))
    for machines in alike.values():
        every = list(machines)
        for first in range(0, len(every), most):
            places = every[first : first + most]
            own = _gains([machines[place] for place in places], draws, before, limit)
            found |= {place: Gain(fixes[place], *answer) for place, answer in zip(places, own, strict=True)}
    return [found[place] for place in range(len(fixes))]


def _gains(
    machines: Sequence[Machine], draws: Mapping[str, Array], before: tuple[Array, Array], limit: float
) -> list[tuple[float, Array, Place | None, str]]:
    """Of each machine, all of one layout: its limit, the ratios, where it limits, what it passes."""
    ones = joined([middle(machine) for machine in machines])
    after = np.asarray(speed_limit(ones, near_limit(limit)))
    clouds = joined([machine.rebuilt({**machine.numbers, **draws}) for machine in machines])
    own, slopes = before
    near = np.concatenate([_near(own, limit, float(speed)) for speed in after])
    found, _ = limits_and_slopes(clouds, near, ROUGH, np.tile(slopes, len(machines)))
    with np.errstate(all="ignore"):
        ratios = found.reshape(len(machines), -1) / own
    slow = np.array([near_limit(float(speed)) for speed in after])
    at = ones.rebuilt({**ones.numbers, "crop.ground_speed": slow})
    state = solve(at, raise_error=False, start=calm_point(ones))
    where, limits = limiting(at, state), limits_of(state)
    out = []
    for i, speed in enumerate(after.tolist()):
        units = where.units[i]
        place = Place(tuple(units), where.place[i], where.what[i]) if units and units[0] else None
        over = [own.sentence(i) for own in limits if own.passed[i]]
        out.append((speed, ratios[i], place, f"not allowed: {'; '.join(over)}" if over else ""))
    return out


def _near(before: Array, limit: float, after: float) -> Array:
    """Where the limit of every draw may be with a fix [m/s]: moved from before it as the middle one is."""
    if after <= 0.0:
        return np.full_like(before, near_limit(after))
    near: Array = np.where(np.isfinite(before) & (before > 0.0), before, usable_guess(limit))
    return near * (usable_guess(after) / usable_guess(limit))
