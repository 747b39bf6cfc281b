"""How evenly the ducts fill the box behind them, when its first place is full, where to discharge instead."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...crop.box import Box, box_of
from ...crop.crop import Crop, flows_of, with_crop
from ...crop.margins import carrying_margin
from ...description.possible import middle
from ...errors import InputError, shown
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...parts.numbers import SMALLEST
from ...speed import crop_from
from .result import Fill, Move

Array = NDArray[np.float64]

BINS = 300  # strips across the box; a multiple of three
CANDIDATES = 61
STARTS = 24
_EVEN_WORTH = 0.1  # of a usable share: usable comes first, but evenness counts


def fill(machine_or_fit: Any, crop: Any = None, box: Box | None = None) -> Fill:
    """How evenly the ducts fill the box behind, at the crop's present speed.

    Parameters
    ----------
    machine_or_fit : Machine or a fit
        Of possible machines the middle one; air does not change the fill.
    crop : Calibration, Crop, or what `read_crop` takes, optional
        The machine's own if not given.
    box : Box, optional
        The machine's own (its `[fill]` table) if not given.

    Raises
    ------
    InputError
        Without a crop or a box, at a standstill, and when there is not one discharge for each unit.
    """
    own = crop_from(crop)
    machine: Machine = with_crop(middle(possible_machines(machine_or_fit, 50)), own)
    if box is None:
        box = box_of(machine.layout)
    if box is None:
        raise InputError(
            "the machine has no box", place="fill", allowed="a [fill] table in its file, or a ds.Box(...)"
        )
    if not isinstance(box, Box):
        raise InputError(f"{shown(box)} is not a box", place="fill", allowed="ds.Box(...)")
    flows = flows_of(machine)
    if len(box.positions) != len(flows):
        raise InputError(
            f"{len(box.positions)} discharges for {len(flows)} units",
            place="fill: positions",
            allowed="one for each unit, in their order",
        )
    rate = np.array([float(flow) for flow in flows.values()])
    if not rate.sum() > SMALLEST:
        speed = f"{float(machine.numbers['crop.ground_speed']):g}"
        raise InputError(
            f"no crop flows at a ground speed of {speed}", place="crop: ground_speed", allowed="above 0"
        )
    margin = float(carrying_margin(machine, machine.solve(raise_error=False)))
    known = machine.crop
    assert known is not None
    return filled(box, known, list(flows), rate, margin, machine.measures)


def filled(
    box: Box, crop: Crop, units: list[str], flows: Array, margin: float, measures: str = "metric"
) -> Fill:
    """How a box fills by the crop flow of each discharge, with the best positions; see `Fill`."""
    edges = np.linspace(0.0, box.width, BINS + 1)
    landing = [_landed(box, places, flow) for flow, places in zip(flows, _choices(box), strict=True)]
    profile = _profile(box, flows, box.positions)
    best = _best(box, landing)
    return Fill(
        box=box,
        crop=crop,
        units=units,
        flows=flows,
        margin=margin,
        places=0.5 * (edges[1:] + edges[:-1]),
        profile=profile,
        best=best,
        best_profile=_profile(box, flows, best),
        moves=_moves(box, flows, landing, profile),
        measures=measures,
    )


def _landed(box: Box, places: Any, flow: float) -> Array:
    """What lands of one discharge per width [kg/(s m)], a row for each of the places where it may be."""
    out: Array = flow * box.landing(places, BINS) / (box.width / BINS)
    return out


def _profile(box: Box, flows: Array, positions: Any) -> Array:
    """What lands of all discharges per width [kg/(s m)]."""
    out: Array = flows @ box.landing(positions, BINS) / (box.width / BINS)
    return out


# ---- other positions


def _choices(box: Box) -> list[Array]:
    """The places tried for each discharge; only the present one where it cannot be moved."""
    return [
        np.unique(np.append(np.linspace(low, high, CANDIDATES), now)) if high > low else np.array([now])
        for low, now, high in zip(*box.limits(), strict=True)
    ]


def _worth(profiles: Array) -> Array:
    mean = profiles.mean(axis=-1)
    even = 1.0 - np.abs(profiles - mean[..., None]).mean(axis=-1) / mean
    worth: Array = mean / profiles.max(axis=-1) + _EVEN_WORTH * even
    return worth


def _moves(box: Box, flows: Array, landing: Sequence[Array], profile: Array) -> list[Move]:
    """The best place of each discharge that can be moved, by itself."""
    out = []
    for d, places in enumerate(_choices(box)):
        if len(places) < 2:
            continue
        profiles = profile - _landed(box, box.positions[d], flows[d])[0] + landing[d]
        best = int(np.argmax(_worth(profiles)))
        out.append(Move(d, float(places[best]), float(places[0]), float(places[-1]), profiles[best]))
    return sorted(out, key=lambda move: -float(move.profile.mean() / move.profile.max()))


def _best(box: Box, landing: Sequence[Array]) -> Array:
    """Coordinate descent on a grid of places, from the present set, an even one and some random ones."""
    choices = _choices(box)
    rng = np.random.default_rng(0)
    even = (np.arange(len(choices)) + 0.5) / len(choices) * box.width
    starts = [
        [int(np.argmin(np.abs(c - p))) for c, p in zip(choices, wanted, strict=True)]
        for wanted in (box.positions, even)
    ]
    starts += [[int(rng.integers(len(c))) for c in choices] for _ in range(STARTS)]
    best, worth = starts[0], -np.inf
    for start in starts:
        chosen, own = _descend(landing, list(start))
        if own > worth + 1e-12:
            best, worth = chosen, own
    return np.array([c[i] for c, i in zip(choices, best, strict=True)])


def _descend(landing: Sequence[Array], chosen: list[int]) -> tuple[list[int], float]:
    profile = np.sum([rows[i] for rows, i in zip(landing, chosen, strict=True)], axis=0)
    worth = float(_worth(profile))
    for _ in range(100):
        before = worth
        for d, rows in enumerate(landing):
            rest = profile - rows[chosen[d]]
            found = _worth(rest + rows)
            i = int(np.argmax(found))
            if found[i] > worth + 1e-12:
                chosen[d], worth, profile = i, float(found[i]), rest + rows[i]
        if worth <= before + 1e-12:
            break
    return chosen, worth
