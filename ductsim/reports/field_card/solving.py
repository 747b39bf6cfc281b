"""Every set of fixes at every engine speed of the page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...crop.crop import Crop, with_crop
from ...description.changing import Setting
from ...description.data import MachineData
from ...description.possible import joined
from ...errors import InputError, shown
from ...fixes.file import read_fixes
from ...fixes.fix import Fix, Task, named_once, spelled_out
from ...fixes.sets import CONTRADICTION, Answers, Combining, combining
from ...machine.machine import Machine
from ...quantity import RPM, si
from ...readings.unknowns import speed_addresses
from ...size_limits import at_most
from ...speed.limit import unit_limits
from ...speed.roots import ACCURACY
from .result import SolvedFixes

Array = NDArray[np.float64]
Sets = NDArray[np.bool_]

MOST_EXACT = 16
"""Up to so many fixes it is looked how many sets can be done."""
MOST_SETS = 8192
"""So many sets are solved at each speed at most; with more there are only single fixes and pairs."""
MOST_CELLS = 2_200_000
"""Bytes of answers that a page may hold; above, fewer engine speeds are laid out."""
MOST_FIXES = 40
STEP = 0.05
"""From one engine speed of the page to the next, as a share of today's, before it is rounded."""
SPREAD = (-2, -1, 0, 1, 2)
SAMPLES = 16
"""Sets at each speed whose ground speeds are solved; the others' follow from their air."""
MOST_SOLVED = 400
"""So many ground speeds (sets times speeds times units) are solved one and all, a millisecond each."""
FORETOLD_FROM = 1e-5
"""How accurately these are solved [-]: what follows from them is ten times less sure."""
FAR_OFF = 0.03
"""Ground speeds that would be off by more are left out [-]."""
CHECKS = 40


def solved_fixes(
    machine: Machine, given: Any, of: str, crop: Crop | None, speeds: Sequence[Any] | None
) -> SolvedFixes:
    """Solve every set of the fixes at every engine speed; see `field_card`."""
    fixes = checked(given)
    tasks, errors = spelled_out(fixes, machine)
    turning = _turning(machine, tasks)
    own = [task for task in tasks if task.fix.name not in turning]
    engine = combining(machine, own, of)
    masks, exact = _masks(engine)
    sets = np.array([[mask >> i & 1 for i in range(len(own))] for mask in masks], dtype=bool)
    sets = sets.reshape(len(masks), len(own))
    factors = _factors(machine, turning, speeds, len(masks) * _bytes(len(engine.units)))
    engines = [combining(turned(machine, float(factor)), own, of) for factor in factors]
    answers = [at.solve(sets) for at in engines]
    if answers[int(np.argmin(np.abs(factors - 1.0)))].verdict(0) in ("impossible", "no answer"):
        machine.solve()  # raises what is the matter
    verdicts, verdict = _verdicts(answers)
    vacuum = np.array([a.vacuum[:, :, 0] for a in answers])
    out = SolvedFixes(
        fixes=[task.fix for task in own],
        turning=[(t.fix, _nearest(factors, turning[t.fix.name])) for t in tasks if t.fix.name in turning],
        errors=errors,
        cautions={task.fix.name: task.cautions for task in tasks},
        conflicts=_conflicts(tasks, turning),
        factors=factors,
        engine_speed=_today(machine),
        exact=exact,
        masks=masks,
        answer=np.array([a.answer[:, 0] for a in answers]),
        vacuum=vacuum,
        opening_air=np.array([a.opening_air[:, :, 0] for a in answers]),
        duct_air=np.array([a.duct_air[:, :, 0] for a in answers]),
        power=np.array([a.power[:, 0] for a in answers]),
        weakest=_weakest(vacuum),
        verdicts=verdicts,
        verdict=verdict,
        ground_speed=np.full(vacuum.shape, np.nan),
    )
    if machine.layout.crop is not None or crop is not None:
        _ground_speeds(out, engines, sets, crop)
    if not exact:
        _check_approximation(out, engines)
    return out


