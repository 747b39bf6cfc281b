"""Operating points of fans that can work on a rising stretch of their curve, and of tees.

Two such fans on one box can have several operating points; so can a tee whose branch loses less the more it
carries. The answer is the one reached by running up from standstill; others of fans that are found are
listed, each with its stability.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .chords import by_chords
from .equations import Equations
from .heat import advected
from .newton import iterate
from .point import Point, Solved
from .rising import curves, falls_around, only, several
from .step import newton_step
from .structure import Structure, open_patterns
from .transient import Run, beside, inertance, run_up, standstill
from .values import some_columns

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Index = NDArray[np.intp]

FIRST_LEG = 26  # time steps of a run-up before the first look at where it leads
STEADY = 0.03  # of their usual flow in one of these steps: fans that are worth a look
LEGS = (6, 8, 10, 12, 20, 40, 80, 120)  # between further looks
ROUGHLY = 100  # scenarios and more begin in single precision
AHEAD, LEG_POLISH = 6, 4  # Newton steps of a look, in single precision, and then in double
FINE_STEP = 1e-6  # of each flow, after which that ends: points may be close by one another
RUN_UP_STEPS = 600
POLISH_STEPS = 40
PUSH = 0.01
ROUNDS, ROUND_STEPS = 2, 1000  # for the few that have not settled by then
CHORD_STEPS = 100
CREEPING = 1e-3  # of the largest flow in a round: further rounds would lead nowhere
TIPPED = (0.01, -0.01, 0.05, -0.05, 0.2, -0.2, 0.5, -0.5)  # of the largest flow, along the fastest growth
STACKED = 256  # scenarios whose matrices are made at once
MOST_PATHS = 400  # above, eigenvalues cost more than they tell and the run-up itself is the evidence
NEAR_FAN = 0.05  # of a fan's usual flow: nearer than that it has arrived, once it rests
RESTING = 1e-4  # of their usual flow in a time step: slower fans are not carried past a point beside them
TURNS = 4.0  # times the flow below which the air at both its ends mixes
FAR = 0.25  # of what a tee carries: a start further off is not one from nearby
FAR_RISE = 3.0  # K, likewise
WEAK = 0.15  # of a fan's usual flow: with less it may as well be blown through
FAR_BACK = 3.0  # times the root of the share of the temperature: blown through further back it stays so
ALIKE_RISE = 0.1  # K: air so much alike holds a fan up within a few ten thousandths of its pressure only
SOUND = 340.0  # m/s
SAME = 1e-6  # of the largest flow: two points closer than this are one


def doubtful(eq: Equations, solved: Solved, sure: Mask | None = None) -> NDArray[np.intp]:
    """Scenarios whose point may not be the one that running up reaches.

    A fan's curve comes back to the pressure that it works at, or warm air may hold it up; or another path, as
    the branch of a tee, loses less the more it carries, and a small disturbance would grow. Scenarios that
    are `sure` had no other point where they started, which was close by.
    """
    flow = solved.point.flow
    # where a flow is about to turn, mixing of the air at both ends tilts the curve; that is no stretch of it
    falling = (solved.slope < 0.0) & (np.abs(flow) > eq.turning) & solved.good
    out: Mask = np.asarray(falling[eq.system.fans].any(axis=0))
    left = solved.good & ~out
    some = np.flatnonzero(left & curves(eq)[0] if sure is None else left & ~sure)
    if len(some):
        part = eq if len(some) == eq.scenarios else eq.take(some)
        out[some] = ~only(part, solved.point.take(some), some_columns(solved.density, some))
    out |= solved.good & _held_by_heat(eq, solved.point)
    unsure = np.flatnonzero(falling.any(axis=0) & ~out)
    if len(unsure):
        out[unsure] = ~stable(eq.take(unsure), solved.point.take(unsure))
    return np.flatnonzero(out)


def _held_by_heat(eq: Equations, point: Point) -> Mask:
    """Scenarios in which a fan hardly delivers, or is blown through backwards by air of another temperature.

    Warm air that blows back through it is lighter than what it would draw, by as much of its pressure as of
    the temperature: it may go on either way, but for what only a flow far back stands against.
    """
    warm, rows = point.temperature_rise, eq.system.fans
    if warm is None or not len(rows):
        return np.zeros(eq.scenarios, dtype=bool)
    apart = np.abs(warm[eq.system.start[rows]] - warm[eq.system.finish[rows]])
    flow, usual = point.flow[rows], np.abs(eq.guess[rows])
    weak = (flow < WEAK * usual) & (flow > -(WEAK + FAR_BACK * np.sqrt(apart / eq.temperature)) * usual)
    return np.asarray((weak & (apart > ALIKE_RISE)).any(axis=0))


def start_too_far(eq: Equations, start: Point, solved: Solved) -> Mask:
    """Scenarios whose start was so far off that it may have led to another stable point.

    The drops of tees fall in places as their flow rises; warm air that rises, or a fan that draws air of its
    own temperature, can go on moving the way it moves. What such a network answers must not depend on where
    somebody began. With resistances, falling fans and given temperatures there is one answer; of fans whose
    curve rises, `doubtful` tells.
    """
    out = np.zeros(eq.scenarios, dtype=bool)
    flow, began = solved.point.flow, start.flow
    if solved.point.temperature_rise is not None:
        before = 0.0 if start.temperature_rise is None else start.temperature_rise
        out |= (np.abs(solved.point.temperature_rise - before) > FAR_RISE).any(axis=0)
    for lg in several(eq):
        one, two = lg.rows, lg.partners
        moved = np.abs(flow[one] - began[one]) + np.abs(flow[two] - began[two])
        out |= (moved > FAR * (np.abs(flow[one]) + np.abs(flow[two]))).any(axis=0)
    return out


@dataclass
class Waiting:
    """Scenarios that are still on their way: their places, how the air runs, time steps and legs taken."""

    places: Index
    run: Run
    steps: int
    legs: int = 0


def settle(eq: Equations, structure: Structure, known: Solved) -> Solved:
    """The points reached by running up from standstill, found by Newton's method once that is certain.

    What no run-up leads to is left as it is `known`, and not good.
    """
    out = known.take(np.arange(eq.scenarios))
    left = begin(eq, structure, out)
    if len(left.places):
        go_on(eq.take(left.places), structure.take(left.places), left, out)
    return out


def begin(eq: Equations, structure: Structure, out: Solved) -> Waiting:
    """Run up for some time steps; what arrives goes into `out`, what has not is returned.

    Many run in single precision, for Newton's method finds the point itself: the run-up only tells which.
    """
    many = eq.scenarios >= ROUGHLY
    way = eq.rough() if many else eq
    run = Run.of(way, standstill(way), structure.anchors, careful=True)
    waiting, before = Waiting(np.arange(eq.scenarios), run, 0), out.steps.copy()
    _run(waiting, FIRST_LEG)
    _look(waiting, eq, out, before)
    return waiting


def go_on(
    eq: Equations, structure: Structure, left: Waiting, out: Solved, least: int = 0, until: int | None = None
) -> None:
    """Let scenarios run on until all have come to rest; `eq` and `structure` are theirs.

    Or until fewer than so many are `left`, or they have taken so many legs: they may run on in company.
    """
    everything = left.places
    before = out.steps.copy()
    while left.legs < len(LEGS):
        if left.run.eq.rough_numbers and len(left.places) < ROUGHLY:
            left.run = left.run.precise(eq)
        _run(left, LEGS[left.legs])
        left.legs += 1
        eq = _look(left, eq, out, before)
        if len(left.places) <= least or left.legs == until:
            return
    if left.run.eq.rough_numbers:  # rounding moves the small flows of what has not arrived by now
        left.run = left.run.precise(eq)
        _run(left, LEGS[-1])
    place = left.places
    at = np.searchsorted(everything, place)
    again = _settle(eq, structure.take(at), left.run.point, left.run.calm)
    again.steps += left.steps + before[place]
    out.put(place, again)
    left.places = place[:0]


def _run(waiting: Waiting, steps: int) -> None:
    mass = inertance(waiting.run.eq)
    for _ in range(steps):
        waiting.run.step(mass)
    waiting.steps += steps


def _look(waiting: Waiting, eq: Equations, out: Solved, before: Index) -> Equations:
    """Put scenarios that have arrived into `out` and wait for them no longer; the others' equations.

    `eq` are those of all that wait, in double precision.
    """
    run = waiting.run
    ready = np.flatnonzero(run.drift <= STEADY)
    if not len(ready):
        return eq
    close, part = run.take(ready), eq.take(ready)
    start = _ahead(close) if close.eq.rough_numbers else close.point
    found = iterate(part, _precise(part, start), close.anchors, LEG_POLISH, damped=False, ending=FINE_STEP)
    there = np.flatnonzero(_arrived(close, part, found))
    place = waiting.places[ready[there]]
    found = found.take(there)
    found.steps += waiting.steps + before[place]
    out.put(place, found)
    left = np.ones(len(waiting.places), dtype=bool)
    left[ready[there]] = False
    waiting.places, waiting.run = waiting.places[left], run.take(left)
    return eq.take(left)


def _precise(eq: Equations, point: Point) -> Point:
    """A point in double precision; pressures of held nodes are the equations' own, with all their digits."""
    out = point.precise()
    out.pressure[eq.system.free :] = eq.held
    return out


