"""What is known about a least value that the crop needs, from what the owner has seen."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..crop.crop import Crop, crop_of
from ..description.data import MachineData
from ..result import Result
from .conditioning import Conditioned, Weighed, weighed
from .runs import Run

Array = NDArray[np.float64]


@dataclass(repr=False, eq=False)
class Calibration(Result):
    """What is known about a least value after some observations; made by `calibrate`.

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
    critical : list of str
        The unit of each observation that tells most: the first that blocked, else that with the least air.
    air : array (runs,)
        What air that unit had.
    chance : array (runs,)
        How likely it was, by what is known now, that the unit did what was seen.
    fitted : bool
        Whether the machine is what readings make of one; else it is as described.
    """

    machine: MachineData
    number: str
    runs: list[Run]
    there: Array
    prior: tuple[float, float]
    scatter: float
    values: Array
    density: Array
    critical: list[str]
    air: Array
    chance: Array
    fitted: bool = False

    @property
    def measure(self) -> str:
        """The SI measure of the number."""
        declared: Any = Crop.declared[self.number]
        return str(declared.measure)

    def quantile(self, share: float) -> float:
        """The value that the number stays below with a probability."""
        return float(np.exp(self._logarithm(share)))

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

    def conditioned(self, count: int, seed: int = 0) -> Conditioned:
        """Draws of all uncertain numbers of the crop, weighed by the same observations.

        What the calibration says of its one number holds with the others as they are; these draws leave
        all of them free, each with its own spread, whichever number was calibrated.
        """
        if seed not in self._weighed:
            self._weighed[seed] = weighed(self.machine, self.runs, self.scatter, seed)
        return self._weighed[seed].draws(count)

    @cached_property
    def _weighed(self) -> dict[int, Weighed]:
        """What was seen makes of draws by each seed."""
        return {}

    def believed(self, told: Conditioned | None = None) -> Crop:
        """The crop with every uncertain number at the middle of such draws, whichever was calibrated."""
        told = self.conditioned(1) if told is None else told
        middles: dict[str, Any] = {a.removeprefix("crop."): value for a, value in told.centre.items()}
        crop: Crop = self.machine.crop
        return replace(crop, **middles)

    @property
    def crop(self) -> Crop:
        """The crop with the calibrated number at its median, the others as they are."""
        crop = crop_of(self.machine.layout, self.machine.numbers)
        assert crop is not None
        median: Any = self.median
        return replace(crop, **{self.number: median})

    def sample(self, count: int, seed: int = 0) -> Array:
        """Values drawn from what is known, shape (count,)."""
        share = np.random.default_rng(seed).uniform(size=count)
        return np.asarray(np.exp(self._logarithm(share)))

    def _logarithm(self, share: Any) -> Any:
        below = np.cumsum(self.density) - 0.5 * self.density
        return np.interp(share, below, np.log(self.values))
