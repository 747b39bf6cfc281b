"""The equations of a compiled network for some scenarios: residuals, slopes and the air's state.

Unknowns: mass flow on every path [kg/s] and total pressure at every node [Pa gauge]. A path's equation is
P_from - P_to - drop(flow, density) = 0, a free node's is outflow - inflow = supply.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..parts.declare import LocalAir, Pair, Part, Path
from .groups import LawGroup
from .structure import Structure, examine
from .system import System
from .values import (
    AirNumbers,
    Coefficients,
    Gathered,
    Mixture,
    Power,
    Values,
    join,
    places_of,
    single_precision,
    take_columns,
)

Array = NDArray[np.float64]

# Iterates far out could ask for a negative density; nothing physical comes near this share of outside.
LEAST_DENSITY = 0.05
# Slower than this the air that enters a path is taken as a mixture of that at both its ends: its density
# would jump where the flow turns round, and a warm column that is about to turn has no flow at all.
TURNING = 1.2e-2  # kg/(s m2), 1 cm/s


class Equations:
    """The equations of `system` with these parts, air, held pressures and supplies.

    Parameters
    ----------
    parts : the stacked parts of the system's groups.
    air : the outside air.
    held : pressures of the held nodes and outside [Pa], shape (held + 1, 1) or (held + 1, S).
    supply : flow put into each free node [kg/s], shape (free, 1) or (free, S).
    scenarios : S.
    """

    def __init__(
        self, system: System, parts: list[Part], air: AirNumbers, held: Array, supply: Array, scenarios: int
    ) -> None:
        self.system = system
        self.scenarios = scenarios
        self.held, self.supply = held, supply
        self.finer = 1.0
        self.constant = bool(np.isinf(air.pressure).all())
        self.outside, self.viscosity = air.density, air.viscosity
        self.temperature, self.heat_capacity = air.temperature, air.heat_capacity
        self.per_pressure = air.density / air.pressure
        self._gather(system.paths_of(parts))

    # ---- coefficients

    def _gather(self, paths: list[tuple[Path | Pair, ...]]) -> None:
        """Coefficients, areas, starts, shut paths and powers, in the order of the rows.

        What a single scenario's paths give is kept until another one's differ.
        """
        system = self.system
        found: list[Gathered] = []
        for i, lg in enumerate(system.laws):
            members = [(paths[g][p], len(system.groups[g].names)) for g, p, _ in lg.sources]
            own = system.gathered.get(i) if self.scenarios == 1 else None
            if own is None or not own.is_of(members, self.outside):
                own = Gathered.of(lg, members, self.outside)
                if self.scenarios == 1:
                    system.gathered[i] = own
            found.append(own)
        self.coefficients: list[Coefficients] = [f.coefficients for f in found]
        self.powers: list[Power] = [p for f in found for p in f.powers]
        self._areas = [piece for f in found for piece in f.areas]
        self._guesses = [piece for f in found for piece in f.guesses]
        shut = any(f.any_shut for f in found)
        self.shut = join([piece for f in found for piece in f.shut]).astype(bool) if shut else None
        self.heated = bool(self.powers) and not self.constant

    @property
    def rough_numbers(self) -> bool:
        """Whether the numbers are in single precision."""
        return self.held.itemsize < 8

    @cached_property
    def area(self) -> Array:
        """Section of each path [m2], (paths, 1 or S)."""
        return join(self._areas)

    @cached_property
    def guess(self) -> Array:
        """A typical flow on each path [kg/s], (paths, 1 or S)."""
        return join(self._guesses)

    def take(self, columns: Any) -> Equations:
        """The equations of some of the scenarios."""
        columns = places_of(columns)
        out = object.__new__(Equations)
        out.__dict__.update(self.__dict__)
        for name in ("turning", "springy", "area", "guess"):
            out.__dict__.pop(name, None)
        if "structure" in self.__dict__:
            out.structure = self.structure.take(columns)
        for name in ("outside", "viscosity", "temperature", "heat_capacity", "per_pressure"):
            setattr(out, name, take_columns(getattr(self, name), columns))
        for name in ("held", "supply"):
            setattr(out, name, take_columns(getattr(self, name), columns))
        for name in ("_areas", "_guesses"):
            setattr(out, name, [(take_columns(np.asarray(v), columns), k) for v, k in getattr(self, name)])
        out.shut = None if self.shut is None else take_columns(self.shut, columns)
        if out.shut is not None and not out.shut.any():
            out.shut = None
        out.coefficients = [c.take(columns) for c in self.coefficients]
        out.powers = [
            Power(
                p.rows,
                p.law,
                {k: take_columns(v, columns) for k, v in p.values.items()},
                None if p.inlet is None else take_columns(p.inlet, columns),
            )
            for p in self.powers
        ]
        out.scenarios = len(np.arange(self.scenarios)[columns])
        return out

    def rough(self) -> Equations:
        """The equations in single precision: half the time, for what only has to find the way."""
        out = self.take(slice(None))
        for name in (
            "outside",
            "viscosity",
            "temperature",
            "heat_capacity",
            "per_pressure",
            "held",
            "supply",
        ):
            setattr(out, name, single_precision(getattr(out, name)))
        for name in ("_areas", "_guesses"):
            setattr(out, name, [(single_precision(v), k) for v, k in getattr(out, name)])
        out.coefficients = [c.rough() for c in out.coefficients]
        for power in out.powers:
            power.values = {k: single_precision(v) for k, v in power.values.items()}
            power.inlet = None if power.inlet is None else single_precision(power.inlet)
        return out

    def dense(self, share: float = 0.0) -> Equations:
        """The equations of air of one temperature, whose density answers by that share to pressure."""
        out = self.take(slice(None))
        out.constant, out.heated, out.per_pressure = share == 0.0, False, share * self.per_pressure
        return out

    def carrying(self, times: float) -> Equations:
        """The equations, of whose easy paths so many times less resistance is asked (`carried`)."""
        out = self.take(slice(None))
        out.finer = times
        return out

    def warmed(self, share: float) -> Equations:
        """The equations with that share of the fans' heat, and of their inlets' own temperatures."""
        out = self.take(slice(None))
        out.heat_capacity = self.heat_capacity / share
        for power in out.powers:
            if power.inlet is not None:
                power.inlet = self.temperature + share * (power.inlet - self.temperature)
        return out

    @cached_property
    def structure(self) -> Structure:
        """What the open paths connect."""
        return examine(self.system, self.shut, self.supply, self.scenarios)

    @cached_property
    def springy(self) -> Array | None:
        """1 at nodes whose pressure is known, 0 at those closed off, (nodes, S); None where none is.

        What is closed off is pinned at any pressure, so that its air keeps the density of outside's.
        """
        floating = self.structure.floating
        if floating is None:
            return None
        out = np.ones((len(self.system.nodes), floating.shape[1]), dtype=self.held.dtype)
        out[: self.system.free][floating] = 0.0
        return out

    def per_pressure_at(self, nodes: Any) -> Array:
        """How the density answers to pressure at nodes [kg/(m3 Pa)], at outside's temperature."""
        return self.per_pressure if self.springy is None else self.per_pressure * self.springy[nodes]

    def told(self, pressure: Array) -> Array:
        """The pressures that mean something: 0 at nodes that are closed off."""
        return pressure if self.springy is None else np.where(self.springy > 0.0, pressure, 0.0)

    # ---- evaluation

    def evaluate(
        self,
        flow: Array,
        pressure: Array,
        temperature_rise: Array | None,
        slopes: bool = True,
        inertia: Array | None = None,
        entering: Array | None = None,
        warming: bool = False,
    ) -> Values:
        """All laws at these flows (paths, S), pressures (nodes, S) and node temperatures over outside [K].

        `inertia` [Pa s/kg], shape (paths, S), is added to the slopes (inertance over time step).
        `entering` [K over outside's], shape (paths, S), stands for what `temperature_rise` says of air that
        enters each path. `warming` asks for the slopes in its temperature too.
        """
        system, count = self.system, self.system.singles
        turning: Array | None = None
        if entering is None and temperature_rise is not None:
            entering, turning = self._mixed(flow, temperature_rise)
        relative = None if entering is None else self.temperature / (self.temperature + entering)
        finish = pressure[system.finish]
        residual = pressure[system.start]
        residual -= finish
        drop, density, slope = np.empty_like(flow), np.empty_like(flow), np.empty_like(flow)
        share, per = self._single_densities(flow, residual, finish, relative, density)
        by_density = np.empty_like(flow[:count])
        pair_slope: list[Any] = []
        pair_answers: list[Array] = []
        warming = warming and entering is not None and slopes
        pair_by_warmth: list[Any] = []
        for c in self.coefficients:
            rows = c.group.rows
            if c.group.partners is None:
                air = LocalAir(density[rows], self.viscosity, self.outside)
                drop[rows], slope[rows], by_density[rows] = c.group.law(flow[rows], air, **c.values)
            else:
                four, answers, warm = self._pair(
                    c, flow, pressure, entering, relative, drop, slope, density, slopes, warming
                )
                pair_slope.append(four)
                pair_answers.append(answers)
                pair_by_warmth.append(warm)
        residual -= drop
        if self.shut is not None:
            residual = np.where(self.shut, 0.0, residual)
        values = Values(residual, drop, slope, slope, pair_slope, [], None, None, pair_answers, density)
        if not slopes:
            return values
        if relative is not None:
            self._single_warmth(values, by_density, relative, turning, warming)
        if warming:
            values.pair_by_warmth = pair_by_warmth
        if share is not None:
            by_density *= per
            np.subtract(1.0, by_density * share, out=(first := np.empty_like(by_density)))
            values.first = first
            values.second = -first - by_density
        return self.with_inertia(values, inertia)

    def densities(self, flow: Array, pressure: Array, temperature_rise: Array | None) -> Array:
        """The density that each path's law sees at these flows, pressures and temperatures, (paths, S)."""
        system = self.system
        entering = self.entering(flow, temperature_rise)
        relative = None if entering is None else self.temperature / (self.temperature + entering)
        finish, out = pressure[system.finish], np.empty_like(flow)
        self._single_densities(flow, pressure[system.start] - finish, finish, relative, out)
        for lg in system.pairs:
            own = self._pair_air(lg, flow, pressure, entering, relative)[-1]
            out[lg.rows], out[lg.partners] = own[0], own[1]
        return out

    def _single_densities(
        self, flow: Array, along: Array, finish: Array, relative: Array | None, density: Array
    ) -> tuple[Array | None, Any]:
        """Densities of the single paths, put into `density`.

        `along` is what pressure falls by along each path, `finish` that at its end. Returns the share that
        the pressure at the start has in each density, and how densities answer to pressure.
        """
        system, count = self.system, self.system.singles
        if self.constant:
            density[:count] = self.outside
            return None, None
        share = (
            system.start_share
            if system.follows is None
            else np.where(system.follows, flow[:count] >= 0.0, system.start_share)
        )
        per: Any = self.per_pressure_at(system.start[:count])
        at = along[:count] * share
        at += finish[:count]
        at *= per
        at += self.outside
        if relative is not None:
            at *= relative[:count]
            per = per * relative[:count]
        np.maximum(at, LEAST_DENSITY * self.outside, out=density[:count])
        return share, per

    def _single_warmth(
        self, values: Values, by_density: Array, relative: Array, turning: Array | None, warming: bool
    ) -> None:
        """What the temperature of the entering air does to single paths: to their slopes where it turns."""
        count = self.system.singles
        if not warming and turning is None:
            return
        by_warmth = by_density * values.density[:count]
        by_warmth *= relative[:count]
        by_warmth *= -1.0 / self.temperature
        if turning is not None:
            values.slope[:count] += by_warmth * turning[:count]
        if warming:
            values.by_warmth = by_warmth

    def with_inertia(self, values: Values, inertia: Array | None) -> Values:
        """The same values with the gains that follow when `inertia` (paths, S) is added to the slopes."""
        count, slope = self.system.singles, values.slope
        with np.errstate(divide="ignore"):
            gain = np.reciprocal(slope[:count] if inertia is None else slope[:count] + inertia[:count])
        if self.shut is not None:
            gain = np.where(self.shut[:count], 0.0, gain)
        pair_gain = []
        for lg, (s11, s12, s21, s22) in zip(self.system.pairs, values.pair_slope, strict=True):
            shape = slope[lg.rows].shape
            if inertia is not None:
                s11, s22 = s11 + inertia[lg.rows], s22 + inertia[lg.partners]
            pair_gain.append(self._invert(lg, (s11, s12, s21, s22), shape))
        return replace(values, gain=gain, pair_gain=pair_gain)

    def entering(self, flow: Array, temperature_rise: Array | None) -> Array | None:
        """Temperature of the air that enters each path, over outside's [K]; None where all air is alike."""
        if temperature_rise is None:
            return None
        return self._mixed(flow, temperature_rise)[0]

    def _mixed(self, flow: Array, temperature_rise: Array) -> tuple[Array, Array | None]:
        """The same, mixed of both ends where the flow is about to turn; and its slope there in the flow."""
        out = self.carried(np.arange(self.system.paths), flow >= 0.0, temperature_rise)
        width = self.turning
        slow = np.abs(flow) < width
        if not slow.any():
            return out, None
        system = self.system
        t = np.clip(flow / width, -1.0, 1.0)
        ahead = self.with_inlets(
            np.arange(system.paths), temperature_rise[system.start], np.full(flow.shape, True)
        )
        behind = temperature_rise[system.finish]
        share = 0.5 + t * (0.75 - 0.25 * t * t)
        out = np.where(slow, behind + share * (ahead - behind), out)
        return out, np.where(slow, (ahead - behind) * (0.75 - 0.75 * t * t) / width, 0.0)

    @cached_property
    def turning(self) -> Array:
        """Flow below which the air entering a path is mixed of both its ends [kg/s], (paths, 1 or S)."""
        return TURNING * np.maximum(self.area, 1e-8)

    def _pair(
        self,
        c: Coefficients,
        flow: Array,
        pressure: Array,
        entering: Array | None,
        relative: Array | None,
        drop: Array,
        slope: Array,
        density: Array,
        slopes: bool,
        warming: bool,
    ) -> tuple[Any, Array, Any]:
        lg = c.group
        assert lg.partners is not None
        x, y = flow[lg.rows], flow[lg.partners]
        mixture, three, per, rho = self._pair_air(lg, flow, pressure, entering, relative)
        air = LocalAir(tuple(rho), self.viscosity, self.outside, tuple(np.broadcast_to(per, rho.shape)))
        (d1, d2), ((s11, s12), (s21, s22)), by_density = lg.law((x, y), air, **c.values)
        drop[lg.rows], drop[lg.partners] = d1, d2
        slope[lg.rows], slope[lg.partners] = s11, s22
        density[lg.rows], density[lg.partners] = rho[0], rho[1]
        if not slopes:
            return None, np.empty(0), None
        q = np.empty((2, *rho.shape), dtype=rho.dtype)
        for side in range(2):
            for whose in range(3):
                q[side, whose] = by_density[side][whose]
        warm = None
        if warming and mixture is not None:
            cooler = lg.by_air(q * (rho * three / -self.temperature))
            (s11, s12), (s21, s22) = mixture.mixing(((s11, s12), (s21, s22)), cooler[:, 2])
            warm = mixture.by_temperature(cooler)
        if self.constant:
            answers = np.broadcast_to(lg.incidence, (2, 3, *x.shape))
        else:
            answers = np.repeat(lg.incidence, x.shape[1], axis=3)
            q *= per
            for whose, (_, end) in enumerate(lg.density):
                answers[:, end] -= q[:, whose]
        return (s11, s12, s21, s22), answers, warm

    def _pair_air(
        self, lg: LawGroup, flow: Array, pressure: Array, entering: Array | None, relative: Array | None
    ) -> tuple[Mixture | None, Any, Any, Array]:
        """The mixture, relative temperatures, slopes in pressure and densities of the air of some pairs."""
        rows, partners = lg.rows, lg.partners
        mixture = None
        if entering is not None:
            mixture = Mixture.of(flow[rows], flow[partners], entering[rows], entering[partners])
        three = self._three_relatives(lg, relative, mixture)
        per = self.per_pressure_at(lg.air_ends) * three
        rho = pressure[lg.air_ends] * per
        rho += self.outside * three
        np.maximum(rho, LEAST_DENSITY * self.outside, out=rho)
        return mixture, three, per, rho

    def _three_relatives(self, lg: LawGroup, relative: Array | None, mixture: Mixture | None) -> Any:
        """Outside's temperature over that of the air of each of the law's three densities, (3, K, S)."""
        if relative is None or mixture is None:
            return 1.0
        mixed = self.temperature / (self.temperature + mixture.temperature)
        own = (relative[lg.rows], relative[lg.partners], mixed)
        return np.array([own[whose] for whose, _ in lg.density])

    def _invert(self, lg: LawGroup, s: Any, shape: tuple[int, ...]) -> Any:
        """The inverse of the 2 x 2 slopes; a shut path gives no flow and no answer."""
        s11, s12, s21, s22 = s
        if self.shut is not None:
            s11, s12, s21, s22 = (np.broadcast_to(v, shape) for v in s)
            one, two = (
                np.broadcast_to(self.shut[lg.rows], shape),
                np.broadcast_to(self.shut[lg.partners], shape),
            )
            s11, s22 = np.where(one, 1.0, s11), np.where(two, 1.0, s22)
            either = one | two
            s12, s21 = np.where(either, 0.0, s12), np.where(either, 0.0, s21)
        inverse = 1.0 / (s11 * s22 - s12 * s21)
        g11, g12, g21, g22 = s22 * inverse, -s12 * inverse, -s21 * inverse, s11 * inverse
        if self.shut is not None:
            g11, g22 = np.where(one, 0.0, g11), np.where(two, 0.0, g22)
        return (g11, g12), (g21, g22)

    # ---- temperature rise

    def power(self, flow: Array, density: Array) -> Array:
        """Shaft power [W] of the system's `fan_rows`, shape (fans, S)."""
        out = [p.law(flow[p.rows], density[p.rows], **p.values) for p in self.powers]
        return np.concatenate(out) if out else np.empty((0, flow.shape[1]))

    def carried(self, paths: Any, forward: Any, temperature_rise: Array) -> Array:
        """Temperature of the air entering some of the paths, over outside's [K]."""
        system = self.system
        out = np.where(forward, temperature_rise[system.start[paths]], temperature_rise[system.finish[paths]])
        return self.with_inlets(paths, out, forward)

    def with_inlets(self, paths: Any, entering: Array, forward: Any) -> Array:
        """The same with fans that draw air of a temperature of their own."""
        for p in self.powers:
            if p.inlet is not None:
                _, here, there = np.intersect1d(paths, p.rows, assume_unique=True, return_indices=True)
                own = p.inlet[there] - self.temperature
                entering[here] = np.where(forward[here] & ~np.isnan(own), own, entering[here])
        return entering
