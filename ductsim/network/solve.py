"""From numbers to a solved state: the order in which the methods are tried, and the chunks."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .alternating import alternate
from .chords import by_chords
from .continuation import (
    loaded,
    needs_too_much,
    pent_up,
    raised,
    thinned,
    too_much,
    warmed,
)
from .equations import Equations
from .linear import FEW_SCENARIOS
from .lossier import ADDED, MORE, lossier
from .nearby import MANY, solve_from
from .newton import HALVINGS, MANY_HALVINGS, cold_start, iterate
from .numbers import Numbers
from .point import Point, Solved
from .predicted import FEWEST, WORTH, Prediction, Rows
from .rising import curves, look_alikes, only
from .sharing import Proof, places_on_curves, proof_of, shares
from .slope_floor import FINER, least_slopes
from .stability import ROUGHLY, Waiting, begin, doubtful, go_on, settle, start_too_far, supersonic
from .structure import Structure
from .system import System
from .transient import Run, run_up, standstill

Array = NDArray[np.float64]
Index = NDArray[np.intp]

CHUNK = 2048  # scenarios; their arrays stay in cache
ROUGH_STEPS = 2
FEW_SURE = 0.25  # of a chunk
CLOSE = 0.02  # of a fan's usual flow: beside a sure start
SHARING = 100  # scenarios with starts of their own, for which the middle is solved as well
CHORD_ROUNDS, CHORD_STEPS, CHORD_POLISH = 4, 40, 12
DAMPED_STEPS = 40
RUN_UPS = (
    (False, False, 100, 40, False),
    (True, True, 600, 90, True),
    (False, False, 400, 90, True),
    (False, True, 2000, 90, True),
    (True, False, 0, 200, False),
)
"""From the cold start or standstill; time steps that keep the motion physical, or long ones that only seek
the end; how many of them; Newton steps after them; whether flows and temperatures go alternately then."""


def solve(
    system: System,
    numbers: Numbers,
    start: Point | None = None,
    followed: Callable[[Solved, Any], NDArray[np.bool_]] | None = None,
) -> tuple[Solved, list[Structure]]:
    """Solve all scenarios from a nearby point: one for all, or one for each; found here when not given.

    Many have the middle of all solved with them: scenarios with fans like the middle's need no proof of their
    own that they have one point only.

    `followed` is told which scenarios are in doubt; it tells, and may write down, which are where they were
    followed to from a point where they ran: these are not run up from standstill.
    """
    if numbers.scenarios == 1:
        eq = numbers.equations(system)
        return _solve_one(eq, start, followed), [eq.structure]
    told = None
    proof: Proof | None = None if start is None or followed is not None else start.proof
    single = None if start is None or start.flow.shape[1] > 1 else start
    # of crop the middle may be blocked where it does not begin at a point that runs
    sharing = SHARING if followed is None else FEWEST if single is not None else np.inf
    if start is None or (numbers.scenarios >= sharing and (proof is None or single is not None)):
        middle = numbers.middle()
        eq = middle.equations(system)
        if start is single or curves(eq)[0][0]:
            running = followed is not None
            nominal = solve_single(eq, eq.structure, single) if running else _solve_one(eq, single)
            if nominal.good[0]:
                proof = proof_of(eq, nominal) if running else nominal.point.proof
                if start is single:
                    start = nominal.point if start is None else start
                    told = predict(system, numbers, middle, nominal.point)
    _keep_freed_memory()
    heated = not np.isinf(numbers.air.pressure).all() and bool(system.fan_rows)
    out, structures = Solved.empty(system, numbers.scenarios, heated), []
    hard: list[Index] = []
    doubted: list[Index] = []
    for columns in _chunks(numbers.scenarios):
        first = columns.start
        eq = numbers.equations(system, columns)
        structure = eq.structure
        structures.append(structure)
        part = out.take(columns)
        near = start.take(columns) if start is not None and start.flow.shape[1] > 1 else start
        if near is not None:
            near = near if told is None else told.point(numbers, columns)
            own = proof and proof.take(columns)
            unsure, sure = _solve_sure(eq, structure, near, own, part, numbers.scenarios >= MANY)
            doubted.append(first + np.flatnonzero(unsure))
            hard.append(first + np.flatnonzero(~part.good & ~unsure))
            doubted.append(first + doubtful(eq, part, sure))
        else:
            hard.append(first + np.arange(eq.scenarios))
    whole = eq  # of few scenarios, which are one chunk
    for places, eq, structure in _gathered(system, numbers, hard):
        again = solve_single(eq, structure, None)
        out.put(places, again)
        doubted.append(places[doubtful(eq, again)])
    if followed is not None:
        unsure = np.zeros(numbers.scenarios, dtype=bool)
        unsure[np.concatenate(doubted)] = True
        there = followed(out, unsure)
        doubted = [some[~there[some]] for some in doubted]
    _settle_many(system, numbers, doubted, out)
    left = [some[~out.good[some]] for some in doubted]
    for places, eq, structure in _gathered(system, numbers, left):
        out.put(places, solve_single(eq, structure, None))
    if followed is None:
        out.point.proven(proof_of(whole, out) if proof is None and numbers.scenarios < SHARING else proof)
    return out, structures


def _solve_one(
    eq: Equations, start: Point | None, followed: Callable[[Solved, Any], NDArray[np.bool_]] | None = None
) -> Solved:
    """One scenario, run up from standstill where that may lead to another point."""
    out = solve_single(eq, eq.structure, start)
    proof = None if start is None or followed is not None else start.proof
    alike = proof is not None and out.good[0] and look_alikes(curves(eq)[1], proof.drops)[0]
    shared = alike and proof is not None and shares(eq, out, proof)[0]
    doubt = not shared and len(doubtful(eq, out)) > 0
    if doubt and not (followed is not None and followed(out, doubt).all()):
        _settle(eq, eq.structure, out, np.array([0]))
    if followed is None:
        out.point.proven(proof_of(eq, out))
    return out


def approach(system: System, numbers: Numbers, start: Point) -> tuple[Solved, list[Structure]]:
    """Where a few of Newton's steps lead from nearby points, one for each scenario; good is what is finite.

    Nobody looks whether a scenario has quite arrived, or what other points it has.
    """
    _keep_freed_memory()
    heated = not np.isinf(numbers.air.pressure).all() and bool(system.fan_rows)
    out, structures = Solved.empty(system, numbers.scenarios, heated), []
    for columns in _chunks(numbers.scenarios):
        eq = numbers.equations(system, columns)
        structures.append(eq.structure)
        part = out.take(columns)
        solve_from(eq, start.take(columns), eq.structure.anchors, part, ROUGH_STEPS)
        part.good[:] = np.isfinite(part.point.flow).all(axis=0) & np.isfinite(part.point.pressure).all(axis=0)
    return out, structures


def _solve_sure(
    eq: Equations, structure: Structure, near: Point, proof: Proof | None, into: Solved, many: bool
) -> tuple[Any, Any]:
    """Solve a chunk from nearby but for the scenarios that must be run up anyway.

    Those that may share a proof are not. Returns which scenarios must be run up, and those that can have no
    other point.
    """
    near = near.wide(eq.scenarios)
    rises, drops = curves(eq)
    same = ~rises if proof is None else look_alikes(drops, proof.drops)
    sure = ~rises | same
    some = np.flatnonzero(~sure)
    if len(some):
        sure[some] = only(eq.take(some), near.take(some))
        if sure.mean() < FEW_SURE:  # few cost as much as many; running up finds their only point too
            sure[:] = False
    if sure.all():
        solve_from(eq, near, structure.anchors, into, many=many)
        _keep_near(eq, near, into)
    elif sure.any():
        some = np.flatnonzero(sure)
        part, start = eq.take(some), near.take(some)
        found = solve_from(part, start, structure.take(some).anchors, many=many)
        _keep_near(part, start, found)
        into.put(some, found)
    moved = np.abs(places_on_curves(eq, into.point) - places_on_curves(eq, near))
    close = (moved <= CLOSE).all(axis=0) & ~same
    if proof is not None:
        close |= same & shares(eq, into, proof)
    return ~sure | (rises & ~into.good & ~structure.fed), ~rises | close


def _chunks(scenarios: int) -> Iterator[slice]:
    """Slices of `CHUNK` scenarios; a few left over go with the last, since few take another way."""
    first = 0
    while first < scenarios:
        end = first + CHUNK
        if scenarios - end <= FEW_SCENARIOS:
            end = scenarios
        yield slice(first, end)
        first = end


def predict(system: System, numbers: Numbers, middle: Numbers, nominal: Point) -> Prediction | None:
    """How the middle's point answers to each number; None where there are too few scenarios for it."""
    rows = Rows.of(numbers)
    count = len(rows.names)
    if numbers.scenarios < max(FEWEST, 2 * WORTH * count) or not count:
        return None
    eq = rows.moved(middle).equations(system)
    found = solve_from(eq, nominal, eq.structure.anchors, many=True)
    down, up = slice(0, count), slice(count, None)
    good = found.good[down] & found.good[up]
    return Prediction(rows, nominal, found.point.take(down), found.point.take(up), good)


