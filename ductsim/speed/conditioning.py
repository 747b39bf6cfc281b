"""What some observations tell of all uncertain numbers of a crop together.

What ran and what blocked says nothing of one number alone: air may have sufficed because the crop needs
little of it, or because it surges less. So all of them are drawn from their own spreads and each draw is
weighed by how likely it makes what was seen (importance weights). The answer does not depend on which of
the numbers somebody chose to calibrate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..answers.state import solve
from ..crop.crop import LEAST, UNCERTAIN, crop_of
from ..crop.margins import LEAST_OF, places, values_at
from ..description.data import MachineData
from .runs import Run

Array = NDArray[np.float64]

FLOWS = 300
"""Draws of the numbers that the air depends on: each is solved for each observation."""
EACH = 16
"""Draws of the least values for each of them: these need no solving."""
FEW = 100.0
"""Draws that count, below which intervals are of chance."""


@dataclass(frozen=True)
class Conditioned:
    """Draws of the crop's uncertain numbers after some observations.

    Attributes
    ----------
    draws : dict
        Address (`crop.surge`) -> array (N,), equally weighted.
    centre : dict
        Address -> the mean of its logarithm, as a value.
    effective : float
        How many equally weighted draws would tell as much as the weighed ones.
    """

    draws: dict[str, Array]
    centre: dict[str, float]
    effective: float


def drawn(
    machine: MachineData, names: Sequence[str], count: int, rng: np.random.Generator
) -> dict[str, Array]:
    """Numbers of the crop drawn from their own spreads, lognormal within their ranges: address -> (N,).

    With the slip comes the slip that the least values belong to, in proportion.
    """
    out = {}
    for name in names:
        address = f"crop.{name}"
        declared = machine.layout.declaration(address)
        values = machine.numbers[address] * np.exp(declared.spread * rng.standard_normal(count))
        out[address] = np.clip(values, declared.low, declared.high)
    if "slip" in names:
        # the least values are known for this crop, whatever its slip turns out to be
        slip, belongs = machine.numbers["crop.slip"], machine.numbers["crop.reference_slip"]
        follows = belongs * out["crop.slip"] / np.maximum(slip, 1e-9)
        out["crop.reference_slip"] = np.where(slip > 0.0, follows, belongs)
    return out


@dataclass(frozen=True)
class Weighed:
    """Draws of all uncertain numbers of a crop, address -> (N,), and how likely each is by what was seen.

    `state` is where the random numbers go on.
    """

    numbers: dict[str, Array]
    weights: Array
    state: Mapping[str, Any]

    def draws(self, count: int) -> Conditioned:
        """So many of them, each as often as it is likely."""
        rng = np.random.default_rng()
        rng.bit_generator.state = self.state
        at = (rng.random() + np.arange(count)) / count  # systematic resampling
        picks = np.minimum(np.searchsorted(np.cumsum(self.weights), at), len(self.weights) - 1)
        picks = rng.permutation(picks)
        return Conditioned(
            {address: values[picks] for address, values in self.numbers.items()},
            {
                address: float(np.exp(self.weights @ np.log(np.maximum(values, 1e-12))))
                for address, values in self.numbers.items()
            },
            float(1.0 / np.sum(self.weights**2)),
        )


def weighed(machine: MachineData, runs: Sequence[Run], scatter: float, seed: int = 0) -> Weighed:
    """Draws of all uncertain numbers of a crop, weighed by what was seen.

    A unit blocks where its smallest carrying margin, times a chance factor of spread `scatter` that is
    independent from unit to unit and from observation to observation (our assumption), is below one.

    Parameters
    ----------
    machine : MachineData
        One that carries crop, without columns; its crop is the middle of what was believed before.
    runs : sequence of Run
        In SI.
    scatter : float
        In logarithms.
    seed : int
        Of the draws.
    """
    rng = np.random.default_rng(seed)
    flows = drawn(machine, [name for name in UNCERTAIN if name not in LEAST], FLOWS, rng)
    least = drawn(machine, LEAST, FLOWS * EACH, rng)
    which = np.repeat(np.arange(FLOWS), EACH)
    numbers = {address: values[which] for address, values in flows.items()} | least
    crop = crop_of(machine.layout, {**machine.numbers, **numbers})
    assert crop is not None
    needed = {name: np.broadcast_to(crop.least(name), FLOWS * EACH) for name in LEAST}
    log_weight = np.zeros(FLOWS * EACH)
    for run in runs:
        log_weight += _likely(machine, run, flows, needed, scatter)
    weights = np.exp(log_weight - log_weight.max())
    weights /= weights.sum()
    return Weighed(numbers, weights, rng.bit_generator.state)


def _likely(
    machine: MachineData, run: Run, flows: dict[str, Array], needed: dict[str, Array], scatter: float
) -> Array:
    """Logarithm of how likely each draw makes what was seen, (FLOWS x EACH,)."""
    from scipy.special import log_ndtr

    crop = machine.crop
    speed = run.ground_speed * run.crop_yield / crop.mass_yield
    many = machine.rebuilt({**machine.numbers, **flows, "crop.ground_speed": np.full(FLOWS, speed)})
    state = solve(many, raise_error=False)
    there, _ = values_at(many, state)
    out = np.zeros((FLOWS, EACH))
    judged = places(machine.layout)
    for unit in machine.layout.units:
        margin = np.full((FLOWS, EACH), np.inf)
        for place, value in zip(judged, there, strict=True):
            if unit.name in place.units:
                # where a duct is blocked by the calculation there is hardly any air
                air = np.maximum(np.nan_to_num(np.broadcast_to(value, FLOWS), nan=1e-3, posinf=1e3), 1e-3)
                need = needed[LEAST_OF[place.what]].reshape(FLOWS, EACH)
                margin = np.minimum(margin, air[:, None] / need)
        side = -1.0 if unit.name in run.units else 1.0
        out += log_ndtr(side * np.log(margin) / scatter)
    return out.ravel()
