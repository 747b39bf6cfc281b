"""The same network with a little more loss everywhere: what it needs at least where nothing holds air back.

Jets whose losses are nothing, with a nozzle or a suction that is shut, let air pass at any speed. Far beyond
that of sound the velocity pressures that their momenta are made of outgrow the drop so far that no digit of
it is left. With a small loss added on every path there is an answer; air that is faster than sound even then
would be faster still without it (our assumption, certain where all paths are resistances). Slower air that
loses next to nothing may drive itself on and on where its density changes: with more loss it has an answer.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .values import Coefficients

Array = NDArray[np.float64]

ADDED = 1e-4
"""The loss added, in velocity pressures: with it 10 Pa drive air as fast as sound through a free section."""
MORE = 1e-2
"""The loss added where that is not enough: less than any nozzle, elbow or edge loses."""
SMALLEST = 1e-30  # m2, of a section that counts


def lossier(eq: Equations, added: float) -> Equations:
    """The equations with so many velocity pressures of outside's air lost on every path besides."""
    out = eq.take(slice(None))
    each = 0.5 * added / (out.outside * np.maximum(eq.area, SMALLEST) ** 2)
    out.coefficients = [_with_loss(c, each) for c in out.coefficients]
    return out


def _with_loss(c: Coefficients, each: Array) -> Coefficients:
    """The same laws with a loss of `each` times the flow squared added, (paths, 1 or S)."""
    own = c.group.law
    if c.group.partners is None:

        def single(flow: Any, air: Any, *, added: Any, **values: Any) -> Any:
            drop, slope, in_density = own(flow, air, **values)
            more = added * np.abs(flow)
            return drop + more * flow, slope + 2.0 * more, in_density

        return Coefficients(replace(c.group, law=single), c.values | {"added": each[c.group.rows]})

    def pair(flow: Any, air: Any, *, added: Any, added_too: Any, **values: Any) -> Any:
        (d1, d2), ((s11, s12), (s21, s22)), in_density = own(flow, air, **values)
        x, y = added * np.abs(flow[0]), added_too * np.abs(flow[1])
        drops = d1 + x * flow[0], d2 + y * flow[1]
        return drops, ((s11 + 2.0 * x, s12), (s21, s22 + 2.0 * y)), in_density

    more = {"added": each[c.group.rows], "added_too": each[c.group.partners]}
    return Coefficients(replace(c.group, law=pair), c.values | more)
