"""Derivatives of any question in every number, from one factorisation.

The residual of a path depends only on its own part's numbers, so one field is nudged in all parts of a
schema at once: two law evaluations a field. A shared number (air, drive) is nudged by itself. Then one
adjoint solve a question. No law writes parameter slopes, and a new part gets its sensitivities for free.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .groups import LawGroup
from .heat import COLDEST, HOTTEST, advected, ambient_inflow
from .numbers import Numbers
from .point import Solved
from .system import System

Array = NDArray[np.float64]
Index = NDArray[np.intp]
Mask = NDArray[np.bool_]

LARGEST_DENSE = 400
"""Unknowns up to which LAPACK solves for all questions at once; larger matrices are nearly all zeros."""
RELATIVE_STEP = 1e-5
WARMTH_STEP = 1e-2  # K


@dataclass
class Gradient:
    """How a question answers to the unknowns: by flows (paths,), pressures (nodes,) and rises (nodes,)."""

    flow: Array
    pressure: Array
    temperature_rise: Array


class Linear:
    """The equations of solved scenarios, each linearised and factorised by itself, all at once.

    Nudges of C scenarios are columns of one evaluation, those of a scenario side by side.

    The unknowns in order: flows of all paths, pressures of free nodes, and, where fans warm the air,
    temperatures of all nodes but outside.
    """

    def __init__(self, system: System, numbers: Numbers, solved: Solved) -> None:
        self.system = system
        self.numbers = numbers
        self.flow = solved.point.flow
        self.pressure = np.nan_to_num(solved.point.pressure)
        self.eq = numbers.equations(system)
        self.heated = self.eq.heated and solved.point.temperature_rise is not None
        self.temperature_rise = solved.point.temperature_rise if self.heated else None
        self.entering = self.eq.entering(self.flow, self.temperature_rise)
        self.shut = None if self.eq.shut is None else np.broadcast_to(self.eq.shut, self.flow.shape)
        with np.errstate(all="ignore"):
            self._values = self.eq.evaluate(self.flow, self.pressure, None, entering=self.entering)
            if self.heated:
                self._nudge()
            self._solved = self._factorise()

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return self.system.paths + self.system.free + (len(self.system.nodes) - 1 if self.heated else 0)

    @property
    def scenarios(self) -> int:
        """Number of scenarios C."""
        return int(self.flow.shape[1])

    def _each(self, values: Array, columns: int) -> Array:
        """Values (rows, C) repeated for so many columns of each scenario."""
        return np.repeat(values, columns, axis=1)

    # ---- the matrix

    def _factorise(self) -> Callable[[Array], Array]:
        """What solves the transposed systems for right-hand sides (C, size, questions)."""
        count, size = self.scenarios, self.size
        places: list[Any] = []
        values: list[Any] = []

        def add(i: Any, j: Any, v: Any) -> None:
            """Entries of all scenarios: rows, columns and values, arrays (K,) or (K, C)."""
            i, j, v = (a if np.ndim(a) == 2 else np.asarray(a)[:, None] for a in (i, j, v))
            keep = np.broadcast_to((j >= 0) & (v != 0.0), (len(i), count))
            places.append(((np.arange(count) * size + j) * size + i)[keep])
            values.append(np.broadcast_to(v, keep.shape)[keep])

        self._pressure_rows(add)
        self._balance_rows(add)
        if self.heated:
            self._temperature_rows(add)
        held = self._at_limit
        if held.any():  # a node as hot as is followed answers to nothing
            scenario, row = np.nonzero(held)
            values = [
                np.where(held[p // (size * size), p % size], 0.0, v)
                for p, v in zip(places, values, strict=True)
            ]
            places.append((scenario * size + row) * size + row)
            values.append(np.ones(len(row)))
            solved = self._solving(places, values)
            return lambda right: np.where(held[:, :, None], 0.0, solved(right))
        return self._solving(places, values)

    @property
    def _at_limit(self) -> Mask:
        """The unknowns that are temperatures at either end of what is followed, (C, size)."""
        out = np.zeros((self.scenarios, self.size), dtype=bool)
        if self.temperature_rise is not None:
            rise = self.temperature_rise[:-1]
            out[:, self.system.paths + self.system.free :] = ((rise >= HOTTEST) | (rise <= COLDEST)).T
        return out

    def _solving(self, places: list[Any], values: list[Any]) -> Callable[[Array], Array]:
        """The same for a matrix by its entries."""
        count, size = self.scenarios, self.size
        place, value = np.concatenate(places), np.concatenate(values)
        if size <= LARGEST_DENSE:  # the sparse library takes longer to load than many of these to solve
            matrix: Any = np.bincount(place, value, count * size * size).reshape(count, size, size)
            largest = np.abs(matrix).max(axis=2, keepdims=True)
            largest[largest == 0.0] = 1.0  # rows of one size, as the sparse library makes them too
            even = matrix / largest
            return lambda right: np.asarray(np.linalg.solve(even, right / largest), dtype=np.float64)
        from scipy.sparse import csc_matrix
        from scipy.sparse.linalg import splu

        scenario, within = np.divmod(place, size * size)
        column, row = np.divmod(within, size)
        factors: list[Any] = []
        for c in range(count):
            own = scenario == c
            factors.append(splu(csc_matrix((value[own], (row[own], column[own])), shape=(size, size))))
        return lambda right: np.array([f.solve(r, trans="T") for f, r in zip(factors, right, strict=True)])

    def _pressure_rows(self, add: Any) -> None:
        """P_from - P_to - drop = 0; m = 0 on a shut path."""
        system, eq = self.system, self.eq
        count = system.singles
        v = self._values
        ends = np.vstack([system.start, system.finish])
        single = np.arange(count)
        live = np.ones((system.paths, 1)) if self.shut is None else np.where(self.shut, 0.0, 1.0)
        add(single, single, -v.slope[:count] * live[:count])
        first: Any = 1.0 if v.first is None else v.first
        second: Any = -1.0 if v.second is None else v.second
        add(single, self._pressure_column(ends[0, :count]), first * live[:count])
        add(single, self._pressure_column(ends[1, :count]), second * live[:count])
        pairs = [c.group for c in eq.coefficients if c.group.partners is not None]
        for lg, gain, answers in zip(pairs, v.pair_gain, v.pair_answers, strict=True):
            one, two = np.arange(system.paths)[lg.rows], np.arange(system.paths)[lg.partners]
            (s11, s12), (s21, s22) = self._pair_slopes(lg, gain, live)
            add(one, one, -s11)
            add(one, two, -s12)
            add(two, one, -s21)
            add(two, two, -s22)
            for end in range(3):
                node = self._pressure_column(lg.pair_ends[end])
                add(one, node, answers[0, end] * live[one])
                add(two, node, answers[1, end] * live[two])
        add(np.arange(system.paths), np.arange(system.paths), 1.0 - live)
        if self.heated:
            self._temperature_in_pressure(add, live)

    def _pair_slopes(self, lg: LawGroup, gain: Any, live: Array) -> Any:
        """The 2 x 2 slopes of a group of pairs; where air is warmed, that of their mixture included."""
        one, two = live[lg.rows] > 0.0, live[lg.partners] > 0.0
        both = one & two
        if not self.heated:
            (g11, g12), (g21, g22) = gain
            inverse = 1.0 / np.where(both, g11 * g22 - g12 * g21, 1.0)
            s11, s22, s12, s21 = g22 * inverse, g11 * inverse, -g12 * inverse, -g21 * inverse
            s11, s22 = np.where(both, s11, 1.0 / g11), np.where(both, s22, 1.0 / g22)
        else:
            first, partner = self._heated_pairs
            (s11, s12), (s21, s22) = ((first[r], partner[r]) for r in (lg.rows, lg.partners))
        return (
            (np.where(one, s11, 0.0), np.where(both, s12, 0.0)),
            (np.where(both, s21, 0.0), np.where(two, s22, 0.0)),
        )

    def _pressure_column(self, nodes: Any) -> Any:
        return np.where(nodes < self.system.free, self.system.paths + nodes, -1)

    def _temperature_column(self, paths: Any) -> Any:
        """The unknown that gives the temperature of the air entering paths, (K, C); -1 where none does."""
        system, ahead = self.system, self.flow >= 0.0
        up = np.where(ahead, system.start[:, None], system.finish[:, None])
        column = np.where(up < len(system.nodes) - 1, system.paths + system.free + up, -1)
        for p in self.eq.powers:
            if p.inlet is not None:
                column[p.rows] = np.where(~np.isnan(p.inlet) & ahead[p.rows], -1, column[p.rows])
        return column[paths]

    def _temperature_in_pressure(self, add: Any, live: Array) -> None:
        """How each path's drop answers to the temperature of the air entering it, or its partner."""
        system, partners = self.system, self._partners
        other = np.arange(system.paths)
        for lg in system.pairs:
            other[lg.rows] = np.arange(system.paths)[lg.partners]
            other[lg.partners] = np.arange(system.paths)[lg.rows]
        for nudged, by_warmth in zip((~partners, partners), self._by_warmth, strict=False):
            slope = -by_warmth * live
            own = np.flatnonzero(nudged)
            add(own, self._temperature_column(own), slope[own])
            mate = own[other[own] != own]
            add(other[mate], self._temperature_column(mate), slope[other[mate]])

    @cached_property
    def _partners(self) -> NDArray[np.bool_]:
        """Which paths are the second of a pair."""
        out = np.zeros(self.system.paths, dtype=bool)
        for lg in self.system.pairs:
            out[lg.partners] = True
        return out

    def _nudge(self) -> None:
        """How drops of warmed air answer to what is not in the laws' own slopes, all in one evaluation.

        Into columns, each raised and lowered: the temperature of the air that enters a path that is no
        partner; where there are pairs, that of partners, the flow of pairs' first paths, that of partners.
        """
        assert self.entering is not None
        partners, size = self._partners, np.abs(self.flow)
        first = np.zeros_like(partners)
        for lg in self.system.pairs:
            first[lg.rows] = True
            size[lg.rows] = size[lg.partners] = np.maximum(size[lg.rows], size[lg.partners])
        warmth, step = np.full_like(size, WARMTH_STEP), RELATIVE_STEP * np.maximum(size, 1e-6)
        pairs = [(1, partners, warmth), (0, first, step), (0, partners, step)] if first.any() else []
        nudges = [(1, ~partners, warmth), *pairs]
        count, wide = self.scenarios, 2 * len(nudges)
        flow, pressure, entering = (self._each(a, wide) for a in (self.flow, self.pressure, self.entering))
        for i, (what, paths, by) in enumerate(nudges):
            moved = (flow, entering)[what].reshape(len(size), count, wide)
            moved[paths, :, 2 * i] += by[paths]
            moved[paths, :, 2 * i + 1] -= by[paths]
        eq = self.eq if count == 1 else self.eq.take(np.repeat(np.arange(count), wide))
        drop = eq.evaluate(flow, pressure, None, slopes=False, entering=entering).drop
        drop = drop.reshape(len(size), count, wide)
        slopes = [
            (drop[:, :, 2 * i] - drop[:, :, 2 * i + 1]) / (2.0 * by) for i, (_, _, by) in enumerate(nudges)
        ]
        self._by_warmth, self._heated_pairs = slopes[:2], slopes[2:]

    def _balance_rows(self, add: Any) -> None:
        """Outflow - inflow = supply; a floating piece is pinned at one node."""
        system = self.system
        out = system.outflow
        add(system.paths + out.rows, out.columns, out.values)
        structure = self.eq.structure
        if structure.anchors is not None:
            node = np.arange(system.free)
            add(system.paths + node, system.paths + node, structure.anchors)

    def _temperature_rows(self, add: Any) -> None:
        """Node temperature rise x inflow - what the inflow carries = 0."""
        system, eq = self.system, self.eq
        assert self.temperature_rise is not None and self.entering is not None
        base = system.paths + system.free
        m, entering, temperature_rise = self.flow, self.entering, self.temperature_rise
        path = np.arange(system.paths)
        into, total = self._into, self._inflow
        inner = into < len(system.nodes) - 1
        row = base + into
        total[: system.free] += np.maximum(eq.supply, 0.0)
        total[: system.free] += ambient_inflow(total[: system.free])
        node = np.arange(len(system.nodes) - 1)
        add(base + node, base + node, np.where(total[:-1] > 0.0, total[:-1], 1.0))
        there = np.take_along_axis(temperature_rise, into, axis=0)
        add(row, path, np.where(inner, np.sign(m) * (there - entering), 0.0))
        add(row, self._temperature_column(path), np.where(inner, -np.abs(m), 0.0))
        fans = system.fans
        rho = self._values.density
        keep = inner[fans] & (m[fans] != 0.0)
        by_flow, by_density = (np.where(keep, by, 0.0) for by in self._power_slopes(rho))
        warm = eq.temperature + entering[fans]
        add(row[fans], fans, -by_flow)
        per = eq.per_pressure_at(system.start[fans])
        relative = eq.temperature / warm
        add(row[fans], self._pressure_column(system.start[fans]), -by_density * per * relative)
        add(row[fans], self._temperature_column(fans), by_density * (rho[fans] / warm))

    @property
    def _into(self) -> Index:
        """The node that the air of each path enters, (paths, C)."""
        return np.where(self.flow >= 0.0, self.system.finish[:, None], self.system.start[:, None])

    @property
    def _inflow(self) -> Array:
        """What flows into each node [kg/s], (nodes, C)."""
        shape = len(self.system.nodes), self.scenarios
        place = self._into * self.scenarios + np.arange(self.scenarios)
        found = np.bincount(place.ravel(), np.abs(self.flow).ravel(), shape[0] * shape[1])
        return found.astype(float, copy=False).reshape(shape)

    def _power_slopes(self, density: Array) -> tuple[Array, Array]:
        """How the heat share of each fan [K kg/s] answers to its flow and its density."""
        eq = self.eq
        by = []
        for flow_share, density_share in ((1.0, 0.0), (0.0, 1.0)):
            step = RELATIVE_STEP * (
                flow_share * np.maximum(np.abs(self.flow), 1e-3) + density_share * np.abs(density)
            )
            up = eq.power(self.flow + flow_share * step, density + density_share * step)
            down = eq.power(self.flow - flow_share * step, density - density_share * step)
            rows = self.system.fans
            by.append((up - down) / (2.0 * step[rows]) / eq.heat_capacity)
        return by[0], by[1]

    # ---- use

    def warmed(self, row: int) -> Index:
        """The equation of the node that a path's air warms, (C,); -1 for outside or no flow."""
        system, into = self.system, self._into[row]
        nowhere = (self.flow[row] == 0.0) | (into == len(system.nodes) - 1)
        return np.where(nowhere, -1, system.paths + system.free + into)

    def adjoints(self, gradients: Sequence[Gradient]) -> Array:
        """Every question's answer to each equation's residual, (C, questions, size)."""
        right = np.zeros((self.scenarios, self.size, len(gradients)))
        for q, g in enumerate(gradients):
            warm = (g.temperature_rise[:-1],) if self.heated else ()
            right[:, :, q] = np.concatenate([g.flow, g.pressure[: self.system.free], *warm]).T
        return self._solved(right).transpose(0, 2, 1)

    def _drawn(self, eq: Any) -> Array:
        """Heat in the air that fans draw in at a temperature of their own [K kg/s], (fans, S)."""
        out = np.zeros((self.system.paths, eq.scenarios))
        for p in eq.powers:
            if p.inlet is not None:  # NaN, where the air is the node's, counts as none
                out[p.rows] = np.maximum(self.flow[p.rows], 0.0) * np.nan_to_num(p.inlet - eq.temperature)
        return out[self.system.fans]

    def residuals(self, numbers: Numbers) -> tuple[Array, Array]:
        """Residuals at the solved points with other numbers (size, S); heat of fans [K kg/s] (fans, S).

        The S columns are as many for each scenario, side by side.
        """
        eq = numbers.equations(self.system)
        wide = numbers.scenarios // self.scenarios
        flow, pressure = self._each(self.flow, wide), self._each(self.pressure, wide)
        pressure[self.system.free :] = numbers.held
        temperature_rise = None if self.temperature_rise is None else self._each(self.temperature_rise, wide)
        with np.errstate(all="ignore"):
            v = eq.evaluate(flow, pressure, temperature_rise)
            shut = None if self.shut is None else self._each(self.shut, wide)
            residual = v.residual if shut is None else np.where(shut, 0.0, v.residual)
            balance = self.system.outflow @ flow - numbers.supply
            parts = [residual, np.broadcast_to(balance, (self.system.free, numbers.scenarios))]
            shares = np.empty((0, numbers.scenarios))
            if temperature_rise is not None:
                inflow = self._inflow[:-1]
                total = self._each(np.where(inflow > 0.0, inflow, 1.0), wide)
                total[: self.system.free] += np.maximum(numbers.supply, 0.0)
                total[: self.system.free] += ambient_inflow(total[: self.system.free])
                parts.append(
                    total * (temperature_rise - advected(eq, flow, temperature_rise, v.density))[:-1]
                )
                shares = eq.power(flow, v.density) / eq.heat_capacity + self._drawn(eq)
        return np.concatenate(parts), shares


