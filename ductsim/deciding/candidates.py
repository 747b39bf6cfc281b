"""The readings that could be taken next, and how long they take."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ..description.layout import Layout
from ..machine.machine import Machine
from ..readings.table import Reading
from ..readings.unknowns import usual_speed
from ..wording import gathered

TAPING = 1.5  # minutes for taping one opening shut and freeing it again: common practice, no published source
NEW_SPEED = 1.0  # minutes for another engine speed: our assumption
SPEEDS = 3
NEXT = "next"
"""The set of readings that are still to be taken."""


def possible_readings(machine: Machine, taken: Iterable[Reading] = (), name: str = NEXT) -> list[Reading]:
    """Every single reading that could be taken: easy tappings, read speeds, groups of blanked openings.

    Static pressures everywhere; total pressures where totals were read before, for that needs a Pitot tube.
    """
    layout, taken = machine.layout, list(taken)
    total = {place for r in taken if r.quantity == "total" for place in (r.tapping, r.minus)}
    easy = [t.name for t in layout.tappings if t.access == "easy"]
    read = [r.engine_speed for r in taken if r.engine_speed is not None]
    speeds: list[float | None] = [*sorted(set(read), key=lambda s: -read.count(s))[:SPEEDS]]
    out = []
    for i, speed in enumerate(speeds or [usual_speed(machine)]):
        for blanked in blankings(layout) if i == 0 else [()]:
            for tapping in easy:
                for quantity in ("static", "total") if tapping in total else ("static",):
                    out.append(
                        Reading(tapping, 0.0, quantity, engine_speed=speed, set=name, blanked=blanked, line=0)
                    )
    return out


def blankings(layout: Layout) -> list[tuple[str, ...]]:
    """Groups of openings to tape: none, those of each unit, of all units, the same one of every unit."""
    units = [u.openings for u in layout.units if u.openings]
    groups = [(), *units, tuple(o for openings in units for o in openings)]
    if len(units) > 1:
        for k in range(max(map(len, units))):
            groups.append(tuple(openings[k] for openings in units if len(openings) > k))
    return list(dict.fromkeys(tuple(sorted(g)) for g in groups))


def minutes_of(layout: Layout, readings: Sequence[Reading], usual: float | None) -> float:
    """Time for some readings taken one after the other [min]; taping and speeds are shared."""
    out = sum(layout.tapping[name].minutes for r in readings for name in (r.tapping, r.minus) if name)
    taped = {o for r in readings for o in r.blanked}
    speeds = {r.engine_speed for r in readings if r.engine_speed is not None} - {usual}
    return out + TAPING * len(taped) + NEW_SPEED * len(speeds)


def taped_words(layout: Layout, blanked: Sequence[str]) -> str:
    """Blanked openings in words: "all openings", "the openings of unit 4", else their names."""
    own = set(blanked)
    if not own:
        return ""
    if own == {o for u in layout.units for o in u.openings}:
        return "all openings"
    for unit in layout.units:
        if own == set(unit.openings):
            return f"the openings of unit {unit.name}"
    return gathered(blanked)
