"""Did the fix work, or was it the gauge? Readings before and after, held against what was expected."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...arguments import texts
from ...description.data import MachineData
from ...errors import InputError, UnknownName, shown
from ...fixes.fix import Fix
from ...machine.fitted import Fitted
from ...machine.machine import Machine
from ...machine.network import Network
from ...machine.possible import as_machine, possible_machines
from ...readings.checks import reduction, refuse
from ...readings.errors import ReadingErrors
from ...readings.model import Configuration, Made, made
from ...readings.naming import readings_of
from ...readings.table import Reading, Readings
from ...readings.unknowns import possible, usual_speed
from ...result import Note
from .result import Proof

Array = NDArray[np.float64]
Key = tuple[str, str, str, tuple[str, ...]]

SAMPLES = 200
AS_DESCRIBED = Note(
    "What is expected is that of the machine as described, within its usual spreads; on a fit to readings "
    "it would be that of this very machine.",
    "as described",
)
"""A machine whose leaks are not known may answer to a fix by several times as much, or as little."""


def proof(
    machine_or_fit: Machine | Network | Fitted,
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
    machine_or_fit : Machine, Network or fit
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
    return _proof(Solved(), machine_or_fit, (before, after), fix, at, errors, seed)


@dataclass
class Solved:
    """What was solved for a proof and serves the next one: fixes are often done one after the other.

    Attributes
    ----------
    near : dict
        How its machine was solved with the fix, under each condition.
    machine : Machine or None
        That machine; None before the first proof.
    points : list of Reading
        What it was read at.
    values : array (K, S)
        What it makes there.
    """

    near: Made = field(default_factory=dict)
    machine: MachineData | None = None
    points: list[Reading] = field(default_factory=list)
    values: Array = field(default_factory=lambda: np.zeros((0, 0)))

    def read(self, machine: MachineData, points: list[Reading]) -> Array:
        """What a machine makes at some places, (K, S); nothing is solved where it is the last one."""
        if self.machine is None or self.points != points or not _alike(self.machine, machine):
            self.values = made(machine, points, self.near)
            self.machine, self.points = machine, points
        return self.values


def _alike(one: MachineData, other: MachineData) -> bool:
    """Whether two machines have the same numbers on the same layout."""
    numbers = other.numbers
    return one.layout is other.layout and all(np.array_equal(numbers[a], v) for a, v in one.numbers.items())


def planned_beside(
    solved: Solved, machine_or_fit: Machine | Network | Fitted, fix: Any, at: Sequence[str] | None = None
) -> Proof:
    """As `proof` without readings, begun where another one ended; then `solved` is what serves the next."""
    return _proof(solved, machine_or_fit, (None, None), fix, at)


def _proof(
    solved: Solved,
    machine_or_fit: Machine | Network | Fitted,
    read: tuple[Any, Any],
    fix: Any,
    at: Sequence[str] | None,
    errors: ReadingErrors | None = None,
    seed: int = 0,
) -> Proof:
    done = fix if isinstance(fix, Fix) else Fix("the fix", fix) if isinstance(fix, Mapping) else None
    if done is None:
        raise InputError(f"{shown(fix)} is no fix", place="fix", allowed="a Fix, or a mapping of changes")
    subject = machine_or_fit if isinstance(machine_or_fit, Fitted) else as_machine(machine_or_fit, "proof")
    base = subject.given if isinstance(subject, Fitted) else subject
    before, after = read
    if (before is None) != (after is None):
        raise InputError(
            "only one set of readings", place="proof", allowed="readings before and after, or none"
        )
    single = base if base.columns is None else base[0]
    planned = before is None
    pair = (single, done.on(single))  # a fix may be another engine speed, or turn a sign
    sides = _planned(base, at) if planned else (_read(pair[0], before), _read(pair[1], after))
    keys, left_out = _in_common(sides)
    points = [Reading(k[0], 0.0, k[2], k[1], blanked=k[3]) for k in keys]
    without, changes = _changes(possible_columns(subject, seed), done, points, solved)
    usual = errors or ReadingErrors()
    taken = _Sides(pair, keys, usual)  # each side is reduced to its own machine's speed
    expected = changes.mean(axis=1)
    middle = np.array([without.mean(axis=1), without.mean(axis=1) + expected]) if planned else None
    for side, readings in enumerate(sides):
        taken.add(side, readings, None if middle is None else middle[side])
    return Proof(
        machine=base,
        fix=done,
        points=points,
        planned=planned,
        means=taken.means,
        counts=taken.counts,
        own=taken.own,
        common=taken.common(),
        changes=changes,
        seen=[
            *(note for side in sides for note in side.notes),
            *left_out,
            *_speed_unread(base, sides, usual),
            *([AS_DESCRIBED] if not planned and subject is base and base.columns is None else []),
        ],
    )


def _speed_unread(machine: Machine, sides: Sequence[Readings], errors: ReadingErrors) -> list[Note]:
    """That readings were taken without the engine speed, and what that costs."""
    unread = [r for side in sides for r in side if r.engine_speed is None]
    if not unread or usual_speed(machine) is None:
        return []
    count = sum(map(len, sides))
    text = (
        f"{len(unread)} of {count} readings are without an engine speed: the speed of each set counts as "
        f"known to {errors.unread_speed:.0%} only, a pressure to {2.0 * errors.unread_speed:.0%}, which can "
        "hide what the fix does. Read it with each set."
    )
    return [Note(text, "no engine speed", value=float(len(unread)))]


def possible_columns(machine_or_fit: Machine | Fitted, seed: int) -> Machine:
    """Possible machines as columns: a single machine is as uncertain as its usual spreads."""
    if isinstance(machine_or_fit, Machine) and machine_or_fit.columns is None:
        return possible(machine_or_fit, SAMPLES, np.random.default_rng(seed))
    return possible_machines(machine_or_fit, SAMPLES)


def _read(machine: MachineData, readings: Any) -> Readings:
    found = readings_of(machine, readings)
    refuse(machine, found)
    return found


def _planned(machine: Machine, at: Sequence[str] | None) -> tuple[Readings, Readings]:
    """One reading at each place, before and after, at the machine's own speed."""
    layout = machine.layout
    places = texts(at, "proof, at", "names of tappings") if at else [u.vacuum_at for u in layout.units]
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


