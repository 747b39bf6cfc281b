"""The answer for a machine: the network's state and what it means for units, fans and tappings."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any, Self, TypeVar, overload

import numpy as np

from ..crop.crop import with_crop
from ..crop.margins import Limiting, limiting, margin_rows
from ..crop.solving import solve_running
from ..description.data import MachineData, running_speed
from ..network.network import approach_system, solve_system
from ..network.point import Point
from ..network.state import State
from ..quantity import RPM
from ..questions.gauges import inlet_density, opening_air, stacked_path, tapping_pressures
from ..result import Result
from ..statistics import middle, quantile
from . import notes
from .slipping import settle, slipping
from .solved import SolvedMachine

if TYPE_CHECKING:
    import pandas as pd

A = TypeVar("A", bound="MachineAnswer")


@overload
def solve(
    machine: MachineData, raise_error: bool = True, start: State | Point | None = None
) -> MachineAnswer: ...


@overload
def solve(machine: MachineData, raise_error: bool, start: State | Point | None, kind: type[A]) -> A: ...


def solve(
    machine: MachineData,
    raise_error: bool = True,
    start: State | Point | None = None,
    kind: Any = None,
) -> Any:
    """Solve a machine; `start` is a solved state of the same layout to start from, or its point.

    `kind` is the class of state that comes back, `MachineAnswer` if not given.
    """
    made: type[MachineAnswer] = kind or MachineAnswer

    def at(machine: MachineData, start: State | Point | None) -> MachineAnswer:
        """The state at the drives' own slip."""
        point = _point(start)
        if machine.carries:
            return made(machine, solve_running(machine, point))
        numbers = machine.part_numbers()
        found = solve_system(machine.system, numbers, machine.air(), raise_error=False, start=point)
        return made(machine, found)

    state = settle(machine, at) if slipping(machine) else at(machine, start)
    if raise_error and not np.all(state.solved):
        raise state.failure()
    return state


def approach(machine: MachineData, start: Point) -> SolvedMachine:
    """About where a machine with columns has its answers, near a point for each; empty ducts, slip as given.

    For searches that come near in many moves: nobody looks at what else a column may do.
    """
    found = approach_system(machine.system, machine.part_numbers(), machine.air(), start)
    return SolvedMachine(machine, found)


def _point(start: State | Point | None) -> Point | None:
    if isinstance(start, State):
        return None if start.columns is not None else start.arrays.point
    return start


ROUNDING = 1e-12
"""Below this a number of a unit or a fan is nothing, in any SI measure."""

NO_VACUUM = 1e-6
"""Pressure difference below which a machine has no vacuum, only the solver's rounding [Pa]."""