def _gathered(
    system: System, numbers: Numbers, places: list[Index]
) -> Iterator[tuple[Index, Equations, Structure]]:
    """Scenarios from all over, in full chunks: few at a time would cost as much as many."""
    every = np.concatenate(places)
    for at in range(0, len(every), CHUNK):
        some = every[at : at + CHUNK]
        eq = numbers.some(some).equations(system)
        yield some, eq, eq.structure


@cache
def _keep_freed_memory() -> None:
    """Once in a process, free one large block, after which common allocators keep smaller freed blocks.

    Without it the many temporary arrays of a chunk are given back and faulted in again: twice the time
    (measured; the GNU allocator raises its thresholds to the largest block freed). Harmless elsewhere.
    """
    np.empty(1 << 21).fill(0.0)


def solve_single(eq: Equations, structure: Structure, start: Point | None) -> Solved:
    """One scenario, or a few hard ones in step: from nearby if possible, else from cold, else by run-up."""
    if start is not None:
        out = solve_from(eq, start, structure.anchors)
        _keep_near(eq, start, out)
        if out.good.all():
            return out
    with np.errstate(all="ignore"):
        point = cold_start(eq, structure.anchors)
    out = iterate(eq, point, structure.anchors, DAMPED_STEPS, damped=True)
    if not out.good.all():
        _pent_up(eq, structure, out)
        _chords_for_failed(eq, structure, out)
        _run_up_failed(eq, structure, out, RUN_UPS[:1])
        _raise_loads(eq, structure, out)
        _need_too_much(eq, structure, out)
        _less_eased(eq, structure, out)
        _run_up_failed(eq, structure, out, RUN_UPS[1:])
        _chords_for_failed(eq, structure, out, apart=True)
        _too_easy(eq, structure, out)
    return out


