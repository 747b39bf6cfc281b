"""Ends of ducts: what air loses that leaves one to outside or into a box, or enters one from there."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from typing import Any, NamedTuple, Self

import numpy as np

from ..errors import InputError
from .choices import Choice, Chosen, choice_of
from .declare import OptionalValue, Part, fields, number, word

EDGES = (
    Choice("plain", 0.93, 0.08, "acgih2001"),
    Choice("in a wall", 0.5, 0.08, "idelchik"),
    Choice("rounded", 0.5, 0.35, "idelchik"),
)
"""Loss of air that enters a duct, by the edge, on the velocity in the duct: "plain" is the bare end of a duct
in free space, "in a wall" one that ends flush with a wall. Of a "rounded" edge it is that of a radius of
nothing, which `rounding` lessens. Sources lie between 0.78 and 1.03 for a plain end of thin sheet, between
0.49 and 0.57 in a wall, and for a radius of a tenth of the diameter between 0.05 and 0.20."""

LEAVING = (Choice("free", 1.0, 0.03, "borda_carnot"),)
"""Loss of air that leaves a duct into free space, on the velocity in the duct: all of it. A velocity that
differs across the section has some per cent more, which the spread allows for."""

PLAIN, FREE = EDGES[0].value, LEAVING[0].value
DUCTED = "ducted"
SAID = (("inlet", EDGES), ("outlet", LEAVING))
"""The words of the first and the second end, and what each may be besides ducted."""


def rounding(radius: Any, bore: Any) -> Any:
    """Loss of a rounded edge over that of a sharp one in a wall [-].

    0.06 + 0.94 x 10^(-7.7 r/D): Idelchik's line for edges in a wall, K = 0.03 + 0.47 x 10^(-7.7 r/D).

    Parameters
    ----------
    radius : float or array
        Radius of the edge [m].
    bore : float or array
        Diameter of the duct behind it, of another section that of a circle of its area [m].

    Example: a radius of a tenth of the diameter leaves 0.22, so 0.11 of 0.5; the table has 0.113.
    Source: Idelchik, Handbook of Hydraulic Resistance (the line from memory, checked against its table).
    """
    return 0.06 + 0.94 * 10.0 ** (-7.7 * radius / bore)


class EndLosses(NamedTuple):
    """What a part's free ends take, by the direction of the flow, and on whose velocity.

    Attributes
    ----------
    first, second : (forward, backward)
        Coefficients at the first and at the second end, each on the velocity in the section there [-].
    """

    first: tuple[Any, Any]
    second: tuple[Any, Any]

    @property
    def forward(self) -> Any:
        """Of a part of one section: what is lost along the path."""
        return self.first[0] + self.second[0]

    @property
    def backward(self) -> Any:
        """Of a part of one section: what is lost against the path."""
        return self.first[1] + self.second[1]


@fields("end")
class OpenEnds(Part):
    """A part whose ends may lie in the open or in a box: ducts, hoses, transitions.

    An end is free where it says so: `inlet` says how the first end looks to air that enters there, `outlet =
    "free"` that air leaves the second one. Air that moves the other way leaves the first end with all its
    velocity, and enters the second one as by a plain edge. An end that says nothing is free in a network or a
    machine that puts it outside or in a box, and else a duct goes on there.
    """

    inlet: str | None = word(
        *(edge.word for edge in EDGES),
        DUCTED,
        default=None,
        doc="edge of a free first end, or that a duct goes on there; by its node if not given",
    )
    outlet: str | None = word(
        "free", DUCTED, default=None, doc="whether the second end is free; by its node if not given"
    )
    inlet_radius: OptionalValue = number(
        "m", above=0, default=None, spread=0.2, doc="radius of a rounded edge at the first end"
    )
    inlet_loss: OptionalValue = number(
        "",
        at_least=0,
        at_most=10,
        default=None,
        spread=0.1,
        doc="loss of air entering a free first end, before rounding; by the edge if not given",
        words=EDGES,
    )
    outlet_loss: OptionalValue = number(
        "",
        at_least=0,
        at_most=10,
        default=None,
        spread=0.03,
        doc="loss of air leaving a free second end; all its velocity pressure if not given",
        words=LEAVING,
    )

    def __post_init__(self) -> None:
        super().__post_init__()
        for end, choices in SAID:
            self._settle(end, choices)
        if (self.inlet == "rounded") != (self.inlet_radius is not None):
            missing = self.inlet_radius is None
            raise InputError(
                "a rounded inlet without its radius" if missing else "inlet_radius without a rounded inlet",
                place=f"{self.kind}: inlet",
                allowed="inlet = 'rounded' with inlet_radius, as in inlet_radius = '20 mm'",
            )

    def _settle(self, end: str, choices: tuple[Choice, ...]) -> None:
        """A free end gets the loss that its word stands for; a loss without a word says that it is free."""
        own, loss = self.__dict__, f"{end}_loss"
        if own[end] is None and own[loss] is not None:
            given = own[loss]
            own[end] = given.choice.word if isinstance(given, Chosen) else choices[0].word
        if own[end] == DUCTED and own[loss] is not None:
            raise InputError(
                f"{loss} of an end that is ducted",
                place=f"{self.kind}: {loss}",
                allowed="loss_coefficient for what is lost within the duct",
            )
        if own[loss] is None:
            known = choice_of(own[end], choices)
            own[loss] = None if known is None else Chosen(known)

    def placed(self, nodes: Sequence[str], free: Collection[str]) -> Self:
        """The part between these nodes: an end at a free one that says nothing is free."""
        open_ends = {
            end: choices[0].word
            for (end, choices), node in zip(SAID, nodes, strict=True)
            if node in free and getattr(self, end) is None
        }
        if not open_ends:
            return self
        out = object.__new__(type(self))
        out.__dict__.update(self.__dict__, **open_ends)
        for end, choices in SAID:
            out._settle(end, choices)
        return out

    @classmethod
    def ducted(cls, nodes: Sequence[str], free: Collection[str]) -> dict[str, str]:
        """The words that keep ends at nodes in `free` from being free ends: key -> word."""
        return {end: DUCTED for (end, _), node in zip(SAID, nodes, strict=True) if node in free}

    @classmethod
    def implied(cls, field: str, shape: Mapping[str, Any]) -> str:
        """The word of a loss that a file need not hold, since its end's word says it; else empty."""
        known = {"inlet_loss": "inlet", "outlet_loss": "outlet"}
        return shape.get(known[field]) or "" if field in known else ""

    def end_losses(self, bore: Any) -> EndLosses:
        """The coefficients of both ends; `bore` is the diameter at the first one [m]."""
        first: tuple[Any, Any] = (0.0, 0.0)
        second: tuple[Any, Any] = (0.0, 0.0)
        if self.inlet_loss is not None:
            edge = self.inlet_loss
            if self.inlet_radius is not None:
                edge = edge * rounding(self.inlet_radius, bore)
            first = (edge, FREE)
        if self.outlet_loss is not None:
            second = (self.outlet_loss, PLAIN)
        return EndLosses(first, second)


def round_bore(area: Any) -> Any:
    """Diameter of the circle of an area [m]."""
    return np.sqrt(area * (4.0 / math.pi))
