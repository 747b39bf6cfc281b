"""Several fixes as one piece of work."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from ..description.data import M
from .fix import Fix


@dataclass(frozen=True, eq=False, repr=False)
class Several(Fix):
    """Fixes that are done one after the other, to be tried like a single one.

    Attributes
    ----------
    fixes : sequence of Fix
        In their order. Minutes and cost are given beside them.
    """

    fixes: Sequence[Fix] = ()

    def on(self, machine: M) -> M:
        """The machine with all of them done.

        Raises
        ------
        InputError
            For whatever is wrong with one of them on this machine.
        """
        for fix in self.fixes:
            machine = fix.on(machine)
        return machine