def field_nudges(
    system: System, numbers: Numbers, wanted: frozenset[str]
) -> tuple[Numbers, list[tuple[int, int, Array]]]:
    """Numbers with two columns for each number of each group: that number raised and lowered in all members.

    So for each scenario, side by side. Numbers of which no member's address is wanted are left out.

    Returns the numbers and, per number, (group, number, steps of its members (members, C or 1)).
    """
    plan: list[tuple[int, int, Array]] = []
    for g, numbers_of_group in enumerate(numbers.parts):
        for k, v in enumerate(numbers_of_group):
            if wanted.isdisjoint(system.groups[g].addresses[k]):
                continue
            size = np.abs(v)
            typical = size.sum(axis=0) / np.maximum((size > 0.0).sum(axis=0), 1)
            floor = 1e-2 * np.where(typical > 0.0, typical, 1.0)
            plan.append((g, k, RELATIVE_STEP * np.maximum(size, floor)))
    count, wide = numbers.scenarios, 2 * len(plan)
    out = numbers.some(np.repeat(np.arange(count), wide))
    out.parts = [list(own) for own in out.parts]  # those without columns are the numbers' own
    for c, (g, k, step) in enumerate(plan):
        value = out.parts[g][k]
        if value.shape[1] == 1:
            value = np.repeat(value, count * wide, axis=1)
        column = value.reshape(-1, count, wide)
        column[:, :, 2 * c] += step
        column[:, :, 2 * c + 1] -= step
        out.parts[g][k] = value
    return out, plan


