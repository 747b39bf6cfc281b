"""Planning a visit: which readings pay, what is done after them, and how it is proved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..arguments import text, whole
from ..deciding.belief import Belief, described
from ..deciding.candidates import minutes_of
from ..deciding.choices import Offer, choices
from ..deciding.weighing import Option, Weighing
from ..errors import InputError
from ..fixes.fix import working_time
from ..fixes.several import Several
from ..machine.fitted import Fitted
from ..machine.machine import Machine
from ..machine.network import Network
from ..quantity import single
from ..readings.naming import readings_of
from ..readings.table import Reading
from ..readings.unknowns import usual_speed
from ..result import Note
from ..studies.fit import fit
from ..studies.proof import proof
from .result import VisitPlan
from .steps import AFTER, BEFORE, FIX, PROVE, READ, Step

SAMPLES = 200
"""How many possible machines are weighed."""
VISIT = "visit"
"""The set of the readings of a visit, where those so far have none."""
MOST_ROUNDS = 4
SURE = 0.95
"""Chance of being right at which a choice is sure enough."""
SURER, SURER_ERRORS = 0.01, 1.0
"""Where it is not, a reading is taken that makes it surer by more than this, and so many standard errors."""
NEARLY = 0.9
"""Of the readings that are worth nearly as much as the best, by this share, the quickest are taken."""
PLACES = 2
"""Places at which a fix is proved: where it changes most, and where it changes least."""


def visit(
    machine: Machine | Network,
    fixes: Any = None,
    minutes: float | str = 60.0,
    readings: Any = None,
    *,
    answer: str = "weakest vacuum",
    sure: float = SURE,
    spent: float | str | None = None,
    seed: int = 0,
) -> VisitPlan:
    """A whole visit planned within the time there is: readings, fix, proof; and anew as readings come.

    Readings are planned as long as deciding after them gains more than deciding without them, the time that
    they take from the work counted, or saves more work in vain than they take; and where the choice is not
    sure, as long as they make it surer at no cost to the work. The readings so far are fitted first: after
    each round, plan again with all of them.

    Parameters
    ----------
    machine : Machine or Network
        A single one, without columns.
    fixes : path, list of Fix, mapping or DataFrame, optional
        What can be done, as `read_fixes` takes it; by default to seal or clean what is unknown, one by one.
    minutes : float or str
        The time of the whole visit: minutes, or a text with its measure ("1.5 h").
    readings : path, DataFrame, list or Readings, optional
        What was read so far in this visit; see `read_readings`.
    answer : str
        The question that the visit is to better.
    sure : float
        The chance of being right, nothing else being noticeably better, that is sure enough.
    spent : float or str, optional
        The time that has gone, by default what the readings so far take.
    seed : int
        Of the random numbers.

    Returns
    -------
    VisitPlan

    Raises
    ------
    InputError
        For a machine without a tapping that is easy to reach, fixes that cannot be done, readings that cannot
        be read or cannot be right, an unknown question, and a time that is none.
    """
    of = text(answer, "visit, answer", "a question, like 'weakest vacuum'")
    whole_time = working_time(minutes, "minutes")
    if whole_time is None:
        raise InputError("the time is missing", place="minutes", allowed="minutes, as in 60 or '1.5 h'")
    seed = whole(seed, "seed", "the seed", 0)
    certain = single(sure, "", "sure")
    if not 0.0 <= certain <= 1.0:
        raise InputError(f"{certain:g} is no chance", place="sure", allowed="0 to 1")
    given, wanted = described(machine)
    offer = Offer.on(given, wanted, fixes, of)
    taken = [] if readings is None else list(readings_of(given, readings))
    layout, usual = given.layout, usual_speed(given)
    gone = working_time(spent, "spent")
    gone = minutes_of(layout, taken, usual) if gone is None else gone
    subject: Machine | Fitted = fit(given, readings, draws=SAMPLES, seed=seed) if taken else given
    proving = _ProofTime.of(given, taken)
    left = whole_time - gone - proving.before - proving.after
    found, belief = choices(Belief.of(subject, SAMPLES, seed), offer, max(left, 0.0))
    name = taken[-1].set if taken else VISIT
    weighing = Weighing(belief, found, left, seed, name, proving.places, proving.before)
    if not weighing.singles:
        raise InputError("there is no tapping to read", place="visit", allowed="a tapping with easy access")
    rounds = planned(weighing, certain) if left > 0.0 else []
    values = [v for option in rounds for v in weighing.values(option)]
    planned_readings = [r for option in rounds for r in option.readings]
    cost = weighing.cost(planned_readings)
    worth = weighing.worth(np.array(values), cost) if rounds else None
    work = weighing.work(cost)
    steps = _read_steps(rounds, gone)
    start = gone + sum(option.minutes for option in rounds)
    proof_steps, chance = _work_steps(
        subject, offer, work[0].fixes, float(work[0].minutes), start, [*taken, *planned_readings], name
    )
    decided = found.fixes if worth is None else [found.fixes[k] for k in worth.choice]
    return VisitPlan(
        given=given,
        of=of,
        measure=found.measure,
        label=found.label,
        answer=float(found.answer @ belief.weights),
        minutes=whole_time,
        spent=gone,
        taken=taken,
        steps=[*steps, *proof_steps],
        work=work,
        decisions=_shares(decided, belief) if worth is not None else [(work[0].fixes, 1.0)],
        worth=0.0 if worth is None else worth.value,
        noticed=weighing.noticed,
        right=weighing.right_after(cost),
        proved=chance,
        machines=len(belief.weights),
        usual=fixes is None,
        work_cautions=found.cautions,
        left_out=found.left_out,
        seen=_seen(subject),
    )


def planned(weighing: Weighing, sure: float) -> list[Option]:
    """Rounds of readings, each the best beside those before it, as long as they pay or as it is not sure."""
    out: list[Option] = []
    for _ in range(MOST_ROUNDS):
        last = out[-1] if out else None
        options = weighing.options(out)
        best = _best(weighing, [o for o in options if o.pays], last) or _surest(weighing, options, last, sure)
        if best is None:
            break
        out.append(best)
    return out


def _best(weighing: Weighing, paying: Sequence[Option], last: Option | None) -> Option | None:
    """Of those that are worth nearly as much as the best, the one that takes the least from that."""
    if not paying:
        return None
    most = max(weighing.in_minutes(o, last) + o.minutes for o in paying)
    good = [o for o in paying if weighing.in_minutes(o, last) + o.minutes >= NEARLY * most]
    return max(good, key=lambda o: weighing.in_minutes(o, last))


def _surest(weighing: Weighing, options: Sequence[Option], last: Option | None, sure: float) -> Option | None:
    """What makes the choice surer most for its time, where it is not sure enough and costs no work."""
    now, worth = (weighing.right, 0.0) if last is None else (last.right, last.worth)
    if now >= sure:
        return None
    good = [
        o
        for o in options
        if o.worth - worth > -weighing.noticed and o.right - now > max(SURER, SURER_ERRORS * o.right_error)
    ]
    if not good:
        return None
    most = max(o.right for o in good) - now
    return min((o for o in good if o.right - now >= NEARLY * most), key=lambda o: o.minutes)


def _shares(decided: Sequence[tuple[str, ...]], belief: Belief) -> list[tuple[tuple[str, ...], float]]:
    out: dict[tuple[str, ...], float] = {}
    for fixes, weight in zip(decided, belief.weights.tolist(), strict=True):
        out[fixes] = out.get(fixes, 0.0) + weight
    return sorted(out.items(), key=lambda item: -item[1])


def _seen(subject: Machine | Fitted) -> list[Note]:
    """What a fit to the readings so far had to say."""
    return list(subject.notes) if isinstance(subject, Fitted) else []


# ---- the steps


def _read_steps(rounds: Sequence[Option], start: float) -> list[Step]:
    out = []
    for option in rounds:
        out.append(Step(READ, start, option.minutes, option.readings))
        start += option.minutes
    return out


@dataclass(frozen=True)
class _ProofTime:
    """Time kept for the proof [min]: some of these places are read before the work and after it."""

    places: list[str]
    before: float
    after: float

    @classmethod
    def of(cls, machine: Machine, taken: Sequence[Reading]) -> _ProofTime:
        places, usual = _proof_places(machine), usual_speed(machine)
        tapping = machine.layout.tapping
        each = sorted((tapping[name].minutes for name in places), reverse=True)[:PLACES]
        read = {r.tapping for r in taken if not (r.minus or r.blanked) and _alike(r.engine_speed, usual)}
        unread = sorted((tapping[name].minutes for name in places if name not in read), reverse=True)
        return cls(places, sum(unread[:PLACES]), sum(each))


def _proof_places(machine: Machine) -> list[str]:
    """Where a fix may be proved: the units' own tappings that are easy to reach."""
    tapping = machine.layout.tapping
    return [u.vacuum_at for u in machine.layout.units if tapping[u.vacuum_at].access == "easy"]


