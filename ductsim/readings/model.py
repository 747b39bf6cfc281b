"""Readings as functions of a machine's uncertain numbers and of the errors of gauge and tachometer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..answers.gradients import jacobians
from ..answers.slipping import slipping
from ..answers.solved import SolvedMachine
from ..answers.state import MachineAnswer, approach, solve
from ..description.data import MachineData
from ..description.layout import Layout
from ..errors import InputError
from ..inference.problem import Course, Index, Problem
from ..inference.scales import Scale, Scales
from ..network.point import Point
from ..questions.vocabulary import question
from ..size_limits import at_most
from .errors import ReadingErrors
from .naming import blank, named
from .table import Reading, Readings
from .unknowns import members, speed_addresses

Array = NDArray[np.float64]
WORDS = {
    "static": "tapping",
    "total": "total pressure",
    "velocity pressure": "velocity pressure",
    "velocity": "air velocity",
    "speed": "speed",
    "shaft power": "shaft power",
}
Term = tuple[int, float, int | None]
"""Of a reading: the answer, its sign, and the coordinate that says how much of it is read."""
MOST_FITTED, MOST_CONDITIONS = 300, 100
"""Readings, and conditions (each set, speed, taping and weather counts as one), that one fit takes: its
matrices grow with the square of the first, and each draw solves the machine under all of the second."""


@dataclass(frozen=True)
class Configuration:
    """Conditions under which readings are taken together.

    Attributes
    ----------
    set : str
    engine_speed : float or None
    blanked : tuple of str
    weather : tuple of (str, float)
    """

    set: str = ""
    engine_speed: float | None = None
    blanked: tuple[str, ...] = ()
    weather: tuple[tuple[str, float], ...] = ()

    @classmethod
    def of(cls, reading: Reading) -> Configuration:
        """The conditions of a reading; the order of the blanked openings does not matter."""
        return cls(reading.set, reading.engine_speed, tuple(sorted(reading.blanked)), reading.weather)

    def fixed(self, layout: Layout) -> dict[str, float]:
        """Address -> number that these conditions fix; engine speeds are left to `speeds`."""
        out = {address: 0.0 for name in self.blanked for address in blank(layout, name)}
        for key, value in self.weather:
            address = f"air.{key}"
            if address not in layout.declared:
                raise InputError(
                    f"the machine's air has no {key}", place="readings", allowed="air given by its weather"
                )
            out[address] = value
        return out


class ReadingModel:
    """Readings as functions of coordinates: unknowns and other numbers on their scales, then set errors.

    Parameters
    ----------
    machine : MachineData
        A single one, without columns.
    readings : Readings
    scales : mapping
        Address -> Scale, in the order of the coordinates; a curve's name -> Scale of the factor on it.
    errors : ReadingErrors
    relative : bool
        Take every engine speed as not read: only ratios between readings count.

    Attributes
    ----------
    names : list of str
        What each coordinate is: addresses, then "zero of set 1", "scale of set 1", "tachometer of set 1",
        "speed under condition 3", "facing of door 1".
    near : Point or None
        A point of the machine under each condition to start from: where it was solved last, or one like it.
    """

    def __init__(
        self,
        machine: MachineData,
        readings: Readings | Sequence[Reading],
        scales: Mapping[str, Scale],
        errors: ReadingErrors | None = None,
        relative: bool = False,
    ) -> None:
        if machine.columns is not None:
            raise InputError("the machine has columns", allowed="one of its scenarios: machine[0]")
        self.machine = machine
        self.readings = named(machine.layout, readings)
        self.coordinates = list(scales)
        self._lay_numbers()
        self.scales = Scales(list(scales.values()))
        self.errors = errors or ReadingErrors()
        self.relative = relative
        self.configurations = list(dict.fromkeys(Configuration.of(r) for r in self.readings))
        self._fixed = [c.fixed(machine.layout) for c in self.configurations]
        self.near: Point | None = None
        self._lay_errors()
        self._lay_questions()

    # ---- coordinates

    def _lay_numbers(self) -> None:
        """Which coordinate moves which numbers; a curve's coordinate is a factor on all of its points."""
        self.addresses: list[str] = []
        mover: list[int] = []
        for i, name in enumerate(self.coordinates):
            moved = members(self.machine.layout, name)
            self.addresses += moved
            mover += [i] * len(moved)
        self._mover = np.array(mover, dtype=np.intp)
        own = [1.0 if a in self.coordinates else self.machine.numbers[a] for a in self.addresses]
        self._factor = np.array(own, dtype=float)

    def _lay_errors(self) -> None:
        sets = list(dict.fromkeys(c.set for c in self.configurations))
        self.names = list(self.coordinates)
        self._zero: dict[str, int] = {}
        self._scale: dict[str, int] = {}
        for name in sets:
            words = f"set {name}" if name else "the readings"
            for kind, where in (("zero", self._zero), ("scale", self._scale)):
                where[name] = len(self.names)
                self.names.append(f"{kind} of {words}")
        self._speed_addresses = speed_addresses(self.machine.layout)
        tachometer: dict[str, int] = {}
        self._speed_of: list[tuple[int, float]] = []
        for i, c in enumerate(self.configurations):
            if c.engine_speed is None or self.relative:
                self._speed_of.append((len(self.names), self.errors.unread_speed))
                self.names.append(f"engine speed under condition {i + 1}")
                continue
            if c.set not in tachometer:
                tachometer[c.set] = len(self.names)
                self.names.append(f"tachometer of {'set ' + c.set if c.set else 'the readings'}")
            self._speed_of.append((tachometer[c.set], self.errors.tachometer))
        static = [r for r in self.readings if r.quantity == "static"]
        faced = dict.fromkeys(name for r in static for name in (r.tapping, r.minus) if name)
        self._facing = {name: len(self.names) + i for i, name in enumerate(faced)}
        self.names += [f"facing of {name}" for name in faced]

    @property
    def condition(self) -> NDArray[np.intp]:
        """Under which of the `configurations` each reading was taken."""
        return self._condition

    @property
    def pressures(self) -> NDArray[np.bool_]:
        """Which readings are pressures."""
        return self._pressure

    def tachometer_of(self, condition: int) -> int | None:
        """The coordinate of the tachometer's error under a condition; None where no speed was read."""
        place = self._speed_of[condition][0]
        return None if self.names[place] in self.unread else place

    def facing_of(self, tapping: str) -> int | None:
        """The coordinate of how much velocity pressure a tapping reads along; None where it is not static."""
        return self._facing.get(tapping)

    def stays(self, name: str) -> bool:
        """Whether an error is the same in another set too: how a tapping faces the air."""
        return name in self.names and self.names.index(name) in self._facing.values()

    @property
    def unread(self) -> set[str]:
        """The coordinates that are engine speeds which were not read."""
        stated = [np.isfinite(self._speed_stated(i)) for i in range(len(self.configurations))]
        return {self.names[p] for (p, _), read in zip(self._speed_of, stated, strict=True) if not read}

    @property
    def size(self) -> int:
        """The number of coordinates."""
        return len(self.names)

    def bound(self) -> None:
        """Refuse more readings or conditions than a fit can take.

        Raises
        ------
        InputError
            With the limit.
        """
        at_most(len(self.readings), MOST_FITTED, "readings for one fit", "readings")
        conditions = "conditions for one fit (each set, speed, taping and weather counts)"
        at_most(len(self.configurations), MOST_CONDITIONS, conditions, "readings")

    @cached_property
    def numbers(self) -> int:
        """How many coordinates are numbers of the machine."""
        return len(self.coordinates)

    # ---- what is asked of which condition

    def _lay_questions(self) -> None:
        self._of = [Configuration.of(r) for r in self.readings]
        place = {c: i for i, c in enumerate(self.configurations)}
        self._condition = np.array([place[c] for c in self._of], dtype=np.intp)
        self._words: list[str] = []
        self._terms: list[list[Term]] = []
        for reading in self.readings:
            terms = []
            for name, sign in ((reading.tapping, 1.0), (reading.minus, -1.0)):
                if not name:
                    continue
                parts: list[tuple[str, int | None]] = [(f"{WORDS[reading.quantity]} {name}", None)]
                if reading.quantity == "static":
                    parts.append((f"{WORDS['velocity pressure']} {name}", self._facing[name]))
                for words, facing in parts:
                    if words not in self._words:
                        self._words.append(words)
                    terms.append((self._words.index(words), sign, facing))
            self._terms.append(terms)
        layout = self.machine.layout
        self._questions = [question(layout, words) for words in self._words]
        self._pressure = np.array([r.measure == "Pa" for r in self.readings])
        self._turns = np.array([r.quantity == "speed" for r in self.readings])
        self._read_speed = np.array([np.isfinite(self._speed_stated(int(c))) for c in self._condition])

    def _speed_stated(self, condition: int) -> float:
        c = self.configurations[condition]
        return np.nan if c.engine_speed is None or self.relative else c.engine_speed

    # ---- numbers under one condition

    def machine_numbers(self, z: Array) -> dict[str, Array]:
        """Address -> values (N,) at coordinates (A, N), without any condition."""
        values = self.scales.values(z[: self.numbers])[self._mover] * self._factor[:, None]
        return dict(zip(self.addresses, values, strict=True))

    def _under(self, condition: int, z: Array, numbers: Mapping[str, Any]) -> dict[str, Any]:
        """What one condition makes of these numbers of the machine, and the speeds."""
        out: dict[str, Any] = {}
        base = self.machine.numbers
        for address, value in self._fixed[condition].items():
            # a nuisance number's own spread stays around the condition's value
            out[address] = value * (numbers[address] / base[address] if address in numbers else 1.0)
        place, width = self._speed_of[condition]
        factor = np.exp(width * z[place])
        stated = self.configurations[condition].engine_speed
        for address in self._speed_addresses:
            out[address] = (base[address] if stated is None else stated) * factor
        return out

    # ---- predictions

    def predict(self, z: Array) -> Array:
        """Predicted readings (M, N) at coordinates (A, N); NaN where the machine has no answer."""
        return self._shown(z, *self._solved(z, self._starts(z.shape[1])))

    def follow(self, count: int) -> Course:
        """`predict` for some of `count` columns that move little by little: each begins where it was last."""
        points, steady = self._starts(count), not slipping(self.machine)

        def predict(z: Array, which: Index, roughly: bool) -> Array:
            places = np.add.outer(count * np.arange(len(self.configurations)), which).ravel()
            many, start = self._many(z), points.take(places)
            state = approach(many, start) if roughly and steady else None
            if state is None or not np.all(state.solved):
                state = solve(many, raise_error=False, start=start)
            found = np.flatnonzero(state.solved)
            points.put(places[found], state.arrays.point, found)
            return self._shown(z, many, state)

        return predict

    def _shown(self, z: Array, many: MachineData, state: SolvedMachine) -> Array:
        """What instruments show (M, N) of the machine solved at coordinates (A, N), N columns a condition."""
        count, conditions = z.shape[1], len(self.configurations)
        shape = (conditions, count)
        answers = [
            np.broadcast_to(q.evaluate(many, state), conditions * count).reshape(shape)
            for q in self._questions
        ]
        out = np.zeros((len(self.readings), count))
        for i, (c, terms) in enumerate(zip(self._condition, self._terms, strict=True)):
            for word, sign, facing in terms:
                out[i] += self._weight(sign, facing, z) * answers[word][c]
        return self._as_read(out, z)

    def _weight(self, sign: float, facing: int | None, z: Array) -> Any:
        """How much of an answer a reading shows."""
        return sign if facing is None else sign * self.errors.facing * z[facing]

    def _solved(self, z: Array, start: Point | None = None) -> tuple[MachineData, MachineAnswer]:
        """The machine at coordinates (A, N) and its state: N columns under each condition in turn."""
        many = self._many(z)
        return many, solve(many, raise_error=False, start=start)

    def _many(self, z: Array) -> MachineData:
        """The machine at coordinates (A, N): N columns under each condition in turn."""
        count = z.shape[1]
        common = self.machine_numbers(z)
        each = [self._under(c, z, common) for c in range(len(self.configurations))]
        own = {a: None for changed in each for a in changed}
        numbers = dict(self.machine.numbers)
        alike = [address for address in common if address not in own]
        repeated = np.tile([common[address] for address in alike], len(each))
        numbers.update(zip(alike, repeated, strict=True))
        for address in own:
            column = np.empty((len(each), count))
            for row, changed in zip(column, each, strict=True):
                row[:] = changed.get(address, common.get(address, numbers[address]))
            numbers[address] = column.reshape(-1)
        return self.machine.rebuilt(numbers)

    def _start(self) -> Point:
        """A point of each condition to start others from: the last at which derivatives were taken."""
        if self.near is None:
            self.near = self._solved(np.zeros((self.size, 1)))[1].arrays.point
        return self.near

    def _starts(self, count: int) -> Point:
        """The same for so many columns under each condition."""
        return self._start().take(np.repeat(np.arange(len(self.configurations)), count))

    def start_at(self, z: Array) -> None:
        """Start from the answers at coordinates (A,) from now on, as after derivatives taken there."""
        self.near = self._solved(z[:, None], self.near)[1].arrays.point

    def _as_read(self, true: Array, z: Array) -> Array:
        """True values as the instruments show them."""
        out = true.copy()
        for i, (reading, c) in enumerate(zip(self.readings, self._condition, strict=True)):
            if self._pressure[i]:
                scale, zero = z[self._scale[reading.set]], z[self._zero[reading.set]]
                out[i] = self.errors.on_gauge(reading, out[i], scale, zero)
            elif self._turns[i] and self._read_speed[i]:
                place, width = self._speed_of[c]
                out[i] *= np.exp(-width * z[place])
        return out

    def jacobian(self, z: Array) -> tuple[Array, Array]:
        """Predicted readings (M,) and their exact derivatives (M, A) at coordinates (A,)."""
        many, state = self._solved(z[:, None], self._start())
        if not np.all(state.solved):
            raise state.failure()
        self.near = state.arrays.point
        true = np.zeros(len(self.readings))
        out = np.zeros((len(self.readings), self.size))
        speeds, count = self._speed_addresses, len(self.configurations)
        answers, by_number = jacobians(many, self._words, [*self.addresses, *speeds], state)
        by_number[:, :, : len(self.addresses)] *= self._shares[:, None]
        slopes = self.by_coordinate(z, by_number[:, :, : len(self.addresses)])
        for c, (place, width) in enumerate(self._speed_of):
            turned = np.array([np.broadcast_to(many.numbers[a], count)[c] for a in speeds]) * width
            slopes[c, :, place] += by_number[c, :, len(self.addresses) :] @ turned
        for i, (c, terms) in enumerate(zip(self._condition, self._terms, strict=True)):
            for word, sign, facing in terms:
                weight = self._weight(sign, facing, z)
                true[i] += weight * answers[c, word]
                out[i] += weight * slopes[c, word]
                if facing is not None:
                    out[i, facing] += sign * self.errors.facing * answers[c, word]
        return self._slopes_as_read(true, out, z)

    def by_coordinate(self, z: Array, by_number: Array) -> Array:
        """Derivatives in the coordinates (..., A) from those in the numbers at `addresses` (..., numbers)."""
        slopes = self.scales.slopes(z[: self.numbers, None])[self._mover, 0] * self._factor
        out = np.zeros((*by_number.shape[:-1], self.size))
        np.add.at(out.T, self._mover, (by_number * slopes).T)
        return out

    @cached_property
    def _shares(self) -> Array:
        """Derivative of each of the `addresses` under each condition in the number itself."""
        own, out = self.machine.numbers, np.ones((len(self.configurations), len(self.addresses)))
        for row, fixed in zip(out, self._fixed, strict=True):
            for i, address in enumerate(self.addresses):
                if address in fixed:
                    row[i] = fixed[address] / own[address]
        return out

    def _slopes_as_read(self, true: Array, slopes: Array, z: Array) -> tuple[Array, Array]:
        read = self._as_read(true[:, None], z[:, None])[:, 0]
        for i, (reading, c) in enumerate(zip(self.readings, self._condition, strict=True)):
            if self._pressure[i]:
                scale = self._scale[reading.set]
                slopes[i] *= 1.0 + self.errors.scale * z[scale]
                slopes[i, scale] += self.errors.scale * true[i]
                slopes[i, self._zero[reading.set]] += self.errors.zero
            elif self._turns[i] and self._read_speed[i]:
                place, width = self._speed_of[c]
                slopes[i] *= np.exp(-width * z[place])
                slopes[i, place] -= width * read[i]
        return read, slopes

    # ---- the problem

    def noise(self, values: Array | None = None) -> Array:
        """Standard deviations of the readings by themselves (M,), at the read or given values."""
        at = [r.value for r in self.readings] if values is None else values
        return np.array([self.errors.of(r, float(v)) for r, v in zip(self.readings, at, strict=True)])

    def problem(self, mean: Array | None = None, prior_sd: Array | None = None) -> Problem:
        """The fitting problem; coordinates are standard normal unless other priors are given."""
        slopes = self.scales.slopes
        ones = np.ones(self.size - self.numbers)

        def stretch(x: Array) -> Array:
            return np.concatenate([slopes(x[: self.numbers]), np.outer(ones, np.ones(x.shape[1]))])

        return Problem(
            predict=self.predict,
            jacobian=self.jacobian,
            measured=np.array([r.value for r in self.readings]),
            sd=self.noise(),
            mean=np.zeros(self.size) if mean is None else mean,
            prior_sd=np.ones(self.size) if prior_sd is None else prior_sd,
            stretch=stretch,
            follow=self.follow,
        )


