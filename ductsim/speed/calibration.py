"""What the owner knows, turned into the least value that the machine needs.

"It ran at 5 km/h in 0.40 kg/m2; unit 4 blocked at 6." Each such observation says on which side of its
limit every unit was; together they narrow down the number that absolute speeds hang on.
"""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..answers.state import solve
from ..arguments import listed, one_of
from ..bounded import listed_at_most
from ..cautions import cautions_for
from ..crop.described import Crop, crop_of, with_crop
from ..crop.file import read_crop
from ..crop.margins import CAPTURE, CONVEYING, RATIO, SUCTION, places, values_at
from ..description.data import MachineData
from ..documents.cells import is_table, read_rows
from ..errors import InputError, UnknownName, shown
from ..quantity import si
from ..result import Result

Array = NDArray[np.float64]

CALIBRATED = {
    "opening_ratio": RATIO,
    "capture_velocity": CAPTURE,
    "suction_velocity": SUCTION,
    "conveying_velocity": CONVEYING,
}
"""A least value that can be calibrated -> what it judges."""

SCATTER = 0.15
"""How much the need varies from one observation and unit to the next, in logarithms: our assumption."""
PRIOR_SPREAD = 0.4
"""Spread of what was assumed before, in logarithms: a factor of 1.5 either way is one standard deviation."""
RANGE = ("low", "likely", "high")
MOST_SEEN = 5_000
"""Observations: each is solved, and each unit of each is weighed at every point of the posterior."""
SEEN = "a CSV file, a DataFrame, a mapping, or a list of mappings with ground_speed"
_COLUMNS = {"ground_speed": "m/s", "crop_yield": "kg/m2", "blocked": None}
_POINTS = 2001
_REACH = 4.5  # standard deviations of the prior that the calculation covers


@dataclass(frozen=True)
class Run:
    """One thing that an owner has seen.

    Attributes
    ----------
    ground_speed : float
        [m/s], or a text ("5 km/h").
    crop_yield : float, optional
        [kg/m2], or a text; the crop's own if not given.
    blocked : str
        The unit that blocked, several joined by "+"; an empty text when the machine ran.
    line : int
        Its line in the file it was read from; 0 for none.
    """

    ground_speed: Any
    crop_yield: Any = None
    blocked: str = ""
    line: int = 0

    @property
    def units(self) -> tuple[str, ...]:
        """The units that blocked."""
        return tuple(self.blocked.split("+")) if self.blocked else ()