def _keep_near(eq: Equations, start: Point, out: Solved) -> None:
    """Give up the scenarios whose start misled them; they begin anew as if there were no start."""
    out.good &= ~supersonic(eq, out)
    out.good &= ~start_too_far(eq, start, out)


def _settle(eq: Equations, structure: Structure, out: Solved, places: Index) -> None:
    """Where another point may be the one that is reached by running up, take that; `eq` is of `places`."""
    again = settle(eq, structure, out.take(places))
    reached = np.flatnonzero(again.good)
    out.put(places[reached], again.take(reached))


def _settle_many(system: System, numbers: Numbers, doubted: list[Index], out: Solved) -> None:
    """The same in full chunks; what runs long runs on together, for few cost as much as many."""
    waiting: list[Waiting] = []
    long: dict[int, list[Waiting]] = {}
    for places, eq, structure in _gathered(system, numbers, doubted):
        left = begin(eq, structure, again := out.take(places))
        _put_reached(out, places, again, left)
        waiting.append(left)
        if sum(len(w.places) for w in waiting) >= CHUNK:
            few = _settle_left(system, numbers, waiting, out, least=ROUGHLY)
            long.setdefault(few.legs, []).append(few)
            waiting = []
    if waiting:
        long.setdefault(0, []).extend(waiting)
    legs = sorted(long)
    for own, until in zip(legs, [*legs[1:], None], strict=False):
        few = _settle_left(system, numbers, long[own], out, until=until)
        if until is not None and len(few.places):
            long[until].append(few)


def _settle_left(
    system: System, numbers: Numbers, waiting: list[Waiting], out: Solved, least: int = 0, until: Any = None
) -> Waiting:
    """Let those who wait run on together as `go_on` does; who still waits then."""
    places, first = np.concatenate([w.places for w in waiting]), waiting[0]
    left = Waiting(np.arange(len(places)), first.run, first.steps, first.legs)
    if len(places):
        eq = numbers.some(places).equations(system)
        way = eq.rough() if first.run.eq.rough_numbers and len(places) >= ROUGHLY else eq
        left.run = Run.joined([w.run for w in waiting], way, eq.structure.anchors)
        go_on(eq, eq.structure, left, again := out.take(places), least, until)
        _put_reached(out, places, again, left)
    return left