def _ahead(run: Run) -> Point:
    """Where full steps lead from where the air is, temperatures following by a path a step."""
    eq, point = run.eq, run.point
    with np.errstate(all="ignore"):
        for _ in range(AHEAD):
            values = eq.evaluate(point.flow, point.pressure, point.temperature_rise)
            step = newton_step(eq, values, point, run.anchors)
            flow, pressure = point.flow + step.flow, point.pressure + step.pressure
            warm = point.temperature_rise
            warm = None if warm is None else advected(eq, flow, warm, values.density)
            point = Point(flow, pressure, warm)
    return point


def _arrived(run: Run, eq: Equations, found: Solved) -> Mask:
    """Scenarios in which air on its way can only come to rest at the point that Newton's method found.

    The sum of each inertia times the square of its flow's distance from there falls as long as every drop is
    on its own side of that point's. So no flow goes further from the point than that sum allows: where no
    fan's curve comes back within that reach, all come to rest there. Or each fan has come near and rests. Air
    in tees, where small flows decide, must be beside its own.
    """
    at, flow = run.point, found.point.flow
    out = found.good & ~supersonic(eq, found)
    if found.point.temperature_rise is not None and at.temperature_rise is not None:
        out &= (np.abs(found.point.temperature_rise - at.temperature_rise) <= FAR_RISE).all(axis=0)
    if several(eq) or not eq.system.fan_rows:
        out &= beside(at.flow, flow)
    rows = eq.system.fans
    with np.errstate(all="ignore"):
        off = (np.abs(at.flow - flow)[rows] / np.abs(eq.guess[rows])).max(axis=0, initial=0.0)
    some = np.flatnonzero(out & ~((off <= NEAR_FAN) & (run.drift <= RESTING)))
    if len(some):  # a fan about to turn may have two points that its curve knows nothing of: it must rest
        turns: Mask = np.asarray((np.abs(flow) < TURNS * eq.turning)[rows].any(axis=0))
        part, end = eq.take(some), some_columns(flow, some)
        mass, way = inertance(part), some_columns(at.flow, some) - end
        reach = np.sqrt((mass * way * way).sum(axis=0) / mass)
        falls = falls_around(part, end, reach, some_columns(found.density, some))
        out[some] = falls & ~turns[some]
    falling = (found.slope < 0.0) & (np.abs(flow) > eq.turning)
    some = np.flatnonzero(out & falling.any(axis=0))
    if len(some):
        out[some] = stable(eq.take(some), found.point.take(some))
    return out


