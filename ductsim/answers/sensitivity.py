"""What one answer hangs on: its derivatives in every number of a machine, and how they are told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from ..arguments import locked
from ..description.data import MachineData
from ..description.spreads import spread_of
from ..display.rows import Of, rows_of
from ..quantity import show
from ..questions.vocabulary import Question, asked_of, question
from ..result import Result
from .gradients import jacobian
from .solved import SolvedMachine

Row = dict[str, Any]


@dataclass(frozen=True)
class Slope:
    """How an answer depends on one number.

    Attributes
    ----------
    address : str
    value : float
        The number, in SI.
    measure : str
        Its SI measure.
    derivative : float
        Change of the answer per change of the number, SI over SI.
    elasticity : float
        Change of the answer in per cent per per cent of the number; NaN where the answer is 0.
    spread : float
        Usual relative standard deviation of the number [-].
    effect_of_spread : float
        Standard deviation of the answer when only this number varies by its spread, in the answer's measure.
    """

    address: str
    value: float
    measure: str
    derivative: float
    elasticity: float
    spread: float
    effect_of_spread: float


@dataclass(repr=False, eq=False)
class Sensitivity(Result):
    """One answer and its derivatives in every number; made by `machine.sensitivity`.

    Attributes
    ----------
    machine : Machine
    of : str
        What was asked.
    answer : float
        The answer itself, in SI.
    addresses : list of str
    derivatives : array
        Change of the answer per change of each number, SI over SI.
    """

    machine: MachineData
    of: str
    answer: float
    addresses: list[str]
    derivatives: NDArray[np.float64]

    @property
    def question(self) -> Question:
        """What was asked, with label and measure."""
        return question(self.machine.layout, self.of)

    @property
    def slopes(self) -> list[Slope]:
        """How the answer depends on each number, the largest effect of its usual spread first."""
        machine, answer = self.machine, self.answer
        out = []
        for address, slope in zip(self.addresses, self.derivatives.tolist(), strict=True):
            value, spread = machine.numbers[address], spread_of(machine, address)
            measure = machine.layout.declared[address].measure
            elasticity = slope * value / answer if answer else float("nan")
            effect = abs(slope * value) * spread
            out.append(Slope(address, value, measure, slope, elasticity, spread, effect))
        return sorted(out, key=lambda own: (-own.effect_of_spread, -abs(own.elasticity)))


@overload
def sensitivity(machine: MachineData, of: str, state: SolvedMachine | None = None) -> Sensitivity: ...


@overload
def sensitivity(
    machine: MachineData, of: list[str] | tuple[str, ...], state: SolvedMachine | None = None
) -> list[Sensitivity]: ...


def sensitivity(
    machine: MachineData, of: str | list[str] | tuple[str, ...], state: SolvedMachine | None = None
) -> Sensitivity | list[Sensitivity]:
    """How one answer depends on every number; to a list of questions a list, from one solve.

    Parameters
    ----------
    machine : MachineData
        A single one, without columns.
    of : str or list of str
        A question of the `of` vocabulary, or several.
    state : SolvedMachine, optional
        The machine's solved state, if it is at hand.

    Raises
    ------
    InputError
        For a machine with columns, and for an unknown question.
    """
    asked = asked_of(machine.layout, of, "sensitivity")
    addresses = list(machine.layout.declared)
    answers, slopes = jacobian(machine, asked, addresses, state)
    each = zip(asked, answers.tolist(), slopes, strict=True)
    out = [Sensitivity(machine, words, answer, addresses, locked(own)) for words, answer, own in each]
    return out[0] if isinstance(of, str) else out


# ---- how it is told


def about(found: Sensitivity) -> str:
    """What was asked, in a few words."""
    return f"{found.of}, {len(found.addresses):,} numbers"


def tables(found: Sensitivity) -> dict[str, list[Row]]:
    """A row for each number, the largest effect of its usual spread first."""
    effect = "standard deviation of the answer when only this number varies by its spread"
    columns = (
        Of("address"),
        Of("value"),
        Of("measure"),
        Of("derivative", doc="change of the answer per change of the number, SI over SI"),
        Of("elasticity", doc="change of the answer in per cent per per cent of the number"),
        Of("spread", doc="usual relative standard deviation of the number"),
        Of("effect_of_spread", found.question.measure, effect),
    )
    return {"table": rows_of(found.slopes, *columns)}


def sentences(found: Sensitivity, measures: str) -> list[str]:
    """The answer, the numbers it hangs on most, and those whose usual spread matters most."""
    slopes = found.slopes
    steep = sorted(slopes, key=lambda own: -abs(own.elasticity))[:3]
    words = ", ".join(f"{own.address} ({own.elasticity:+.2f} % per %)" for own in steep)
    unsure = ", ".join(own.address for own in slopes[:3])
    value, label = show(found.answer, found.question.measure, measures)
    told = f"The {found.question.label} ({f'{value:.4g} {label}'.strip()})"
    if not np.isfinite([own.elasticity for own in steep]).all():
        return [f"{told} is nothing of which a share could be told; the derivatives are in the table."]
    return [f"{told} hangs most on {words}.", f"It is least sure because of {unsure}."]