def _put_reached(out: Solved, places: Index, again: Solved, left: Waiting) -> None:
    """Write down who has arrived; who is `left` gets its own place among all."""
    again.good[left.places] = False
    reached = np.flatnonzero(again.good)
    out.put(places[reached], again.take(reached))
    left.places = places[left.places]


def _chords_for_failed(eq: Equations, structure: Structure, out: Solved, apart: bool = False) -> None:
    """Solve what is left by lines that no cliff misleads: many together, then one by one.

    Apart takes longer steps in jets and tees, which may lead past a calmer point: the last that is tried.
    """
    left = np.flatnonzero(~out.good & ~structure.fed & ~out.overloaded)
    if len(left) > FEW_SCENARIOS:
        _chords_together(eq.take(left), structure.take(left), out, left, apart)
    for s in np.flatnonzero(~out.good & ~structure.fed & ~out.overloaded):
        one = np.array([s])
        hard, anchors = eq.take(one), structure.take(one).anchors
        with np.errstate(all="ignore"):
            point = cold_start(hard, anchors)
        for _ in range(CHORD_ROUNDS):
            point, taken = by_chords(hard, point, anchors, CHORD_STEPS, apart=apart)
            found = iterate(hard, point, anchors, CHORD_POLISH, damped=True)
            found.steps += out.steps[one] + taken
            out.put(one, found)
            if found.good[0] or not taken[0]:
                break
        if not found.good[0]:
            _alternate(hard, structure.take(one), point, out, one)


def _chords_together(eq: Equations, structure: Structure, out: Solved, places: Index, apart: bool) -> None:
    """The scenarios of `eq`, whose places in `out` these are, by chords in step."""
    with np.errstate(all="ignore"):
        point = cold_start(eq, structure.anchors)
    for _ in range(CHORD_ROUNDS):
        point, taken = by_chords(eq, point, structure.anchors, CHORD_STEPS, apart=apart)
        found = iterate(eq, point, structure.anchors, CHORD_POLISH, damped=True)
        found.steps += out.steps[places] + taken
        out.put(places, found)
        left = np.flatnonzero(~found.good & (taken > 0))
        if not len(left):
            return
        places, eq, point, structure = places[left], eq.take(left), point.take(left), structure.take(left)


def _pent_up(eq: Equations, structure: Structure, out: Solved) -> None:
    """Mark what is left where a supply has only ways out that are far too narrow for it."""
    for s in np.flatnonzero(~out.good & ~structure.fed & loaded(eq)):
        one = np.array([s])
        found = pent_up(eq.take(one), structure.take(one).anchors)
        if found is not None:
            found.steps += out.steps[one]
            out.put(one, found)


def _raise_loads(eq: Equations, structure: Structure, out: Solved) -> None:
    """Solve what is left and has a load by raising it from nothing."""
    for s in np.flatnonzero(~out.good & ~structure.fed & ~out.overloaded & loaded(eq)):
        one = np.array([s])
        found = raised(eq.take(one), structure.take(one).anchors)
        if found is not None:
            found.steps += out.steps[one]
            out.put(one, found)


def _need_too_much(eq: Equations, structure: Structure, out: Solved) -> None:
    """Mark what is left where air that keeps its density would already need more than any duct could have.

    `beyond` says why that tells. All else that could be tried is long, and finds nothing in such networks.
    """
    for s in np.flatnonzero(~out.good & ~structure.fed & ~out.overloaded) if not eq.constant else ():
        one = np.array([s])
        dense, part = eq.take(one).dense(), structure.take(one)
        with np.errstate(all="ignore"):
            point = cold_start(dense, part.anchors)
        found = iterate(dense, point, part.anchors, DAMPED_STEPS, damped=True)
        if not found.good[0]:
            _chords_for_failed(dense, part, found)
        if not found.good[0]:
            continue
        steps = out.steps[one] + found.steps
        if needs_too_much(eq.take(one), found.point.pressure)[0]:
            found.good[:], found.overloaded[:] = False, True
        else:
            thin = thinned(eq.take(one), found.point, part.anchors)
            if thin is None:
                continue
            found = _warmed(eq.take(one), thin, part) if thin.good[0] else thin
            if not found.good[0] and not found.overloaded[0]:
                continue
        found.steps += steps
        if eq.heated and found.point.temperature_rise is None:
            found.point.temperature_rise = np.zeros_like(found.point.pressure)
        out.put(one, found)


