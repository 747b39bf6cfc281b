"""What happens to parts in the field: mishaps, as a kind of part declares them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

GONE = 1e-18
"""A size [m, m2] so small that the way is shut (`laws.constants.NOTHING`), where none of 0 is allowed."""


@dataclass(frozen=True)
class Mishap:
    """Something that can happen to a part.

    Attributes
    ----------
    words : str
        What has happened, as it goes on after the part's name: "is plugged".
    sign : str
        What someone near the machine sees or hears of it, without a full stop.
    numbers : mapping
        Number of the part -> the value that it takes, in SI; those that the part's form lacks are left out.
    opens : float
        Area of a hole to the open air that it tears beside the part, at each of its nodes [m2].
    comes_off : bool
        True where the part is off: its nodes are open to the outside by the part's own section. Its `numbers`
        must shut it then.
    """

    words: str
    sign: str
    numbers: Mapping[str, float] = field(default_factory=dict)
    opens: float = 0.0
    comes_off: bool = False
