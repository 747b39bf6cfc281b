"""Junctions of three ducts: a branch that joins (merge) or leaves (split)."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..errors import InputError
from ..laws.constants import NOTHING
from ..laws.tees import merge, split
from .declare import OptionalValue, Pair, Part, Value, number, part


def _check(junction: Any, kind: str) -> None:
    combined = junction.straight_area if junction.combined_area is None else junction.combined_area
    for name in ("straight_area", "branch_area"):
        if np.any(np.greater(getattr(junction, name), combined)):
            raise InputError(
                f"{name} is larger than the combined duct",
                place=f"{kind}: {name}",
                allowed="at most combined_area",
            )


def _pair(junction: Any, law: Any, ends: Any, density: Any) -> tuple[Pair, ...]:
    none = np.less(junction.straight_area, NOTHING)
    straight = np.where(none, 1.0, junction.straight_area)
    combined = straight if junction.combined_area is None else np.maximum(junction.combined_area, straight)
    shut = np.less(junction.branch_area, NOTHING)
    branch = np.where(shut, 0.1 * combined, junction.branch_area)
    areas = {"straight_area": straight, "branch_area": branch, "combined_area": combined}
    return (
        Pair(
            law,
            {**areas, "angle": junction.angle},
            (straight, branch),
            ends,
            density,
            start=(6.0 * straight, 6.0 * branch),
            shut=(none, shut),
        ),
    )


@part("merge")
class Merge(Part):
    """A branch that joins a straight duct; without `combined_area` the straight duct keeps its section.

    A branch area of 0 is a closed branch.
    """

    ends = ("straight", "branch", "combined")
    path_names = ("straight", "branch")
    crop_ways = ((0, 2), (1, 2))
    carries_on = True
    sources = ("crane410", "momentum_balance")
    symbol = "junction"

    straight_area: Value = number(
        "m2", above=0, spread=0.02, doc="section of the straight duct before the joint"
    )
    branch_area: Value = number("m2", at_least=0, spread=0.02, doc="section of the branch; 0 = closed")
    combined_area: OptionalValue = number(
        "m2", above=0, default=None, spread=0.02, doc="section behind the joint"
    )
    angle: Value = number(
        "rad",
        at_least=0.5,
        at_most=1.5708,
        spread=0.05,
        doc="angle between branch and straight duct",
        cure="write '45 deg'",
    )

    def check(self) -> None:
        """Straight duct and branch are no larger than the combined duct."""
        _check(self, "merge")

    def paths(self) -> tuple[Pair, ...]:
        """The straight and the branch path, which act on each other."""
        return _pair(self, merge, ((0, 2), (1, 2)), ((0, 0), (1, 1), (2, 2)))


@part("split")
class Split(Part):
    """A branch that leaves a straight duct; without `combined_area` the straight duct keeps its section.

    A branch area of 0 is a closed branch.
    """

    ends = ("combined", "straight", "branch")
    path_names = ("straight", "branch")
    crop_ways = ()
    sources = ("crane410", "momentum_balance")
    symbol = "junction"

    straight_area: Value = number(
        "m2", above=0, spread=0.02, doc="section of the straight duct behind the joint"
    )
    branch_area: Value = number("m2", at_least=0, spread=0.02, doc="section of the branch; 0 = closed")
    combined_area: OptionalValue = number(
        "m2", above=0, default=None, spread=0.02, doc="section before the joint"
    )
    angle: Value = number(
        "rad",
        at_least=0.5,
        at_most=1.5708,
        spread=0.05,
        doc="angle between branch and straight duct",
        cure="write '45 deg'",
    )

    def check(self) -> None:
        """Straight duct and branch are no larger than the combined duct."""
        _check(self, "split")

    def paths(self) -> tuple[Pair, ...]:
        """The straight and the branch path, which act on each other."""
        return _pair(self, split, ((0, 1), (0, 2)), ((0, 1), (1, 2), (2, 0)))