def supersonic(eq: Equations, solved: Solved) -> Mask:
    """Scenarios in which air is faster than sound somewhere: such a start misled, begin anew.

    The laws know no such speeds; at several of them a jet would lift air without any power.
    """
    area = eq.area
    with np.errstate(all="ignore"):
        fast = np.abs(solved.point.flow) > SOUND * solved.density * area
    return np.asarray((fast & (area > 0.0)).any(axis=0))


def _settle(eq: Equations, structure: Structure, point: Point, calm: Mask) -> Solved:
    """Polish points that running up reached; what stands on a knife's edge is pushed and runs on."""
    out = iterate(eq, point, structure.anchors, POLISH_STEPS, damped=True)
    tipping = np.flatnonzero(out.good & ~stable(eq, out.point))
    if len(tipping):  # a balance on a knife's edge: push it a little and let it run on
        part, pushed = eq.take(tipping), out.point.take(tipping)
        rows = list(eq.system.fan_rows) or list(range(eq.system.paths))
        pushed.flow[rows] *= 1.0 + PUSH * np.arange(1, 1 + len(rows))[:, None]
        anchors = structure.take(tipping).anchors
        further, still, _ = run_up(part, pushed, anchors, RUN_UP_STEPS, careful=True)
        out.put(tipping, iterate(part, further, anchors, POLISH_STEPS, damped=True))
        point.put(tipping, further)
        calm[tipping] = still
    with np.errstate(all="ignore"):
        drift = np.abs(out.point.flow - point.flow).max(axis=0)
        near = drift <= 0.02 * np.abs(point.flow).max(axis=0)
    out.good &= near | ~calm
    for s in tipping[out.good[tipping]]:
        if not is_stable(eq.take([s]), out.point.take([s])):
            one = None if structure.anchors is None else structure.anchors[:, [s]]
            _run_on(eq.take([s]), one, point.take([s]), out, s)
    return out


