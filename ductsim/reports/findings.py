"""What a report is made of: what was given, and what the studies make of it."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np

from ..errors import InputError
from ..fixes.file import read_fixes
from ..fixes.fix import Fix
from ..fixes.several import Several
from ..machine.machine import Machine, MachineState
from ..machine.possible import SAMPLES, possible_machines
from ..readings.table import read_readings
from ..readings.unknowns import possible
from ..result import Result
from ..speed import Calibration, calibrate, crop_from
from ..studies import compare as _compare
from ..studies import field_pass as _field
from ..studies import fill as _fill
from ..studies import fit as _fit
from ..studies import ground_speed as _speed
from ..studies import where_to_measure as _where
from ..studies.compare import Comparison
from ..studies.field_pass import FieldPass
from ..studies.fill import Fill
from ..studies.fit import Fit
from ..studies.ground_speed import Gain, GroundSpeed
from ..studies.where_to_measure import NextReadings

JOBS = "all the jobs"


class Findings:
    """What was given, and what the studies make of it; each is worked out once."""

    def __init__(
        self,
        machine: Machine,
        *,
        fixes: Any = None,
        readings: Any = None,
        crop: Any = None,
        seen: Any = None,
        field: Any = None,
        of: str = "weakest vacuum",
        budget: Any = None,
        measures: str = "metric",
        own: Sequence[Result] = (),
        full: bool = False,
    ) -> None:
        self.given = machine
        self.of, self.budget, self.measures, self.own, self.full = of, budget, measures, own, full
        self.fixes = None if fixes is None else read_fixes(fixes)
        self.readings = None if readings is None else read_readings(readings)
        self.seen, self.field = seen, field
        self._crop = crop if isinstance(crop, Calibration) else crop_from(crop)
        if not self.has_crop:
            for word, what in (("seen", seen), ("field", field)):
                if what is not None:
                    raise InputError("there is no crop", place=f"report, {word}", allowed="a crop with it")

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
    def possible(self) -> MachineState:
        """Machines that the readings leave possible, or that are described alike, solved as columns."""
        if self.fit is not None:
            machines = possible_machines(self.fit)
        else:
            machines = possible(self.given, SAMPLES, np.random.default_rng(0))
        return machines.solve(raise_error=False)

    # ---- work

    @cached_property
    def comparison(self) -> Comparison | None:
        """The fixes compared; None without them."""
        if self.fixes is None:
            return None
        return _compare.compare(self.fit or self.machine, self.fixes, of=self.of, budget=self.budget)

    @cached_property
    def order(self) -> list[Fix]:
        """The recommended fixes in the order in which they are to be done."""
        if self.comparison is None:
            return []
        known = {task.fix.name: task.fix for task in self.comparison.tasks}
        return [known[name] for name in self.comparison.order]

    @cached_property
    def done(self) -> MachineState | None:
        """The machine with those done, solved; None where nothing is to be done."""
        if not self.order:
            return None
        return Several(JOBS, fixes=self.order).on(self.machine).solve(raise_error=False)

    @cached_property
    def next_readings(self) -> NextReadings | None:
        """Where to measure next; None without readings."""
        if self.fit is None:
            return None
        return _where.where_to_measure(self.fit, of=self.of)

    # ---- crop

    @cached_property
    def has_crop(self) -> bool:
        """Whether a crop was given, by itself or in the machine file."""
        return self._crop is not None or self.given.crop is not None

    @cached_property
    def crop(self) -> Any:
        """The crop, calibrated by what was seen of the machine as the readings tell it."""
        if self.seen is None or not self.has_crop or isinstance(self._crop, Calibration):
            return self._crop
        return calibrate(self.machine, self.seen, crop=self._crop, fitted=self.fit is not None)

    @cached_property
    def ground_speed(self) -> GroundSpeed | None:
        """How fast the machine can drive, now and with the recommended fixes done; None without a crop."""
        if not self.has_crop:
            return None
        jobs = [Several(JOBS, fixes=self.order)] if self.order else []
        return _speed.ground_speed(self.fit or self.machine, self.crop, jobs)

    @property
    def faster(self) -> Gain | None:
        """What the recommended fixes make of the speed; None without a crop or a fix."""
        gains = [] if self.ground_speed is None else self.ground_speed.gains
        return gains[0] if gains else None

    @cached_property
    def fill(self) -> Fill | None:
        """How the box fills; None without a crop and a box."""
        if not self.has_crop or not self.given.layout.free.get("fill"):
            return None
        return _fill.fill(self.fit or self.machine, self.crop)

    @cached_property
    def along_a_row(self) -> FieldPass | None:
        """A pass along a row of known yields; None without a crop and such yields."""
        if not self.has_crop or self.field is None:
            return None
        return _field.field_pass(self.fit or self.machine, self.field, crop=self.crop)

    # ---- all

    def said(self, result: Result | None) -> list[str]:
        """A result's sentences in the measures of the page; none of nothing."""
        return [] if result is None else list(result.sentences(self.measures))

    @cached_property
    def studies(self) -> list[Result]:
        """Everything that was found, in the order of the page."""
        calibration = self.crop if isinstance(self.crop, Calibration) else None
        found: list[Result | None] = [
            self.fit,
            self.comparison,
            self.ground_speed,
            calibration,
            self.along_a_row,
        ]
        found += [self.fill, self.next_readings, *self.own]
        return [result for result in found if result is not None]
