"""Did the fix work, or was it the gauge? Readings before and after, held against what was expected."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...cautions import cautions_for
from ...errors import InputError, UnknownName, shown
from ...fixes.fix import Fix
from ...machine.machine import Machine
from ...readings.checks import reduction, refuse
from ...readings.model import Configuration, ReadingErrors, check_names, made
from ...readings.table import Reading, Readings, read_readings
from ...readings.unknowns import possible, usual_speed
from ...result import Result
from ...wording import said

Array = NDArray[np.float64]

SAMPLES = 200
SURE = 1.959964  # one-sided: a fix without any effect passes in 2.5 % of cases
POWER = 0.9
NEEDED = 1.0 / (SURE + 1.281552)  # standard deviation of the effect at which nine of ten working fixes show
MOST = 1000
AS_EXPECTED, LESS, MORE, NOT, UNTOLD = (
    "works as expected",
    "works, but less than expected",
    "works, more than expected",
    "does not work as expected",
    "cannot be told",
)


def proof(
    machine_or_fit: Any,
    before: Any,
    after: Any,
    fix: Any,
    *,
    at: Sequence[str] | None = None,
    errors: ReadingErrors | None = None,
    seed: int = 0,
) -> Proof:
    """Did a fix work? Both sets of readings at the same speed and density, against what was expected.

    Only readings taken at the same place in the same way, before and after, are compared. Their errors count
    as for `fit`, those common to a set included; readings at places that the fix does not touch tell those
    errors, so read some.

    Parameters
    ----------
    machine_or_fit : Machine or Fit
        Before the fix. A machine is taken as uncertain by its usual spreads, a fit as it found it.
    before, after : path, DataFrame, list, Readings or None
        Both None: how many readings it would take.
    fix : Fix or mapping
        What was done: a `Fix`, or a change as `Machine.change` takes it.
    at : list of str, optional
        Tappings to plan for when there are no readings; the units' own by default.
    errors : ReadingErrors, optional
        How far readings are off.
    seed : int
        Of the random numbers.

    Returns
    -------
    Proof

    Raises
    ------
    InputError
        For readings that have nothing in common, cannot be read or cannot be right, and wrong names.
    """
    done = fix if hasattr(fix, "on") else Fix("the fix", fix) if isinstance(fix, Mapping) else None
    if done is None:
        raise InputError(f"{shown(fix)} is no fix", place="fix", allowed="a Fix, or a mapping of changes")
    given = getattr(machine_or_fit, "given", machine_or_fit)
    base = given if isinstance(given, Machine) else machine_or_fit
    if not isinstance(base, Machine):
        raise InputError(
            f"{shown(machine_or_fit)} is no machine", place="proof", allowed="a machine or a fit"
        )
    if (before is None) != (after is None):
        raise InputError(
            "only one set of readings", place="proof", allowed="readings before and after, or none"
        )
    sets = _planned(base, at) if before is None else tuple(_read(base, r) for r in (before, after))
    machines = possible_columns(machine_or_fit, seed)
    return Proof(base, machines, done, sets[0], sets[1], errors or ReadingErrors(), planned=before is None)


def possible_columns(machine_or_fit: Any, seed: int) -> Machine:
    """Possible machines as columns."""
    if isinstance(machine_or_fit, Machine):
        if machine_or_fit.columns is not None:
            return machine_or_fit
        return possible(machine_or_fit, SAMPLES, np.random.default_rng(seed))
    out = machine_or_fit.sample(SAMPLES)
    assert isinstance(out, Machine)
    return out


def _read(machine: Machine, readings: Any) -> Readings:
    single = machine if machine.columns is None else machine[0]
    found = read_readings(readings)
    check_names(single.layout, found)
    refuse(single, found)
    return found


def _planned(machine: Machine, at: Sequence[str] | None) -> tuple[Readings, Readings]:
    """One reading at each place, before and after, at the machine's own speed."""
    layout = machine.layout
    places = list(at) if at else [u.vacuum_at for u in layout.units]
    for name in places:
        if name not in layout.tapping:
            raise UnknownName.of("tapping", name, layout.tapping, place="at")
    if not places:
        raise InputError("there is no place to read", place="at", allowed="names of tappings")
    speed = usual_speed(machine)
    both = [
        [Reading(name, 0.0, engine_speed=speed, set=word) for name in places] for word in ("before", "after")
    ]
    return Readings(both[0]), Readings(both[1])