def _run_on(eq: Equations, anchors: Array | None, point: Point, out: Solved, s: int) -> None:
    """Let a scenario that had not settled run on, by chords then; where that leads nowhere, tip it over."""
    for _ in range(ROUNDS):
        before = point.flow
        point, _, _ = run_up(eq, point, anchors, ROUND_STEPS, careful=True)
        creeps = np.abs(point.flow - before).max() <= CREEPING * np.abs(before).max()
        found = iterate(eq, point.take([0]), anchors, POLISH_STEPS, damped=True)
        if found.good[0] and is_stable(eq, found.point):
            out.put([s], found)
            return
        if creeps:
            break
    point, _ = by_chords(eq, point, anchors, CHORD_STEPS)
    found = iterate(eq, point.take([0]), anchors, POLISH_STEPS, damped=True)
    if found.good[0] and is_stable(eq, found.point):
        out.put([s], found)
        return
    unstable = out.point.take([s])
    rate, way = _motions(eq, unstable)
    fastest = way[:, np.argmax(rate.real)].real
    fastest *= np.abs(unstable.flow).max() / np.abs(fastest).max()
    for push in TIPPED:
        start = Point(unstable.flow + push * fastest[:, None], unstable.pressure, unstable.temperature_rise)
        found = iterate(eq, start, anchors, POLISH_STEPS, damped=True)
        if found.good[0] and is_stable(eq, found.point):
            out.put([s], found)
            return


def stable(eq: Equations, point: Point) -> Mask:
    """Scenarios in which a small disturbance of the flows dies out, by the eigenvalues of the linear system.

    Networks of more than `MOST_PATHS` paths are taken as stable where a run-up ended.
    """
    system = eq.system
    out = np.ones(eq.scenarios, dtype=bool)
    if system.paths > MOST_PATHS or not len(out):
        return out
    patterns, which = open_patterns(system, eq.shut, eq.scenarios)
    for p, is_open in enumerate(patterns):
        some = np.flatnonzero(which == p)
        for at in range(0, len(some), STACKED):
            few = some[at : at + STACKED]
            out[few] = _stable(eq.take(few), point.take(few), is_open)
    return out