class MachineAnswer(SolvedMachine, Result):
    """A solved machine: a `State`, and the vacuum and air of every unit; `MachineState` is its public face.

    Values are floats, or read-only arrays of shape (S,) when the machine has columns; `state[i]` picks a
    scenario.

    Attributes
    ----------
    machine : MachineData
        The machine it is the answer for.
    """

    def __init__(self, machine: MachineData, state: State) -> None:
        super().__init__(machine, state)
        del self.__dict__["notes"]  # they are among its own

    # ---- crop

    @property
    def limiting(self) -> Limiting | None:
        """With crop: the unit and the place with the lowest carrying margin; None for a machine without crop.

        A state of empty ducts tells what its crop would do at today's speed.
        """
        if self.machine.layout.crop is None:
            return None
        loaded = self._with_crop
        return limiting(loaded.machine, loaded)

    def margin_rows(self) -> list[dict[str, Any]]:
        """With crop: a row for each place that is judged, what is there, what is needed, the margin."""
        if self.machine.layout.crop is None:
            return []
        loaded = self._with_crop
        return margin_rows(loaded.machine, loaded)

    @cached_property
    def _with_crop(self) -> Self:
        """Itself, or the state with crop in the ducts."""
        return self if self.machine.carries else solve(with_crop(self.machine), False, None, type(self))

    # ---- rows

    def rows(self) -> list[dict[str, Any]]:
        """A row for each unit; with columns the median of the scenarios and their 5 to 95 % range."""
        if self.columns is None:
            return [_settled({"unit": name, **own}) for name, own in self.by_unit.items()]
        return self._unit_ranges()

    @cached_property
    def by_unit(self) -> dict[str, dict[str, Any]]:
        """Unit -> its quantities, floats or columns, by keys with their measures (`vacuum_Pa`)."""
        out = {}
        for unit in self.machine.layout.units:
            pressures = tapping_pressures(self.machine, self, unit.vacuum_at)
            key = self.machine.layout.path_keys(unit.duct)[0]
            area = np.asarray(stacked_path(self.machine, unit.duct).area)[0]
            velocity = self.flow[key] / (self.density[key] * (area if self.columns else float(area[0])))
            out[unit.name] = {
                "vacuum_Pa": 0.0 - pressures.static,
                "total_vacuum_Pa": -pressures.total,
                "opening_air_kg_s": opening_air(self.machine, self, unit.name),
                "duct_air_kg_s": self.flow[key],
                "duct_velocity_m_s": velocity,
            }
        if out:
            mean = mean_of([own["vacuum_Pa"] for own in out.values()])
            for own in out.values():
                own["share_of_mean"] = _share(own["vacuum_Pa"], mean)
        return out

    def _unit_ranges(self) -> list[dict[str, Any]]:
        weakest = self.weakest
        out = []
        for name, own in self.by_unit.items():
            row: dict[str, Any] = {"unit": name}
            for key, value in own.items():
                row[key] = quantile(value, 0.5)
            row["vacuum_low_Pa"] = quantile(own["vacuum_Pa"], 0.05)
            row["vacuum_high_Pa"] = quantile(own["vacuum_Pa"], 0.95)
            row["chance_weakest"] = float(np.mean(weakest == name))
            out.append(row)
        return out

    def fan_rows(self) -> list[dict[str, Any]]:
        """A row for each fan: speed, flow, rise of total pressure, shaft power, what its maker allows, notes.

        With columns, one row for each fan with medians.
        """
        return [_settled(self._fan_row(name)) for name in self.machine.layout.fans]

    def _fan_row(self, name: str) -> dict[str, Any]:
        numbers = self.machine.part_numbers()
        path = stacked_path(self.machine, name)
        key = self.machine.layout.path_keys(name)[0]
        density = inlet_density(self.machine, self, name, path)
        highest = numbers.get(f"{name}.highest_speed")
        return {
            "fan": name,
            "speed_rpm": middle(running_speed(numbers, name) * RPM),
            "flow_m3_s": middle(self.flow[key] / density),
            "pressure_rise_Pa": middle(-self.drop[key]),
            "shaft_power_W": middle(self.power[name]),
            "highest_speed_rpm": None if highest is None else middle(highest * RPM),
            "note": "; ".join(notes.of_fan(self, name)),
        }

    def tapping_rows(self) -> list[dict[str, Any]]:
        """A row for each tapping: static, total and velocity pressure as a manometer reads them."""
        out = []
        for tapping in self.machine.layout.tappings:
            static, total, velocity = tapping_pressures(self.machine, self, tapping.name)
            out.append(
                {
                    "tapping": tapping.name,
                    "static_Pa": middle(static),
                    "total_Pa": middle(total),
                    "velocity_pressure_Pa": middle(velocity),
                    "at": f"{tapping.end} end of {tapping.path}",
                    "access": tapping.access,
                }
            )
        return [_settled(row) for row in out]

    @property
    def units(self) -> pd.DataFrame:
        """The units as a DataFrame by unit; with columns a long one with `scenario` and `unit`."""
        import pandas as pd

        if self.columns is None:
            return _by(self.rows(), "unit")
        frames = []
        for name, own in self.by_unit.items():
            wide = {key: np.broadcast_to(value, self.columns) for key, value in own.items()}
            frames.append(pd.DataFrame({"scenario": np.arange(self.columns), "unit": name, **wide}))
        return (
            pd.concat(frames).sort_values("scenario", kind="stable", ignore_index=True)
            if frames
            else pd.DataFrame()
        )

    @property
    def fans(self) -> pd.DataFrame:
        """The fans as a DataFrame by fan."""
        return _by(self.fan_rows(), "fan")

    @property
    def tappings(self) -> pd.DataFrame:
        """The tappings as a DataFrame by tapping."""
        return _by(self.tapping_rows(), "tapping")

    notes = Result.notes  # type: ignore[assignment]  # of the network and of the machine
    __str__ = Result.__str__
    __repr__ = Result.__repr__


def _by(rows: list[dict[str, Any]], key: str) -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame(rows).set_index(key) if rows else pd.DataFrame()


def mean_of(values: list[Any]) -> Any:
    """The mean of floats or columns, NaN left out; NaN where none is known."""
    rows = np.array(np.broadcast_arrays(*values), dtype=float)
    known = ~np.isnan(rows)
    out = np.where(known, rows, 0.0).sum(axis=0) / np.where(known.any(axis=0), known.sum(axis=0), np.nan)
    return out if out.ndim else float(out)


def _settled(row: dict[str, Any]) -> dict[str, Any]:
    """The row with nothing where there is only the solver's rounding of nothing."""
    return {k: 0.0 if isinstance(v, float) and abs(v) < ROUNDING else v for k, v in row.items()}


def _share(value: Any, mean: Any) -> Any:
    """Each value as a share of the mean; unknown where there is no vacuum at all."""
    mean = np.asarray(mean, dtype=float)
    out = np.divide(value, mean, out=np.full(np.shape(value), np.nan), where=np.abs(mean) >= NO_VACUUM)
    return out if out.ndim else float(out)
