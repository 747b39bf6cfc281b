"""How uncertain the numbers of a machine are, and how they are drawn."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..arguments import listed, mapping, one_of, text
from ..errors import InputError, shown
from ..parts.declare import Chosen
from ..parts.wheels import ASSUMED_SPREADS
from ..quantity import single
from .data import MachineData
from .distributions import Correlation, Distribution, is_distribution, read_distribution

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
    kind : str or distribution
        "normal" and "lognormal" scatter about the machine's own value by `sd`; "uniform" between `low` and
        `high`; "triangular" between them with its peak at `likely` (by default the machine's own value). A
        frozen distribution of scipy.stats is that of the number itself in SI; it takes none of these.
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
    kind: Any = "lognormal"
    sd: Any = None
    low: Any = None
    likely: Any = None
    high: Any = None
    group: str = ""
    correlation: float = 1.0


@dataclass(frozen=True)
class Scatter:
    """One number's spread, resolved: address, kind, parameters in SI, its group, its own distribution."""

    address: str
    kind: str
    value: float
    sd: float
    low: float
    likely: float
    high: float
    group: str
    correlation: float
    distribution: Distribution | None = None

    def draw(self, z: Array, floor: float, ceiling: float) -> Array:
        """Values for standard normal numbers `z`, kept within the number's own range."""
        from scipy.special import ndtr

        if self.distribution is not None:
            out = self.distribution.quantile(ndtr(z))
        elif self.kind == "normal":
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


def spread_of(machine: MachineData, address: str) -> float:
    """The usual relative standard deviation of a number [-], 0 where it is exact by definition."""
    declared = machine.layout.declaration(address)
    value = machine.numbers[address]
    if isinstance(value, Chosen):
        return value.choice.spread
    owner, _, number_key = address.rpartition(".")
    part = machine.layout.part.get(owner)
    shape = {} if part is None else dict(part.schema.shape)
    assumed = ASSUMED_SPREADS.get(str(shape.get("curve")), 0.0)
    scaled = shape.get("pressure_scale") is not None
    if number_key == "pressure_scale" and assumed:
        return assumed
    if number_key.startswith("total_pressure[") and assumed:
        return 0.0 if scaled else assumed  # its scale says all that is not known of it
    return declared.spread


def drawn_spread(machine: MachineData, address: str) -> float:
    """The relative standard deviation that a number is drawn with [-].

    It is less than its spread at an end of its range: a share that is 1 only scatters downwards.
    """
    from scipy.special import ndtri

    sd, value = spread_of(machine, address), float(np.median(machine.numbers[address]))
    declared = machine.layout.declaration(address)
    if (
        sd <= 0.0
        or value <= 0.0
        or declared.low < value * (1.0 - 4.0 * sd) < value * (1.0 + 4.0 * sd) < declared.high
    ):
        return sd
    drawn = Scatter(address, "lognormal", value, sd, 0.0, 0.0, 0.0, "", 1.0)
    values = drawn.draw(ndtri((np.arange(400) + 0.5) / 400.0), declared.low, declared.high)
    return min(float(values.std()) / value, sd)


def default_spreads(machine: MachineData) -> list[Spread]:
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


def read_spreads(spreads: Any) -> list[Spread]:
    """Spreads from the tables [[spread]] of a machine file, from a list of either kind, or from a mapping.

    A mapping is address or pattern -> distribution of scipy.stats, or a mapping with the other keys.

    Raises
    ------
    InputError
        For unknown keys and kinds.
    """
    if isinstance(spreads, Mapping):
        spreads = [{"number": number, **_keys(given, number)} for number, given in spreads.items()]
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


def _keys(given: Any, number: Any) -> Mapping[str, Any]:
    """The keys of a spread beside its number."""
    if is_distribution(given):
        return {"kind": given}
    place = f"spreads, {shown(number)}"
    found = mapping(given, place, "a distribution of scipy.stats, or a mapping like {'sd': 0.1}")
    if "number" in found:
        raise InputError("the key 'number' stands there twice", place=place, allowed="the address alone")
    return found


