"""Which scenarios may share what running up from standstill has shown for another one.

The same race of the fans from standstill has the same end. Where a scenario's fans have curves of the shape
that others have, and work near the same places on them and beyond the tops, it is theirs: of pickers whose
numbers are 10 or 20 % off, none of 6,656 that are so ended elsewhere when run up. Curves that differ by 20 or
30 % do not suffice, nor do fans at the tops of their curves, or blown through.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .equations import Equations
from .point import Point, Solved
from .rising import CURVE_SHARES, curves
from .values import some_columns

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

LIKE = 0.15  # of a fan's usual flow: how near its place on the curve is
FALLING = 0.1  # of what a fan lifts over its flow: it works beyond the top of its curve


@dataclass
class Proof:
    """Solved scenarios whose points are those that running up reaches, one or as many as there are others.

    Attributes
    ----------
    places : array (fans, 1 or S)
        Where on its curve each fan works: its flow over its usual one.
    drops : array (flows, fans, 1 or S)
        What the curves are.
    """

    places: Array
    drops: Array

    def take(self, columns: Any) -> Proof:
        """That of some scenarios."""
        one = self.places.shape[1] == 1
        return self if one else Proof(some_columns(self.places, columns), some_columns(self.drops, columns))


def proof_of(eq: Equations, found: Solved) -> Proof | None:
    """What solved scenarios prove; None where no fan's curve rises, so that nothing is to be proved."""
    if not found.good.all() or not eq.system.fan_rows:
        return None
    rises, drops = curves(eq)
    return Proof(places_on_curves(eq, found.point), drops) if rises.any() else None


def shares(eq: Equations, found: Solved, proof: Proof) -> Mask:
    """Scenarios that share a proof if their fans' curves are look-alikes of those it is of."""
    places = places_on_curves(eq, found.point)
    with np.errstate(all="ignore"):
        near = (np.abs(places - proof.places) <= LIKE).all(axis=0)
        drawn = ((proof.places >= 0.0) & (proof.places <= CURVE_SHARES[-1])).all(axis=0)
    return np.asarray(drawn & near & _past_their_tops(eq, found))


def places_on_curves(eq: Equations, point: Point) -> Array:
    """Where on its curve each fan works: its flow over its usual one, (fans, S)."""
    flow, usual = point.flow[eq.system.fans], np.abs(eq.guess[eq.system.fans])
    nowhere = np.full(np.broadcast_shapes(flow.shape, usual.shape), np.nan)  # of a fan that stands
    return np.asarray(np.divide(flow, usual, out=nowhere, where=usual > 0.0))


def _past_their_tops(eq: Equations, found: Solved) -> Mask:
    """Scenarios in which each fan lifts clearly less for more flow, so that none is about to be held up."""
    system, rows, point = eq.system, eq.system.fans, found.point
    lift = np.abs(point.pressure[system.start[rows]] - point.pressure[system.finish[rows]])
    with np.errstate(all="ignore"):
        return np.asarray((found.slope[rows] * np.abs(point.flow[rows]) >= FALLING * lift).all(axis=0))
