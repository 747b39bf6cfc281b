"""How uncertain the numbers of a machine are, and how they are drawn."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import listed, mapping, one_of, text
from ..errors import InputError
from ..quantity import single
from .describe import spread_of

if TYPE_CHECKING:
    from .machine import Machine

Array = NDArray[np.float64]

WIDEST = 1e6
"""The widest relative standard deviation that can be drawn from [-]."""
KINDS = ("normal", "lognormal", "uniform", "triangular")
KEYS = ("number", "kind", "sd", "low", "likely", "high", "group", "correlation")


@dataclass(frozen=True)
class Spread:
    """How one number, or all numbers of a pattern, scatter.

    Attributes
    ----------
    number : str
        Address or pattern ("hatch leak *.area").
    kind : str
        "normal" and "lognormal" scatter about the machine's own value by `sd`; "uniform" between `low` and
        `high`; "triangular" between them with its peak at `likely` (by default the machine's own value).
    sd : float or text, optional
        Standard deviation as a share of the value (0.1 or "10 %"), or with a measure ("2 mm"); by default
        the number's usual spread.
    low, likely, high : number or text, optional
        In the number's measure.
    group : str, optional
        Numbers of one group scatter together.
    correlation : float, optional
        How closely within the group, 0 to 1; 1 by default.
    """

    number: str
    kind: str = "lognormal"
    sd: Any = None
    low: Any = None
    likely: Any = None
    high: Any = None
    group: str = ""
    correlation: float = 1.0


@dataclass(frozen=True)
class Scatter:
    """One number's spread, resolved: address, kind, parameters in SI, its group."""

    address: str
    kind: str
    value: float
    sd: float
    low: float
    likely: float
    high: float
    group: str
    correlation: float

    def draw(self, z: Array, floor: float, ceiling: float) -> Array:
        """Values for standard normal numbers `z`, kept within the number's own range."""
        from scipy.special import ndtr

        if self.kind == "normal":
            out = self.value * (1.0 + self.sd * z)
        elif self.kind == "lognormal":
            width = np.sqrt(np.log1p(self.sd**2))
            out = self.value * np.exp(width * z - 0.5 * width**2)
        else:
            u = ndtr(z)
            out = self.low + (self.high - self.low) * u
            if self.kind == "triangular" and self.high > self.low:
                peak = (self.likely - self.low) / (self.high - self.low)
                rising = np.sqrt(u * peak)
                falling = 1.0 - np.sqrt((1.0 - u) * (1.0 - peak))
                out = self.low + (self.high - self.low) * np.where(u < peak, rising, falling)
        return np.clip(out, floor, ceiling)


def default_spreads(machine: Machine) -> list[Spread]:
    """The usual spread of every number that has one, as `describe()` lists them; lognormal.

    The points of one curve scatter together: a curve may be high or low, but keeps its shape.
    """
    out = []
    for address, value in machine.numbers.items():
        sd = spread_of(machine, address)
        if sd > 0.0 and np.all(np.not_equal(value, 0.0)):
            curve, point, _ = address.partition("[")
            out.append(Spread(address, "lognormal", sd, group=curve if point else ""))
    return out


def read_spreads(spreads: Iterable[Spread | Mapping[str, Any]]) -> list[Spread]:
    """Spreads from the tables [[spread]] of a machine file, or from a list of either kind.

    Raises
    ------
    InputError
        For unknown keys and kinds.
    """
    out = []
    for place, given in enumerate(listed(spreads, "spreads", "a list of ds.Spread or mappings"), 1):
        if isinstance(given, Spread):
            out.append(given)
            continue
        where = f"[[spread]] {place}"
        mapping(given, where, "ds.Spread(number, ...), or a mapping with its keys")
        for key in given:
            one_of(key, KEYS, where, "key")
        if "number" not in given:
            raise InputError("the key 'number' is missing", place=where, allowed="the address it belongs to")
        out.append(Spread(**given))
    return out


def resolve(machine: Machine, spreads: Sequence[Spread]) -> list[Scatter]:
    """A `Scatter` for every number that some spread names; a later spread wins over an earlier one.

    Raises
    ------
    InputError
        For unknown addresses (UnknownName) and kinds, and for what a kind lacks or cannot have.
    """
    out: dict[str, Scatter] = {}
    for spread in spreads:
        place = text(spread.number, "spread, number", "an address or a pattern, like 'hose *.length'")
        one_of(spread.kind, KINDS, place, "kind of spread")
        text(spread.group, f"{place}, group")
        share = single(spread.correlation, "", f"{place}, correlation")
        if not 0.0 <= share <= 1.0:
            raise InputError(f"correlation {share:g}", place=place, allowed="0 to 1")
        for address in machine.layout.expand(spread.number):
            out[address] = _scatter(machine, spread, address, share)
    return list(out.values())


def _scatter(machine: Machine, spread: Spread, address: str, correlation: float) -> Scatter:
    value = machine.numbers[address]
    if isinstance(value, np.ndarray):
        raise InputError("is a column already", place=address, allowed="a single number to scatter")
    measure = machine.layout.declaration(address).measure
    low, likely, high = (_read(v, measure, address) for v in (spread.low, spread.likely, spread.high))
    sd = 0.0
    if spread.kind in ("normal", "lognormal"):
        if spread.sd is None:
            sd = spread_of(machine, address)
        else:
            sd = _relative(spread.sd, value, measure, address)
        if not sd > 0.0:
            raise InputError(
                "no spread is known", place=address, allowed="give sd, a share like 0.1 or '10 %'"
            )
        if sd > WIDEST:
            raise InputError(f"sd {sd:g}", place=address, allowed=f"at most {WIDEST:g} times the value")
        if spread.kind == "lognormal" and value <= 0.0:
            raise InputError(f"a lognormal spread about {value:g}", place=address, allowed="a value above 0")
    else:
        if low is None or high is None or not low <= high:
            raise InputError("low and high are missing or crossed", place=address, allowed="low <= high")
        likely = float(np.clip(value, low, high)) if likely is None else likely
        if not low <= likely <= high:
            raise InputError("likely is outside low and high", place=address, allowed="low <= likely <= high")
    return Scatter(
        address,
        spread.kind,
        float(value),
        sd,
        low or 0.0,
        likely or 0.0,
        high or 0.0,
        spread.group,
        correlation,
    )


def _read(value: Any, measure: str, address: str) -> float | None:
    return None if value is None else single(value, measure, address)


def _relative(sd: Any, value: float, measure: str, address: str) -> float:
    """A standard deviation as a share of the value; "5 %" and bare numbers are shares already."""
    if isinstance(sd, str) and not sd.strip().endswith("%"):
        absolute = _read(sd, measure, address)
        if value == 0.0 or absolute is None:
            raise InputError(f"sd {sd!r} about 0", place=address, allowed="a uniform or triangular spread")
        return abs(absolute / value)
    return single(sd, "", address)


class Draw:
    """Turns points of the unit cube into columns of numbers.

    Each number has a dimension of its own, and each group one more.
    """

    def __init__(self, machine: Machine, scatters: Sequence[Scatter]) -> None:
        self.scatters = tuple(scatters)
        self.groups = tuple(dict.fromkeys(s.group for s in scatters if s.group))
        declared = machine.layout.declared
        self.ranges = tuple((declared[s.address].low, declared[s.address].high) for s in scatters)

    @property
    def dimensions(self) -> int:
        """Dimensions of the unit cube."""
        return len(self.scatters) + len(self.groups)

    @property
    def inputs(self) -> tuple[str, ...]:
        """What varies by itself: groups by name, single numbers by address."""
        return (*self.groups, *(s.address for s in self.scatters if not s.group))

    def dimensions_of(self, name: str) -> list[int]:
        """The dimensions that belong to one of the `inputs`."""
        own = [i for i, s in enumerate(self.scatters) if (s.group or s.address) == name]
        return own + [len(self.scatters) + g for g, group in enumerate(self.groups) if group == name]

    def columns(self, unit: Array) -> dict[str, Array]:
        """Address -> column, from points (scenarios, dimensions) of the unit cube."""
        from scipy.special import ndtri

        z = ndtri(np.clip(unit, 1e-12, 1.0 - 1e-12))
        out = {}
        for i, (scatter, (low, high)) in enumerate(zip(self.scatters, self.ranges, strict=True)):
            own = z[:, i]
            if scatter.group:
                common = z[:, len(self.scatters) + self.groups.index(scatter.group)]
                share = scatter.correlation
                own = np.sqrt(share) * common + np.sqrt(1.0 - share) * own
            out[scatter.address] = scatter.draw(own, low, high)
        return out
