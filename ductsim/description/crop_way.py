"""The way of the crop through a machine: which parts carry whose crop, and where it is accelerated."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..conveying import plain_schema
from ..errors import InputError
from ..network.groups import OUTSIDE, stacked_column
from ..parts.declare import Pair, Path
from .layout import Carried, Layout, PartEntry, Stream, Unit

Index = NDArray[np.intp]


def crop_way(layout: Layout, unit: Unit, opening: str) -> tuple[str, ...]:
    """The parts that the crop of one opening passes, in order: opening, what lies between, duct, and beyond.

    Raises
    ------
    InputError
        When no way leads from the opening to the unit's duct in the direction of the air.
    """
    entry = layout.part[opening]
    inner = next((end for end in entry.ends if end != OUTSIDE), OUTSIDE)
    between = _between(layout, inner, layout.part[unit.duct].ends[0], {*unit.openings, unit.duct})
    if between is None:
        raise InputError(
            f"there is no way for the crop from its opening {opening!r} to its duct {unit.duct!r}",
            place=f"unit {unit.name!r}",
            allowed="parts that lead from the opening to the start of the duct, a jet by its suction",
        )
    return (opening, *between, unit.duct, *_beyond(layout, unit.duct))


def _steps(entry: PartEntry) -> Iterable[tuple[str, str]]:
    """The ways crop can take through a part, (from node, to node)."""
    kind: Any = entry.schema.part
    return [(entry.ends[first], entry.ends[last]) for first, last in kind.crop_ways]


def _between(layout: Layout, start: str, goal: str, but: set[str]) -> tuple[str, ...] | None:
    """The shortest row of parts from one node to another, without going outside; None when there is none."""
    waiting: deque[tuple[str, tuple[str, ...]]] = deque([(start, ())])
    seen = {start, OUTSIDE}
    while waiting:
        node, way = waiting.popleft()
        if node == goal:
            return way
        for part in layout.parts:
            if part.name in but:
                continue
            for first, last in _steps(part):
                if first == node and last not in seen:
                    seen.add(last)
                    waiting.append((last, (*way, part.name)))
    return None


def _beyond(layout: Layout, duct: str) -> tuple[str, ...]:
    """The ducts that the crop goes on through, as far as only one leads on; a separator ends the way."""
    way: list[str] = []
    node = layout.part[duct].ends[-1]
    seen = {duct}
    while node != OUTSIDE:
        found = [
            (part.name, last)
            for part in layout.parts
            if part.name not in seen and _leads_on(part)
            for first, last in _steps(part)
            if first == node
        ]
        if len(found) != 1:
            break
        name, node = found[0]
        seen.add(name)
        way.append(name)
    return tuple(way)


def _leads_on(entry: PartEntry) -> bool:
    kind: Any = entry.schema.part
    return bool(kind.carries_on)


def speeds_crop(entry: PartEntry) -> bool:
    """Whether crop is sped up in a part: a duct, a hose or a jet."""
    kind: Any = entry.schema.part
    return bool(kind.speeds_crop)


def ways(layout: Layout) -> dict[Stream, tuple[str, ...]]:
    """The way of the crop from every opening of every unit.

    Raises
    ------
    InputError
        For an opening without a way to its unit's duct.
    """
    return {
        (u, o): crop_way(layout, unit, opening)
        for u, unit in enumerate(layout.units)
        for o, opening in enumerate(unit.openings)
    }


def carried(layout: Layout) -> tuple[Carried, ...]:
    """Every part that crop passes, in the order of the layout.

    Crop is accelerated once: in the first duct, hose or jet that it reaches. Where crop from several ducts
    joins, what comes from a unit's own duct is turned and starts again, what comes along a shared duct
    moves on (our assumption).
    """
    streams: dict[str, list[Stream]] = {}
    previous: dict[str, dict[Stream, str]] = {}
    for stream, way in ways(layout).items():
        moving = ""
        for name in way:
            streams.setdefault(name, []).append(stream)
            previous.setdefault(name, {})[stream] = moving
            if speeds_crop(layout.part[name]):
                moving = name
    shared = {name for name, own in streams.items() if len({u for u, _ in own}) > 1}
    out = []
    for part in layout.parts:
        if part.name not in streams:
            continue
        own, before = streams[part.name], previous[part.name]
        if not speeds_crop(part):
            out.append(Carried(part.name, tuple(own)))
            continue
        one = len(set(before.values())) == 1
        starts = tuple(s for s in own if not before[s] or not (one or before[s] in shared))
        out.append(Carried(part.name, tuple(own), starts, before[own[0]] if one else ""))
    return tuple(out)


def unit_flows(units: int, crop: Any) -> list[Any]:
    """Mean crop flow of every unit [kg/s]: yield x width x speed x moisture, and the unit's own yield.

    Parameters
    ----------
    units : int
        How many there are.
    crop : Crop
        Its numbers may be columns.
    """
    flow = crop.mass_yield * crop.row_spacing * crop.rows_per_unit * crop.ground_speed * crop.moisture
    yields = crop.unit_yields or (1.0,) * units
    return [flow * own for own in yields]


def opening_shares(openings: int, crop: Any) -> tuple[Any, ...]:
    """The share of a unit's crop that enters by each of its openings; equal shares where none are given."""
    return crop.shares or (1.0 / openings,) * openings


