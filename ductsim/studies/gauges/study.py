"""The readings to expect on a healthy machine, from possible machines within their usual spreads."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...answers.variants import Variants, solve_variants
from ...arguments import texts, whole
from ...errors import InputError, OutsideRange
from ...machine.machine import Machine
from ...machine.possible import as_machine
from ...quantity import si
from ...readings.errors import ReadingErrors
from ...readings.naming import readings_of
from ...readings.table import Reading
from ...readings.unknowns import possible, speed_addresses, unknowns_of, usual_speed
from ...size_limits import at_most
from ...speed.raising import raising
from .result import Gauges

Array = NDArray[np.float64]

SAMPLES = 500
CHANGED = 0.05
"""A leak closer to its likely size than this share is healthy as it is."""
LOW, HIGH = 0.05, 0.95
MOST = 50_000
"""Speeds times possible machines."""


def gauges(
    machine: Any,
    speeds: str | Sequence[str] | None = None,
    readings: Any = None,
    *,
    samples: int = SAMPLES,
    seed: int = 0,
) -> Gauges:
    """What every gauge should show on a healthy machine, low to high, at the speeds given.

    Healthy is the machine as described with clean screens and blades and unkinked hoses, and leaks as large
    as is likely where `[[unknown]]` says how large that is. Its numbers scatter within their usual spreads,
    and the gauge errs as a careful person's does.

    Parameters
    ----------
    machine : Machine or Network
        A single one, without columns.
    speeds : str or list of str, optional
        Engine speeds like "2100 rpm", or numbers in rad/s; of the fans where no engine turns them. Today's if
        not given.
    readings : path, DataFrame, list or Readings, optional
        What was read: those at fans, with nothing taped shut, are held against what is healthy.
    samples : int
        How many possible machines.
    seed : int
        Of the random numbers.

    Returns
    -------
    Gauges

    Raises
    ------
    InputError
        For a machine with columns or without a tapping, wrong speeds, and more than 50,000 possible machines
        times speeds.
    NoOperatingPoint
        When the machine as described has no answer.
    """
    own = as_machine(machine, "gauges")
    if own.columns is not None:
        raise InputError("the machine has columns", place="gauges", allowed="one of them: machine[0]")
    if not own.layout.tappings:
        raise InputError(
            "there is no tapping to read", place="gauges", allowed="a [[tapping]] in the machine"
        )
    samples = whole(samples, "gauges", "samples", 20)
    rng = np.random.default_rng(whole(seed, "gauges", "seed", 0))
    turned = _speeds(own, speeds)
    at_most(len(turned) * samples, MOST, "speeds times possible machines", "gauges")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", OutsideRange)
        state = own.solve()
    mended = _mended(own)
    healthy = own.rebuilt({**own.numbers, **{a: after for a, (_, after) in mended.items()}})
    shown = _shown(healthy, possible(healthy, samples, rng), turned, rng)
    units = [unit.name for unit in own.layout.units]
    return Gauges(
        machine=own,
        mended=mended,
        speeds=turned,
        shown=shown,
        readings=_of_fans(own, readings),
        first=str(state.weakest),
        vacuum={unit: float(state.vacuum[unit]) for unit in units},
        least_air=str(state.weakest_by_air),
        opening_air={unit: float(state.ask(f"opening air {unit}")) for unit in units},
        raising=raising(own.without_crop()),
    )


def _speeds(machine: Machine, given: Any) -> Array:
    usual = usual_speed(machine)
    if given is None or not len(np.atleast_1d(np.asarray(given, dtype=object))):
        return np.array([np.nan if usual is None else usual])
    if usual is None:
        raise InputError("nothing turns in this machine", place="gauges, speeds", allowed="no speed")
    items = texts(given, "gauges, speeds", "a speed, or a list of them") if _is_text(given) else list(given)
    declared = machine.layout.declaration(speed_addresses(machine.layout)[0])
    out = []
    for item in items:
        try:
            value = float(si(item, declared.measure))
        except InputError as err:
            raise err.at(place="gauges, speeds") from None
        declared.check(np.array([value]), "gauges, speeds")
        out.append(value)
    return np.array(out)


def _is_text(given: Any) -> bool:
    return isinstance(given, str) or all(isinstance(item, str) for item in given)


def _mended(machine: Machine) -> dict[str, tuple[float, float]]:
    """What is otherwise on a healthy machine."""
    layout, numbers = machine.layout, machine.numbers
    healthy = {f"{part.name}.{number_key}": 0.0 for part in layout.parts for number_key in part.kind.faults}
    if layout.free.get("unknown"):
        healthy |= {unknown.address: unknown.likely for unknown in unknowns_of(machine)}
    return {
        a: (float(numbers[a]), value)
        for a, value in healthy.items()
        if a in numbers and abs(float(numbers[a]) - value) > CHANGED * abs(value)
    }


def _shown(healthy: Machine, machines: Machine, speeds: Array, rng: np.random.Generator) -> dict[str, Array]:
    """Tapping -> pressures (V, 3) there: lowest, what is expected, highest."""
    errors, out = ReadingErrors(), {}
    expected, every = (_turning(own, speeds) for own in (healthy, machines))
    for tapping in healthy.layout.tappings:
        middle = expected.ask(f"tapping {tapping.name}")[:, 0]
        value = every.ask(f"tapping {tapping.name}")
        own = np.hypot(errors.swing, errors.share * value)
        sd = np.sqrt(own**2 + errors.zero**2 + (errors.scale * value) ** 2)
        low, high = np.nanquantile(value + sd * rng.standard_normal(value.shape), (LOW, HIGH), axis=1)
        out[tapping.name] = np.column_stack([np.fmin(low, middle), middle, np.fmax(high, middle)])
    return out


def _turning(machine: Machine, speeds: Array) -> Variants:
    """A machine at each of the speeds."""
    width = machine.columns or 1
    addresses = [] if np.isnan(speeds).any() else speed_addresses(machine.layout)
    columns = {address: np.repeat(speeds[:, None], width, axis=1) for address in addresses}
    return solve_variants(machine, columns, len(speeds))


def _of_fans(machine: Machine, readings: Any) -> list[Reading]:
    """The readings of static pressure beside a fan, nothing taped shut."""
    if readings is None:
        return []
    layout = machine.layout
    ends = {node for name in layout.fans for node in layout.part[name].ends}
    at_fans = {tap.name for tap in layout.tappings if layout.end_node(tap.path, tap.end) in ends}
    return [
        r
        for r in readings_of(machine, readings)
        if r.tapping in at_fans and r.quantity == "static" and not r.blanked and not r.minus
    ]
