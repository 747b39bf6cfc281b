"""One Newton step: flows eliminated path by path, one nodal system, temperatures by a second substitution."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .heat import settled
from .linear import CONTRAST, FEW_SCENARIOS, Again
from .point import Point
from .system import Stream, System
from .values import Values, places_of, some_columns

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LAST_STEP, LAST_STRAY = 1e-5, 1e-10  # of each flow, of the largest: the next step would be their square


@dataclass
class Step:
    """A Newton step in flows and pressures; whether conductances are too far apart to tell by its size."""

    flow: Array
    pressure: Array
    temperature_rise: Array | None = None
    lag: Array | None = None
    far_apart: bool = False

    def take(self, columns: Any) -> Step:
        """That of some of the scenarios."""
        columns = places_of(columns)
        warm = None if self.temperature_rise is None else some_columns(self.temperature_rise, columns)
        lag = None if self.lag is None else self.lag[columns]
        flow, pressure = some_columns(self.flow, columns), some_columns(self.pressure, columns)
        return Step(flow, pressure, warm, lag, self.far_apart)


def newton_step(
    eq: Equations,
    values: Values,
    point: Point,
    anchors: Array | None,
    stream: Stream | None = None,
    ending: float = LAST_STEP,
) -> Step:
    """The full step from `point`; `anchors` (free, S) pin nodes of no known level.

    Temperatures are no unknowns of it. Where `values` tell how drops answer to them, they are taken in by a
    second substitution with the same factors: the step then has the temperatures it leads to, and what they
    still lag behind its flows [K], (S,).
    """
    system = eq.system
    count = system.singles
    own = np.empty_like(values.residual)
    answers = np.empty((len(system.answer_row), own.shape[1]), dtype=own.dtype)
    first, second = answers[:count], answers[count : 2 * count]
    np.multiply(values.gain, values.residual[:count], out=own[:count])
    if values.first is None or values.second is None:
        first[:] = values.gain
        np.negative(values.gain, out=second)
    else:
        np.multiply(values.first, values.gain, out=first)
        np.multiply(values.second, values.gain, out=second)
    blocks: list[tuple[Any, Array]] = []
    at = 2 * count
    for lg, ((g11, g12), (g21, g22)), raw in zip(
        system.pairs, values.pair_gain, values.pair_answers, strict=True
    ):
        one, two = values.residual[lg.rows], values.residual[lg.partners]
        own[lg.rows] = g11 * one + g12 * two
        own[lg.partners] = g21 * one + g22 * two
        block = answers[at : at + 6 * len(one)].reshape(raw.shape)
        at += 6 * len(one)
        for side, (left, right_) in enumerate(((g11, g12), (g21, g22))):
            np.multiply(left, raw[0], out=block[side])
            block[side] += right_ * raw[1]
        blocks.append((lg, block))
    slots = system.fill @ answers
    leaks = system.leaks @ answers if _far_apart(answers) else None
    if anchors is not None:
        slots[system.diagonal] += anchors
        leaks = None if leaks is None else leaks + anchors
    right = (eq.supply - system.outflow @ (point.flow + own)).astype(own.dtype, copy=False)
    pressure = np.zeros(point.pressure.shape, own.dtype)
    again: list[Again] = []
    keep = again if values.by_warmth is not None else None
    pressure[: system.free] = system.pattern.solve(slots, right, leaks, keep)
    own += _answer(system, first, second, blocks, pressure)
    if not again or point.temperature_rise is None:
        return Step(own, pressure, far_apart=leaks is not None)
    early = settled(eq, point.flow + own, values.density, stream)
    lost = _driven(eq, values, early - point.temperature_rise, point.flow >= 0.0)
    change = np.zeros_like(pressure)
    change[: system.free] = again[0](system.outflow @ lost)
    change[:, ~np.isfinite(change).all(axis=0)] = 0.0
    own -= lost
    own += _answer(system, first, second, blocks, change)
    pressure += change
    if eq.scenarios == 1 and not is_small(point.flow, own, ending)[0]:
        return Step(
            own, pressure, early, np.full(1, np.inf), leaks is not None
        )  # the next step takes in what they lag behind
    late = settled(eq, point.flow + own, values.density, stream)
    return Step(own, pressure, late, np.abs(late - early).max(axis=0), leaks is not None)


def is_small(flow: Array, change: Array, ending: float) -> Mask:
    """Scenarios in which a step changes each flow by at most that share, so that its square is nothing."""
    own = np.abs(flow)
    most = own.max(axis=0, initial=0.0)
    return np.asarray((np.abs(change) <= ending * own + LAST_STRAY * most).all(axis=0))


def _driven(eq: Equations, values: Values, change: Any, ahead: Mask) -> Array:
    """What flow the paths lose when the nodes get so much warmer and no pressure changes, (paths, S)."""
    system, count = eq.system, eq.system.singles
    entering = np.where(ahead, change[system.start], change[system.finish])
    for p in eq.powers:
        if p.inlet is not None:  # air of a temperature of its own
            entering[p.rows] = np.where(ahead[p.rows] & ~np.isnan(p.inlet), 0.0, entering[p.rows])
    out: Array = np.empty_like(entering)
    assert values.by_warmth is not None
    np.multiply(values.gain, values.by_warmth, out=out[:count])
    out[:count] *= entering[:count]
    for lg, ((g11, g12), (g21, g22)), (a, b, c, d) in zip(
        system.pairs, values.pair_gain, values.pair_by_warmth, strict=True
    ):
        one, two = entering[lg.rows], entering[lg.partners]
        x, y = a * one + b * two, c * one + d * two
        out[lg.rows] = g11 * x + g12 * y
        out[lg.partners] = g21 * x + g22 * y
    return out


def _answer(system: System, first: Array, second: Array, blocks: Any, pressure: Array) -> Array:
    """The flows that changed pressures drive, (paths, S)."""
    count = system.singles
    out = np.empty((system.paths, pressure.shape[1]), dtype=pressure.dtype)
    np.multiply(first, pressure[system.start[:count]], out=out[:count])
    out[:count] += second * pressure[system.finish[:count]]
    for lg, block in blocks:
        both = (block * pressure[lg.ends]).sum(axis=1)
        out[lg.rows], out[lg.partners] = both
    return out


def _far_apart(answers: Array) -> bool:
    """Whether conductances of a few scenarios differ so much that small ones are lost beside large ones."""
    if answers.shape[1] > FEW_SCENARIOS:
        return False
    size = np.abs(answers)
    least = np.where(size > 0.0, size, np.inf).min(axis=0, initial=np.inf)
    return bool((size.max(axis=0, initial=0.0) > CONTRAST * least).any())
