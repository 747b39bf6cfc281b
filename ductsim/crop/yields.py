"""Yields along a row: from a file, a table or an array."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..documents.spreadsheet import is_table, read_rows
from ..errors import InputError, shown
from ..quantity import si
from ..size_limits import at_most

Array = NDArray[np.float64]
KEYS = {"distance": "m", "crop_yield": "kg/m2"}
MOST_STRETCHES = 50_000
"""In one pass: how full each of the box's places is after each of them takes 120 MB."""
LARGEST = 20.0  # kg/m2: no crop that is picked has more


@dataclass(frozen=True, eq=False)
class Yields:
    """Yields along a row; made by `read_field`.

    Attributes
    ----------
    distance : array (n + 1,)
        Ends of the stretches, from 0 [m].
    crop_yield : array (n,)
        [kg/m2]
    """

    distance: Array
    crop_yield: Array

    def __len__(self) -> int:
        return len(self.crop_yield)

    def __repr__(self) -> str:
        return f"<Yields: {len(self)} stretches, {self.distance[-1]:g} m>"


def read_field(source: Any, spacing: Any = 1.0) -> Yields:
    """The yields along a row.

    Parameters
    ----------
    source : path, DataFrame, mapping, list of mappings, array or Yields
        A table has the columns `distance` (end of each stretch, from the start of the row) and `crop_yield`,
        in SI or with their measures; a text is the path of a CSV file. An array, or a list of numbers and
        texts, holds the yield of each stretch [kg/m2].
    spacing : float or text
        Length of a stretch [m], for an array.

    Raises
    ------
    InputError
        For more than 50,000 stretches, and for whatever is not understood, one sentence with its place.
    """
    if isinstance(source, Yields):
        return source
    many = isinstance(source, (list, tuple))
    if is_table(source) or (many and source and all(isinstance(item, Mapping) for item in source)):
        return _of_table(source)
    try:
        crop_yield = np.asarray(si(source, "kg/m2"), dtype=float)
        step = si(spacing, "m")
    except InputError as err:
        raise err.at(place="field_pass") from None
    if crop_yield.ndim != 1 or crop_yield.size == 0:
        raise InputError("is not a list of yields", place="field_pass, field", allowed="a 1-D array [kg/m2]")
    if not isinstance(step, float) or step <= 0.0:
        raise InputError(f"{shown(spacing)} is out of range", place="field_pass, spacing", allowed="above 0")
    at_most(len(crop_yield), MOST_STRETCHES, "stretches", "field_pass")
    return Yields(step * np.arange(crop_yield.size + 1.0), _checked(crop_yield, "field_pass, field"))


def _of_table(source: Any) -> Yields:
    rows = read_rows(source, KEYS, KEYS, "yields along a row", "stretch", MOST_STRETCHES)
    table = np.array([[values[key] for key in KEYS] for _, values in rows])
    distance = np.concatenate([[0.0], table[:, 0]])
    try:
        if np.any(np.diff(distance) <= 0.0):
            raise InputError("its distances do not rise", allowed="the end of each stretch, from the start")
        return Yields(distance, _checked(table[:, 1], ""))
    except InputError as err:
        raise err.at(
            file=""
            if isinstance(source, Mapping | list | tuple) or hasattr(source, "columns")
            else str(source)
        ) from None


def _checked(crop_yield: Array, place: str) -> Array:
    bad = ~((crop_yield > 0.0) & (crop_yield <= LARGEST))
    if bad.any():
        i = int(np.flatnonzero(bad)[0])
        raise InputError(
            f"the yield of stretch {i + 1} is {crop_yield[i]:g} kg/m2",
            place=place,
            allowed=f"above 0, to {LARGEST:g} kg/m2",
        )
    return crop_yield
