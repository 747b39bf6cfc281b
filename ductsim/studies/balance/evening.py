"""Evening the units out: the setting, what it brings every unit, what it costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...answers.limits import limits_of
from ...arguments import texts
from ...cautions import cautions_for
from ...description.possible import middle
from ...errors import InputError, UnknownName
from ...fixes.fix import work_on
from ...machine.machine import Machine, MachineState
from ...machine.possible import possible_machines
from ...quantity import measure_key
from ...questions.vocabulary import Question, question
from ...result import Result
from ...wording import listed, percent, said
from .lifting import MOST_COUNTED, Search
from .trims import Dial, Trim, dials_of

Array = NDArray[np.float64]
AT_LIMIT = 1e-6


def balance(
    machine_or_fit: Any,
    trims: Sequence[Trim] | None = None,
    of: str | Sequence[str] = "weakest vacuum",
) -> Balance:
    """Set some numbers so that the weakest unit is lifted as far as it goes, then even the others out.

    Parameters
    ----------
    machine_or_fit : Machine or fit
        For possible machines the setting is found for the middle one (the median of every number), and
        what it brings is told for all of them.
    trims : sequence of Trim, optional
        What may be set and how far; the machine's own `[[trim]]` tables if not given.
    of : str or sequence of str
        "weakest vacuum" evens the vacuums of the units, "weakest opening air" the air through their
        openings, "carrying margin" their margins with the crop. Several questions are evened among each
        other; a single other one is made as good as can be.

    Returns
    -------
    Balance

    Raises
    ------
    InputError
        For trims that are none, and where no setting keeps the fans and drives within their limits.
    """
    return Balance(machine_or_fit, trims, of)


class Balance(Result):
    """Trims set; made by `balance`.

    First the lowest answer is made as large as it can be. Then, among the settings that leave it there
    (within 1e-5), the one with the least spread among the answers is taken.

    Attributes
    ----------
    machine : Machine
        As it was.
    dials : list of Dial
        The numbers that are set, with their limits and sizes.
    of : list of str
        The questions that are evened.
    settings : dict
        Address -> value in SI, the answer.
    lifted : dict
        Address -> value where the weakest is lifted and the others are not evened yet; without sizes only.
    optimality : float
        How far `lifted` is from the first-order conditions of its optimum: share of the mean answer per
        full range of a dial, 0 at an exact optimum; NaN where sizes were counted through.
    gap : float
        How much more the lowest answer could be if every size could be had, in the question's measure;
        0 where every value can be had, NaN where all settings were counted through.
    counted : int
        How many settings of sizes were all solved; 0 where they were not.
    before, after : MachineState
        Solved without and with the settings (of the middle machine, for possible ones).
    """

    def __init__(self, machine_or_fit: Any, trims: Any, of: Any) -> None:
        self.machine: Machine = possible_machines(machine_or_fit)
        single = middle(self.machine)
        self.dials: list[Dial] = dials_of(single, trims)
        self.asked_of = of
        self.of, self._units = _questions(single, of)
        self.questions: list[Question] = [question(single.layout, words) for words in self.of]
        self.better = 1.0 if self.questions[0].more_is_better else -1.0
        if len({q.measure for q in self.questions}) > 1:
            raise InputError("questions of different measures", place="of", allowed="answers of one measure")
        self._search = Search(single, self.dials, self.of, self.better)
        self.before: MachineState = single.solve()
        self.optimality, self.gap, self.counted = float("nan"), float("nan"), 0
        self._start = np.array([single.numbers[dial.address] for dial in self.dials])
        lifted, setting = self._find()
        addresses = [dial.address for dial in self.dials]
        self.settings: dict[str, float] = dict(zip(addresses, setting.tolist(), strict=True))
        self.lifted: dict[str, float] = dict(zip(addresses, lifted.tolist(), strict=True))
        self.after: MachineState = single.change(self.settings).solve()

    def _find(self) -> tuple[Array, Array]:
        """The lifted setting and the final one, in SI."""
        search = self._search
        count = search.count()
        if 0 < count <= MOST_COUNTED:
            best = search.every()
            self.counted = count
            return best, best
        z = search.lift(self._start)
        self.optimality = search.optimality(z)
        fixed = np.array([dial.sizes is not None for dial in self.dials])
        self.gap = 0.0
        if not fixed.any():
            return search.values(z), search.values(search.even(z))
        ideal = float(search.point(z).answers.min())
        chosen = search.rounded(search.values(search.even(z)))
        if not fixed.all():
            free = search.lift(chosen, ~fixed)
            chosen = search.values(search.even(free, ~fixed))
            # scaling a size to 0..1 and back may move it by a rounding error
            chosen[fixed] = [
                dial.nearest(v) for dial, v in zip(self.dials, chosen, strict=True) if dial.sizes is not None
            ]
        answers, _ = search.many(chosen[None, :])
        self.gap = max(0.0, (ideal - float(answers.min())) * search.scale)
        return chosen, chosen

    # ---- answers

    @property
    def balanced(self) -> Machine:
        """The machine with the settings made."""
        return self.machine.change(self.settings)

    def lowest(self, state: MachineState) -> float:
        """The worst of the answers in a state, in SI."""
        return self.better * min(self.better * float(state.ask(words)) for words in self.of)

    def spread(self, state: MachineState) -> float:
        """The difference between the largest and the smallest answer in a state, in SI."""
        answers = [float(state.ask(words)) for words in self.of]
        return max(answers) - min(answers)

    @cached_property
    def slopes(self) -> Array:
        """Change of each answer per change of each setting at the answer, (Q, D), SI over SI."""
        _, slopes = self.after.machine.jacobian(self.of, list(self.settings), self.after)
        return np.asarray(slopes)

    # ---- what is shown

    def rows(self) -> list[dict[str, Any]]:
        """A row for each unit (or question): vacuum, opening air and duct air before and after."""
        if not self._units:
            return [
                {
                    "of": q.of,
                    measure_key("before", q.measure): float(self.before.ask(q.of)),
                    measure_key("after", q.measure): float(self.after.ask(q.of)),
                }
                for q in self.questions
            ]
        out = []
        before, after = self.before.rows(), self.after.rows()
        for old, new in zip(before, after, strict=True):
            row: dict[str, Any] = {"unit": old["unit"]}
            for key, ending in (("vacuum", "Pa"), ("opening_air", "kg_s"), ("duct_air", "kg_s")):
                row[f"{key}_before_{ending}"] = old[f"{key}_{ending}"]
                row[f"{key}_after_{ending}"] = new[f"{key}_{ending}"]
            out.append(row)
        return out

    def trim_rows(self) -> list[dict[str, Any]]:
        """A row for each setting: before, now, its limits, whether it is at one, what 1 % more would do."""
        measure = self.questions[0].measure
        worst = int(np.argmin([self.better * float(self.after.ask(words)) for words in self.of]))
        out = []
        for i, dial in enumerate(self.dials):
            value = self.settings[dial.address]
            out.append(
                {
                    "number": dial.address,
                    "before": float(self._start[i]),
                    "value": value,
                    "measure": self.machine.layout.declared[dial.address].measure,
                    "low": dial.low,
                    "high": dial.high,
                    "at": self._at(dial),
                    measure_key("weakest_by_1_percent", measure): 0.01 * value * float(self.slopes[worst, i]),
                }
            )
        return out

    def _at(self, dial: Dial) -> str:
        value, room = self.settings[dial.address], AT_LIMIT * (dial.high - dial.low)
        if value <= dial.low + room:
            return "its low limit"
        return "its high limit" if value >= dial.high - room else ""

    def cost_rows(self) -> list[dict[str, Any]]:
        """What evenness costs: the totals as it was, with the weakest lifted only, and evened."""
        states = {"now": self.before}
        if self.lifted != self.settings:
            states["weakest lifted"] = self.before.machine.change(self.lifted).solve()
        states["evened"] = self.after
        measure = self.questions[0].measure
        return [
            {
                "setting": name,
                measure_key("lowest", measure): self.lowest(state),
                measure_key("spread", measure): self.spread(state),
                "opening_air_kg_s": _total(state, "opening air"),
                "duct_air_kg_s": _total(state, "duct air"),
                "shaft_power_W": float(sum(state.power[name] for name in state.power)),
            }
            for name, state in states.items()
        ]

    def tables(self) -> dict[str, list[dict[str, Any]]]:
        """Units (or answers), trims, cost: name -> rows."""
        return {
            "units" if self._units else "answers": self.rows(),
            "trims": self.trim_rows(),
            "cost": self.cost_rows(),
        }

    def sentences(self, measures: str = "metric") -> list[str]:
        """The settings and what they bring, in plain sentences; `measures` is "metric" or "inch"."""
        asked = self.questions[0]
        before, after = self.lowest(self.before), self.lowest(self.after)
        words = [
            f"{listed(names)} {said(value, self._suited(names[0]), measures, 4)}"
            for value, names in _grouped(self.settings).items()
        ]
        more = f" and {len(words) - 6} more values" if len(words) > 6 else ""
        what = self._what()
        if self.better * (after - before) <= 1e-6 * abs(before):
            stays = said(before, asked.measure, measures)
            first = f"The {what} cannot be lifted by these trims; it stays at {stays}."
        else:
            share = f" ({percent((after - before) / abs(before), sign=True)})" if before else ""
            first = (
                f"The {what} goes from {said(before, asked.measure, measures)} to "
                f"{said(after, asked.measure, measures)}{share}, with {'; '.join(words[:6])}{more}."
            )
        out = [first]
        if len(self.of) > 1:
            old, new = self.spread(self.before), self.spread(self.after)
            out.append(
                f"The spread between {'units' if self._units else 'answers'} goes from "
                f"{said(old, asked.measure, measures)} to {said(new, asked.measure, measures)}."
            )
        return out + self._about_cost(measures) + self._about_limits() + self._about_sizes(measures)

    def _what(self) -> str:
        if self._units:
            return question(self.before.machine.layout, str(self.asked_of)).label
        return self.questions[0].label if len(self.of) == 1 else "lowest answer"

    def _suited(self, address: str) -> str:
        measure = self.machine.layout.declared[address].measure
        limit, small = {"m": (0.5, "mm"), "m2": (0.1, "cm2")}.get(measure, (0.0, ""))
        return small if abs(self.settings[address]) < limit else measure

    def _about_cost(self, measures: str) -> list[str]:
        rows = self.cost_rows()
        first, last = rows[0], rows[-1]
        words = []
        for key, measure, what in (
            ("opening_air_kg_s", "kg/s", "air through the openings"),
            ("duct_air_kg_s", "kg/s", "air in the ducts"),
            ("shaft_power_W", "W", "shaft power"),
        ):
            if first[key]:
                change = said(last[key] - first[key], measure, measures, 2, sign=True)
                words.append(f"{change} of {what} ({said(first[key], measure, measures)} before)")
        return [f"In all it comes to {listed(words)}."] if words else []

    def _about_limits(self) -> list[str]:
        """The limits that hold the weakest back."""
        held: dict[str, list[str]] = {}
        for row, dial in zip(self.trim_rows(), self.dials, strict=True):
            key = next(k for k in row if k.startswith("weakest_by_1_percent"))
            pull = self.better * row[key]
            if (row["at"] == "its high limit" and pull > 0) or (row["at"] == "its low limit" and pull < 0):
                held.setdefault(row["at"], []).append(dial.address)
        out = []
        for at, names in held.items():
            where = f"is at {at}" if len(names) == 1 else f"are at their {at.removeprefix('its ')}"
            out.append(f"{listed(names)} {where}: more room there would lift it further.")
        for limit in limits_of(self.after):
            if limit.value[0] > 0.999 * limit.allowed[0]:
                what = "at its highest speed" if limit.kind == "speed" else "giving all the power it has"
                out.append(f"{limit.name} is {what}: that holds it back.")
        return out

    def _about_sizes(self, measures: str) -> list[str]:
        if self.counted:
            return [f"All {self.counted:,} settings of the sizes were solved: there is none better."]
        if self.gap != self.gap or not any(dial.sizes is not None for dial in self.dials):
            return []
        gap = said(self.gap, self.questions[0].measure, measures, 2)
        return [
            "There are too many settings of the sizes to solve them all: these were found by search. "
            f"With every size to be had it would be {gap} more."
        ]

    @cached_property
    def notes(self) -> list[str]:
        """Sentences about how the answer was found and what deserves a look."""
        out = []
        if self.optimality == self.optimality:
            out.append(
                f"The first-order conditions of the lifted setting hold to {self.optimality:.1e} of the mean "
                "answer per full range of a trim."
            )
        if self.machine.columns is not None:
            out += self._about_possible()
        return out + self.after.notes

    def _about_possible(self) -> list[str]:
        def worst(machine: Machine) -> Array:
            state = machine.solve(raise_error=False)
            rows = [np.broadcast_to(state.ask(words), len(machine)) for words in self.of]
            return np.asarray(self.better * np.nanmin(self.better * np.array(rows), axis=0))

        before, after = worst(self.machine), worst(self.balanced)
        gains = self.better * (after - before)
        low, mid, high = np.nanquantile(gains, (0.05, 0.5, 0.95))
        measure = self.questions[0].measure
        return [
            f"On {len(self.machine):,} possible machines the same settings gain {said(mid, measure)} "
            f"(from {said(low, measure)} to {said(high, measure)} in nine of ten); "
            f"on {float(np.mean(gains > 0)):.0%} of them they gain something."
        ]

    @cached_property
    def cautions(self) -> list[str]:
        """What to beware of when the trims are set."""
        layout = self.machine.layout
        return cautions_for({tag for dial in self.dials for tag in work_on(layout, dial.address)})


def _questions(machine: Machine, of: str | Sequence[str]) -> tuple[list[str], bool]:
    """The questions to be evened, and whether they are one for each unit."""
    if not isinstance(of, str):
        if isinstance(of, (list, tuple)) and not of:
            raise InputError("there is no question", place="of", allowed="at least one")
        return texts(of, "balance, of", "a question, or a list of them"), False
    question(machine.layout, of)
    if not of.startswith("weakest ") and of != "carrying margin":
        return [of], False
    each = [f"{of.removeprefix('weakest ')} {unit.name}" for unit in machine.layout.units]
    try:
        for words in each:
            question(machine.layout, words)
    except UnknownName:
        return [of], False
    return each, True


def _grouped(settings: Mapping[str, float]) -> dict[float, list[str]]:
    """Value -> the addresses that have it, but for differences that nobody could make."""
    out: dict[float, list[str]] = {}
    for address, value in settings.items():
        out.setdefault(float(f"{value:.5g}"), []).append(address)
    return out


def _total(state: MachineState, words: str) -> float:
    return float(sum(state.ask(f"{words} {unit.name}") for unit in state.machine.layout.units))
