"""What a report is made of: what was given, and what the studies make of it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

from ..fixes.file import read_fixes
from ..machine.machine import Machine, MachineState
from ..readings.table import read_readings
from ..result import Result
from ..speed import Calibration, crop_from
from ..studies import compare as _compare
from ..studies import fill as _fill
from ..studies import fit as _fit
from ..studies import ground_speed as _speed
from ..studies import where_to_measure as _where
from ..studies.compare import Comparison
from ..studies.fill import Fill
from ..studies.fit import Fit
from ..studies.ground_speed import GroundSpeed
from ..studies.where_to_measure import NextReadings


class Findings:
    """What was given, and what the studies make of it; each is worked out once."""

    def __init__(
        self,
        machine: Machine,
        *,
        fixes: Any,
        readings: Any,
        crop: Any,
        of: str,
        budget: Any,
        measures: str,
        own: Sequence[Result],
    ) -> None:
        self.given = machine
        self.of, self.budget, self.measures, self.own = of, budget, measures, own
        self.fixes = None if fixes is None else read_fixes(fixes)
        self.readings = None if readings is None else read_readings(readings)
        self.crop = crop if isinstance(crop, Calibration) else crop_from(crop)

    @cached_property
    def fit(self) -> Fit | None:
        """The fit to the readings; None without them."""
        if self.readings is None:
            return None
        return _fit.fit(self.given, self.readings)

    @cached_property
    def machine(self) -> Machine:
        """The machine that everything is said about: the fitted one where there are readings."""
        return self.given if self.fit is None else self.fit.machine

    @cached_property
    def state(self) -> MachineState:
        """Its solved state."""
        return self.machine.solve()

    @cached_property
    def comparison(self) -> Comparison | None:
        """The fixes compared; None without them."""
        if self.fixes is None:
            return None
        return _compare.compare(self.fit or self.machine, self.fixes, of=self.of, budget=self.budget)

    @cached_property
    def next_readings(self) -> NextReadings | None:
        """Where to measure next; None without readings."""
        if self.fit is None:
            return None
        return _where.where_to_measure(self.fit, of=self.of)

    @cached_property
    def has_crop(self) -> bool:
        """Whether a crop was given, by itself or in the machine file."""
        return self.crop is not None or self.given.crop is not None

    @cached_property
    def ground_speed(self) -> GroundSpeed | None:
        """How fast the machine can drive; None without a crop."""
        if not self.has_crop:
            return None
        return _speed.ground_speed(self.fit or self.machine, self.crop)

    @cached_property
    def fill(self) -> Fill | None:
        """How the box fills; None without a crop and a box."""
        if not self.has_crop or not self.given.layout.free.get("fill"):
            return None
        return _fill.fill(self.fit or self.machine, self.crop)

    def said(self, result: Result | None) -> list[str]:
        """A result's sentences in the measures of the page; none of nothing."""
        return [] if result is None else list(result.sentences(self.measures))

    @cached_property
    def studies(self) -> list[Result]:
        """Everything that was found, in the order of the page."""
        found = [self.ground_speed, self.fill, self.comparison, self.fit, self.next_readings, *self.own]
        return [result for result in found if result is not None]