Key = tuple[str, str, str, tuple[str, ...]]


def _key(r: Reading) -> Key:
    return r.tapping, r.minus, r.quantity, tuple(sorted(r.blanked))


class Proof(Result):
    """A fix proved or not.

    `effect` is the measured change as a share of the expected one, over all readings together: 1 means as
    expected, 0 none. It weighs each reading by its errors.

    Attributes
    ----------
    fix : Fix
    points : list of Reading
        The places that were read before and after, at the speed that both are reduced to.
    planned : bool
        True where nothing was measured: what it would take.
    """

    def __init__(
        self,
        machine: Machine,
        machines: Machine,
        fix: Any,
        before: Readings,
        after: Readings,
        errors: ReadingErrors,
        *,
        planned: bool = False,
    ) -> None:
        self.machine, self.fix, self.errors, self.planned = machine, fix, errors, planned
        self._sides = (before, after)
        keys = {_key(r) for r in before} & {_key(r) for r in after}
        self._keys = [k for k in dict.fromkeys(_key(r) for r in before) if k in keys]
        if not self._keys:
            raise InputError(
                "no place was read both before and after in the same way",
                place="proof",
                allowed="readings of the same tappings with the same openings blanked",
            )
        self.points = [Reading(k[0], 0.0, k[2], k[1], blanked=k[3]) for k in self._keys]
        self.left_out = [
            f"{r.where}{f' ({r.how})' if r.how else ''} was read {word} only and is left out."
            for word, side in (("before", before), ("after", after))
            for r in side
            if _key(r) not in keys
        ]
        single = machine if machine.columns is None else machine[0]
        # a fix may be another engine speed: each side is reduced to its own machine's
        self._machines = single, fix.on(single)
        self._expect(machines)
        self._measure()

    # ---- what was expected

    def _expect(self, machines: Machine) -> None:
        """Changes of the possible machines, at the machine's own speed and weather."""
        without, with_fix = made(machines, self.points), made(self.fix.on(machines), self.points)
        change = with_fix - without
        known = np.isfinite(change).all(axis=0)
        if not known.any():
            raise InputError("the machine has no answer with this fix", place="proof")
        self._without, self._changes = without[:, known], change[:, known]
        self.expected: Array = self._changes.mean(axis=1)

    # ---- what was measured

    def _measure(self) -> None:
        """Reduced means, their change, and the change's covariance: own errors, then those of the sets."""
        size = len(self._keys)
        self._means = np.zeros((2, size))
        self._own = np.zeros(size)
        self._counts = np.zeros((2, size), dtype=int)
        common: dict[Any, Array] = {}
        for side, (readings, sign) in enumerate(zip(self._sides, (-1.0, 1.0), strict=True)):
            for k, key in enumerate(self._keys):
                own = [r for r in readings if _key(r) == key]
                self._counts[side, k] = len(own)
                for r in own:
                    self._add(side, k, r, sign / len(own), common)
        self._common = np.array(list(common.values())).T if common else np.zeros((size, 0))
        self.change: Array = self._means[1] - self._means[0]
        self.covariance = np.diag(self._own) + self._common @ self._common.T

    def _add(self, side: int, k: int, r: Reading, share: float, common: dict[Any, Array]) -> None:
        factor = self._factor(side, r)
        value = r.value
        if self.planned:
            value = float(self._without[k].mean() + (self.expected[k] if side else 0.0))
        self._means[side, k] += abs(share) * value * factor
        self._own[k] += (share * factor * self.errors.of(r, value)) ** 2

        def put(error: Any, amount: float) -> None:
            common.setdefault(error, np.zeros(len(self._keys)))[k] += share * factor * amount

        if r.measure == "Pa":
            put(("zero", r.set), self.errors.zero)
            put(("scale", r.set), self.errors.scale * value)
        power = {"velocity": 1, "speed": 0, "shaft power": 3}.get(r.quantity, 2)
        if r.engine_speed is None and power:
            condition = Configuration.of(r)
            put(("speed", side, condition), power * self.errors.unread_speed * value)
        elif power:
            put(("tachometer", r.set), power * self.errors.tachometer * value)

    def _factor(self, side: int, r: Reading) -> float:
        own, density = self._machines[side], float(self._machines[0].air().density)
        return reduction(own, Configuration.of(r), r.quantity, usual_speed(own) or 0.0, density)

    # ---- the effect

    @cached_property
    def _weights(self) -> Array:
        """Weights by which the changes make up the effect."""
        solved: Array = np.asarray(np.linalg.solve(self.covariance, self.expected), dtype=np.float64)
        total = float(self.expected @ solved)
        return solved / total if total > 0.0 else np.full(len(self.expected), math.nan)

    @property
    def effect(self) -> float:
        """Measured change over the expected one; NaN when planned."""
        return math.nan if self.planned else float(self._weights @ self.change)

    @cached_property
    def effect_sd(self) -> float:
        """Standard deviation of the effect by the errors of the readings; infinite if nothing is expected."""
        weights = self._weights
        sd = math.sqrt(float(weights @ self.covariance @ weights))
        return sd if math.isfinite(sd) else math.inf

    @cached_property
    def expected_sd(self) -> float:
        """Standard deviation of the effect that was expected, because the machine is not known exactly."""
        sd = float(np.std(self._weights @ self._changes))
        return sd if math.isfinite(sd) else 0.0

    @property
    def verdict(self) -> str:
        """In words: one of `AS_EXPECTED`, `LESS`, `MORE`, `NOT` and `UNTOLD`."""
        sd, both = self.effect_sd, math.hypot(self.effect_sd, self.expected_sd)
        if self.planned or not math.isfinite(sd):
            return UNTOLD
        if self.effect > SURE * sd:
            if self.effect < 1.0 - SURE * both:
                return LESS
            return MORE if self.effect > 1.0 + SURE * both else AS_EXPECTED
        return NOT if self.effect < 1.0 - SURE * both else UNTOLD

    @cached_property
    def power(self) -> float:
        """Chance that a fix which works as expected shows, with these readings."""
        from scipy.special import ndtr

        if not math.isfinite(self.effect_sd):
            return 0.025
        return float(np.mean(ndtr(self._weights @ self._changes / self.effect_sd - SURE)))

    @cached_property
    def pattern_chance(self) -> float:
        """How often the changes differ so much from place to place by the readings' errors alone."""
        from scipy.special import gammaincc

        if self.planned or len(self._keys) < 2 or not math.isfinite(self.effect_sd):
            return 1.0
        miss = self.change - self.effect * self.expected
        uncertain = np.cov(self._changes) * min(self.effect, 1.0) ** 2
        total = float(miss @ np.linalg.solve(self.covariance + uncertain, miss))
        return float(gammaincc(0.5 * (len(miss) - 1), 0.5 * total))

    @cached_property
    def readings_needed(self) -> int | None:
        """Readings at each place, before and after, at which nine of ten working fixes show.

        None where the errors common to a set stand in the way however many there are.
        """
        each = self._own * self._counts.min(axis=0)
        for n in range(1, MOST + 1):
            inner = np.diag(each / n) + self._common @ self._common.T
            if self.expected @ np.linalg.solve(inner, self.expected) >= NEEDED**-2:
                return n
        return None

    @cached_property
    def sets_needed(self) -> int | None:
        """Sets like these, each with the gauge zeroed and the speed read anew, before and after."""
        if not math.isfinite(self.effect_sd):
            return None
        count = math.ceil((self.effect_sd / NEEDED) ** 2)
        return count if count <= MOST else None

    # ---- rows and words

    def rows(self) -> list[dict[str, Any]]:
        """A row for each place: before and after at one speed and density, measured and expected change."""
        sd = np.sqrt(np.diag(self.covariance))
        low, high = np.quantile(self._changes, (0.025, 0.975), axis=1)
        out = []
        for k, point in enumerate(self.points):
            row: dict[str, Any] = {"where": point.where, "how": point.how, "measure": point.measure}
            if not self.planned:
                row |= {"before": float(self._means[0, k]), "after": float(self._means[1, k])}
                row |= {"change": float(self.change[k])}
            row |= {"change_sd": float(sd[k]), "expected": float(self.expected[k])}
            row |= {"expected_low": float(low[k]), "expected_high": float(high[k])}
            row |= {"readings_before": int(self._counts[0, k]), "readings_after": int(self._counts[1, k])}
            out.append(row)
        return out

    def sentences(self, measures: str = "metric") -> list[str]:
        """The verdict first, then the change measured and expected, then what it would take."""
        name = getattr(self.fix, "name", "the fix")
        if self.planned:
            return [self._plan(name), *self._largest(measures)]
        words = f"{name}: {self.verdict}"
        if math.isfinite(self.effect_sd):
            low, high = (self.effect + sign * SURE * self.effect_sd for sign in (-1.0, 1.0))
            words += (
                f"; the change is {self.effect:.0%} of the expected one (95 % by the readings: {low:.0%} to "
                f"{high:.0%}; expected to within {SURE * self.expected_sd:.0%})"
            )
        out = [words + ".", *self._largest(measures)]
        if self.verdict == UNTOLD:
            out.append(self._more())
        if self.pattern_chance < 0.01:
            out.append(
                "The changes differ from place to place more than these errors explain: something else moved."
            )
        return out

    def _largest(self, measures: str) -> list[str]:
        """The place where most was expected."""
        rows = self.rows()
        row = max(rows, key=lambda r: abs(r["expected"]) / r["change_sd"])
        expected = said(row["expected"], row["measure"], measures, sign=True)
        sd = said(row["change_sd"], row["measure"], measures)
        if self.planned:
            return [f"At {row['where']} {expected} is expected; one change there is known to {sd}."]
        change = said(row["change"], row["measure"], measures, sign=True)
        return [
            f"At {row['where']} it is {change} (standard deviation {sd}), {expected} expected, both at "
            "the same speed and density."
        ]

    def _plan(self, name: str) -> str:
        needed = self.readings_needed
        if needed is not None:
            times = "one reading" if needed == 1 else f"{needed} readings"
            return f"To prove {name}, {times} at each of {len(self.points)} places before and after will do."
        return f"To prove {name}: {self._sets()}"

    def _more(self) -> str:
        needed, have = self.readings_needed, int(self._counts.min())
        if needed is not None and needed > have:
            return f"{needed - have} more readings at each place, before and after, would tell."
        if needed is not None:
            return "Readings like these tell nine of ten working fixes: read once more."
        return self._sets()

    def _sets(self) -> str:
        sets = self.sets_needed
        if sets is None:
            return "no number of readings with this gauge will tell: the expected change is too small."
        return (
            "the errors common to a set hide the change however often it is read; "
            f"{sets} sets before and after would tell, each with the gauge zeroed and the speed read anew."
        )

    @property
    def notes(self) -> list[str]:
        """What was left out, and how much the readings can tell."""
        notes: Iterable[str] = (n for side in self._sides for n in side.notes)
        return [
            *notes,
            *self.left_out,
            f"With these readings a fix that works as expected shows in {self.power:.0%} of cases, one "
            "without any effect passes in 2.5 %.",
        ]

    @property
    def cautions(self) -> list[str]:
        """The cautions that belong to taking readings."""
        return cautions_for(["measure"])
