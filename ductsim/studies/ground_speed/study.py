"""The study itself: the limit, its band, the limits behind it, and what each fix would make of it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...answers.state import solve
from ...crop.crop import UNCERTAIN, with_crop
from ...crop.margins import CONVEYING, Place, found_margins, places
from ...description.possible import middle
from ...errors import InputError, shown
from ...fixes.file import read_fixes
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...quantity import si
from ...size_limits import at_most
from ...speed import Calibration, crop_from
from ...speed.conditioning import Conditioned, drawn
from ...speed.limit import ROUGH, limits_and_slopes, margins_at, place_limits, speed_limit
from ...speed.raising import raising
from .gains import gains_of
from .narrowing import deciding, most_telling
from .result import GroundSpeed, near_limit, usable_guess

Array = NDArray[np.float64]

SAMPLES = 200
FARTHEST = 3.0
"""How many times the limiting speed further limits are looked for."""
MOST_DRAWS = 500_000
"""Draws times fixes: every draw is driven to its limit with every fix, a millisecond each."""


def ground_speed(
    machine_or_fit: Any,
    crop: Any = None,
    fixes: Any = (),
    *,
    efficiency: float = 1.0,
    season_area: Any = None,
    price_per_hour: float | None = None,
    samples: int = SAMPLES,
    seed: int = 0,
) -> GroundSpeed:
    """How fast the machine can drive before the crop stays behind, which unit and section limit, what helps.

    The limit is a flow of crop in a unit; the speed follows from yield and width. Without a calibration
    the absolute speed hangs on assumed least values and is given as a band; the relative change that a fix
    makes is surer, and comes first.

    Parameters
    ----------
    machine_or_fit : Machine or a fit
        A machine with columns is taken as possible machines.
    crop : Calibration, Crop, or what `read_crop` takes, optional
        The machine's own crop if not given.
    fixes : list of Fix, mapping name -> change, or path
        What to try, each by itself; what `read_fixes` takes.
    efficiency : float
        Share of the time that the machine picks, for areas per hour [-].
    season_area : float or text, optional
        Area of a season [m2] ("400 ha").
    price_per_hour : float, optional
        What an hour of the machine costs, in any currency.
    samples : int
        How many draws of the crop's uncertain numbers make the band; after a calibration they are weighed by
        what was seen, all of them together, so that it does not matter which number was calibrated.
    seed : int
        Of the draws.

    Returns
    -------
    GroundSpeed

    Raises
    ------
    InputError
        Without a crop, without a way for it, for bad options, and more than 500,000 draws times fixes.
    """
    _check(efficiency, price_per_hour, samples)
    area = None if season_area is None else _area(season_area)
    possible = possible_machines(machine_or_fit, samples)
    told = _told(crop, possible.columns or samples, seed)
    own = crop.believed(told) if isinstance(crop, Calibration) else crop_from(crop)
    loaded_all = with_crop(possible, own)
    loaded = middle(loaded_all)
    limit = speed_limit(loaded)
    wanted = read_fixes(fixes)
    count = (len(wanted) + 1) * (loaded_all.columns or samples)
    at_most(count, MOST_DRAWS, "draws times fixes", "ground_speed")
    draws = told.draws if told is not None else _draws(loaded_all, samples, seed)
    cloud = loaded.rebuilt({**loaded_all.numbers, **draws})
    speeds, slopes = limits_and_slopes(cloud, near_limit(limit), ROUGH)
    guess, judged = usable_guess(limit), places(loaded.layout)
    reach = FARTHEST * guess
    return GroundSpeed(
        machine=loaded,
        limit=limit,
        speeds=speeds,
        calibrated=told is not None,
        effective=np.inf if told is None else told.effective,
        deciding=deciding({f"crop.{name}": draws[f"crop.{name}"] for name in UNCERTAIN}, speeds),
        telling=most_telling(speeds, _highest(loaded)),
        efficiency=efficiency,
        season_area=area,
        price_per_hour=price_per_hour,
        reach=reach,
        places=judged,
        place_limits=place_limits(loaded, guess, reach),
        margins=found_margins(loaded, solve(loaded, raise_error=False)),
        duct_margins=_duct_margins(judged, margins_at(loaded, [guess])[:, 0]),
        raising=raising(loaded.without_crop()),
        gains=gains_of(wanted, possible.without_crop(), own, draws, (speeds, slopes), limit),
        fitted=isinstance(crop, Calibration) and crop.fitted,
    )


def _highest(machine: Machine) -> float:
    """The machine's own top speed in work [m/s]: no observation is proposed above it."""
    crop = machine.crop
    highest: Any = None if crop is None else crop.highest_speed
    return np.inf if highest is None else float(highest)


def _duct_margins(judged: Iterable[Place], margins: Array) -> dict[str, float]:
    """Unit -> the smallest margin of the conveying velocity in a duct of its own."""
    out: dict[str, float] = {}
    for place, margin in zip(judged, margins, strict=True):
        if place.what == CONVEYING and len(place.units) == 1:
            out[place.units[0]] = min(out.get(place.units[0], np.inf), float(margin))
    return out


def _check(efficiency: Any, price: Any, samples: Any) -> None:
    if not isinstance(efficiency, (int, float)) or not 0.0 < efficiency <= 1.0:
        raise InputError(
            f"{shown(efficiency)} is out of range", place="efficiency", allowed="above 0, at most 1"
        )
    if price is not None and (not isinstance(price, (int, float)) or not 0.0 < price < np.inf):
        raise InputError(f"{shown(price)} is out of range", place="price_per_hour", allowed="above 0")
    if isinstance(samples, bool) or not isinstance(samples, int) or not 20 <= samples <= 100_000:
        raise InputError(f"{shown(samples)} is out of range", place="samples", allowed="20 to 100,000")


def _area(value: Any) -> float:
    try:
        area = si(value, "m2")
    except InputError as err:
        raise err.at(place="season_area") from None
    if not isinstance(area, float) or area <= 0.0:
        raise InputError(f"{shown(value)} is out of range", place="season_area", allowed="above 0")
    return area


def _draws(machine: Machine, samples: int, seed: int) -> dict[str, Array]:
    """Draws of the crop's uncertain numbers by their own spreads: address -> (N,)."""
    return drawn(machine, UNCERTAIN, machine.columns or samples, np.random.default_rng(seed))


def _told(crop: Any, count: int, seed: int) -> Conditioned | None:
    """Draws of them by what was seen; None without a calibration."""
    return crop.conditioned(count, seed) if isinstance(crop, Calibration) else None
