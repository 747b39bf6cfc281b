"""What a balance has found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...machine.machine import Machine, MachineState
from ...questions.vocabulary import Question, question
from ...result import Result
from .trims import Variable

Array = NDArray[np.float64]


@dataclass(repr=False, eq=False)
class Balance(Result):
    """Trims set; made by `balance`.

    First the lowest answer is made as large as it can be. Then, among the settings that leave it there
    (within 1e-5), the one with the least spread among the answers is taken.

    Attributes
    ----------
    machine : Machine
        As it was.
    variables : list of Dial
        The numbers that are set, with their limits and sizes.
    of : list of str
        The Q questions that are evened.
    whole : str
        The one question that stands for one of each unit ("weakest vacuum"); an empty text where the
        questions are evened as they were given.
    start : dict
        Address -> value in SI, as it was.
    settings : dict
        Address -> value in SI, the answer.
    lifted : dict
        Address -> value where the weakest is lifted and the others are not evened yet; without sizes only.
    optimality : float
        How far `lifted` is from the first-order conditions of its optimum: share of the mean answer per
        full range of a variable, 0 at an exact optimum; NaN where sizes were counted through.
    gap : float
        How much more the lowest answer could be if every size could be had, in the question's measure;
        0 where every value can be had, NaN where all settings were counted through.
    counted : int
        How many settings of sizes were all solved; 0 where they were not.
    before, after : MachineState
        Solved without and with the settings (of the middle machine, for possible ones).
    between : MachineState or None
        Solved with `lifted`, where that is another setting.
    slopes : array (Q, D)
        Change of each answer per change of each setting at the answer, SI over SI.
    gains : array (M,)
        What the settings gain on each possible machine, NaN without an answer; empty for a single one.
    """

    machine: Machine
    variables: list[Variable]
    of: list[str]
    whole: str
    start: dict[str, float]
    settings: dict[str, float]
    lifted: dict[str, float]
    optimality: float
    gap: float
    counted: int
    before: MachineState
    after: MachineState
    between: MachineState | None
    slopes: Array
    gains: Array

    @property
    def questions(self) -> list[Question]:
        """The questions that are evened, with labels and measures."""
        return [question(self.machine.layout, words) for words in self.of]

    @property
    def measure(self) -> str:
        """The SI measure of the answers."""
        return self.questions[0].measure

    @property
    def better(self) -> float:
        """1 where more is better, else -1."""
        return 1.0 if self.questions[0].more_is_better else -1.0

    @property
    def label(self) -> str:
        """What is lifted, in words."""
        if self.whole or len(self.of) == 1:
            return question(self.machine.layout, self.whole or self.of[0]).label
        return "lowest answer"

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

    @property
    def pull(self) -> Array:
        """What 1 % more of each setting would do to the worst answer, (D,), in SI."""
        worst = int(np.argmin([self.better * float(self.after.ask(words)) for words in self.of]))
        return np.asarray(0.01 * np.array(list(self.settings.values())) * self.slopes[worst])