def load_numbers(layout: Layout, numbers: Mapping[str, Any], crop: Any) -> dict[str, Any]:
    """The numbers `crop_flow` and so on of every part that carries crop; flows are those of a surge."""
    flows = [flow * crop.surge for flow in unit_flows(len(layout.units), crop)]
    yields = crop.unit_yields or (1.0,) * len(layout.units)
    shares = [opening_shares(len(unit.openings), crop) for unit in layout.units]
    before = list(dict.fromkeys(c.before for c in layout.carried if c.before))
    areas = dict(zip(before, sections(layout, numbers, before), strict=True))
    out: dict[str, Any] = {}
    for c in layout.carried:
        whole = sum((yields[u] * shares[u][o] for u, o in c.streams), 0.0)
        fresh = sum((yields[u] * shares[u][o] for u, o in c.starts), 0.0)
        own = {
            "crop_flow": sum((flows[u] * shares[u][o] for u, o in c.streams), 0.0),
            "crop_friction": crop.friction,
            "slip": crop.slip,
            "plug_density": crop.plug_density,
            "start_velocity": crop.entry_velocity,
            "start_share": fresh / np.where(np.equal(whole, 0.0), 1.0, whole),
        }
        if c.before:
            own["arrival_area"] = areas[c.before] if areas[c.before].size > 1 else areas[c.before][0]
        out.update({f"{c.part}.{number_key}": _plain(value) for number_key, value in own.items()})
    return out


def first_paths(
    layout: Layout, numbers: Mapping[str, Any], names: Sequence[str]
) -> Iterator[tuple[Index, Path | Pair]]:
    """The first path of each of these parts without crop, those of one schema stacked, and their places."""
    alike: dict[Any, list[int]] = {}
    for place, name in enumerate(names):
        alike.setdefault(plain_schema(layout.part[name].schema), []).append(place)
    for schema, places in alike.items():
        own = [
            stacked_column([numbers[f"{names[place]}.{number_key}"] for place in places])
            for number_key in schema.number_keys
        ]
        yield np.array(places), schema.build(own).paths()[0]


def sections(layout: Layout, numbers: Mapping[str, Any], names: Sequence[str]) -> NDArray[np.float64]:
    """The sections that crop leaves these parts by [m2], (parts, 1 or S): a jet's is its mixing section."""
    return gathered(
        (places, path.coefficients["mixing_area"] if isinstance(path, Pair) else path.area)
        for places, path in first_paths(layout, numbers, names)
    )


def gathered(some: Iterable[tuple[Index, Any]]) -> NDArray[np.float64]:
    """Rows (parts, 1 or S) of what is known of the parts at these and those places, and broadcasts there."""
    known = [(places, np.asarray(values, dtype=float)) for places, values in some]
    count = sum(len(places) for places, _ in known)
    out = np.empty((count, max((v.shape[-1] for _, v in known if v.ndim), default=1)))
    for places, values in known:
        out[places] = values
    return out


def _plain(value: Any) -> Any:
    return value if np.ndim(value) else float(value)