def field_derivatives(linear: Linear, adjoints: Array, wanted: frozenset[str]) -> dict[str, Array]:
    """Address -> derivative of each question in that number (C, questions); `adjoints` as of `Linear`.

    All that are wanted are among them, but for those that are no part's own.
    A number at the edge of its range, where its part is shut, gets 0: the flow there does not answer.
    """
    system, count = linear.system, linear.scenarios
    nudged, plan = field_nudges(system, linear.numbers, wanted)
    if not plan:
        return {}
    residual, shares = (a.reshape(len(a), count, 2 * len(plan)) for a in linear.residuals(nudged))
    moved, heat = residual[:, :, 0::2] - residual[:, :, 1::2], shares[:, :, 0::2] - shares[:, :, 1::2]
    fans = [(i, row, linear.warmed(row)) for i, row in enumerate(system.fan_rows) if linear.heated]
    out: dict[str, Array] = {}
    for g in dict.fromkeys(g for g, _, _ in plan):
        own = [c for c, (group, _, _) in enumerate(plan) if group == g]
        rows = system.rows_of(g)
        change = moved[rows][..., own].transpose(2, 3, 0, 1)  # (C, numbers, members, paths of each)
        answers = (adjoints[:, None, :, rows] * change[:, :, None]).sum(axis=4)
        for i, row, warmed in fans:
            member, _ = np.nonzero(rows == row)
            for c in np.flatnonzero(warmed >= 0) if len(member) else ():
                answers[c, :, :, member[0]] -= np.outer(heat[i, c, own], adjoints[c, :, warmed[c]])
        for place, (_, k, step) in enumerate(plan[c] for c in own):
            slopes = answers[:, place] / (-2.0 * step.T[:, None])
            out.update(zip(system.groups[g].addresses[k], slopes.transpose(2, 0, 1), strict=True))
    return out


def shared_derivatives(linear: Linear, adjoints: Array, nudged: Numbers, steps: Array) -> Array:
    """Derivatives of each question in shared numbers, (C, questions, n).

    `nudged` has for each scenario columns 2 i and 2 i + 1 with number i raised and lowered by `steps[:, i]`.
    """
    residual, _ = linear.residuals(nudged)
    columns = residual.reshape(len(residual), linear.scenarios, -1)
    change = (columns[:, :, 0::2] - columns[:, :, 1::2]).transpose(1, 0, 2)
    out: Array = -(adjoints @ change) / (2.0 * steps[:, None])
    return out
