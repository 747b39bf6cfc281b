"""What `check` finds: whether a machine file makes sense, and what its numbers rest on."""

from __future__ import annotations

import re
from functools import cached_property
from typing import TYPE_CHECKING, Any

from ..answers.state import NO_VACUUM
from ..cautions import cautions_for
from ..machine.machine import MachineState
from ..questions.gauges import fans
from ..result import Result
from ..wording import said

if TYPE_CHECKING:
    from ..machine.machine import Machine
    from ..readings.checks import ReadingCheck

SAME = ("measure", "origin", "spread")


class Checked(Result):
    """A machine looked through: structure, operating point, numbers given and numbers assumed.

    Parameters
    ----------
    state : MachineState
        Solved or not.
    held : ReadingCheck, optional
        Readings held against the machine.
    """

    def __init__(self, state: MachineState, held: ReadingCheck | None = None) -> None:
        self.state = state
        self.machine = state.machine
        self.held = held
        self.description = state.machine.describe()

    @property
    def notes(self) -> list[str]:
        """What deserves a look."""
        held = [*self.held.problems, *self.held.notes] if self.held else []
        return [*held, *self.state.notes, *self._odd_units(), *self._unstated_limits()]

    @property
    def cautions(self) -> list[str]:
        """What to beware of when measuring, which it advises."""
        return cautions_for(["measure"]) if self._least_sure else []

    def _odd_units(self) -> list[str]:
        if not self.state.solved:
            return []
        return [
            f"Unit {unit} has no vacuum at all: its tapping reads {-vacuum:,.0f} Pa above the open air."
            for unit, vacuum in self.state.vacuum.items()
            if vacuum < -NO_VACUUM
        ]

    def _unstated_limits(self) -> list[str]:
        """Limits of the makers that nothing can warn of, because the file does not state them."""
        numbers, layout = self.machine.numbers, self.machine.layout
        out = [
            f"{name} states no highest_speed: ask its maker, or nothing can warn that it turns too fast."
            for name in fans(self.machine)
            if f"{name}.highest_speed" not in numbers
        ]
        turning = {part.drive for part in layout.parts if part.drive}
        out += [
            f"The drive {drive.name} states no available_power: nothing can warn that its fans take too much."
            for drive in layout.drives
            if drive.name in turning and f"{drive.name}.available_power" not in numbers
        ]
        return out

    def rows(self) -> list[dict[str, Any]]:
        """Every number of the machine."""
        return self.description.rows()

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """Readings held against the machine; defaults and given numbers, equal ones together; all numbers."""
        rows = self.rows()
        out = {"readings": self.held.rows()} if self.held else {}
        for origin, name in (("default", "defaults"), ("given", "given")):
            out[name] = together(self.machine, [row for row in rows if row["origin"] == origin])
        return {**out, "numbers": rows}

    def sentences(self, measures: str = "metric") -> list[str]:
        """Whether it makes sense, then what the answer rests on."""
        counts = self.description.sentences()
        if not self.state.solved:
            return [f"The machine file can be read, but: {self.state.failure()}", *counts]
        out = ["Nothing is wrong with the machine file." if not self.notes else self._noted()]
        out += [*counts, *self._operating(measures), *self._least_sure]
        return [*self._held(measures), *out]

    def _held(self, measures: str) -> list[str]:
        """How the readings compare with what the machine makes."""
        if not self.held:
            return []
        if self.held.problems:
            return [f"{len(self.held.problems)} of the readings cannot be right (see the notes)."]
        said = self.held.sentences(measures)
        return said[: len(said) - len(self.held.notes)]

    def _noted(self) -> str:
        count = len(self.notes)
        what = "one thing deserves a look" if count == 1 else f"{count} things deserve a look"
        return f"The machine file can be read; {what} (see the notes)."

    def _operating(self, measures: str) -> list[str]:
        state = self.state
        if not self.machine.layout.units:
            return ["It has an operating point; it has no units."]
        vacuum = said(state.ask("weakest vacuum"), "Pa", measures)
        return [f"It has an operating point; unit {state.weakest} is weakest with {vacuum} of vacuum."]

    @cached_property
    def _least_sure(self) -> list[str]:
        """The numbers whose usual spread matters most for the weakest unit."""
        if not self.machine.layout.units or not self.state.solved:
            return []
        rows = self.machine.sensitivity(of="weakest vacuum").rows()[:3]
        origin = {row["address"]: row["origin"] for row in self.rows()}
        words = ", ".join(f"{row['address']} ({origin[row['address']]})" for row in rows)
        return [f"Its vacuum is least sure because of {words}: measure these first, where you can."]


def together(machine: Machine, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The rows with equal numbers of all units in one row, and the points of a curve in one.

    The address of such a row is a pattern that a change understands; where its numbers differ, they stand
    in a list, in the order of the file.
    """
    by_address = {row["address"]: row for row in rows}
    done: set[str] = set()
    out = []
    for row in rows:
        if row["address"] in done:
            continue
        pattern, same = _alike(machine, row, by_address, done)
        points = [by_address[a] for a in same]
        done.update(same)
        values = [point["value"] for point in points]
        value = row["value"] if len(set(values)) == 1 else values
        out.append({**row, "address": pattern, "value": value})
        del out[-1]["origin"]
    return out


def _alike(
    machine: Machine, row: dict[str, Any], rows: dict[str, dict[str, Any]], done: set[str]
) -> tuple[str, list[str]]:
    """A pattern and the addresses of the numbers that can stand in one row with this one."""
    address = row["address"]
    curve = re.fullmatch(r"(.*)\[\d+\]", address)
    patterns = [f"{curve[1]}[*]"] if curve else []
    thing, _, leaf = address.partition(".")
    for unit in machine.layout.units:
        general = re.sub(rf"(?<!\w){re.escape(unit.name)}(?!\w)", "*", thing)
        if general.count("*") == 1:
            patterns.append(f"{general}.{leaf}")
    for pattern in patterns:
        same = [a for a in machine.layout.expand(pattern) if a in rows and a not in done]
        whole = len(same) == len(machine.layout.expand(pattern)) > 1
        if whole and all(rows[a][key] == row[key] for a in same for key in SAME):
            return pattern, same
    return address, [address]