def checked(given: Any) -> list[Fix]:
    """The fixes, each with a name of its own and not too many of them."""
    fixes = read_fixes(given)
    if not fixes:
        raise InputError("there is no fix", place="fixes", allowed="a file of fixes with one [[fix]] or more")
    named_once(fixes)
    at_most(len(fixes), MOST_FIXES, "fixes on one page", "fixes")
    return list(fixes)


def tasks_of(machine: Machine, solved: SolvedFixes) -> list[Task]:
    """The fixes of a page spelled out for its machine."""
    return spelled_out([*solved.fixes, *(fix for fix, _ in solved.turning)], machine)[0]


# ---- engine speeds


def turned(machine: Machine, factor: float) -> Machine:
    """The machine with all its engines, or the fans that none turns, at a share of today's speed."""
    numbers = machine.numbers
    speeds = {a: numbers[a] * factor for a in speed_addresses(machine.layout)}
    return machine if factor == 1.0 else machine.rebuilt({**numbers, **speeds})


def _today(machine: Machine) -> float:
    """The engine speed, where there is one alone [rad/s]."""
    own = [float(machine.numbers[a]) for a in speed_addresses(machine.layout)]
    return own[0] if own and max(own) - min(own) <= 1e-9 * max(own) else np.nan


def _turning(machine: Machine, tasks: Iterable[Task]) -> dict[str, float]:
    """Fix that sets every engine's speed and nothing else -> the factor on today's speed."""
    addresses = speed_addresses(machine.layout)
    out: dict[str, float] = {}
    for task in tasks:
        if task.parts or not addresses or set(task.effects) != set(addresses):
            continue
        factors = [
            effect.value / machine.numbers[a] if isinstance(effect, Setting) else effect.factor
            for a, effect in task.effects.items()
        ]
        if np.ndim(factors) == 1 and max(factors) - min(factors) <= 1e-12:
            out[task.fix.name] = float(factors[0])
    return out


def _factors(machine: Machine, turning: dict[str, float], speeds: Any, size: int) -> Array:
    """The engine speeds of the page over today's, rising; today's and those of fixes are among them."""
    needed = {1.0, *turning.values()}
    addresses = speed_addresses(machine.layout)
    if not addresses:
        return np.ones(1)
    own = _today(machine)
    if speeds is not None:
        if not np.isfinite(own):
            raise InputError("no one engine speed says how all turn", place="speeds", allowed="no speeds")
        declared = machine.layout.declaration(addresses[0])
        for text in [speeds] if isinstance(speeds, str) else speeds:
            try:
                value = float(si(text, declared.measure))
            except InputError as err:
                raise err.at(place="speeds") from None
            declared.check(np.array([value]), "speeds")
            if not value > 0.0:
                raise InputError(f"{shown(text)} is no speed to run at", place="speeds", allowed="above 0")
            needed.add(value / own)
        return _once(needed)
    step = STEP
    if np.isfinite(own):  # whole tens or hundreds of revolutions
        rpm = own * RPM * STEP
        nice = 10.0 ** np.floor(np.log10(rpm))
        step = max(1.0, round(rpm / nice)) * nice / (own * RPM)
    for spread in (SPREAD, SPREAD[1:4], (0,)):
        out = _once(needed | {1.0 + k * step for k in spread})
        if len(out) * size <= MOST_CELLS:
            break
    return out


def _once(factors: Iterable[float]) -> Array:
    """Rising, those that differ by rounding alone once."""
    out: list[float] = []
    for factor in sorted(factors, key=lambda f: (round(f, 9), f != 1.0)):
        if not out or factor - out[-1] > 1e-9:
            out.append(factor)
    return np.array(out)


def _nearest(factors: Array, factor: float) -> int:
    return int(np.argmin(np.abs(factors - factor)))


def _bytes(units: int) -> int:
    """What one set at one speed takes on the page."""
    return 12 + 8 * units


# ---- sets


