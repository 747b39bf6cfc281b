"""The numbers of a compiled network, stacked: what its equations are built from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .system import System
from .values import AirNumbers, take_columns

Array = NDArray[np.float64]

LOPSIDED, WIDEST = 4.0, 1e4  # most over least of numbers that are taken by their logarithms


@dataclass
class Numbers:
    """The numbers of a system, stacked.

    Attributes
    ----------
    parts : per group and number, arrays (members, 1 or S).
    air : its numbers, arrays (1,) or (S,).
    held : pressures of held nodes and outside [Pa], (held + 1, 1 or S).
    supply : flow put into each free node [kg/s], (free, 1 or S).
    scenarios : S; 1 when nothing is a column.
    """

    parts: list[list[Array]]
    air: AirNumbers
    held: Array
    supply: Array
    scenarios: int
    _built: Equations | None = field(default=None, init=False, repr=False)

    def __getstate__(self) -> dict[str, Any]:
        """Without what can be built again."""
        return {**self.__dict__, "_built": None}

    def equations(self, system: System, columns: slice | None = None) -> Equations:
        """The equations of all scenarios or of a slice of them."""
        if columns is None:
            if self._built is not None and self._built.system is system:
                return self._built
            parts = system.build(self.parts)
            eq = Equations(system, parts, self.air, self.held, self.supply, self.scenarios)
            if self.scenarios == 1:  # a single solve asks again for its warnings and its derivatives
                self._built = eq
            return eq
        count = columns.stop - columns.start
        parts = system.build(self.parts, columns)
        held, supply = take_columns(self.held, columns), take_columns(self.supply, columns)
        return Equations(
            system, parts, self.air.each(lambda v: v if len(v) == 1 else v[columns]), held, supply, count
        )

    def some(self, columns: Any) -> Numbers:
        """The numbers of some scenarios, a slice or their places; a group without columns stays itself."""
        parts = [
            [take_columns(v, columns) for v in own] if any(v.shape[1] > 1 for v in own) else own
            for own in self.parts
        ]
        air = self.air.each(lambda v: v if len(v) == 1 else v[columns])
        count = len(np.arange(self.scenarios)[columns])
        return Numbers(
            parts, air, take_columns(self.held, columns), take_columns(self.supply, columns), count
        )

    def middle(self) -> Numbers:
        """One scenario amid all: the middle of each number's range, whatever the order of the columns."""
        parts = [[_middle(v) for v in number_keys] for number_keys in self.parts]
        return Numbers(
            parts,
            self.air.each(lambda v: midway(v.min(keepdims=True), v.max(keepdims=True))),
            _middle(self.held),
            _middle(self.supply),
            1,
        )


def _middle(values: Array) -> Array:
    if values.shape[1] == 1:
        return values
    return midway(values.min(axis=1, keepdims=True), values.max(axis=1, keepdims=True))


def midway(low: Array, high: Array) -> Array:
    """The middle of ranges; of those over several times their low end that of the logarithms.

    What scatters so far is lopsided as a rule, as leaks are: most of it lies at the low end. A low end that
    is all but nothing, as of what is sealed in one scenario, tells no middle.
    """
    with np.errstate(all="ignore"):
        lopsided = (low > 0.0) & (high > LOPSIDED * low) & (high <= WIDEST * low)
        return np.where(lopsided, np.sqrt(low) * np.sqrt(high), 0.5 * (low + high))
