"""Checks of machines with fixes done that need several numbers of a thing."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..description.data import MachineData
from ..errors import InputError

Array = NDArray[np.float64]


def column(value: Any, which: Any) -> Any:
    """A value of some of the possible machines."""
    return value if which is None or np.ndim(value) == 0 else value[which]


def together(
    root: MachineData,
    one: dict[str, Any],
    values: dict[str, Array],
    ks: list[int],
    owner: str,
    checked: set[str],
    which: Any,
) -> str:
    """Why some rows do not pass the checks that need several numbers of a thing; empty when they do.

    Parameters
    ----------
    root : MachineData
        The machine, single or with columns.
    one : dict
        Address -> one value of each number: it stands for all of what is neither `checked` nor drives that.
    values : dict
        Address -> (K, M): the numbers that fixes change, in SI.
    ks : list of int
        The rows that are looked at.
    owner : str
        Whose numbers are to suit each other.
    checked : set of str
        It, and the parts that it drives.
    which : index array or None
        Some of the possible machines; None for all.
    """
    owners = checked | {part.drive for part in root.layout.parts if part.name in checked}
    numbers = dict(one)
    for address in one:
        if address.partition(".")[0] not in owners:
            continue
        value = root.numbers[address]
        if address in values:
            numbers[address] = values[address][ks].ravel()
        elif np.ndim(value):
            numbers[address] = np.tile(column(value, which), len(ks))
    try:
        root.rebuilt(numbers).check_together({owner})
    except InputError as err:
        return err.words
    return ""
