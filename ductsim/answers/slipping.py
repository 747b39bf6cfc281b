"""Belts that slip more the more they carry: the slip at which load and speed agree."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from ..description.data import M, MachineData
from ..errors import InputError
from ..network.state import State

Array = NDArray[np.float64]
S = TypeVar("S", bound=State)

ENOUGH = 1e-9  # slip hardly changes any more [-]
MOST_PASSES = 30
MOST_SLIP = 0.9


def slipping(machine: MachineData) -> list[str]:
    """The drives whose slip rises with their load."""
    names = (drive.name for drive in machine.layout.drives)
    return [name for name in names if np.any(np.asarray(machine.numbers.get(f"{name}.slip_rise", 0.0)) > 0.0)]


def answering(machine: MachineData, addresses: Sequence[str]) -> list[str]:
    """The drives whose slip answers to their load, or would if a `slip_rise` among the addresses did rise."""
    rising = slipping(machine)
    return [
        drive.name
        for drive in machine.layout.drives
        if drive.name in rising
        or (
            f"{drive.name}.slip_rise" in addresses
            and machine.numbers.get(f"{drive.name}.available_power") is not None
            and fans_on(machine, drive.name)
        )
    ]


def fans_on(machine: MachineData, drive: str) -> list[str]:
    """The fans that a drive turns."""
    return [part.name for part in machine.layout.parts if part.drive == drive]


def settle(machine: M, solve: Callable[[M, Any], S]) -> S:
    """The state of the machine at the slip that belongs to its own load.

    The state's machine is the one that runs so: each such drive with that slip and no rise left. Solved by
    Newton's method with the fan laws' slope, power going with the cube of the speed.
    """
    drives = slipping(machine)
    for name in drives:
        if machine.numbers.get(f"{name}.available_power") is None:
            raise InputError(
                "slip rises with load", place=f"drive {name!r}", allowed="give its available_power as well"
            )
    slip = {name: machine.numbers[f"{name}.slip"] for name in drives}
    state: S | None = None
    for _ in range(MOST_PASSES):
        state = solve(_with(machine, slip), state)
        moved = 0.0
        for name in drives:
            power: Any = sum(state.power[fan] for fan in fans_on(machine, name))
            rise = machine.numbers[f"{name}.slip_rise"] / machine.numbers[f"{name}.available_power"]
            gap = machine.numbers[f"{name}.slip"] + rise * power - slip[name]
            step = gap / (1.0 + 3.0 * rise * power / (1.0 - slip[name]))
            moved = max(moved, float(np.nanmax(np.abs(step))))
            slip[name] = np.clip(slip[name] + step, 0.0, MOST_SLIP)
        if moved <= ENOUGH:
            break
    assert state is not None
    return state


def _with(machine: M, slip: dict[str, Any]) -> M:
    numbers = dict(machine.numbers)
    for name, value in slip.items():
        numbers[f"{name}.slip"] = value if isinstance(value, np.ndarray) and value.ndim else float(value)
        numbers[f"{name}.slip_rise"] = 0.0
    return machine.rebuilt(numbers)


def chain(
    machine: MachineData,
    drives: Sequence[str],
    addresses: Sequence[str],
    frozen: Callable[[list[str], list[str]], tuple[Array, Array]],
    of: Sequence[str],
) -> tuple[Array, Array]:
    """Answers and derivatives with the own answer of these drives' slip to every number.

    `frozen(of, addresses)` gives those at the running slip, held. With slip s = s0 + r P / A the
    whole derivative in a number t is q_t + q_s ds/dt, where (1 - r P_s / A) ds/dt = r P_t / A + the slip's
    own slopes in s0, r and A.
    """
    fans = [fan for name in drives for fan in fans_on(machine, name)]
    slips = [f"{name}.slip" for name in drives]
    every = list(dict.fromkeys([*addresses, *slips]))
    answers, slopes = frozen([*of, *(f"shaft power {fan}" for fan in fans)], every)
    column = {address: i for i, address in enumerate(every)}
    power, power_slopes = [], []
    at = len(of)
    for name in drives:
        count = len(fans_on(machine, name))
        power.append(answers[at : at + count].sum())
        power_slopes.append(slopes[at : at + count].sum(axis=0))
        at += count
    numbers = machine.numbers
    rise = np.array([numbers[f"{d}.slip_rise"] / numbers[f"{d}.available_power"] for d in drives])
    by_power = rise[:, None] * np.array(power_slopes)
    own = [column[s] for s in slips]
    source = by_power.copy()
    source[:, own] = 0.0
    for i, (name, watts) in enumerate(zip(drives, power, strict=True)):
        source[i, column[f"{name}.slip"]] += 1.0
        if f"{name}.slip_rise" in column:
            source[i, column[f"{name}.slip_rise"]] += watts / numbers[f"{name}.available_power"]
        if f"{name}.available_power" in column:
            source[i, column[f"{name}.available_power"]] -= (
                rise[i] * watts / numbers[f"{name}.available_power"]
            )
    slip_slopes = np.linalg.solve(np.eye(len(drives)) - by_power[:, own], source)
    direct = slopes[: len(of)].copy()
    by_slip = direct[:, own].copy()
    direct[:, own] = 0.0
    whole = direct + by_slip @ slip_slopes
    return answers[: len(of)], whole[:, [column[a] for a in addresses]]