def _stable(eq: Equations, point: Point, is_open: Mask) -> Mask:
    """The same for scenarios with the same paths open: by the energy first, then by eigenvalues.

    What the air has in motion falls at every disturbance when the loops' slopes are positive definite.
    """
    loops, mass, slope = _loops(eq, point, is_open)
    out = np.array([_definite(s) for s in slope], dtype=bool)
    some = np.flatnonzero(~out & np.isfinite(slope).all(axis=(1, 2)))
    if len(some) and loops.shape[1]:
        rate = np.linalg.eigvals(-np.linalg.solve(mass[some], slope[some]))
        out[some] = rate.real.max(axis=1) < 0.0
    return out


def _definite(slope: Array) -> bool:
    """Whether the symmetric part is positive definite by far more than rounding."""
    from scipy.linalg.lapack import dpotrf

    both = slope + slope.T
    np.fill_diagonal(both, both.diagonal() * (1.0 - 1e-9))
    return len(slope) == 0 or bool(np.isfinite(both).all() and dpotrf(both)[1] == 0)


def is_stable(eq: Equations, point: Point) -> bool:
    """`stable` of a single scenario."""
    return bool(stable(eq, point)[0])


def _loops(eq: Equations, point: Point, is_open: Mask) -> tuple[Array, Array, Array]:
    """The loops (open paths, L) that flows can go round; inertances and slopes of these, (S, L, L).

    The flows obey inertance x dm/dt = P_from - P_to - drop(m) with the nodes balanced.
    """
    system, count = eq.system, eq.scenarios
    with np.errstate(all="ignore"):
        values = eq.evaluate(point.flow, np.nan_to_num(point.pressure), point.temperature_rise)
        slope = np.zeros((count, system.paths, system.paths))
        every = np.arange(system.paths)
        slope[:, every, every] = values.slope.T
        for lg, ((g11, g12), (g21, g22)) in zip(system.pairs, values.pair_gain, strict=True):
            determinant = g11 * g22 - g12 * g21
            one, two = every[lg.rows], every[lg.partners]
            slope[:, one, two], slope[:, two, one] = (-g12 / determinant).T, (-g21 / determinant).T
    loops = system.loops(is_open)
    mass = np.broadcast_to(inertance(eq), (system.paths, count))[is_open].T
    slope = slope[:, is_open][:, :, is_open]
    return loops, loops.T @ (mass[:, :, None] * loops), loops.T @ slope @ loops


def _motions(eq: Equations, point: Point) -> tuple[Any, Any]:
    """Rates [1/s] at which small disturbances of one scenario grow, and the flows of each, (paths, rates)."""
    (is_open,), _ = open_patterns(eq.system, eq.shut, 1)
    loops, mass, slope = _loops(eq, point, is_open)
    rate, own = np.linalg.eig(-np.linalg.solve(mass[0], slope[0]))
    way = np.zeros((eq.system.paths, len(rate)), dtype=complex)
    way[is_open] = loops @ own
    return rate, way


def other_points(eq: Equations, structure: Structure, found: Point) -> list[tuple[Solved, bool]]:
    """Further operating points of one scenario and their stability, from starts that favour one fan."""
    system = eq.system
    rows = system.fans
    guess = np.broadcast_to(eq.guess, (system.paths, 1))
    out: list[tuple[Solved, bool]] = []
    for favoured in rows if len(rows) > 1 else []:
        for share in (-0.5, -0.2, 0.1, 0.4):
            flow = found.flow.copy()
            flow[rows] = share * guess[rows]
            flow[favoured] = 1.2 * guess[favoured]
            again = iterate(
                eq,
                Point(flow, found.pressure.copy(), _copy(found.temperature_rise)),
                structure.anchors,
                POLISH_STEPS,
                True,
            )
            if again.good[0] and not any(_same(again.point, p) for p in (found, *(s.point for s, _ in out))):
                out.append((again, is_stable(eq, again.point)))
    return out


def _copy(values: Array | None) -> Any:
    return None if values is None else values.copy()


def _same(one: Point, two: Point) -> bool:
    size = np.abs(one.flow).max()
    return bool(np.abs(one.flow - two.flow).max() <= SAME * size)
