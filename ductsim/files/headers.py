"""What is written once for a shared duct with branches: `[[header]]`, its stretches and its junctions."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from ..description.equipment import check_name
from ..documents.building import build, one_value
from ..documents.document import refuse_unknown, tables, text, texts, unique
from ..errors import InputError, Problems, shown
from ..parts.duct import Duct
from ..quantity import si
from .templates import Placed

HEADER = ("name", "from", "to", "diameter", "area", "angle", "branch_diameter", "branch_area", "stretch")
OF_STRETCH = ("branches", "angle", "branch_diameter", "branch_area")
MOST_HEADERS = 200
MOST_STRETCHES = 1_000


class _Stretch(NamedTuple):
    """A stretch of the header: its duct's keys, the branches that join at its start, and their numbers."""

    duct: dict[str, Any]
    branches: tuple[str, ...]
    area: float
    angle: Any
    branch_area: float


def headers(document: Mapping[str, Any]) -> list[Placed]:
    """The ducts and merges of every `[[header]]`, as tables of parts.

    A header begins at the node `from`, with the section of the duct that comes there. At the start of each
    stretch its branches join, one merge close behind the other, the first with the section of the stretch
    behind it; a stretch is a duct with any key of a duct. The last one ends at `to`. Stretch 2 of "header"
    is the duct "header 2"; the merge for the branch "foot 3" is "header from foot 3".

    Raises
    ------
    InputError
        For a key that is missing or unknown, a stretch without branches, and branches named twice; of
        several headers all that is wrong.
    """
    out: list[Placed] = []
    problems = Problems()
    for i, values in enumerate(tables(document.get("header"), "header", MOST_HEADERS)):
        with problems.noting("header", i):
            out += [Placed(own, ("header", i)) for own in _parts(values)]
    problems.refuse()
    return out


def _parts(values: dict[str, Any]) -> list[dict[str, Any]]:
    name = check_name(text(values, "name", "header"), "a header", place="header")
    place = f"header {name!r}"
    refuse_unknown(values, HEADER, place)
    start, end = text(values, "from", place), text(values, "to", place)
    before = _area(values, "", place)
    written = tables(values.get("stretch"), f"{place}, stretch", MOST_STRETCHES)
    if not written:
        raise InputError("has no stretch", place=place, allowed="one for each place where branches join")
    stretches = [_stretch(t, values, f"{place}, stretch {k}") for k, t in enumerate(written, 1)]
    unique([branch for stretch in stretches for branch in stretch.branches], f"{place}, branches")
    out: list[dict[str, Any]] = []
    for k, stretch in enumerate(stretches, 1):
        node, own = start, f"{name} {k}"
        for j, branch in enumerate(stretch.branches, 1):
            behind = f"{own} start" if j == len(stretch.branches) else f"{own} start, {j}"
            merge: dict[str, Any] = {"name": f"{name} from {branch}", "kind": "merge"}
            merge |= {"straight": node, "branch": branch, "combined": behind}
            merge |= {"straight_area": before, "branch_area": stretch.branch_area}
            if before != stretch.area:
                merge["combined_area"] = stretch.area
            out.append({**merge, "angle": stretch.angle})
            node, before = behind, stretch.area
        start = end if k == len(stretches) else f"{own} end"
        out.append({"name": own, "kind": "duct", "from": node, "to": start, **stretch.duct})
    return out


def _stretch(values: dict[str, Any], whole: Mapping[str, Any], place: str) -> _Stretch:
    """One stretch; what it does not say of its branches, the header says."""
    refuse_unknown(values, (*OF_STRETCH, *Duct.declared), place)
    branches = texts(values, "branches", place)
    if not branches:
        raise InputError("has no branches", place=place, allowed="the nodes where they end, as a list")
    duct = {key: value for key, value in values.items() if key in Duct.declared}
    area = float(build(Duct, dict(duct), place).section()[0])
    own = any(key in values for key in ("branch_diameter", "branch_area"))
    branch_area = _area(values if own else whole, "branch_", place)
    angle = values.get("angle", whole.get("angle"))
    if angle is None:
        raise InputError("the key 'angle' is missing", place=place, allowed="as in angle = '45 deg'")
    one_value(angle, "angle", place)
    return _Stretch(duct, branches, area, angle, branch_area)


def _area(values: Mapping[str, Any], prefix: str, place: str) -> float:
    """The section that `diameter` or `area` of a duct says, each with `prefix` before it [m2]."""
    bore, area = f"{prefix}diameter", f"{prefix}area"
    if (bore in values) == (area in values):
        got = "got both" if bore in values else "got neither"
        raise InputError(f"{got} of {bore} and {area}", place=place, allowed="one of the two")
    key, measure = (bore, "m") if bore in values else (area, "m2")
    try:
        size = si(values[key], measure)
    except InputError as err:
        raise err.at(place=f"{place}, {key}") from None
    if not isinstance(size, float) or not 0.0 < size < math.inf:
        raise InputError(f"{key} {shown(values[key])} is out of range", place=place, allowed="above 0")
    return 0.25 * math.pi * size * size if key == bore else size
