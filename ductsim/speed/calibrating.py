"""What the owner knows, turned into the least value that the machine needs.

"It ran at 5 km/h in 0.40 kg/m2; unit 4 blocked at 6." Each such observation says on which side of its
limit every unit was; together they narrow down the number that absolute speeds hang on.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..answers.state import solve
from ..arguments import listed, one_of
from ..crop.crop import Crop, with_crop
from ..crop.file import read_crop
from ..crop.margins import CAPTURE, CONVEYING, RATIO, SUCTION, places, values_at
from ..description.data import MachineData
from ..documents.names import names_in
from ..documents.spreadsheet import is_table, read_rows
from ..errors import InputError, Problems, UnknownName, shown
from ..quantity import si
from ..size_limits import listed_at_most
from .calibration import Calibration
from .runs import Run

Array = NDArray[np.float64]

CALIBRATED = {
    "opening_ratio": RATIO,
    "capture_velocity": CAPTURE,
    "suction_velocity": SUCTION,
    "conveying_velocity": CONVEYING,
}
"""A least value that can be calibrated -> what it judges."""

SCATTER = 0.15
"""How much the need varies from one observation and unit to the next, in logarithms: our assumption."""
PRIOR_SPREAD = 0.4
"""Spread of what was assumed before, in logarithms: a factor of 1.5 either way is one standard deviation."""
MOST_SEEN = 5_000
"""Observations: each is solved, and each unit of each is weighed at every point of the posterior."""
SEEN = "a CSV file, a DataFrame, a mapping, or a list of mappings with ground_speed"
_COLUMNS = {"ground_speed": "m/s", "crop_yield": "kg/m2", "blocked": None}
_POINTS = 2001
_REACH = 4.5  # standard deviations of the prior that the calculation covers


def calibrate(
    machine: MachineData,
    seen: Any,
    number: str = "opening_ratio",
    *,
    crop: Any = None,
    scatter: float = SCATTER,
    prior_spread: float = PRIOR_SPREAD,
    fitted: bool = False,
) -> Calibration:
    """The least value that explains which units ran and which blocked.

    The need is taken as lognormal about its present value in the crop. In an observation each unit blocks
    if the air there is, times a chance factor of spread `scatter`, is less than the need; the factors are
    independent (our assumption). The posterior is computed on a grid, without sampling.

    Parameters
    ----------
    machine : MachineData
        With a crop, or `crop` given.
    seen : path, DataFrame, mapping, or list of Run and mappings
        What `read_seen` takes.
    number : str
        The least value in question: "opening_ratio", "capture_velocity", "suction_velocity" or
        "conveying_velocity".
    crop : Crop, or what `read_crop` takes, optional
        The machine's own if not given.
    scatter, prior_spread : float
        In logarithms.
    fitted : bool
        Whether the machine is what readings make of one, to be said with the answer: a machine as described
        has other air, and another least value explains the same observations.

    Raises
    ------
    InputError
        Without observations or with more than 5,000, without a crop, for unknown units and numbers, and
        for bad speeds and yields.
    """
    one_of(number, CALIBRATED, "calibrate", "number of a crop to calibrate")
    for name, value in (("scatter", scatter), ("prior_spread", prior_spread)):
        if not (isinstance(value, (int, float)) and 0.0 < value < 5.0):
            place = f"calibrate, {name}"
            raise InputError(f"{shown(value)} is out of range", place=place, allowed="above 0, below 5")
    loaded = with_crop(machine, crop_from(crop))
    if loaded.columns is not None:
        raise InputError("the machine has columns", place="calibrate", allowed="machine[0], one of them")
    own = loaded.crop
    assert own is not None
    runs = _runs(loaded, own, seen)
    if not runs:
        raise InputError("there is no observation", place="calibrate", allowed="at least one")
    there = _there(loaded, own, runs, CALIBRATED[number])
    prior = (float(getattr(own, number)), float(prior_spread))
    return replace(weighed(loaded, number, runs, there, prior, float(scatter)), fitted=fitted)


def weighed(
    machine: MachineData,
    number: str,
    runs: Sequence[Run],
    there: Array,
    prior: tuple[float, float],
    scatter: float,
) -> Calibration:
    """What some observations tell of a number; the arguments are the attributes of a `Calibration`."""
    from scipy.special import log_ndtr

    middle, spread = prior
    log_value = np.log(middle) + spread * np.linspace(-_REACH, _REACH, _POINTS)
    likely = -0.5 * ((log_value - np.log(middle)) / spread) ** 2
    units = [unit.name for unit in machine.layout.units]
    for run, logarithms in zip(runs, np.log(there), strict=True):
        for unit, own in zip(units, logarithms, strict=True):
            # a unit blocks where what there is, times its chance factor, is less than the value
            side = 1.0 if unit in run.units else -1.0
            likely = likely + log_ndtr(side * (log_value - own) / scatter)
    weight = np.exp(likely - likely.max())
    values, density = np.exp(log_value), weight / weight.sum()
    critical, air, chance = likelihood(units, runs, there, scatter, values, density)
    return Calibration(
        machine=machine,
        number=number,
        runs=list(runs),
        there=there,
        prior=prior,
        scatter=scatter,
        values=values,
        density=density,
        critical=critical,
        air=air,
        chance=chance,
    )


def likelihood(
    units: Sequence[str], runs: Sequence[Run], there: Array, scatter: float, values: Array, density: Array
) -> tuple[list[str], Array, Array]:
    """Of each observation the unit that tells most, its air, and how likely what was seen of it was."""
    from scipy.special import ndtr

    critical = [
        units.index(run.units[0]) if run.units else int(np.argmin(own))
        for run, own in zip(runs, there, strict=True)
    ]
    air = there[np.arange(len(runs)), critical]
    blocks = ndtr(np.log(values / air[:, None]) / scatter) @ density
    chance = np.where([bool(run.units) for run in runs], blocks, 1.0 - blocks)
    return [units[u] for u in critical], air, chance


def read_seen(source: Any) -> list[Run]:
    """What was seen in the field, from a CSV file, a DataFrame, a mapping or a list.

    Parameters
    ----------
    source : path, DataFrame, mapping, Run, or list of Run and mappings
        With `ground_speed` [m/s], optionally `crop_yield` [kg/m2], and `blocked` where units blocked: a
        unit's name, a list of them, or names joined by "+"; numbers are SI or carry their measure. A text is
        the path of a file.

    Returns
    -------
    list of Run
        Their numbers in SI.

    Raises
    ------
    InputError
        One sentence with the place, for whatever is not understood, and for more than 5,000 observations.
    """
    if isinstance(source, Run):
        source = [source]
    if is_table(source):
        rows = read_rows(source, _COLUMNS, ("ground_speed",), "what was seen", "observation", MOST_SEEN)
        in_file = isinstance(source, (str, os.PathLike))
        word = "line" if in_file else "observation"
        problems, runs = Problems(), []
        try:
            for i, v in rows:
                with problems.noting():
                    runs.append(_run(v | {"line": i if in_file else 0}, f"{word} {i}"))
            problems.refuse()
        except InputError as err:
            raise err.at(file=str(source) if in_file else "") from None
        return runs
    seen = listed_at_most(listed(source, "calibrate", SEEN), MOST_SEEN, "observations", "calibrate")
    return [_run(given, f"observation {i + 1}") for i, given in enumerate(seen)]


def crop_from(given: Any) -> Crop | None:
    """The crop that a study works with: a calibration's, what `read_crop` takes; None for the machine's own.

    Raises
    ------
    InputError
        For anything else.
    """
    if given is None:
        return None
    return given.believed() if isinstance(given, Calibration) else read_crop(given)


def _run(given: Any, place: str) -> Run:
    """An observation in SI, checked as far as it goes without a machine."""
    if isinstance(given, Mapping):
        for key in given:
            if key not in Run.__dataclass_fields__:
                raise UnknownName.of("key", key, Run.__dataclass_fields__, place=place)
        if "ground_speed" not in given:
            raise InputError("the key 'ground_speed' is missing", place=place, allowed="the speed driven")
        given = Run(**given)
    if not isinstance(given, Run):
        raise InputError(f"{shown(given)} is no observation", place=place, allowed="one with ground_speed")
    speed = _number(given.ground_speed, "m/s", "ground_speed", place)
    mass = given.crop_yield
    mass = None if mass is None else _number(mass, "kg/m2", "crop_yield", place)
    blocked = given.blocked
    if isinstance(blocked, (list, tuple)):
        return Run(speed, mass, tuple(blocked), given.line)
    return Run(speed, mass, "" if blocked is None else str(blocked), given.line)


def _runs(machine: MachineData, crop: Crop, seen: Any) -> list[Run]:
    """The observations on this machine: of its units, in its yield where none was noted."""
    units = [unit.name for unit in machine.layout.units]
    file = str(seen) if isinstance(seen, (str, os.PathLike)) else ""
    out = []
    for i, run in enumerate(read_seen(seen)):
        place = f"line {run.line}" if run.line else f"observation {i + 1}"
        try:
            blocked = _blocked(run.blocked, units, place)
        except InputError as err:
            raise err.at(file=file) from None
        mass = crop.mass_yield if run.crop_yield is None else run.crop_yield
        out.append(replace(run, crop_yield=mass, blocked=blocked))
    return out


def _blocked(given: Any, units: list[str], place: str) -> tuple[str, ...]:
    """The units that blocked: a name, several joined by "+" as in a cell of a table, or a list of names."""
    if given is None or isinstance(given, (list, tuple)):
        names = tuple(given or ())
    else:
        names = names_in([str(given)], units)
    for name in names:
        if name not in units:
            raise UnknownName.of("unit", name, units, place=place)
    return names


def _number(value: Any, measure: str, key: str, place: str) -> float:
    try:
        out = si(value, measure)
    except InputError as err:
        raise err.at(place=f"{place}, {key}") from None
    if not isinstance(out, float) or out <= 0.0:
        raise InputError(f"{shown(value)} is out of range", place=f"{place}, {key}", allowed="above 0")
    return out


def _there(machine: MachineData, crop: Crop, runs: list[Run], what: str) -> Array:
    """The least value of its kind at each unit in each observation, (runs, units); all solved in one go."""
    speed = np.array([run.ground_speed * run.crop_yield / crop.mass_yield for run in runs])
    many = type(machine)(machine.layout, {**machine.numbers, "crop.ground_speed": speed})
    state = solve(many, raise_error=False)
    values, _ = values_at(many, state)
    out = np.full((len(runs), len(machine.layout.units)), np.inf)
    for place, value in zip(places(machine.layout), values, strict=True):
        if place.what == what:
            for u, unit in enumerate(machine.layout.units):
                if unit.name in place.units:
                    out[:, u] = np.minimum(out[:, u], value)
    if np.isinf(out).all():
        raise InputError(f"the crop's way has no place with a {what}", place="calibrate")
    # where the duct is blocked by the calculation there is hardly any air, and nothing is a large number
    held: Array = np.clip(np.nan_to_num(out, nan=1e-3), 1e-3, 1e3)
    return held