def resolve(machine: MachineData, spreads: Sequence[Spread]) -> list[Scatter]:
    """A `Scatter` for every number that some spread names; a later spread wins over an earlier one.

    Raises
    ------
    InputError
        For unknown addresses (UnknownName) and kinds, and for what a kind lacks or cannot have.
    """
    out: dict[str, Scatter] = {}
    for spread in spreads:
        place = text(spread.number, "spread, number", "an address or a pattern, like 'hose *.length'")
        own = None if isinstance(spread.kind, str) else read_distribution(spread.kind, f"{place}, kind")
        if own is None:
            one_of(spread.kind, KINDS, place, "kind of spread")
        text(spread.group, f"{place}, group")
        share = single(spread.correlation, "", f"{place}, correlation")
        if not 0.0 <= share <= 1.0:
            raise InputError(f"correlation {share:g}", place=place, allowed="0 to 1")
        for address in machine.layout.expand(spread.number):
            out[address] = _scatter(machine, spread, address, share, own)
    return list(out.values())


def _scatter(
    machine: MachineData, spread: Spread, address: str, correlation: float, own: Distribution | None
) -> Scatter:
    value = machine.numbers[address]
    if isinstance(value, np.ndarray):
        raise InputError("is a column already", place=address, allowed="a single number to scatter")
    if own is not None:
        for word in ("sd", "low", "likely", "high"):
            if getattr(spread, word) is not None:
                raise InputError(f"{word} beside a distribution", place=address, allowed="one of the two")
        kind, middle = "distribution", float(value)
        return Scatter(address, kind, middle, 0.0, 0.0, 0.0, 0.0, spread.group, correlation, own)
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

    def __init__(
        self, machine: MachineData, scatters: Sequence[Scatter], correlation: Correlation | None = None
    ) -> None:
        self.scatters = tuple(scatters)
        self.correlation = correlation
        places = {s.address: i for i, s in enumerate(scatters)}
        self.together = [places[a] for a in correlation.addresses] if correlation else []
        self.groups = tuple(dict.fromkeys(s.group for s in scatters if s.group))
        declared = machine.layout.declared
        self.ranges = tuple((declared[s.address].low, declared[s.address].high) for s in scatters)

    @property
    def dimensions(self) -> int:
        """Dimensions of the unit cube."""
        return len(self.scatters) + len(self.groups)

    @property
    def inputs(self) -> tuple[str, ...]:
        """What varies by itself: groups by name, single numbers by address, correlated ones as one."""
        alone = [s.address for i, s in enumerate(self.scatters) if not s.group and i not in self.together]
        return (*self.groups, *([self.correlation.name] if self.correlation else []), *alone)

    def dimensions_of(self, name: str) -> list[int]:
        """The dimensions that belong to one of the `inputs`."""
        if self.correlation and name == self.correlation.name:
            return self.together
        own = [i for i, s in enumerate(self.scatters) if (s.group or s.address) == name]
        return own + [len(self.scatters) + g for g, group in enumerate(self.groups) if group == name]

    def columns(self, unit: Array, wanted: Container[str] | None = None) -> dict[str, Array]:
        """Address -> column, of all or those wanted, from points (scenarios, dimensions) of the unit cube."""
        from scipy.special import ndtri

        z = ndtri(np.clip(unit, 1e-12, 1.0 - 1e-12))
        if self.correlation:
            z[:, self.together] = self.correlation.joined(z[:, self.together])
        out = {}
        for i, (scatter, (low, high)) in enumerate(zip(self.scatters, self.ranges, strict=True)):
            if wanted is not None and scatter.address not in wanted:
                continue
            own = z[:, i]
            if scatter.group:
                common = z[:, len(self.scatters) + self.groups.index(scatter.group)]
                share = scatter.correlation
                own = np.sqrt(share) * common + np.sqrt(1.0 - share) * own
            out[scatter.address] = scatter.draw(own, low, high)
        return out