class Calibration(Result):
    """What is known about a least value after some observations.

    Attributes
    ----------
    machine : MachineData
        With its crop.
    number : str
        The crop's number that was calibrated.
    runs : list of Run
        The observations, in SI.
    there : array (runs, units)
        What air there was, by the calculation, at the most critical opening or section of each unit.
    prior : (float, float)
        Median and spread in logarithms before.
    scatter : float
        Spread in logarithms from one observation and unit to the next.
    values, density : arrays
        The posterior: its support, and the probability of each of its points.
    """

    def __init__(
        self,
        machine: MachineData,
        number: str,
        runs: list[Run],
        there: Array,
        prior: tuple[float, float],
        scatter: float,
    ) -> None:
        self.machine = machine
        self.number = number
        self.runs = runs
        self.there = there
        self.prior = prior
        self.scatter = scatter
        self.values, self.density = self._posterior()

    def _posterior(self) -> tuple[Array, Array]:
        from scipy.special import log_ndtr

        middle, spread = self.prior
        log_value = np.log(middle) + spread * np.linspace(-_REACH, _REACH, _POINTS)
        likely = -0.5 * ((log_value - np.log(middle)) / spread) ** 2
        units = [unit.name for unit in self.machine.layout.units]
        for run, there in zip(self.runs, np.log(self.there), strict=True):
            for unit, own in zip(units, there, strict=True):
                # a unit blocks where what there is, times its chance factor, is less than the value
                side = 1.0 if unit in run.units else -1.0
                likely = likely + log_ndtr(side * (log_value - own) / self.scatter)
        weight = np.exp(likely - likely.max())
        return np.exp(log_value), weight / weight.sum()

    @property
    def cautions(self) -> list[str]:
        """What to beware of."""
        return cautions_for("crop")

    # ---- what is known now

    def quantile(self, share: float) -> float:
        """The value that the number stays below with a probability."""
        below = np.cumsum(self.density) - 0.5 * self.density
        return float(np.exp(np.interp(share, below, np.log(self.values))))

    def interval(self, probability: float = 0.9) -> tuple[float, float]:
        """The interval that holds the number with a probability, as much outside on either side."""
        rest = 0.5 * (1.0 - probability)
        return self.quantile(rest), self.quantile(1.0 - rest)

    @property
    def median(self) -> float:
        """The value that the number is as likely above as below."""
        return self.quantile(0.5)

    @property
    def spread(self) -> float:
        """Standard deviation of the number's logarithm."""
        log_value = np.log(self.values)
        mean = float(self.density @ log_value)
        return float(np.sqrt(self.density @ (log_value - mean) ** 2))

    @property
    def crop(self) -> Crop:
        """The crop with the calibrated number at its median."""
        crop = crop_of(self.machine.layout, self.machine.numbers)
        assert crop is not None
        median: Any = self.median
        return replace(crop, **{self.number: median})

    def sample(self, count: int, seed: int = 0) -> Array:
        """Values drawn from what is known, shape (count,)."""
        share = np.random.default_rng(seed).uniform(size=count)
        below = np.cumsum(self.density) - 0.5 * self.density
        return np.exp(np.interp(share, below, np.log(self.values)))

    def rows(self) -> list[dict[str, Any]]:
        """A row for each observation: its most critical unit by the calculation, and how likely it was."""
        from scipy.special import ndtr

        units = [unit.name for unit in self.machine.layout.units]
        out = []
        for run, there in zip(self.runs, self.there, strict=True):
            unit = run.units[0] if run.units else units[int(np.argmin(there))]
            own = float(there[units.index(unit)])
            blocks = float(self.density @ ndtr(np.log(self.values / own) / self.scatter))
            out.append(
                {
                    "ground_speed_km_h": 3.6 * run.ground_speed,
                    "crop_yield_kg_m2": run.crop_yield,
                    "seen": f"unit {run.blocked} blocked" if run.blocked else "ran",
                    "unit": unit,
                    "value": own,
                    "measure": Crop.declared[self.number].measure,  # type: ignore[union-attr]
                    "chance": blocks if run.blocked else 1.0 - blocks,
                }
            )
        return out

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """The observations, and what is known of the number before and after."""
        low, high = self.interval()
        before = [float(self.prior[0] * np.exp(k * self.prior[1])) for k in (-1.645, 0.0, 1.645)]
        declared: Any = Crop.declared[self.number]
        known = [
            {"when": "before", "measure": declared.measure, **dict(zip(RANGE, before, strict=True))},
            {
                "when": "after",
                "measure": declared.measure,
                **dict(zip(RANGE, (low, self.median, high), strict=True)),
            },
        ]
        return {"observations": self.rows(), self.number: known}

    def sentences(self, measures: str = "metric") -> list[str]:
        """The calibrated number with its interval, and what it was before."""
        low, high = self.interval()
        measure = Crop.declared[self.number].measure  # type: ignore[union-attr]
        unit = f" {measure}" if measure else ""
        words = self.number.replace("_", " ")
        out = [
            f"From {len(self.runs)} observations the least {words} is {self.median:.3g}{unit} "
            f"({low:.3g} to {high:.3g} in nine of ten), before them {self.prior[0]:.3g}{unit}."
        ]
        if self.spread > 0.9 * self.prior[1]:
            out.append("They hardly tell: an observation close to the limit, or a blocked unit, would.")
        odd = [row for row in self.rows() if row["chance"] < 0.05]
        if odd:
            out.append(
                f"{len(odd)} of them hardly fit: unit {odd[0]['unit']} was expected "
                f"{'to run' if 'blocked' in odd[0]['seen'] else 'to block'}; look for another cause first."
            )
        return out


def calibrate(
    machine: MachineData,
    observations: Any,
    number: str = "opening_ratio",
    *,
    crop: Any = None,
    scatter: float = SCATTER,
    prior_spread: float = PRIOR_SPREAD,
) -> Calibration:
    """The least value that explains which units ran and which blocked.

    The need is taken as lognormal about its present value in the crop. In an observation each unit blocks
    if the air there is, times a chance factor of spread `scatter`, is less than the need; the factors are
    independent (our assumption). The posterior is computed on a grid, without sampling.

    Parameters
    ----------
    machine : MachineData
        With a crop, or `crop` given.
    observations : path, DataFrame, mapping, or list of Run and mappings
        What `read_seen` takes.
    number : str
        "opening_ratio", "capture_velocity", "suction_velocity" or "conveying_velocity".
    crop : Crop, or what `read_crop` takes, optional
        The machine's own if not given.
    scatter, prior_spread : float
        In logarithms.

    Raises
    ------
    InputError
        Without observations or with more than 5,000, without a crop, for unknown units
        and numbers, and for bad speeds and yields.
    """
    one_of(number, CALIBRATED, "calibrate", "number of a crop to calibrate")
    for name, value in (("scatter", scatter), ("prior_spread", prior_spread)):
        if not (isinstance(value, (int, float)) and 0.0 < value < 5.0):
            place = f"calibrate, {name}"
            raise InputError(f"{shown(value)} is out of range", place=place, allowed="above 0, below 5")
    loaded = with_crop(machine, crop_from(crop))
    if loaded.columns is not None:
        raise InputError("the machine has columns", place="calibrate", allowed="machine[0], one of them")
    own = loaded.crop
    assert own is not None
    runs = _runs(loaded, own, observations)
    if not runs:
        raise InputError("there is no observation", place="calibrate", allowed="at least one")
    there = _there(loaded, own, runs, CALIBRATED[number])
    prior = (float(getattr(own, number)), float(prior_spread))
    return Calibration(loaded, number, runs, there, prior, float(scatter))


