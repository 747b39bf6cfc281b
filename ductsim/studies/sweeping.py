"""One number of a machine run through its values: vacuum, weakest unit, power, fuel and limits at each."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import locked, texts
from ..cautions import cautions_for
from ..errors import InputError, OutsideRange, shown
from ..machine.asked import Question, question
from ..machine.bounded import at_most, listed_at_most
from ..machine.fixes import work_on
from ..machine.limits import limits_of, passed_by_group
from ..machine.machine import Machine
from ..machine.possible import across, possible_machines
from ..machine.saying import listed, said
from ..machine.state import MachineState
from ..quantity import Times, display_measure, from_si, measure_key, parse_change, si
from ..result import Result

Array = NDArray[np.float64]
SPECIFIC_CONSUMPTION = si("230 g/kWh", "kg/J")
"""Fuel per work at the shaft [kg/J] where none is stated: a diesel engine at part load, from memory."""
SUITED = {"m": (0.5, "mm"), "m2": (0.1, "cm2")}
MOST_SWEPT = 100_000
"""Values times possible machines in one sweep: half a gigabyte, some ten seconds."""
SPLIT = 16
ROUNDS = 4  # an interval is split four times by sixteen: the change is found to 1/65,536 of it


@dataclass(frozen=True)
class Change:
    """A value at which another unit becomes the weakest.

    Attributes
    ----------
    value : float
        In SI, or the factor where numbers are scaled.
    before, after : str
        The unit that is weakest below it, and above it.
    """

    value: float
    before: str
    after: str


def sweep(
    machine_or_fit: Any,
    address: str | Sequence[str],
    values: Any,
    of: str | Sequence[str] = "weakest vacuum",
    specific_consumption: float | str | None = None,
) -> Sweep:
    """What the answers are while one number runs through its values.

    Parameters
    ----------
    machine_or_fit : Machine or fit
        With columns of possible machines every value is taken on each of them.
    address : str or sequence of str
        Address, pattern ("jet *.nozzle_area") or several of them; all these numbers take the same value.
    values : sequence or array
        Numbers in SI, texts with their measures ("2100 rpm"), or factors ("x0.9", `times([...])`).
    of : str or sequence of str
        One question or several.
    specific_consumption : float or str, optional
        Fuel per work at the fans' shafts, a number in kg/J or a text like "230 g/kWh", which is taken
        where none is given (a diesel engine at part load, from memory).

    Returns
    -------
    Sweep

    Raises
    ------
    InputError
        For an unknown address or question, values that are none or out of range, and more than 100,000 values
        times possible machines.
    """
    return Sweep(machine_or_fit, address, values, of, specific_consumption)


class Sweep(Result):
    """One number swept; made by `sweep`.

    Attributes
    ----------
    machine : Machine
        The machine as it was.
    addresses : tuple of str
        The numbers that are swept.
    scaled : bool
        Whether the values are factors on the machine's own numbers.
    values : array (V,)
        In SI, or factors; in the order given.
    measure : str
        The SI measure of the values; "" for factors.
    of : list of str
    questions : list of Question
    answers : dict
        Question -> array (V, M), in SI; M possible machines, 1 for a single one.
    vacuum, opening_air, duct_air : dicts
        Unit -> array (V, M) [Pa, kg/s, kg/s].
    power : array (V, M)
        Shaft power of all fans [W].
    fuel : array (V, M)
        Fuel for them [kg/s]: power x specific consumption.
    specific_consumption : float
        kg/J.
    weakest : list of str
        The weakest unit at each value, with possible machines the one that is it most often.
    changes : list of Change
        Where another unit becomes the weakest, found to about a ten-thousandth of the step between values.
    passed : list of str
        What limit is passed at each value, empty where none is.
    """

    def __init__(
        self, machine_or_fit: Any, address: Any, values: Any, of: Any, specific_consumption: Any
    ) -> None:
        self.machine: Machine = possible_machines(machine_or_fit)
        layout = self.machine.layout
        patterns = texts(address, "sweep, address", "an address, or a list of them")
        self.addresses = tuple(dict.fromkeys(a for pattern in patterns for a in layout.expand(pattern)))
        self.of = texts(of, "sweep, of", "a question, or a list of them")
        self.questions: list[Question] = [question(layout, words) for words in self.of]
        self._assumed = specific_consumption is None
        self.specific_consumption = _consumption(specific_consumption)
        self.scaled, own = _values(self.machine, self.addresses, values)
        self.values: Array = locked(own)
        self.measure = "" if self.scaled else layout.declared[self.addresses[0]].measure
        self.machines = self.machine.columns or 1
        at_most(len(self.values) * self.machines, MOST_SWEPT, "values times possible machines", "values")
        self._read(self._solve(self.values))
        self.changes: list[Change] = self._find_changes()

    def _solve(self, values: Array) -> MachineState:
        columns: dict[str, Array] = {}
        for address in self.addresses:
            base = self.machine.numbers[address]
            column = np.multiply.outer(values, np.atleast_1d(base)) if self.scaled else values[:, None]
            declared = self.machine.layout.declared[address]
            declared.check(column.ravel(), address)
            columns[address] = column
        many = across(self.machine, columns, len(values))
        many._check_together({address.split(".")[0] for address in self.addresses})
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", OutsideRange)  # said in the notes
            return many.solve(raise_error=False)

    def _read(self, state: MachineState) -> None:
        units = [unit.name for unit in self.machine.layout.units]

        def matrix(value: Any) -> Array:
            every = np.broadcast_to(value, len(self.values) * self.machines)
            return locked(np.array(every.reshape(-1, self.machines)))

        self.answers = {words: matrix(state.ask(words)) for words in self.of}
        self.vacuum = {unit: matrix(state.vacuum[unit]) for unit in units}
        self.opening_air = {unit: matrix(state.ask(f"opening air {unit}")) for unit in units}
        self.duct_air = {unit: matrix(state.ask(f"duct air {unit}")) for unit in units}
        self.power: Array = matrix(sum((state.power[name] for name in state.power), np.zeros(1)))
        self.fuel: Array = locked(self.power * self.specific_consumption)
        self.weakest = self._weakest_of(state, len(self.values))
        limits = limits_of(state)
        found = passed_by_group(limits, self.machines)
        self.passed = [found.get(v, "") for v in range(len(self.values))]
        solved = np.broadcast_to(state.solved, len(self.values) * self.machines).reshape(-1, self.machines)
        self._unsolved = np.flatnonzero(~solved.any(axis=1))
        limited = [limit.name for limit in limits if limit.passed.any()]
        self._found = [note for note in state.notes if not _says_limit(note, limited)]

    def _weakest_of(self, state: MachineState, count: int) -> list[str]:
        if not self.machine.layout.units:
            return [""] * count
        names = np.asarray(state.weakest, dtype=object).reshape(count, self.machines)
        out = []
        for row in names:
            found, often = np.unique(row.astype(str), return_counts=True)
            out.append(str(found[often.argmax()]))
        return out

    def _find_changes(self) -> list[Change]:
        """Split every step across which the weakest unit changes until the value is found."""
        order = np.argsort(self.values, kind="stable")
        points = [(float(self.values[i]), self.weakest[i]) for i in order if self.weakest[i]]
        steps = _steps_that_change(points)
        for _ in range(ROUNDS if self.machines == 1 else 1):
            if not steps:
                break
            inner = np.concatenate([np.linspace(low, high, SPLIT + 1)[1:-1] for (low, _), (high, _) in steps])
            step = max(1, MOST_SWEPT // self.machines)
            pieces = (inner[i : i + step] for i in range(0, len(inner), step))
            names = [name for some in pieces for name in self._weakest_of(self._solve(some), len(some))]
            between = dict(zip(inner.tolist(), names, strict=True))
            split = []
            for start, finish in steps:
                own = [(v, n) for v, n in between.items() if start[0] < v < finish[0]]
                split += _steps_that_change([start, *sorted(own), finish])
            steps = split
        return [Change(0.5 * (low + high), before, after) for (low, before), (high, after) in steps]

    # ---- what is shown

    @property
    def name(self) -> str:
        """What is swept, in words."""
        return (
            listed(self.addresses) if len(self.addresses) <= 3 else f"{len(self.addresses)} numbers at once"
        )

    def shown_value(self, value: float, measures: str = "metric") -> str:
        """A value as a sentence says it."""
        if self.scaled:
            return f"x{value:.4g}"
        return said(value, self._suited, measures, 4)

    @property
    def _suited(self) -> str:
        """The metric measure that suits the values: mm for small lengths, cm2 for small areas."""
        limit, small = SUITED.get(self.measure, (0.0, ""))
        return small if float(np.abs(self.values).max()) < limit else display_measure(self.measure)

    def _key(self) -> str:
        if self.scaled:
            return "factor"
        leaf = self.addresses[0].rpartition(".")[2]
        return measure_key(re.sub(r"\W+", "_", leaf).strip("_"), self._suited)

    def _value(self, value: float) -> float:
        return value if self.scaled else float(from_si(value, self._suited))

    def rows(self) -> list[dict[str, Any]]:
        """A row for each value: the answers, the weakest unit and its air, power, fuel, limits passed.

        With possible machines the medians, and the middle 90 % of every answer.
        """
        out = []
        for v, value in enumerate(self.values.tolist()):
            row: dict[str, Any] = {self._key(): self._value(value)}
            for asked in self.questions:
                name = re.sub(r"\W+", "_", asked.of).strip("_")
                answer = self.answers[asked.of][v]
                row[measure_key(name, asked.measure)] = _quantile(answer, 0.5)
                if self.machines > 1:
                    row[measure_key(f"{name}_low", asked.measure)] = _quantile(answer, 0.05)
                    row[measure_key(f"{name}_high", asked.measure)] = _quantile(answer, 0.95)
            row |= self._at_weakest(v)
            if self.power.any():
                row["shaft_power_W"] = _quantile(self.power[v], 0.5)
                row["fuel_kg_h"] = 3600.0 * _quantile(self.fuel[v], 0.5)
            row["note"] = "no answer" if v in self._unsolved else self._note(v)
            out.append(row)
        return out

    def _note(self, v: int) -> str:
        return f"not allowed: {self.passed[v]}" if self.passed[v] else ""

    def _at_weakest(self, v: int) -> dict[str, Any]:
        unit = self.weakest[v]
        if not unit:
            return {"weakest_unit": ""} if self.machine.layout.units else {}
        return {
            "weakest_unit": unit,
            "vacuum_Pa": _quantile(self.vacuum[unit][v], 0.5),
            "opening_air_kg_s": _quantile(self.opening_air[unit][v], 0.5),
            "duct_air_kg_s": _quantile(self.duct_air[unit][v], 0.5),
        }

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """sweep, changes (of the weakest unit), units (vacuum and air of every unit at every value)."""
        out = {"sweep": self.rows()}
        if self.changes:
            out["changes"] = [
                {self._key(): self._value(c.value), "weakest_below": c.before, "weakest_above": c.after}
                for c in self.changes
            ]
        units = [
            {
                self._key(): self._value(value),
                "unit": unit,
                "vacuum_Pa": _quantile(self.vacuum[unit][v], 0.5),
                "opening_air_kg_s": _quantile(self.opening_air[unit][v], 0.5),
                "duct_air_kg_s": _quantile(self.duct_air[unit][v], 0.5),
            }
            for v, value in enumerate(self.values.tolist())
            for unit in self.vacuum
        ]
        return out | ({"units": units} if units else {})

    def sentences(self, measures: str = "metric") -> list[str]:
        """The answer in plain sentences; `measures` is "metric" or "inch"."""
        first, last = int(self.values.argmin()), int(self.values.argmax())
        low, high = (self.shown_value(self.values[v], measures) for v in (first, last))
        out = []
        for asked in self.questions:
            answer = self.answers[asked.of]
            ends = [said(_quantile(answer[v], 0.5), asked.measure, measures) for v in (first, last)]
            out.append(
                f"While {self.name} {'go' if len(self.addresses) > 1 else 'goes'} from {low} to {high}, "
                f"the {asked.label} goes from {ends[0]} to {ends[1]}."
            )
            out += self._best(asked, measures)
        out += self._about_weakest(measures)
        if self.power.any():
            power, fuel = (
                " to ".join(said(_quantile(values[v], 0.5), measure, measures) for v in (first, last))
                for values, measure in ((self.power, "W"), (self.fuel, "kg/h"))
            )
            out.append(f"The fans take {power} at the shaft, {fuel} of fuel.")
        return out + self._about_limits(measures)

    def _best(self, asked: Question, measures: str) -> list[str]:
        """The value that is best among those allowed, where it is not the one at the better end."""
        middle = np.array([_quantile(row, 0.5) for row in self.answers[asked.of]])
        fine = np.array([not words for words in self.passed]) & ~np.isnan(middle)
        if not fine.any():
            return ["None of the values is allowed."] if any(self.passed) else []
        sign = 1.0 if asked.more_is_better else -1.0
        best = int(np.where(fine, sign * middle, -np.inf).argmax())
        if best in (int(self.values.argmin()), int(self.values.argmax())) and not any(self.passed):
            return []
        among = "Among the allowed values" if any(self.passed) else "Among these values"
        answer = said(float(middle[best]), asked.measure, measures)
        return [f"{among} {self.shown_value(self.values[best], measures)} is best: {answer}."]

    def _about_weakest(self, measures: str) -> list[str]:
        names = [name for name in self.weakest if name]
        if not names or len(self.vacuum) < 2:
            return []
        if not self.changes:
            return [f"Unit {names[0]} is weakest throughout."]
        words = [
            f"unit {c.before} is weakest up to {self.shown_value(c.value, measures)}" for c in self.changes
        ]
        text = f"{', '.join(words)}, unit {self.changes[-1].after} beyond."
        return [text[0].upper() + text[1:]]

    def _about_limits(self, measures: str) -> list[str]:
        bad = [v for v in np.argsort(self.values, kind="stable") if self.passed[v]]
        if not bad:
            return []
        values = [self.shown_value(self.values[v], measures) for v in bad]
        where = values[0] if len(bad) == 1 else f"{values[0]} and at {len(bad) - 1} more of the values"
        return [f"Not allowed at {where}: {self.passed[bad[0]]}."]

    @cached_property
    def notes(self) -> list[str]:
        """Sentences about how the answer was found and what deserves a look."""
        out = []
        if self.power.any():
            amount = float(from_si(self.specific_consumption, "g/kWh"))
            source = ", a diesel engine at part load, from memory" if self._assumed else ""
            out.append(f"Fuel is that of the fans alone, at {amount:.4g} g/kWh{source}.")
        if len(self._unsolved):
            out.append(f"{len(self._unsolved):,} of {len(self.values):,} values have no answer.")
        if self.machines > 1:
            out.append(f"Medians of {self.machines:,} possible machines.")
        return out + self._found

    @cached_property
    def cautions(self) -> list[str]:
        """What to beware of when the number is changed."""
        layout = self.machine.layout
        return cautions_for({tag for address in self.addresses for tag in work_on(layout, address)})


def _steps_that_change(points: Sequence[tuple[float, str]]) -> list[tuple[Any, Any]]:
    return [(a, b) for a, b in pairwise(points) if a[1] != b[1]]


def _says_limit(note: str, names: Iterable[str]) -> bool:
    """Whether a note only repeats that a limit is passed."""
    return any(name in note for name in names) and ("highest speed" in note or "the drive has" in note)


def _quantile(values: Array, share: float) -> float:
    known = values[~np.isnan(values)]
    return float(np.quantile(known, share)) if known.size else float("nan")


def _consumption(value: Any) -> float:
    out = SPECIFIC_CONSUMPTION if value is None else si(value, "kg/J")
    if not isinstance(out, float) or out < 0.0:
        raise InputError(
            f"{shown(value)} is no specific consumption",
            place="specific_consumption",
            allowed="0 or more, as in '230 g/kWh'",
        )
    return out


def _values(machine: Machine, addresses: Sequence[str], given: Any) -> tuple[bool, Array]:
    """Whether the values are factors, and the values."""
    items = given.factor if isinstance(given, Times) else given
    if isinstance(items, (str, bytes, int, float)) or np.ndim(getattr(items, "magnitude", [1])) == 0:
        items = [items]
    fine = isinstance(items, Iterable) and getattr(items, "shape", (1,)) != ()
    items = listed_at_most(items, MOST_SWEPT, "values", "values") if fine else []
    if not items:
        raise InputError(
            f"{shown(given)} is no list of values", place="values", allowed="a list or a 1-D array"
        )
    measure = machine.layout.declared[addresses[0]].measure
    for address in addresses:
        if machine.layout.declared[address].measure != measure and not isinstance(given, Times):
            raise InputError(
                f"{addresses[0]} and {address} are of different kinds",
                place="address",
                allowed="numbers alike",
            )
    parsed = [("times", item) if isinstance(given, Times) else _parsed(item, measure) for item in items]
    kinds = {kind for kind, _ in parsed}
    values = np.array([float(value) for _, value in parsed])
    if len(kinds) == 1:
        return kinds == {"times"}, values
    raise InputError("values and factors are mixed", place="values", allowed="all of one sort")


def _parsed(item: Any, measure: str) -> tuple[str, Any]:
    try:
        kind, value = parse_change(item, measure)
    except InputError as err:
        raise err.at(place="values") from None
    if np.ndim(value):
        raise InputError(f"{shown(item)} is not one value", place="values", allowed="a 1-D list")
    return kind, value