def _key(r: Reading) -> Key:
    return r.tapping, r.minus, r.quantity, tuple(sorted(r.blanked))


def _in_common(sides: Sequence[Readings]) -> tuple[list[Key], list[Note]]:
    """The places that were read before and after, and a note for each reading that has no counterpart."""
    before, after = sides
    both = {_key(r) for r in before} & {_key(r) for r in after}
    keys = [key for key in dict.fromkeys(_key(r) for r in before) if key in both]
    if not keys:
        raise InputError(
            "no place was read both before and after in the same way",
            place="proof",
            allowed="readings of the same tappings with the same openings blanked",
        )
    left_out = [
        Note(
            f"{r.where}{f' ({r.how})' if r.how else ''} was read {word} only and is left out.",
            "left out",
            r.where,
        )
        for word, side in (("before", before), ("after", after))
        for r in side
        if _key(r) not in both
    ]
    return keys, left_out


def _changes(machines: Machine, fix: Fix, points: list[Reading], solved: Solved) -> tuple[Array, Array]:
    """What possible machines make at each place without the fix, and what it changes; (K, S) both.

    At the machine's own speed and weather; machines without an answer are left out.
    """
    without = solved.read(machines, points)
    change = solved.read(fix.on(machines), points) - without
    known = np.isfinite(change).all(axis=0)
    if not known.any():
        raise InputError("the machine has no answer with this fix", place="proof")
    return without[:, known], change[:, known]


class _Sides:
    """Reduced means of both sides, and how their change errs: each place by itself, and all in common."""

    def __init__(self, machines: Sequence[Any], keys: Sequence[Key], errors: ReadingErrors) -> None:
        self.machines, self.keys, self.errors = machines, keys, errors
        self.density = float(machines[0].air().density)
        self.means = np.zeros((2, len(keys)))
        self.counts = np.zeros((2, len(keys)), dtype=int)
        self.own = np.zeros(len(keys))
        self._common: dict[Any, Array] = {}
        self._factors: dict[Any, float] = {}

    def add(self, side: int, readings: Readings, values: Array | None) -> None:
        """One side's readings; with `values` (K,) as if these had been read."""
        for k, key in enumerate(self.keys):
            here = [r for r in readings if _key(r) == key]
            self.counts[side, k] = len(here)
            for r in here:
                value = r.value if values is None else float(values[k])
                self._add(side, k, r, value, (1.0 if side else -1.0) / len(here))

    def _add(self, side: int, k: int, r: Reading, value: float, share: float) -> None:
        own = self.machines[side]
        condition = Configuration.of(r)
        alike = side, condition, r.quantity
        if alike not in self._factors:
            speed = usual_speed(own) or 0.0
            self._factors[alike] = reduction(own, condition, r.quantity, speed, self.density)
        factor = self._factors[alike]
        self.means[side, k] += abs(share) * value * factor
        self.own[k] += (share * factor * self.errors.of(r, value)) ** 2

        def put(error: Any, amount: float) -> None:
            self._common.setdefault(error, np.zeros(len(self.keys)))[k] += share * factor * amount

        if r.measure == "Pa":
            put(("zero", r.set), self.errors.zero)
            put(("scale", r.set), self.errors.scale * value)
        unread = r.engine_speed is None
        by_speed = self.errors.by_speed(r, unread)
        if by_speed:
            put(("speed", side, condition) if unread else ("tachometer", r.set), by_speed * value)

    def common(self) -> Array:
        """The changes that one standard deviation of each common error makes, (K, E)."""
        errors = list(self._common.values())
        return np.array(errors).T if errors else np.zeros((len(self.keys), 0))
