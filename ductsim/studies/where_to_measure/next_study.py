"""The decision first: what to do next, and which reading would better that choice."""

from __future__ import annotations

from typing import Any

import numpy as np

from ...arguments import text, whole
from ...deciding.belief import Belief, described
from ...deciding.choices import Offer, choices
from ...deciding.weighing import Weighing
from .next_step import NextStep

SAMPLES = 200
"""How many possible machines are weighed."""


def next_step(fit_or_machine: Any, fixes: Any, answer: str, minutes: float | None, seed: int) -> NextStep:
    """What to do next; see `where_to_measure`."""
    of = text(answer, "where_to_measure, answer", "a question, like 'weakest vacuum'")
    seed = whole(seed, "seed", "the seed", 0)
    offer = Offer.on(*described(fit_or_machine), fixes, of)
    found, belief = choices(Belief.of(fit_or_machine, SAMPLES, seed), offer, minutes)
    weighing = Weighing(belief, found, minutes, seed)
    return NextStep(
        given=belief.given,
        of=of,
        measure=found.measure,
        label=found.label,
        answer=float(found.answer @ belief.weights),
        minutes=minutes,
        work=weighing.work(),
        options=weighing.options(),
        noticed=weighing.noticed,
        worth_of_knowing=weighing.most,
        machines=int(np.size(belief.weights)),
        work_cautions=found.cautions,
        left_out=found.left_out,
    )