def _masks(engine: Combining) -> tuple[list[int], bool]:
    """The sets to solve, the empty one first, and whether these are all that can be done."""
    n = len(engine.tasks)
    against = [1 << c.first | 1 << c.second for c in engine.conflicts]

    def possible(mask: int) -> bool:
        return not any(mask & pair == pair for pair in against)

    if n <= MOST_EXACT:
        masks = [mask for mask in range(2**n) if possible(mask)]
        if len(masks) <= MOST_SETS:
            return masks, True
    few = [0, *(1 << i for i in range(n)), *(1 << i | 1 << j for i, j in combinations(range(n), 2))]
    return [mask for mask in few if possible(mask)], False


def _conflicts(tasks: Sequence[Task], turning: dict[str, float]) -> list[tuple[str, str, str]]:
    """Pairs that contradict each other; of those that set the engine speed, any two."""
    out = []
    for one, other in combinations(tasks, 2):
        both = one.fix.name in turning and other.fix.name in turning
        why = one.against(other)
        if why or both:
            words = why or f"{one.fix.name} and {other.fix.name} contradict each other"
            out.append((one.fix.name, other.fix.name, words))
    return out


def _verdicts(answers: Sequence[Answers]) -> tuple[list[tuple[str, str]], NDArray[np.intp]]:
    """Each reason once, none first, and which of them holds for which set at which speed."""
    known: dict[tuple[str, str], int] = {("", ""): 0}
    rows = []
    for found in answers:
        row = []
        for reason in found.reasons:
            key = ("", "") if reason is None else (reason.verdict, f"{reason.words}.")
            row.append(known.setdefault(key, len(known)))
        rows.append(row)
    return list(known), np.array(rows, dtype=np.intp)


def _weakest(vacuum: Array) -> NDArray[np.intp]:
    known = ~np.isnan(vacuum).all(axis=2) if vacuum.shape[2] else np.zeros(vacuum.shape[:2], dtype=bool)
    if not vacuum.shape[2]:
        return np.full(vacuum.shape[:2], -1, dtype=np.intp)
    lowest = np.where(np.isnan(vacuum), np.inf, vacuum).argmin(axis=2)
    return np.where(known, lowest, -1)


# ---- ground speed


def _ground_speeds(
    out: SolvedFixes, engines: Sequence[Combining], sets: Sets, crop: Crop | None, seed: int = 0
) -> None:
    """Each unit's ground speed: solved for every set where these are few, else for some, see `_foretold`."""
    rng = np.random.default_rng(seed)
    alone = [k for k, mask in enumerate(out.masks) if mask.bit_count() <= 1]
    every = out.vacuum.size <= MOST_SOLVED
    places: list[tuple[int, int]] = []
    speeds: list[Array] = []
    alike: dict[int, list[tuple[MachineData, list[tuple[int, int]]]]] = {}
    for v, engine in enumerate(engines):
        known = np.flatnonzero(np.isfinite(out.power[v]) & np.isfinite(out.vacuum[v]).all(axis=1))
        many = known if every else rng.choice(known, min(SAMPLES, len(known)), replace=False)
        if v == out.today:
            many = np.union1d(np.intersect1d(alone, known), many)
        for machine, rows in engine.built(sets[many]):
            own = [(v, int(many[k])) for k in rows]
            alike.setdefault(id(machine.layout), []).append((machine, own))
    for some in alike.values():  # all engine speeds in one search
        loaded = with_crop(joined([machine for machine, _ in some]), crop)
        places += [place for _, own in some for place in own]
        speeds += list(unit_limits(loaded, accuracy=ACCURACY if every else FORETOLD_FROM).T)
    highest = with_crop(engines[out.today].machine, crop).numbers.get("crop.highest_speed")
    out.highest_speed = np.nan if highest is None else float(np.median(highest))
    if not places:
        return
    at, limits = np.array(places), np.array(speeds)
    if not every:
        kept = rng.random(len(at)) < 0.25
        out.ground_speed_error = max(
            _foretold(out, sets, at, limits[:, u], kept, u) for u in range(limits.shape[1])
        )
        out.ground_speed_checks = int(kept.sum())
    out.ground_speed[at[:, 0], at[:, 1]] = np.where(np.isfinite(limits), limits, np.nan)


