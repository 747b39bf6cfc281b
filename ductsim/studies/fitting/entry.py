"""The question itself: which numbers of a machine explain these readings?"""

from __future__ import annotations

from typing import Any

from ...errors import InputError, UnknownName, shown
from ...machine.machine import Machine
from ...machine.readings.checks import refuse
from ...machine.readings.model import ReadingErrors
from ...machine.readings.table import read_readings
from ...machine.readings.unknowns import unknowns_of
from .explained import Fit
from .suspected import Suspects


def fit(
    machine: Machine,
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

    Parameters
    ----------
    machine : Machine
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
    draws : int
        Draws behind the intervals; by default 400, fewer (at least 100) for more than 25 conditions.
    seed : int
        Of the random numbers.

    Returns
    -------
    Fit or Suspects

    Raises
    ------
    InputError
        For readings that cannot be read or cannot be right, unknown names, and more than 300 readings or 100
        conditions.
    """
    if not isinstance(machine, Machine):
        raise InputError(
            f"{shown(machine)} is no machine", place="fit", allowed="a machine, as ds.Machine.read gives"
        )
    machine = machine.without_crop() if machine.carries else machine  # readings are taken with empty ducts
    found = read_readings(readings)
    refuse(machine, found)
    wanted = unknowns_of(machine, unknowns)
    if suspects is None:
        return Fit(machine, found, wanted, relative=relative, errors=errors, draws=draws, seed=seed)
    if suspects != "leaks":
        raise UnknownName.of("kind of suspects", suspects, ["leaks"], place="suspects")
    return Suspects(machine, found, wanted, relative=relative, errors=errors, draws=draws, seed=seed)
