"""What the page weighs suspects by: pressures under single faults, and how far sound readings may be off.

The page does what `fit(..., suspects="leaks")` does, from tables: the same suspects, beliefs and errors of
the instruments. Pressures under a fault are solved; those under two are the sum of both changes; what is
uncertain beside the faults is linear about the sound machine and grows with each pressure.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...errors import InputError, OutsideRange
from ...inference.scales import Scales
from ...machine.machine import Machine
from ...readings.errors import ReadingErrors
from ...readings.model import ReadingModel
from ...readings.naming import blank
from ...readings.table import BETWEEN, Reading, Readings
from ...readings.unknowns import default_scale, nuisances, unknowns_of, usual_speed
from ...studies.fit.suspecting import FAULTY, RATE, sound_belief, suspects_of
from ...studies.gauges import gauges
from .result import Sheet, Weighing

Array = NDArray[np.float64]

SIZES = np.linspace(-1.0, 4.5, 12)
"""Sizes of a fault on its own scale: three standard deviations either way of what is believed of one."""
MOST_READINGS = 60
"""Tappings times sheets: a phone turns matrices of that size many times for each key."""
OPEN, TAPED = "As it runs, nothing taped", "All crop openings taped shut"


def sheets_of(machine: Machine, speeds: Any = None) -> list[Sheet]:
    """What to read: every tapping as the machine runs, and with all its openings taped where that can be."""
    layout = machine.layout
    if not layout.tappings or 2 * len(layout.tappings) > MOST_READINGS:
        return []
    found = gauges(machine)
    out = [Sheet("A", OPEN, (), {name: own[0] for name, own in found.shown.items()})]
    openings = tuple(dict.fromkeys(name for unit in layout.units for name in unit.openings))
    if openings:
        try:
            shut = {address: 0.0 for name in openings for address in blank(layout, name)}
            taped = gauges(machine.rebuilt({**machine.numbers, **shut})).shown
        except InputError:
            return out
        own = {name: value[0] for name, value in taped.items()}
        if all(np.isfinite(value).all() for value in own.values()):
            out.append(Sheet("B", TAPED, openings, own))
    return out


def weighing_of(machine: Machine, sheets: Sequence[Sheet]) -> Weighing | None:
    """The tables that weigh suspects; None where there is no suspect or a sheet has no answer."""
    speed = usual_speed(machine)
    readings = [
        Reading(tapping.name, 0.0, engine_speed=speed, set=sheet.name, blanked=sheet.blanked)
        for sheet in sheets
        for tapping in machine.layout.tappings
    ]
    if not readings or speed is None:
        return None
    try:
        suspects = suspects_of(machine, unknowns_of(machine))
    except InputError:
        return None
    if not suspects:
        return None
    scales = {u.address: u.scale(machine.layout) for u in suspects}
    scales.update({name: default_scale(machine, name) for name in nuisances(machine, scales)})
    errors = ReadingErrors()
    model = ReadingModel(machine, readings, scales, errors)
    mean, sd = sound_belief(machine, suspects, model)
    count = len(suspects)
    z = np.repeat(mean[:, None], count * len(SIZES), axis=1)
    z[np.repeat(np.arange(count), len(SIZES)), np.arange(z.shape[1])] = np.tile(SIZES, count)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", OutsideRange)
        sound, slopes = model.jacobian(mean)
        at = model.predict(z).T.reshape(count, len(SIZES), len(readings))
    moved = slopes * sd
    zero = [i for i, name in enumerate(model.names) if name.startswith("zero of ")]
    turning = [i for i, name in enumerate(model.names) if name.startswith("tachometer of ")]
    rest = [i for i in range(count, model.size) if i not in zero and i not in turning]
    by_speed = slopes[:, turning].sum(axis=1) / errors.tachometer  # each reading has one set's tachometer
    sizes = Scales([scales[u.address] for u in suspects]).values(np.tile(SIZES, (count, 1)))
    return Weighing(
        suspects=[u.address for u in suspects],
        grid=SIZES,
        sizes=sizes,
        likely=np.array([u.likely for u in suspects]),
        faulty=FAULTY,
        rate=RATE,
        sound=sound,
        at=np.where(np.isfinite(at), at, np.nan),
        relative=moved[:, rest] @ moved[:, rest].T,
        zero=moved[:, zero] @ moved[:, zero].T,
        by_suspect=moved[:, :count],
        by_speed=by_speed,
        exponent=by_speed / np.where(sound == 0.0, 1.0, sound),
        swing=errors.swing,
        share=errors.share,
        tachometer=errors.tachometer,
        unread_speed=errors.unread_speed,
    )


def entered(readings: Readings) -> list[dict[str, str]]:
    """Readings as the texts of a table, to stand on the page from the start."""
    out = []
    for r in readings:
        row = {
            "tapping": f"{r.tapping} - {r.minus}" if r.minus else r.tapping,
            "quantity": r.quantity,
            "value": _text(r.value, r.measure),
            "engine_speed": _text(r.engine_speed, "rad/s"),
            "set": r.set,
            "sd": _text(r.sd, r.measure),
            "resolution": _text(r.resolution, r.measure),
            "blanked": BETWEEN.join(r.blanked),
            "note": r.note,
        }
        out.append(row | {key: _text(value, WEATHER[key]) for key, value in r.weather})
    return out


WEATHER = {"temperature": "K", "pressure": "Pa", "relative_humidity": ""}


def _text(value: float | None, measure: str) -> str:
    if value is None:
        return ""
    if measure == "rad/s":
        return f"{value * 30.0 / np.pi:.6g} rpm"
    return f"{value:.6g} {measure}".rstrip()