def _foretold(
    out: SolvedFixes, sets: Sets, at: NDArray[np.intp], limits: Array, kept: NDArray[np.bool_], u: int
) -> float:
    """Write the ground speed of a unit for all sets, from those that are solved; by how much it may be off.

    What limits a unit is its own air, and that follows from its vacuum and its air with empty ducts: the
    logarithm of the speed is a polynomial of second degree in theirs, and a constant more for each fix, which
    may change how much air the crop needs. What was `kept` out of the polynomial is held against it. Where
    that is off by more than `FAR_OFF`, nothing is written.
    """
    own = _features(out, sets, at[:, 0], at[:, 1], u)
    good = np.isfinite(limits) & (limits > 0.0) & np.isfinite(own).all(axis=1)
    logs = np.log(np.where(good, limits, 1.0))
    held, some = good & kept, good & ~kept
    if some.sum() < own.shape[1] or not held.any():
        return 0.0
    trial = np.linalg.lstsq(own[some], logs[some], rcond=None)[0]
    error = float(np.abs(np.exp(own[held] @ trial - logs[held]) - 1.0).max())
    if error > FAR_OFF:
        return 0.0
    weights = np.linalg.lstsq(own[good], logs[good], rcond=None)[0]
    rows = np.arange(len(out.masks))
    for v in range(len(out.factors)):
        with np.errstate(all="ignore"):
            every = _features(out, sets, np.full(len(rows), v), rows, u)
            out.ground_speed[v, :, u] = np.exp(every @ weights)
    return error


def _features(out: SolvedFixes, sets: Sets, v: NDArray[np.intp], k: NDArray[np.intp], u: int) -> Array:
    """What the logarithm of a unit's ground speed is made of, a row for each set."""
    with np.errstate(all="ignore"):
        logs = [
            np.log(table[v, k, u] / table[out.today, 0, u])
            for table in (out.vacuum, out.opening_air, out.duct_air)
        ]
    products = [logs[i] * logs[j] for i in range(3) for j in range(i + 1)]
    return np.column_stack([np.ones(len(k)), *logs, *products, sets[k].astype(float)])


# ---- where not every set was solved


def _check_approximation(out: SolvedFixes, engines: Sequence[Combining], seed: int = 0) -> None:
    """Hold answers that are put together from pairs against solved ones, at today's speed."""
    rng = np.random.default_rng(seed)
    n, row = len(out.fixes), {mask: k for k, mask in enumerate(out.masks)}
    engine, answer = engines[out.today], out.answer[out.today]
    sets = rng.random((CHECKS, n)) < rng.uniform(0.1, 0.5, (CHECKS, 1))
    found = engine.solve(sets)
    worst, count = 0.0, 0
    for has, reason, solved in zip(sets, found.reasons, found.answer[:, 0], strict=True):
        if (reason is not None and reason.verdict == CONTRADICTION) or not np.isfinite(solved):
            continue
        own = [int(i) for i in np.flatnonzero(has)]
        if not all(1 << i | 1 << j in row for i, j in combinations(own, 2)):
            continue
        count += 1
        worst = max(worst, abs(approximated(answer, row, own) - float(solved)))
    out.approximation_error, out.approximation_checks = worst, count


def approximated(values: Array, row: dict[int, int], own: Sequence[int]) -> float:
    """The value for a set from that of nothing, of its single fixes and of its pairs."""
    base = float(values[0])
    alone = {i: float(values[row[1 << i]]) - base for i in own}
    out = base + sum(alone.values())
    for i, j in combinations(own, 2):
        out += float(values[row[1 << i | 1 << j]]) - base - alone[i] - alone[j]
    return out