def _work_steps(
    subject: Machine | Fitted,
    offer: Offer,
    fixes: tuple[str, ...],
    minutes: float,
    start: float,
    read: Sequence[Reading],
    name: str,
) -> tuple[list[Step], float]:
    """The fix, with readings before and after it that prove it, and the chance that these show it."""
    if not fixes:
        return [], 0.0
    given = subject.given if isinstance(subject, Fitted) else subject
    usual, layout = usual_speed(given), given.layout
    done = Several("all of the work", fixes=[task.fix for task in offer.tasks if task.fix.name in fixes])
    places = _proof_places(given)
    if not places:
        return [Step(FIX, start, minutes, fixes=fixes)], 0.0
    looked = proof(subject, None, None, done, at=places)
    order = np.argsort(-np.abs(looked.expected), kind="stable")
    chosen = list(dict.fromkeys([places[order[0]], places[order[-1]]]))
    chance = looked.only(chosen).power
    points = [
        Reading(place, float(before), engine_speed=usual, set=name)
        for place, before in zip(places, looked.means[0], strict=True)
        if place in chosen
    ]
    known = {r.tapping for r in read if not (r.minus or r.blanked) and _alike(r.engine_speed, usual)}
    missing = tuple(r for r in points if r.tapping not in known)
    own = dict(zip(places, looked.means[1].tolist(), strict=True))
    after = tuple(replace(r, value=own[r.tapping], set=AFTER) for r in points)
    steps = []
    for kind, readings, time in (
        (BEFORE, missing, minutes_of(layout, missing, usual)),
        (FIX, (), minutes),
        (PROVE, after, minutes_of(layout, after, usual)),
    ):
        if readings or kind == FIX:
            steps.append(Step(kind, start, time, readings, fixes if kind == FIX else ()))
            start += time
    return steps, chance


def _alike(speed: float | None, usual: float | None) -> bool:
    """Whether an engine speed is the usual one, to what a tachometer shows."""
    return speed == usual or (speed is not None and usual is not None and abs(speed / usual - 1.0) < 0.005)
