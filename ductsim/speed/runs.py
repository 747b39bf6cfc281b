"""What an owner has seen: how fast it went in what crop, and what blocked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Run:
    """One thing that an owner has seen.

    Attributes
    ----------
    ground_speed : float
        [m/s], or a text ("5 km/h").
    crop_yield : float, optional
        [kg/m2], or a text; the crop's own if not given.
    blocked : str or sequence of str
        The unit that blocked, or several, a text also joined by "+"; empty when the machine ran.
    line : int
        Its line in the file it was read from; 0 for none.
    """

    ground_speed: Any
    crop_yield: Any = None
    blocked: str | Sequence[str] = ()
    line: int = 0

    @property
    def units(self) -> tuple[str, ...]:
        """The units that blocked."""
        if isinstance(self.blocked, str):
            return (self.blocked,) if self.blocked else ()
        return tuple(self.blocked)