def _less_eased(eq: Equations, structure: Structure, out: Solved) -> None:
    """Solve what is left with hardly any added resistance on paths that are too easy to carry.

    Where a fan drives air round through such paths, and the piece hangs on the rest by a trace, what is added
    stands for so much inertia that the ring's flow would hardly change from step to step.
    """
    for s in np.flatnonzero(~out.good & ~structure.fed & ~out.overloaded):
        one = np.array([s])
        hard, part = eq.take(one), structure.take(one)
        if least_slopes(hard, out.slope[:, one]) is None:
            continue
        hard = hard.carrying(FINER)
        with np.errstate(all="ignore"):
            point = cold_start(hard, part.anchors)
        found = iterate(hard, point, part.anchors, 2 * DAMPED_STEPS, damped=True)
        found.steps += out.steps[one]
        _chords_for_failed(hard, part, found)
        _need_too_much(hard, part, found)
        out.put(one, found)


def _too_easy(eq: Equations, structure: Structure, out: Solved) -> None:
    """Mark what is left that has an answer with a little more loss, or air faster than sound even then."""
    for s in np.flatnonzero(~out.good & ~structure.fed & ~out.overloaded):
        one = np.array([s])
        hard, part = eq.take(one), structure.take(one)
        for added, air in ((ADDED, hard.dense()), (MORE, hard)):
            slower = lossier(air, added)
            with np.errstate(all="ignore"):
                point = cold_start(slower, part.anchors)
            found = iterate(slower, point, part.anchors, 2 * DAMPED_STEPS, damped=True)
            if not found.good[0]:
                _chords_for_failed(slower, part, found)
            if found.good[0] and (added == MORE or supersonic(slower, found)[0]):
                break
        else:
            continue
        found.good[:], found.overloaded[:] = False, True
        found.steps += out.steps[one]
        if eq.heated and found.point.temperature_rise is None:
            found.point.temperature_rise = np.zeros_like(found.point.pressure)
        out.put(one, found)


def _warmed(eq: Equations, cold: Solved, structure: Structure) -> Solved:
    """One scenario from its point without the fans' heat; overloaded where that needs too much already."""
    start = cold.point.take([0])
    start.temperature_rise = np.zeros_like(start.pressure) if eq.heated else None
    found = iterate(eq, start.take([0]), structure.anchors, DAMPED_STEPS, damped=True)
    if not found.good[0]:
        _alternate(eq, structure, start, found, np.array([0]))
    if found.good[0]:
        return found
    if too_much(eq, cold.point.pressure)[0]:
        cold.good[:], cold.overloaded[:] = False, True
        return cold
    return warmed(eq, start, structure.anchors) or found


def _run_up_failed(eq: Equations, structure: Structure, out: Solved, ways: Any) -> None:
    """Solve what is left by following the air until it settles, then polish: the usual ways first."""
    for cold, careful, steps, polish, last in ways:
        bad = np.flatnonzero(~out.good & ~structure.fed & ~out.overloaded)
        if not len(bad):
            return
        hard, part = eq.take(bad), structure.take(bad)
        with np.errstate(all="ignore"):
            point = cold_start(hard, part.anchors) if cold else standstill(hard)
        point, _, taken = run_up(hard, point, part.anchors, steps, careful)
        halvings = MANY_HALVINGS if last else HALVINGS
        again = iterate(hard, point, part.anchors, polish, damped=True, halvings=halvings)
        again.steps += out.steps[bad] + taken
        out.put(bad, again)
        for s in np.flatnonzero(~out.good & ~structure.fed & ~out.overloaded) if last else ():
            one = np.array([s])
            _alternate(eq.take(one), structure.take(one), out.point.take(one), out, one)


def _alternate(eq: Equations, structure: Structure, point: Point, out: Solved, one: NDArray[np.intp]) -> None:
    """Flows and temperatures alternately in one scenario that Newton's method left unsolved."""
    found = alternate(eq, point, structure.anchors)
    if found is not None and found.good[0]:
        found.steps += out.steps[one]
        out.put(one, found)
