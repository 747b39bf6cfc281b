"""What stands in a drawing: boxes, parts and passing lines, each with its place."""

from __future__ import annotations

from dataclasses import dataclass, field

Key = tuple[str, ...]  # ("node", name), ("part", name), ("line", start, finish, layer)

ROW = 1.0  # height of a part's row; the unit of all heights


@dataclass
class Spot:
    """One box, part or passing line of the drawing.

    Attributes
    ----------
    key : tuple
        What it is and its name.
    layer : int
        Column, from the left; boxes have even, parts odd numbers.
    y : float
        Height of its middle, downwards, in rows.
    before, after : list of keys
        Its neighbours to the left and to the right.
    from_outside, to_outside : int
        How many of its ends are in the open air.
    unit : str
        The only unit that it serves, or an empty text.
    top, bottom : float
        Extent of a box that spans its neighbours.
    """

    key: Key
    layer: int = 0
    y: float = 0.0
    before: list[Key] = field(default_factory=list)
    after: list[Key] = field(default_factory=list)
    from_outside: int = 0
    to_outside: int = 0
    unit: str = ""
    top: float = 0.0
    bottom: float = 0.0

    @property
    def name(self) -> str:
        """The name of the node or part."""
        return self.key[1]

    @property
    def kind(self) -> str:
        """The word "node", "part" or "line"."""
        return self.key[0]

    @property
    def height(self) -> float:
        """Room that it takes in its column, in rows."""
        if self.kind == "line":
            return 0.4
        crossing = max(len(self.before) + self.from_outside, len(self.after) + self.to_outside)
        return ROW if self.kind == "node" or crossing < 2 else 1.7 * ROW


def port(spot: Spot, other: Key) -> float:
    """How far from a part's middle the line to a neighbour begins, in rows; a box takes it anywhere."""
    if spot.kind != "part":
        return 0.0
    side = spot.before if other in spot.before else spot.after
    if len(side) < 2:
        return 0.0
    return 0.8 * (side.index(other) / (len(side) - 1) - 0.5) * ROW
