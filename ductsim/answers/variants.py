"""The one engine for variants: many settings of a machine solved as columns, their answers as matrices."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import locked
from ..description.data import MachineData
from ..description.possible import across
from ..errors import OutsideRange
from ..network.point import Point
from .limits import Limit, limits_of, passed_by_group
from .state import MachineAnswer, solve

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Variants:
    """V variants of M possible machines, solved; every answer is an array (V, M), M = 1 for one machine.

    Attributes
    ----------
    state : MachineAnswer
        All of them as columns, variant by variant.
    count, machines : int
        V and M.
    """

    state: MachineAnswer
    count: int
    machines: int

    def matrix(self, values: Any) -> Array:
        """Values of the columns as an array (V, M)."""
        every = np.broadcast_to(np.asarray(values, dtype=float), (self.count * self.machines,))
        return locked(np.array(every.reshape(self.count, self.machines)))

    def ask(self, of: str) -> Array:
        """The answers to a question of the `of` vocabulary, in SI."""
        return self.matrix(self.state.ask(of))

    @property
    def units(self) -> list[str]:
        """The names of the units."""
        return [unit.name for unit in self.state.machine.layout.units]

    @cached_property
    def vacuum(self) -> dict[str, Array]:
        """Unit -> static vacuum at its tapping [Pa]."""
        return {unit: self.matrix(self.state.vacuum[unit]) for unit in self.units}

    @cached_property
    def opening_air(self) -> dict[str, Array]:
        """Unit -> air through its openings [kg/s]."""
        return {unit: self.ask(f"opening air {unit}") for unit in self.units}

    @cached_property
    def duct_air(self) -> dict[str, Array]:
        """Unit -> air in its duct [kg/s]."""
        return {unit: self.ask(f"duct air {unit}") for unit in self.units}

    @cached_property
    def power(self) -> Array:
        """Shaft power of all fans together [W]."""
        return self.matrix(sum((self.state.power[name] for name in self.state.power), np.zeros(1)))

    @cached_property
    def solved(self) -> NDArray[np.bool_]:
        """Where there is an answer, (V, M)."""
        return self.matrix(self.state.solved).astype(bool)

    @cached_property
    def weakest(self) -> list[str]:
        """The weakest unit of each variant, the one that is it most often; empty texts without units."""
        if not self.units:
            return [""] * self.count
        out = []
        for row in np.asarray(self.state.weakest, dtype=object).reshape(self.count, self.machines):
            found, often = np.unique(row.astype(str), return_counts=True)
            out.append(str(found[often.argmax()]))
        return out

    @cached_property
    def limits(self) -> list[Limit]:
        """What the makers allow, with what each column makes of it."""
        return limits_of(self.state)

    @cached_property
    def passed(self) -> dict[int, str]:
        """Variant -> what limits it passes, in words without a full stop; fine ones are left out."""
        return passed_by_group(self.limits, self.machines)


def solve_variants(
    machine: MachineData,
    values: Mapping[str, Array],
    count: int,
    which: Any = None,
    start: Point | None = None,
) -> Variants:
    """Solve `count` variants of each of a machine's possible machines in one go, without warnings.

    Parameters
    ----------
    machine : MachineData
        Single, or with a column of M possible machines.
    values : mapping
        Address -> array (count, 1) or (count, M) in SI, taken as they are: `change` and
        `Number.check` are the ways in for what a user gives.
    count : int
        How many variants.
    which : index array, optional
        Which of the possible machines; all if not given.
    start : Point, optional
        Where each column probably ends; it decides nothing.
    """
    if not values and machine.columns is None:  # so that even one variant has a column
        address, value = next(iter(machine.numbers.items()))
        values = {address: np.full((count, 1), float(value))}
    many = across(machine, values, count, which)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", OutsideRange)
        state = solve(many, raise_error=False, start=start)
    machines = 1 if machine.columns is None else machine.columns if which is None else len(which)
    return Variants(state, count, machines)
