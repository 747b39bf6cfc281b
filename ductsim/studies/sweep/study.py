"""One number of a machine run through its values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...answers.variants import Variants, solve_variants
from ...arguments import locked, texts
from ...description.possible import across
from ...errors import InputError, shown
from ...machine.machine import Machine
from ...machine.possible import possible_machines
from ...quantity import Times, parse_change, si
from ...questions.vocabulary import asked_of
from ...size_limits import at_most, listed_at_most
from .result import Change, Sweep

Array = NDArray[np.float64]
SPECIFIC_CONSUMPTION = si("230 g/kWh", "kg/J")
"""Fuel per work at the shaft [kg/J] where none is stated: a diesel engine at part load, from memory."""
MOST_SWEPT = 100_000
"""Values times possible machines in one sweep: half a gigabyte, some ten seconds."""
SPLIT = 16
ROUNDS = 4  # an interval is split four times by sixteen: the change is found to 1/65,536 of it


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
    machine = possible_machines(machine_or_fit)
    layout = machine.layout
    patterns = texts(address, "sweep, address", "an address, or a list of them")
    addresses = tuple(dict.fromkeys(a for pattern in patterns for a in layout.expand(pattern)))
    asked = asked_of(layout, of, "sweep")
    consumption = _consumption(specific_consumption)
    scaled, numbers = _values(machine, addresses, values)
    size = len(numbers) * (machine.columns or 1)
    at_most(size, MOST_SWEPT, "values times possible machines", "values")
    found = _solved(machine, addresses, scaled, numbers)
    limited = {limit.name for limit in found.limits if limit.passed.any()}
    return Sweep(
        machine=machine,
        addresses=addresses,
        scaled=scaled,
        values=locked(numbers),
        of=asked,
        answers={words: found.ask(words) for words in asked},
        vacuum=found.vacuum,
        opening_air=found.opening_air,
        duct_air=found.duct_air,
        power=found.power,
        specific_consumption=consumption,
        consumption_assumed=specific_consumption is None,
        weakest=found.weakest,
        changes=_changes(machine, addresses, scaled, numbers, found.weakest),
        passed=[found.passed.get(v, "") for v in range(len(numbers))],
        unsolved=[int(v) for v in np.flatnonzero(~found.solved.any(axis=1))],
        # that a limit is passed is said of each value
        seen=[n for n in found.state.notes if not (n.kind == "limit passed" and n.place in limited)],
    )


def _solved(machine: Machine, addresses: Sequence[str], scaled: bool, values: Array) -> Variants:
    columns: dict[str, Array] = {}
    for address in addresses:
        base = machine.numbers[address]
        column = np.multiply.outer(values, np.atleast_1d(base)) if scaled else values[:, None]
        machine.layout.declared[address].check(column.ravel(), address)
        columns[address] = column
    across(machine, columns, len(values)).check_together({address.split(".")[0] for address in addresses})
    return solve_variants(machine, columns, len(values))


def _changes(
    machine: Machine, addresses: Sequence[str], scaled: bool, values: Array, weakest: Sequence[str]
) -> list[Change]:
    """Where the weakest unit changes: every step across which it does is split until the value is found."""
    order = np.argsort(values, kind="stable")
    steps = _steps_that_change([(float(values[i]), weakest[i]) for i in order if weakest[i]])
    for _ in range(ROUNDS if machine.columns is None else 1):
        if not steps:
            break
        inner = np.concatenate([np.linspace(low, high, SPLIT + 1)[1:-1] for (low, _), (high, _) in steps])
        step = max(1, MOST_SWEPT // (machine.columns or 1))
        pieces = (inner[i : i + step] for i in range(0, len(inner), step))
        names = [n for some in pieces for n in _solved(machine, addresses, scaled, some).weakest]
        between = dict(zip(inner.tolist(), names, strict=True))
        split = []
        for start, finish in steps:
            own = [(v, n) for v, n in between.items() if start[0] < v < finish[0]]
            split += _steps_that_change([start, *sorted(own), finish])
        steps = split
    return [Change(0.5 * (low + high), before, after) for (low, before), (high, after) in steps]


def _steps_that_change(points: Sequence[tuple[float, str]]) -> list[tuple[Any, Any]]:
    return [(a, b) for a, b in pairwise(points) if a[1] != b[1]]


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
