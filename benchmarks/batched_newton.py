"""Newton's method on many machines at once in plain NumPy: the peer of a solve with columns.

Written as one would write it in an hour: the oracle's equations with a last axis for the scenarios, all
unknowns in one dense Jacobian each, `numpy.linalg.solve` on the stack. Only the laws are the oracle's own.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
from oracle import KILO, TEN, Oracle

TABLES = ("pipes", "squares", "powers", "jet")
CURVES = ("breaks", "anchor", "rise", "watts", "speed", "density", "efficiency", "creep", "by_curve")
STEPS, ENOUGH = 30, 1e-8


class Batch(Oracle):
    """The residuals and Jacobians of machines of one layout; unknowns are (unknowns, S)."""

    def __init__(self, oracles: list[Oracle]) -> None:
        one = oracles[0]
        self.__dict__.update(one.__dict__)
        self.scenarios = len(oracles)
        for name in TABLES:
            own = [getattr(o, name) for o in oracles]
            setattr(self, name, {k: np.stack([t[k] for t in own], axis=-1) for k in own[0]})
        self.air = {k: np.array([o.air[k] for o in oracles]) for k in one.air}
        self.per_pressure = np.array([o.per_pressure for o in oracles])
        self.t0 = np.array([o.t0 for o in oracles])
        self.first, self.follows = one.first[:, None], one.follows[:, None]
        self.supply, self.fresh = one.supply[:, None], one.fresh[:, None]
        if self.any_shut or self.held or not self.heated or self.fans is None:
            raise ValueError("written for machines with fans, nothing shut and nothing held")
        self.fans = _Fans([o.fans for o in oracles])

    def _evaluate(self, u: Any, want_slopes: bool) -> Any:
        n, c = self.paths, self.count
        m = u[:n]
        p, w = np.zeros((2, c + 1, self.scenarios))
        p[:c], w[:c] = u[n : n + c] * KILO, u[n + c :] * TEN
        ahead = m >= 0.0
        first = np.where(self.follows, ahead, self.first)
        entering = np.where(ahead, w[self.start], w[self.finish])
        relative = self.t0 / (self.t0 + entering)
        along = p[self.start] - p[self.finish]
        rho = (self.air["density"] + self.per_pressure * (p[self.finish] + first * along)) * relative
        drop, slope, by_rho = np.empty((3, n, self.scenarios))
        self._single(m, rho, drop, slope, by_rho)
        r = self.rows["fan"]
        drop[r], slope[r], by_rho[r], *power = self.fans(m[r], rho[r], True)
        jets = self._jets(m, p, relative, drop, True) if self.jets else None
        balance = self.outflow @ m - self.supply
        residual = np.concatenate([(along - drop) / KILO, balance, self._warmth(m, w, entering, power)])
        names = ("m", "w", "first", "entering", "rho", "relative", "slope", "by_rho", "power", "jets")
        values = (m, w, first, entering, rho, relative, slope, by_rho, power, jets)
        return residual, self._matrix(SimpleNamespace(**dict(zip(names, values))))

    def _warmth(self, m: Any, w: Any, entering: Any, power: Any) -> Any:
        heat = np.zeros_like(m)
        heat[self.rows["fan"]] = power[0] / self.air["heat_capacity"]
        carried = np.abs(m) * entering + heat
        total = self.into @ np.concatenate([np.abs(m), m])
        brought = self.into @ np.concatenate([carried, np.sign(m) * carried])
        return ((total + self.fresh) * w[:-1] - brought) / TEN

    def _temperature_rows(self, full: Any, v: Any, pressure: int, temperature_rise: int) -> None:
        row, s = np.arange(self.paths)[:, None], np.arange(self.scenarios)
        into = np.where(v.m >= 0.0, self.finish[:, None], self.start[:, None])
        at = temperature_rise + into  # rows of outside are cut off later
        node = temperature_rise + np.arange(self.count)
        full[node, node] = self.into @ np.concatenate([np.abs(v.m), v.m]) + self.fresh
        warm = np.take_along_axis(v.w, into, axis=0)
        np.add.at(full, (at, row, s), np.sign(v.m) * (warm - v.entering))
        np.add.at(full, (at, temperature_rise + v.up, s), -np.abs(v.m))
        r = self.rows["fan"]
        _, by_flow, by_rho = (x / self.air["heat_capacity"] for x in v.power)
        np.add.at(full, (at[r], row[r], s), -by_flow)
        gauge = by_rho * self.per_pressure * v.relative[r]
        np.add.at(full, (at[r], pressure + self.start[r][:, None], s), -gauge)
        np.add.at(full, (at[r], temperature_rise + v.up[r], s), by_rho * v.rho[r] / (self.t0 + v.entering[r]))
        full[temperature_rise : temperature_rise + self.count] /= TEN

    def _matrix(self, v: Any) -> Any:
        n, c, s = self.paths, self.count, np.arange(self.scenarios)
        full = np.zeros((n + 2 * (c + 1), n + 2 * (c + 1), self.scenarios))
        pressure, temperature_rise, row = n, n + c + 1, np.arange(n)
        full[row, pressure + self.start] = 1.0
        full[row, pressure + self.finish] -= 1.0
        v.up = np.where(v.m >= 0.0, self.start[:, None], self.finish[:, None])
        k = row[: n - 2 * self.jets]
        full[k, k] = -v.slope[k]
        gauge = v.by_rho[k] * self.per_pressure * v.relative[k]
        full[k, pressure + self.start[k]] -= gauge * v.first[k]
        full[k, pressure + self.finish[k]] -= gauge * (1.0 - v.first[k])
        full[k[:, None], temperature_rise + v.up[k], s] += v.by_rho[k] * v.rho[k] / (self.t0 + v.entering[k])
        if v.jets is not None:
            self._jet_rows(full, v, pressure, temperature_rise)
        full[:n] /= KILO
        full[n : n + c, :n] = self.outflow[:, :, None]
        self._temperature_rows(full, v, pressure, temperature_rise)
        full[:, pressure:temperature_rise] *= KILO
        full[:, temperature_rise:] *= TEN
        kept = np.r_[: n + c, temperature_rise : temperature_rise + c]
        return np.ascontiguousarray(np.moveaxis(full[np.ix_(kept, kept)], -1, 0))

    def _jet_rows(self, full: Any, v: Any, pressure: int, temperature_rise: int) -> None:
        one, two = (np.arange(self.paths)[self.rows[k]] for k in ("motive", "suction"))
        j, m, s = v.jets, v.m, np.arange(self.scenarios)
        suction, discharge = pressure + self.start[two], pressure + self.finish[two]
        up1, up2 = temperature_rise + v.up[one], temperature_rise + v.up[two]
        cooler = -j.rho3 / (self.t0 + j.mixed)
        both = j.ax + j.ay
        share = j.ax / both
        warm_x, warm_y = np.sign(m[one]) * (j.wx - j.mixed) / both, np.sign(m[two]) * (j.wy - j.mixed) / both
        for r, (by_x, by_y, by1, by2, by3), warmer in zip((one, two), j.slopes, j.warm):
            full[r, one] -= by_x + by3 * cooler * warm_x
            full[r, two] -= by_y + by3 * cooler * warm_y
            full[r, suction] -= self.per_pressure * (by1 * j.r1 + by2 * j.r2)
            full[r, discharge] -= self.per_pressure * by3 * j.r3
            at = r[:, None]
            full[at, up1, s] -= -warmer * j.rho_j / (self.t0 + j.wx) + by3 * cooler * share
            full[at, up2, s] -= -by2 * j.rho2 / (self.t0 + j.wy) + by3 * cooler * (1.0 - share)

    def newton(self, u: Any) -> tuple[Any, int]:
        """Full steps from (unknowns, S) until the largest of a scenario is small; and how many."""
        for steps in range(1, STEPS + 1):
            residual, matrix = self._evaluate(u, True)
            step = np.linalg.solve(matrix, -residual.T[:, :, None])[:, :, 0].T
            u = u + step
            if (np.abs(step).max(axis=0) <= ENOUGH * np.abs(u).max(axis=0)).all():
                return u, steps
        raise RuntimeError("the peer found no end")


class _Fans:
    """Curves of several fans in many scenarios, (fans, S)."""

    def __init__(self, fans: list[Any]) -> None:
        for name in CURVES:
            setattr(self, name, np.stack([getattr(f, name) for f in fans], axis=1))
        self.which = tuple(np.indices(self.speed.shape))
        self.any_by_curve = bool(self.by_curve.any())

    def __call__(self, m: Any, rho: Any, want_slopes: bool) -> Any:
        n, volume = self.speed, m / rho
        q = volume / n
        piece = (q[..., None] > self.breaks).sum(axis=-1)
        x = q - self.anchor[(*self.which, piece)]
        c3, c2, c1, c0 = np.moveaxis(self.rise[(*self.which, piece)], -1, 0)
        share = rho / self.density
        lift = share * n * n * (c0 + x * (c1 + x * (c2 + x * c3)))
        drop = share * self.creep * volume - lift
        slope = n * share * (c1 + x * (2.0 * c2 + 3.0 * x * c3))
        by_volume = share * self.creep - slope
        watts = np.maximum(lift * volume, 0.0) / self.efficiency
        watts_volume = np.where(watts > 0.0, (lift + slope * volume) / self.efficiency, 0.0)
        if self.any_by_curve:
            w3, w2, w1, w0 = np.moveaxis(self.watts[(*self.which, piece)], -1, 0)
            cube = share * n**3
            watts = np.where(self.by_curve, cube * (w0 + x * (w1 + x * (w2 + x * w3))), watts)
            own = cube / n * (w1 + x * (2.0 * w2 + 3.0 * x * w3))
            watts_volume = np.where(self.by_curve, own, watts_volume)
        by_flow, by_rho = by_volume / rho, (drop - by_volume * volume) / rho
        return drop, by_flow, by_rho, watts, watts_volume / rho, (watts - watts_volume * volume) / rho
