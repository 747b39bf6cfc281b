"""What is wrong with all readings at once: an engine speed, the measure, or nothing was read."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..description.data import MachineData
from ..quantity import RPM, si
from .table import Reading, Readings
from .unknowns import usual_speed

Array = NDArray[np.float64]

FASTEST = 3.0  # times the machine's own engine speed: what nobody reads
SMALL = 0.2  # of what the machine makes: all pressures so small are worth a second look
SMALLER = 0.5  # of the smallest that any possible machine shows: so small is none
FEWEST = 3  # clear pressures by which all are judged
NOTHING = 1e-3  # of what the machine makes: as good as zero
CLOSE = 1.8  # factor around that of a measure within which the readings are taken for it
MEASURES = {
    "inches of water": si("1 inH2O", "Pa"),
    "millimetres of water or decapascals": 9.9,
    "hectopascals or millibars": 100.0,
    "kilopascals": 1000.0,
}


def fast(machine: MachineData, readings: Readings) -> list[str]:
    """A sentence where engine speeds are far beyond the machine's own."""
    usual = usual_speed(machine)
    if not usual:
        return []
    beyond = [r for r in readings if r.engine_speed is not None and r.engine_speed > FASTEST * usual]
    if not beyond:
        return []
    worst = max(beyond, key=lambda r: r.engine_speed or 0.0)
    speed = worst.engine_speed or 0.0
    where = f"all {len(beyond)} readings" if len(beyond) == len(readings) else f"line {worst.line}"
    if len(beyond) > 1 and len(beyond) < len(readings):
        where += f" and {len(beyond) - 1} more"
    return [
        f"{where}: an engine speed of {speed * RPM:,.0f} rpm is {speed / usual:.1f} times the machine's own "
        f"({usual * RPM:,.0f} rpm): look at it."
    ]


def small(readings: Readings, predicted: Array, clear: float) -> list[Reading]:
    """The clear pressures, where all in all they are far smaller than the machine as described makes."""
    judged = _judged(readings, predicted, clear)
    if len(judged) < FEWEST:
        return []
    size = _size(np.array([readings.items[i].value for i in judged]), predicted[judged])
    return [readings.items[i] for i in judged] if size < SMALL else []


def _judged(readings: Readings, predicted: Array, clear: float) -> list[int]:
    return [
        i
        for i, (r, p) in enumerate(zip(readings, predicted.tolist(), strict=True))
        if r.measure == "Pa" and r.quantity != "velocity pressure" and not r.minus and abs(p) > clear
    ]


def _size(values: Array, predicted: Array) -> Any:
    """How large pressures are against those of the machine as described: the one in the middle."""
    return np.median(np.abs(values / (predicted if values.ndim == 1 else predicted[:, None])), axis=0)


def too_small(chosen: list[Reading], predicted: Array, possible: Array) -> list[str]:
    """A sentence where no possible machine makes such small pressures all in all.

    Parameters
    ----------
    chosen : list of Reading
        From `small`.
    predicted : array (M,)
        What a machine in the middle of those makes there.
    possible : array (M, N)
        What possible machines make there.
    """
    values = np.array([r.value for r in chosen])
    size = float(_size(values, predicted))
    if size >= SMALLER * float(np.nanmin(_size(possible, predicted))):
        return []
    return [_said(size, predicted)]


def likeness(readings: Readings, predicted: Array, clear: float) -> list[str]:
    """What all pressures together look like, where they are far smaller than the machine makes."""
    judged = _judged(readings, predicted, clear)
    chosen = small(readings, predicted, clear)
    if not chosen:
        return []
    expected = predicted[judged]
    return [_said(float(_size(np.array([r.value for r in chosen]), expected)), expected)]


def _said(size: float, predicted: Array) -> str:
    if size < NOTHING / 3.0:
        return (
            f"all {len(predicted)} pressures are next to nothing, where the machine makes "
            f"{np.median(np.abs(predicted)):,.0f} Pa or so: does the fan turn, is the gauge's tap open?"
        )
    near = [name for name, factor in MEASURES.items() if abs(np.log(size * factor)) < np.log(CLOSE)]
    words = f", as if {near[0]} had been written as pascals" if near else ""
    return (
        f"all {len(predicted)} pressures are about {_share(size)} of what the machine makes"
        f"{words}: look at the measure and at the engine speed."
    )


def _share(size: float) -> str:
    """So small a share in words, to two digits."""
    return f"1/{float(f'{1.0 / size:.2g}'):,.0f}"