def under(machine: MachineData, conditions: Configuration) -> MachineData:
    """The machine under the conditions of a reading, at its own speed if none was read."""
    changed: dict[str, Any] = dict(conditions.fixed(machine.layout))
    if conditions.engine_speed is not None:
        changed.update(dict.fromkeys(speed_addresses(machine.layout), conditions.engine_speed))
    return machine.rebuilt({**machine.numbers, **changed})


Made = dict[Configuration, tuple[MachineData, MachineAnswer]]


def made(machine: MachineData, readings: Sequence[Reading], near: Made | None = None) -> Array:
    """What a machine with N columns makes at each reading, true values (M, N).

    `near` holds how a machine like it was solved, to start there; then it holds how this one was.
    """
    out = np.empty((len(readings), machine.columns or 1))
    states: Made = {}
    for i, reading in enumerate(readings):
        conditions = replace(Configuration.of(reading), set="")
        if conditions not in states:
            there = under(machine, conditions)
            states[conditions] = (
                there,
                solve(there, raise_error=False, start=_beside(there, conditions, near)),
            )
        there, state = states[conditions]
        words = WORDS[reading.quantity]
        out[i] = question(machine.layout, f"{words} {reading.tapping}").evaluate(there, state)
        if reading.minus:
            out[i] -= question(machine.layout, f"{words} {reading.minus}").evaluate(there, state)
    if near is not None:
        near.update(states)
    return out


def _beside(machine: MachineData, conditions: Configuration, near: Made | None) -> Point | None:
    """Where a machine like this one was solved; None where none of the same layout was."""
    like, state = (near or {}).get(conditions, (None, None))
    if like is None or state is None or like.layout is not machine.layout or like.columns != machine.columns:
        return None
    return state.arrays.point
