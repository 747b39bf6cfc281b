"""The question itself: which numbers of a machine explain these readings?"""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import Any, Literal, overload

import numpy as np

from ...errors import UnknownName
from ...inference.sampling import draw
from ...machine.fitted import draws_for
from ...machine.machine import Machine
from ...machine.network import Network
from ...machine.possible import as_machine
from ...network.point import Point
from ...readings.checks import refuse
from ...readings.errors import ReadingErrors
from ...readings.model import ReadingModel
from ...readings.naming import readings_of
from ...readings.table import Readings
from ...readings.unknowns import Unknown, default_scale, nuisances, unknowns_of
from .costing import priced
from .result import Fit, Suspects
from .setting_aside import settled
from .suspecting import suspected


@overload
def fit(
    machine: Machine | Network,
    readings: Any,
    unknowns: Any = None,
    *,
    suspects: None = None,
    relative: bool = False,
    errors: ReadingErrors | None = None,
    draws: int | None = None,
    seed: int = 0,
) -> Fit: ...


@overload
def fit(
    machine: Machine | Network,
    readings: Any,
    unknowns: Any = None,
    *,
    suspects: Literal["leaks"],
    relative: bool = False,
    errors: ReadingErrors | None = None,
    draws: int | None = None,
    seed: int = 0,
) -> Suspects: ...


def fit(
    machine: Machine | Network,
    readings: Any,
    unknowns: Any = None,
    *,
    suspects: str | None = None,
    relative: bool = False,
    errors: ReadingErrors | None = None,
    draws: int | None = None,
    seed: int = 0,
) -> Fit | Suspects:
    """The numbers of a machine that explain readings best, and how well they are known then.

    Every other uncertain number of the machine (losses, nozzles, fan curves ...) and the errors of gauge and
    tachometer are carried along with their usual spreads: without them the intervals would be too narrow.

    What is wrong alike in every set cannot be told from readings: two doors exchanged throughout are the
    readings of a machine whose units are exchanged, and engine speeds all read too high those of a belt that
    slips or of a weaker fan. In one set of several either is named. A reading of the fan's own speed tells a
    slipping belt.

    Parameters
    ----------
    machine : Machine or Network
        A single one, without columns.
    readings : path, DataFrame, list or Readings
        See `read_readings`.
    unknowns : list of addresses or patterns, or mapping to (low, likely, high), optional
        What is to be found. By default the `[[unknown]]` tables of the machine file, else every leak.
    suspects : "leaks", optional
        Take every leak and every fan for mostly sound and find the few that are not; see `Suspects`.
    relative : bool
        Let only ratios between readings count, as for a machine whose fan curve is not known.
    errors : ReadingErrors, optional
        How far readings are off.
    draws : int, optional
        Draws behind the intervals; by default 400, fewer (at least 100) for more than 25 conditions. 0: the
        intervals are those of the linear approximation at the estimate.
    seed : int
        Of the random numbers.

    Returns
    -------
    Fit, or Suspects where these are asked for

    Raises
    ------
    InputError
        For readings that cannot be read or cannot be right, unknown names, and more than 300 readings or 100
        conditions.
    """
    machine = as_machine(machine, "fit")
    machine = machine.without_crop() if machine.carries else machine  # readings are taken with empty ducts
    found = readings_of(machine, readings)
    near = refuse(machine, found)
    wanted = unknowns_of(machine, unknowns)
    usual = errors or ReadingErrors()
    if suspects is None:
        return explained(
            machine, found, wanted, relative=relative, errors=usual, draws=draws, seed=seed, near=near
        )
    if suspects != "leaks":
        raise UnknownName.of("kind of suspects", suspects, ["leaks"], place="suspects")
    return suspected(
        machine, found, wanted, relative=relative, errors=usual, draws=draws, seed=seed, near=near
    )


def explained(
    machine: Machine,
    readings: Readings,
    wanted: Sequence[Unknown],
    *,
    relative: bool = False,
    errors: ReadingErrors | None = None,
    draws: int | None = None,
    seed: int = 0,
    near: Point | None = None,
) -> Fit:
    """The fit to readings that are taken as they are, however odd; see `fit`.

    `near` is where the machine as described works under each condition, if that is known.
    """
    started = time.perf_counter()
    scales = {u.address: u.scale(machine.layout) for u in wanted}
    scales.update({name: default_scale(machine, name) for name in nuisances(machine, scales)})
    model = ReadingModel(machine, readings, scales, errors, relative)
    model.bound()
    model.near = near
    conditions = len(model.configurations)
    count = draws_for(conditions, draws)
    found = settled(model)
    problem, estimate = found.problem, found.estimate
    model.start_at(estimate.x)
    drawn = draw(problem, estimate, count, np.random.default_rng(seed))
    out = Fit(
        given=machine,
        taken=readings,
        wanted=list(wanted),
        scales=scales,
        names=model.names,
        conditions=conditions,
        errors=model.errors,
        relative=relative,
        seed=seed,
        estimate=estimate,
        solves=problem.solves * conditions,
        jacobians=problem.jacobians,
        seconds=0.0,
        draws=drawn,
        sd=model.noise(),
        plain=found.plain,
        slips=found.groups,
    )
    out.priced = priced(out)
    out.seconds = time.perf_counter() - started
    return out
