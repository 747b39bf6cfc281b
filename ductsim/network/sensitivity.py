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
from .heat import advected, ambient_inflow
from .numbers import Numbers
from .point import Solved
from .system import System

Array = NDArray[np.float64]

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
    """The equations of one solved scenario, linearised and factorised.

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
        self.shut = None if self.eq.shut is None else np.broadcast_to(self.eq.shut, self.flow.shape)[:, 0]
        with np.errstate(all="ignore"):
            self._values = self.eq.evaluate(self.flow, self.pressure, None, entering=self.entering)
            if self.heated:
                self._nudge()
            self._solved = self._factorise()

    @property
    def size(self) -> int:
        """Number of unknowns."""
        return self.system.paths + self.system.free + (len(self.system.nodes) - 1 if self.heated else 0)

    # ---- the matrix

    def _factorise(self) -> Callable[[Array], Array]:
        """What solves the transposed system for right-hand sides (size, questions)."""
        rows: list[Any] = []
        columns: list[Any] = []
        values: list[Any] = []

        def add(i: Any, j: Any, v: Any) -> None:
            i, j, v = (np.ravel(a) for a in np.broadcast_arrays(i, j, v))
            keep = (j >= 0) & (v != 0.0)
            rows.append(i[keep])
            columns.append(j[keep])
            values.append(v[keep])

        self._pressure_rows(add)
        self._balance_rows(add)
        if self.heated:
            self._temperature_rows(add)
        i, j = np.concatenate(rows).astype(np.intp), np.concatenate(columns).astype(np.intp)
        if self.size <= LARGEST_DENSE:  # the sparse library takes longer to load than many of these to solve
            matrix = np.zeros((self.size, self.size))
            np.add.at(matrix, (j, i), np.concatenate(values))
            largest = np.abs(matrix).max(axis=1, keepdims=True)
            largest[largest == 0.0] = 1.0  # rows of one size, as the sparse library makes them too
            matrix /= largest
            return lambda right: np.asarray(np.linalg.solve(matrix, right / largest), dtype=np.float64)
        from scipy.sparse import csc_matrix
        from scipy.sparse.linalg import splu

        factors: Any = splu(csc_matrix((np.concatenate(values), (i, j)), shape=(self.size, self.size)))
        return lambda right: np.asarray(factors.solve(right, trans="T"), dtype=np.float64)

    def _pressure_rows(self, add: Any) -> None:
        """P_from - P_to - drop = 0; m = 0 on a shut path."""
        system, eq = self.system, self.eq
        count = system.singles
        v = self._values
        ends = np.vstack([system.start, system.finish])
        single = np.arange(count)
        live = np.ones(system.paths) if self.shut is None else np.where(self.shut, 0.0, 1.0)
        add(single, single, -v.slope[:count, 0] * live[:count])
        first = np.ones(count) if v.first is None else v.first[:, 0]
        second = -np.ones(count) if v.second is None else v.second[:, 0]
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
                add(one, node, answers[0, end, :, 0] * live[one])
                add(two, node, answers[1, end, :, 0] * live[two])
        add(np.arange(system.paths), np.arange(system.paths), 1.0 - live)
        if self.heated:
            self._temperature_in_pressure(add, live)

    def _pair_slopes(self, lg: LawGroup, gain: Any, live: Array) -> Any:
        """The 2 x 2 slopes of a group of pairs; where air is warmed, that of their mixture included."""
        one, two = live[lg.rows] > 0.0, live[lg.partners] > 0.0
        both = one & two
        if not self.heated:
            (g11, g12), (g21, g22) = ((g[:, 0] for g in row) for row in gain)
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
        """The unknown that gives the temperature of the air entering each path; -1 where none does."""
        system = self.system
        up = np.where(self.flow[paths, 0] >= 0.0, system.start[paths], system.finish[paths])
        column = np.where(up < len(system.nodes) - 1, system.paths + system.free + up, -1)
        for p in self.eq.powers:
            if p.inlet is not None:
                own = np.broadcast_to(p.inlet, (len(p.rows), 1))[:, 0]
                given = p.rows[~np.isnan(own) & (self.flow[p.rows, 0] >= 0.0)]
                column = np.where(np.isin(paths, given), -1, column)
        return column

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
        partners, size = self._partners, np.abs(self.flow[:, 0])
        first = np.zeros_like(partners)
        for lg in self.system.pairs:
            first[lg.rows] = True
            size[lg.rows] = size[lg.partners] = np.maximum(size[lg.rows], size[lg.partners])
        warmth, step = np.full(len(size), WARMTH_STEP), RELATIVE_STEP * np.maximum(size, 1e-6)
        pairs = [(1, partners, warmth), (0, first, step), (0, partners, step)] if first.any() else []
        nudges = [(1, ~partners, warmth), *pairs]
        flow, pressure, entering = (
            np.repeat(a, 2 * len(nudges), axis=1) for a in (self.flow, self.pressure, self.entering)
        )
        for i, (what, paths, by) in enumerate(nudges):
            moved = (flow, entering)[what]
            moved[paths, 2 * i] += by[paths]
            moved[paths, 2 * i + 1] -= by[paths]
        drop = self.eq.evaluate(flow, pressure, None, slopes=False, entering=entering).drop
        slopes = [(drop[:, 2 * i] - drop[:, 2 * i + 1]) / (2.0 * by) for i, (_, _, by) in enumerate(nudges)]
        self._by_warmth, self._heated_pairs = slopes[:2], slopes[2:]

    def _balance_rows(self, add: Any) -> None:
        """Outflow - inflow = supply; a floating piece is pinned at one node."""
        system = self.system
        out = system.outflow
        add(system.paths + out.rows, out.columns, out.values)
        structure = self.eq.structure
        if structure.anchors is not None:
            node = np.arange(system.free)
            add(system.paths + node, system.paths + node, structure.anchors[:, 0])

    def _temperature_rows(self, add: Any) -> None:
        """Node temperature rise x inflow - what the inflow carries = 0."""
        system, eq = self.system, self.eq
        assert self.temperature_rise is not None and self.entering is not None
        base = system.paths + system.free
        m, entering, temperature_rise = self.flow[:, 0], self.entering[:, 0], self.temperature_rise[:, 0]
        path = np.arange(system.paths)
        into = np.where(m >= 0.0, system.finish, system.start)
        inner = into < len(system.nodes) - 1
        row = base + into
        total: Array = np.bincount(into, weights=np.abs(m), minlength=len(system.nodes)).astype(float)
        total[: system.free] += np.maximum(eq.supply[:, 0], 0.0)
        total[: system.free] += ambient_inflow(total[: system.free])
        node = np.arange(len(system.nodes) - 1)
        add(base + node, base + node, np.where(total[:-1] > 0.0, total[:-1], 1.0))
        add(row[inner], path[inner], (np.sign(m) * (temperature_rise[into] - entering))[inner])
        column = self._temperature_column(path)
        add(row[inner], np.where(column >= 0, column, -1)[inner], -np.abs(m)[inner])
        fans = system.fans
        rho = self._values.density
        by_flow, by_density = self._power_slopes(rho)
        keep = inner[fans] & (m[fans] != 0.0)
        fans, by_flow, by_density = fans[keep], by_flow[keep], by_density[keep]
        relative = eq.temperature / (eq.temperature + entering[fans])
        add(row[fans], fans, -by_flow)
        per = np.broadcast_to(eq.per_pressure_at(system.start[fans]), (len(fans), 1))[:, 0]
        add(row[fans], self._pressure_column(system.start[fans]), -by_density * per * relative)
        cooler = rho[fans, 0] / (eq.temperature + entering[fans])
        add(row[fans], self._temperature_column(fans), by_density * cooler)

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
            by.append(((up - down) / (2.0 * step[rows]) / eq.heat_capacity)[:, 0])
        return by[0], by[1]

    # ---- use

    def warmed(self, row: int) -> int:
        """The equation of the node that a path's air warms; -1 for outside or no flow."""
        system, m = self.system, self.flow[row, 0]
        into = int(system.finish[row] if m >= 0.0 else system.start[row])
        return -1 if m == 0.0 or into == len(system.nodes) - 1 else system.paths + system.free + into

    def adjoints(self, gradients: Sequence[Gradient]) -> Array:
        """Every question's answer to each equation's residual, (questions, size)."""
        right = np.zeros((self.size, len(gradients)))
        for column, g in zip(right.T, gradients, strict=True):
            warm = (g.temperature_rise[:-1],) if self.heated else ()
            np.concatenate([g.flow, g.pressure[: self.system.free], *warm], out=column)
        return self._solved(right).T

    def _drawn(self, eq: Any) -> Array:
        """Heat in the air that fans draw in at a temperature of their own [K kg/s], (fans, S)."""
        out = np.zeros((self.system.paths, eq.scenarios))
        for p in eq.powers:
            if p.inlet is not None:  # NaN, where the air is the node's, counts as none
                out[p.rows] = np.maximum(self.flow[p.rows], 0.0) * np.nan_to_num(p.inlet - eq.temperature)
        return out[self.system.fans]

    def residuals(self, numbers: Numbers) -> tuple[Array, Array]:
        """Residuals at the solved point with other numbers (size, S); heat of fans [K kg/s] (fans, S)."""
        eq = numbers.equations(self.system)
        wide = numbers.scenarios
        flow, pressure = np.repeat(self.flow, wide, axis=1), np.repeat(self.pressure, wide, axis=1)
        pressure[self.system.free :] = numbers.held
        temperature_rise = (
            None if self.temperature_rise is None else np.repeat(self.temperature_rise, wide, axis=1)
        )
        with np.errstate(all="ignore"):
            v = eq.evaluate(flow, pressure, temperature_rise)
            residual = v.residual if self.shut is None else np.where(self.shut[:, None], 0.0, v.residual)
            balance = self.system.outflow @ flow - numbers.supply
            parts = [residual, np.broadcast_to(balance, (self.system.free, wide))]
            shares = np.empty((0, wide))
            if temperature_rise is not None:
                into = np.where(flow[:, 0] >= 0.0, self.system.finish, self.system.start)
                inflow = np.bincount(into, weights=np.abs(flow[:, 0]), minlength=len(self.system.nodes))[:-1]
                total: Array = np.repeat(np.where(inflow > 0.0, inflow, 1.0)[:, None], wide, axis=1)
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

    Numbers of which no member's address is wanted are left out.

    Returns the numbers and, per number, (group, number, steps of its members).
    """
    plan: list[tuple[int, int, Array]] = []
    for g, numbers_of_group in enumerate(numbers.parts):
        for k, v in enumerate(numbers_of_group):
            if wanted.isdisjoint(system.groups[g].addresses[k]):
                continue
            size = np.abs(v[:, 0])
            typical = size[size > 0.0]
            floor = 1e-2 * (typical.mean() if len(typical) else 1.0)
            plan.append((g, k, RELATIVE_STEP * np.maximum(size, floor)))
    wide = 2 * len(plan)
    parts = [list(numbers_of_group) for numbers_of_group in numbers.parts]
    for c, (g, k, step) in enumerate(plan):
        value = numbers.parts[g][k]
        column = parts[g][k] if parts[g][k].shape[1] == wide else np.repeat(value, wide, axis=1)
        column[:, 2 * c] += step
        column[:, 2 * c + 1] -= step
        parts[g][k] = column
    return Numbers(parts, numbers.air, numbers.held, numbers.supply, wide), plan


def field_derivatives(linear: Linear, adjoints: Array, wanted: frozenset[str]) -> dict[str, Array]:
    """Address -> derivative of each question in that number; `adjoints` has shape (questions, size).

    All that are wanted are among them, but for those that are no part's own.
    A number at the edge of its range, where its part is shut, gets 0: the flow there does not answer.
    """
    system = linear.system
    nudged, plan = field_nudges(system, linear.numbers, wanted)
    if not plan:
        return {}
    residual, shares = linear.residuals(nudged)
    fans = [(i, row, linear.warmed(row)) for i, row in enumerate(system.fan_rows) if linear.heated]
    out: dict[str, Array] = {}
    for c, (g, k, step) in enumerate(plan):
        change = residual[:, 2 * c] - residual[:, 2 * c + 1]
        addresses = system.groups[g].addresses[k]
        rows = system.rows_of(g)
        answers = (adjoints[:, rows] * change[rows]).sum(axis=2)
        for i, row, warmed in fans:
            member, _ = np.nonzero(rows == row)
            if len(member) and warmed >= 0:
                heat = shares[i, 2 * c] - shares[i, 2 * c + 1]
                answers[:, member[0]] -= adjoints[:, warmed] * heat
        out.update(zip(addresses, (-answers / (2.0 * step)).T, strict=True))
    return out


def shared_derivatives(linear: Linear, adjoints: Array, nudged: Numbers, steps: Array) -> Array:
    """Derivatives of each question in shared numbers, (questions, n).

    `nudged` has columns 2 i and 2 i + 1 with number i raised and lowered by `steps[i]`.
    """
    residual, _ = linear.residuals(nudged)
    change = residual[:, 0::2] - residual[:, 1::2]
    out: Array = -(adjoints @ change) / (2.0 * steps)
    return out