def read_seen(source: Any) -> list[Run]:
    """What was seen in the field, from a CSV file, a DataFrame, a mapping or a list.

    Parameters
    ----------
    source : path, DataFrame, mapping, Run, or list of Run and mappings
        With `ground_speed` [m/s], optionally `crop_yield` [kg/m2], and `blocked` (a unit's name) where one
        blocked; numbers are SI or carry their measure. A text is the path of a file.

    Returns
    -------
    list of Run
        Their numbers in SI.

    Raises
    ------
    InputError
        One sentence with the place, for whatever is not understood, and for more than 5,000 observations.
    """
    if isinstance(source, Run):
        source = [source]
    if is_table(source):
        rows = read_rows(source, _COLUMNS, ("ground_speed",), "what was seen", "observation", MOST_SEEN)
        in_file = isinstance(source, (str, os.PathLike))
        word = "line" if in_file else "observation"
        try:
            return [_run(v | {"line": i if in_file else 0}, f"{word} {i}") for i, v in rows]
        except InputError as err:
            raise err.at(file=str(source) if in_file else "") from None
    seen = listed_at_most(listed(source, "calibrate", SEEN), MOST_SEEN, "observations", "calibrate")
    return [_run(given, f"observation {i + 1}") for i, given in enumerate(seen)]


def crop_from(given: Any) -> Crop | None:
    """The crop that a study works with: a calibration's, what `read_crop` takes; None for the machine's own.

    Raises
    ------
    InputError
        For anything else.
    """
    if given is None:
        return None
    return given.crop if isinstance(given, Calibration) else read_crop(given)


def _run(given: Any, place: str) -> Run:
    """An observation in SI, checked as far as it goes without a machine."""
    if isinstance(given, Mapping):
        for key in given:
            if key not in Run.__dataclass_fields__:
                raise UnknownName.of("key", key, Run.__dataclass_fields__, place=place)
        if "ground_speed" not in given:
            raise InputError("the key 'ground_speed' is missing", place=place, allowed="the speed driven")
        given = Run(**given)
    if not isinstance(given, Run):
        raise InputError(f"{shown(given)} is no observation", place=place, allowed="one with ground_speed")
    speed = _number(given.ground_speed, "m/s", "ground_speed", place)
    mass = given.crop_yield
    mass = None if mass is None else _number(mass, "kg/m2", "crop_yield", place)
    return Run(speed, mass, "" if given.blocked is None else str(given.blocked), given.line)


def _runs(machine: MachineData, crop: Crop, observations: Any) -> list[Run]:
    """The observations on this machine: of its units, in its yield where none was noted."""
    units = [unit.name for unit in machine.layout.units]
    out = []
    for i, run in enumerate(read_seen(observations)):
        for unit in run.units:
            if unit not in units:
                place = f"line {run.line}" if run.line else f"observation {i + 1}"
                file = str(observations) if isinstance(observations, (str, os.PathLike)) else ""
                raise UnknownName.of("unit", unit, units, place=place).at(file=file)
        out.append(run if run.crop_yield is not None else replace(run, crop_yield=crop.mass_yield))
    return out


def _number(value: Any, measure: str, key: str, place: str) -> float:
    try:
        out = si(value, measure)
    except InputError as err:
        raise err.at(place=f"{place}, {key}") from None
    if not isinstance(out, float) or out <= 0.0:
        raise InputError(f"{shown(value)} is out of range", place=f"{place}, {key}", allowed="above 0")
    return out


def _there(machine: MachineData, crop: Crop, runs: list[Run], what: str) -> Array:
    """The least value of its kind at each unit in each observation, (runs, units); all solved in one go."""
    speed = np.array([run.ground_speed * run.crop_yield / crop.mass_yield for run in runs])
    many = type(machine)(machine.layout, {**machine.numbers, "crop.ground_speed": speed})
    state = solve(many, raise_error=False)
    values, _ = values_at(many, state)
    out = np.full((len(runs), len(machine.layout.units)), np.inf)
    for place, value in zip(places(machine.layout), values, strict=True):
        if place.what == what:
            for u, unit in enumerate(machine.layout.units):
                if unit.name in place.units:
                    out[:, u] = np.minimum(out[:, u], value)
    if np.isinf(out).all():
        raise InputError(f"the crop's way has no place with a {what}", place="calibrate")
    # where the duct is blocked by the calculation there is hardly any air, and nothing is a large number
    held: Array = np.clip(np.nan_to_num(out, nan=1e-3), 1e-3, 1e3)
    return held
