"""How evenly the ducts fill the box behind them, when its first place is full, where to discharge instead."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...cautions import cautions_for
from ...crop.box import Box, box_of
from ...crop.described import Crop, flows_of, with_crop
from ...crop.margins import carrying_margin
from ...description.possible import middle
from ...errors import InputError, shown
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...parts.numbers import SMALLEST
from ...quantity import convert
from ...result import Result
from ...speed.calibration import Calibration, crop_from
from ...wording import listed, said

Array = NDArray[np.float64]

BINS = 300  # strips across the box; a multiple of three
CANDIDATES = 61
STARTS = 24
_EVEN_WORTH = 0.1  # of a usable share: usable comes first, but evenness counts


class Fill(Result):
    """How the box fills at today's speed.

    Attributes
    ----------
    box : Box
    crop : Crop
    units : list of str
        The unit behind each discharge.
    flows : array (discharges,)
        Mean crop flow of each [kg/s].
    places : array (BINS,)
        Middle of each strip, from the left wall [m].
    profile : array (BINS,)
        Crop that lands per width [kg/(s m)].
    best : array (discharges,)
        The best set of positions within the limits [m].
    margin : float
        The carrying margin at this speed.
    """

    def __init__(self, box: Box, crop: Crop, units: list[str], flows: Array, margin: float) -> None:
        self.box = box
        self.crop = crop
        self.units = units
        self.flows = flows
        self.margin = margin
        edges = np.linspace(0.0, box.width, BINS + 1)
        self.places: Array = 0.5 * (edges[1:] + edges[:-1])
        self._strip = box.width / BINS
        self.profile: Array = self._profile(box.positions)
        self._choices = self._candidates()
        self.best: Array = self._best()

    # ---- one set of positions

    def _profile(self, positions: Any) -> Array:
        out: Array = self.flows @ self.box.landing(positions, BINS) / self._strip
        return out

    def evenness(self, profile: Array | None = None) -> float:
        """One less the mean deviation over the mean [-]: Christiansen's uniformity coefficient."""
        own = self.profile if profile is None else profile
        mean = own.mean()
        return float(1.0 - np.abs(own - mean).mean() / mean)

    def usable(self, profile: Array | None = None) -> float:
        """Share of the box in use when its first place is full [-]: mean over largest of the profile."""
        own = self.profile if profile is None else profile
        return float(own.mean() / own.max())

    def thirds(self, profile: Array | None = None) -> tuple[float, float, float]:
        """Share of the crop that lands in the left, the middle and the right third of the width [-]."""
        own = self.profile if profile is None else profile
        left, mid, right = own.reshape(3, -1).sum(axis=1) / own.sum()
        return float(left), float(mid), float(right)

    def time_to_full(self, profile: Array | None = None) -> float:
        """Time from empty until the first place is full [s], at today's speed."""
        own = self.profile if profile is None else profile
        return float(self.box.bulk_density * self.box.length * self.box.height / own.max())

    @property
    def fullest(self) -> float:
        """Where the first place is full, from the left wall [m]."""
        top = np.flatnonzero(self.profile >= self.profile.max() * (1.0 - 1e-9))
        return float(self.places[top].mean())

    @property
    def mass_at_full(self) -> float:
        """Crop in the box when its first place is full [kg]."""
        return float(self.flows.sum() * self.time_to_full())

    # ---- an unload

    def unload_speed(self, profile: Array | None = None) -> float | None:
        """The fastest ground speed during an unload that does not overfill the box [m/s].

        The box takes all crop for `unload_time`; its fullest place is `level` full when that begins. None
        without an unload.
        """
        if self.box.unload_time is None:
            return None
        room = (1.0 - self.box.level) * self.time_to_full(profile)
        return float(self.crop.ground_speed) * room / self.box.unload_time

    # ---- other positions

    def _candidates(self) -> list[Array]:
        low, now, high = self.box.limits()
        out = []
        for a, p, b in zip(low, now, high, strict=True):
            out.append(np.unique(np.append(np.linspace(a, b, CANDIDATES), p)) if b > a else np.array([p]))
        return out

    def _worth(self, profiles: Array) -> Array:
        mean = profiles.mean(axis=-1)
        even = 1.0 - np.abs(profiles - mean[..., None]).mean(axis=-1) / mean
        worth: Array = mean / profiles.max(axis=-1) + _EVEN_WORTH * even
        return worth

    def _best(self) -> Array:
        """Coordinate descent on a grid of places, from the present set, an even one and some random ones."""
        landing = [
            flow * self.box.landing(places, BINS) / self._strip
            for flow, places in zip(self.flows, self._choices, strict=True)
        ]
        rng = np.random.default_rng(0)
        count = len(self.flows)
        even = (np.arange(count) + 0.5) / count * self.box.width
        starts = [
            [int(np.argmin(np.abs(c - p))) for c, p in zip(self._choices, wanted, strict=True)]
            for wanted in (self.box.positions, even)
        ]
        starts += [[int(rng.integers(len(c))) for c in self._choices] for _ in range(STARTS)]
        best, worth = starts[0], -np.inf
        for start in starts:
            chosen, own = self._descend(landing, list(start))
            if own > worth + 1e-12:
                best, worth = chosen, own
        return np.array([c[i] for c, i in zip(self._choices, best, strict=True)])

    def _descend(self, landing: list[Array], chosen: list[int]) -> tuple[list[int], float]:
        profile = sum(rows[i] for rows, i in zip(landing, chosen, strict=True))
        worth = float(self._worth(np.asarray(profile)))
        for _ in range(100):
            before = worth
            for d, rows in enumerate(landing):
                rest = profile - rows[chosen[d]]
                found = self._worth(rest + rows)
                i = int(np.argmax(found))
                if found[i] > worth + 1e-12:
                    chosen[d], worth, profile = i, float(found[i]), rest + rows[i]
            if worth <= before + 1e-12:
                break
        return chosen, worth

    def move_rows(self) -> list[dict[str, Any]]:
        """A row for each discharge that can be moved: its best place by itself, and what that gives."""
        out = []
        now = np.array(self.box.positions, dtype=float)
        for d, places in enumerate(self._choices):
            if len(places) < 2:
                continue
            rest = self.profile - self.flows[d] * self.box.landing(now[d], BINS)[0] / self._strip
            profiles = rest + self.flows[d] * self.box.landing(places, BINS) / self._strip
            i = int(np.argmax(self._worth(profiles)))
            out.append(
                {
                    "unit": self.units[d],
                    "position_m": float(now[d]),
                    "lowest_m": float(places[0]),
                    "highest_m": float(places[-1]),
                    "best_alone_m": float(places[i]),
                    "usable_share": self.usable(profiles[i]),
                    "evenness_share": self.evenness(profiles[i]),
                    "best_in_set_m": float(self.best[d]),
                }
            )
        return sorted(out, key=lambda row: -row["usable_share"])

    # ---- rows

    def rows(self) -> list[dict[str, Any]]:
        """A row for the present positions and one for the best set."""
        sets = [("present", np.array(self.box.positions, dtype=float))]
        if not np.allclose(self.best, sets[0][1]):
            sets.append(("best", self.best))
        return [self._set_row(name, positions) for name, positions in sets]

    def _set_row(self, name: str, positions: Array) -> dict[str, Any]:
        profile = self._profile(positions)
        left, mid, right = self.thirds(profile)
        row: dict[str, Any] = {
            "positions": name,
            "usable_share": self.usable(profile),
            "evenness_share": self.evenness(profile),
            "left_share": left,
            "middle_share": mid,
            "right_share": right,
            "full_after_min": self.time_to_full(profile) / 60.0,
            "crop_then_kg": float(self.flows.sum() * self.time_to_full(profile)),
        }
        speed = self.unload_speed(profile)
        if speed is not None:
            row["unload_speed_km_h"] = 3.6 * speed
        return row

    def discharge_rows(self) -> list[dict[str, Any]]:
        """A row for each discharge: unit, place, crop flow and its share."""
        whole = float(self.flows.sum())
        return [
            {
                "unit": unit,
                "position_m": float(place),
                "best_in_set_m": float(best),
                "crop_flow_kg_s": float(flow),
                "crop_share": float(flow) / whole,
            }
            for unit, place, best, flow in zip(
                self.units, self.box.positions, self.best, self.flows, strict=True
            )
        ]

    def profile_rows(self) -> list[dict[str, Any]]:
        """The profile across the width, thirty strips: how full each is when the first place is full."""
        height = self.profile / self.profile.max()
        best = self._profile(self.best)
        after = best / best.max()
        wide = BINS // 30
        return [
            {
                "place_m": float(self.places[i * wide : (i + 1) * wide].mean()),
                "level_share": float(height[i * wide : (i + 1) * wide].mean()),
                "best_level_share": float(after[i * wide : (i + 1) * wide].mean()),
            }
            for i in range(30)
        ]

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """Everything found, by name."""
        out = {"fill": self.rows(), "discharges": self.discharge_rows()}
        moves = self.move_rows()
        if moves:
            out["moves"] = moves
        out["profile"] = self.profile_rows()
        return out

    # ---- words

    @property
    def cautions(self) -> list[str]:
        """What to beware of."""
        return cautions_for(["crop", "part"])

    @property
    def notes(self) -> list[str]:
        """What deserves a look."""
        out = [
            f"Crop is taken to land up to {self.box.spreading:g} m to either side of its discharge and to "
            "stay there: both our assumption."
        ]
        if self.margin < 1.0:
            out.append("At this speed crop stays behind at the units (carrying margin below one).")
        return out

    def sentences(self, measures: str = "metric") -> list[str]:
        """When the first place is full and how much of the box is used then; what other positions give."""
        at = said(self.fullest, "m", measures)
        left, mid, right = self.thirds()
        speed = _speed(float(self.crop.ground_speed), measures)
        out = [
            f"The box's first place, {at} from the left wall, is full after "
            f"{self.time_to_full() / 60:.1f} min at {speed}; {self.usable():.0%} of the box is used then "
            f"({said(self.mass_at_full, 'kg', measures)}).",
            f"{left:.0%} of the crop lands in the left third of the width, {mid:.0%} in the middle one, "
            f"{right:.0%} in the right one.",
        ]
        after = self._profile(self.best)
        use, even = self.usable(after) - self.usable(), self.evenness(after) - self.evenness()
        if use > 0.005 or even > 0.02:
            moved = [
                f"unit {unit} to {said(float(best), 'm', measures)}"
                for unit, place, best in zip(self.units, self.box.positions, self.best, strict=True)
                if abs(best - place) > 1e-6
            ]
            out.append(
                f"Within the limits {self.usable(after):.0%} can be used, with an evenness of "
                f"{self.evenness(after):.0%} instead of {self.evenness():.0%}: {listed(moved)}."
            )
        elif any(len(places) > 1 for places in self._choices):
            out.append("No other positions within the limits are better.")
        during = self.unload_speed()
        if during is not None:
            wait = f"{float(self.box.unload_time or 0.0):g} s"
            out.append(f"During an unload of {wait} it may drive {_speed(during, measures)} at most.")
        return out


def _speed(speed: float, measures: str) -> str:
    unit = "mph" if measures == "inch" else "km/h"
    return f"{convert(speed, 'm/s', unit):.1f} {unit}"


def fill(machine_or_fit: Any, crop: Crop | Calibration | None = None, box: Box | None = None) -> Fill:
    """How evenly the ducts fill the box behind, at the crop's present speed.

    Parameters
    ----------
    machine_or_fit : Machine or a fit
        Of possible machines the middle one; air does not change the fill.
    crop : Crop or Calibration, optional
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
    return Fill(box, known, list(flows), rate, margin)
