"""The equations of a machine written a second time, from the documented equations alone.

Nothing of the library's laws, parts or network is imported. The unknowns are the flows [kg/s], the total
pressures [kPa gauge] of all nodes but outside and, where fans warm the air, those nodes' temperatures over
outside's [10 K], in one vector. The residual is as fast as NumPy allows without compiling: everything that
does not depend on the unknowns is worked out once, each kind of path is evaluated in one go.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
from oracle_parts import (
    STILL,
    FanCurves,
    Plain,
    darcy,
    merge_drops,
    merge_weights,
    pipe,
    plain,
    square_law,
)
from scipy.optimize import root

__all__ = ["Oracle", "Plain", "plain"]

GRAVITY = 9.80665
SMALLEST_PRESSURE = 0.01  # Pa, where a leak's power law turns into a line
KILO, TEN = 1000.0, 10.0


class Oracle:
    """The residual of a machine and its Jacobian.

    Attributes
    ----------
    names : path names, in the order of the flows; two of a jet or a merge as (name, "motive").
    nodes : node names, in the order of the pressures; outside comes last and is no unknown.
    """

    def __init__(self, given: Plain) -> None:
        self.air = given.air
        kinds: dict[str, list[Any]] = {"pipe": [], "square": [], "power": [], "fan": []}
        kinds |= {"jet": [], "merge": []}
        for name, kind, ends, own in given.parts:
            law = {"duct": "pipe", "hose": "pipe", "opening": "square", "screen": "square"}.get(kind, kind)
            if kind == "leak":
                law = "power" if "coefficient" in own else "square"
            kinds[law].append((name, kind, ends, own))
        self._lay_nodes(given)
        self._lay_paths(kinds)
        self._gather(kinds)
        rho0, p0 = self.air["density"], self.air["pressure"]
        self.per_pressure, self.t0 = rho0 / p0, self.air["temperature"]
        self.heated = bool(kinds["fan"]) and np.isfinite(p0)
        self.size = self.paths + self.count * (2 if self.heated else 1)
        self._lay_balances(given)

    def _lay_nodes(self, given: Plain) -> None:
        known = dict.fromkeys(n for _, _, ends, _ in given.parts for n in ends if n != "outside")
        self.nodes = [*known, "outside"]
        self.index = {n: i for i, n in enumerate(self.nodes)}
        self.count = len(known)

    def _lay_paths(self, kinds: dict[str, list[Any]]) -> None:
        ends: list[tuple[str, str]] = []
        self.names: list[Any] = []
        self.rows: dict[str, slice] = {}
        for law in ("pipe", "square", "power", "fan"):
            self.rows[law] = slice(len(ends), len(ends) + len(kinds[law]))
            ends += [e for _, _, e, _ in kinds[law]]
            self.names += [name for name, _, _, _ in kinds[law]]
        for side, word in enumerate(("motive", "suction")):
            self.rows[word] = slice(len(ends), len(ends) + len(kinds["jet"]))
            ends += [(e[side], e[2]) for _, _, e, _ in kinds["jet"]]
            self.names += [(name, word) for name, _, _, _ in kinds["jet"]]
        for side, word in enumerate(("straight", "branch")):
            self.rows[word] = slice(len(ends), len(ends) + len(kinds["merge"]))
            ends += [(e[side], e[2]) for _, _, e, _ in kinds["merge"]]
            self.names += [(name, word) for name, _, _, _ in kinds["merge"]]
        self.start = np.array([self.index[a] for a, _ in ends])
        self.finish = np.array([self.index[b] for _, b in ends])
        self.paths = len(ends)
        self.jets, self.merges = len(kinds["jet"]), len(kinds["merge"])

    def _gather(self, kinds: dict[str, list[Any]]) -> None:
        def table(rows: list[dict[str, float]]) -> dict[str, Any]:
            return {k: np.array([r[k] for r in rows], dtype=float) for k in rows[0]} if rows else {}

        self.pipes = p = table([pipe(kind, own) for _, kind, _, own in kinds["pipe"]])
        if p:
            p["per_flow"] = p["bore"] / (p["area"] * self.air["viscosity"])
            p["head"] = 0.5 / p["area"] ** 2
            p["lift"] = GRAVITY * p["rise"]
        self.squares = q = table([square_law(kind, own) for _, kind, _, own in kinds["square"]])
        self.shut = np.zeros(self.paths, dtype=bool)
        if q:
            self.shut[self.rows["square"]] = q["area"] == 0.0
            q["area"] = np.where(q["area"] == 0.0, 1.0, q["area"])
            q["head"], q["still"] = 0.5 * q["loss"] / q["area"] ** 2, (STILL * q["area"]) ** 2
        self.powers = w = table(
            [
                {k: own[k] for k in ("coefficient", "exponent", "reference_density")}
                for *_, own in kinds["power"]
            ]
        )
        if w:
            self.shut[self.rows["power"]] = w["coefficient"] == 0.0
            w["coefficient"] = np.where(w["coefficient"] == 0.0, 1.0, w["coefficient"])
            # Q = C (rho_0 / rho)^(1 - n) dp^n in mass: m = C rho_0^(1 - n) rho^n dp^n
            w["mass"] = w["coefficient"] * w["reference_density"] ** (1.0 - w["exponent"])
            w["z0"], w["half"] = SMALLEST_PRESSURE ** (2 * w["exponent"]), 0.5 / w["exponent"] - 0.5
        self.any_shut = bool(self.shut.any())
        self.fans = FanCurves([own for *_, own in kinds["fan"]]) if kinds["fan"] else None
        merges = [
            own | {"combined": own.get("combined_area", own["straight_area"])} for *_, own in kinds["merge"]
        ]
        self.merge = table(
            [{k: own[k] for k in ("straight_area", "branch_area", "combined")} for own in merges]
        )
        if merges:
            for i, word in enumerate(("joining", "parting")):  # (drop, weight, merge)
                self.merge[word] = np.moveaxis([merge_weights(own)[i] for own in merges], 0, -1)
        self.jet = j = table(
            [{k: v for k, v in own.items() if not isinstance(v, str)} for *_, own in kinds["jet"]]
        )
        if j:
            if (j["nozzle_area"] <= 0.0).any():
                raise ValueError("the oracle knows no jet with a closed nozzle")
            j["aj"], j["am"], j["as"] = (
                j["nozzle_area"],
                j["mixing_area"],
                j["mixing_area"] - j["nozzle_area"],
            )
            j["cj"] = 0.5 / j["aj"] ** 2
            j["cs"] = 0.5 * (1.0 + j["suction_loss"]) / j["as"] ** 2
            e = j["mixing_effectiveness"]
            if "mixing_length" in j:
                e = 0.5 + (e - 0.5) * (
                    1.0 - np.exp(-0.5 * j["mixing_length"] / np.sqrt(4.0 * j["am"] / np.pi))
                )
            j["cd"] = 0.5 * (2.0 * e - 1.0 + j["mixing_loss"]) / j["am"] ** 2
            j["still"] = (STILL * np.array([j["aj"], j["as"], j["am"]])) ** 2
            j["cx"] = e * np.cos(j["angle"]) / (j["aj"] * j["am"])
            j["cy"] = e * np.cos(j["suction_angle"]) / (j["as"] * j["am"])

    def _lay_balances(self, given: Plain) -> None:
        paths, count = np.arange(self.paths), self.count
        out = np.zeros((count + 1, self.paths))
        out[self.start, paths] = 1.0
        out[self.finish, paths] -= 1.0
        self.outflow = out[:count]
        # flow into a node: half of all flow at its ends and half of the signed flow into them
        self.into = 0.5 * np.hstack([np.abs(self.outflow), -self.outflow])
        self.supply = np.array([given.supply.get(n, 0.0) for n in self.nodes[:-1]])
        self.fresh = np.maximum(self.supply, 0.0)
        self.held = {self.index[n]: p for n, p in given.held.items()}
        # how much the first end's pressure counts for the density; "follows": the end where the air enters
        self.first = np.zeros(self.paths)
        self.first[self.rows["pipe"]], self.first[self.rows["fan"]] = 0.5, 1.0
        self.follows = self.first == 0.0

    # ---- residual

    def residual(self, u: Any) -> Any:
        """All equations: pressures along the paths [kPa], balances [kg/s], warmth [10 K kg/s]."""
        return self._evaluate(u, False)

    def jacobian(self, u: Any) -> Any:
        """Its Jacobian, dense."""
        return self._evaluate(u, True)

    def _evaluate(self, u: Any, want_slopes: bool) -> Any:
        n, c = self.paths, self.count
        m = u[:n]
        p, w = np.zeros(c + 1), np.zeros(c + 1)
        p[:c] = u[n : n + c] * KILO
        if self.heated:
            w[:c] = u[n + c :] * TEN
        a, b, ahead = p[self.start], p[self.finish], m >= 0.0
        along = a - b
        first = np.where(self.follows, ahead, self.first)
        entering, relative = np.zeros(n), np.ones(n)
        rho = self.air["density"] + self.per_pressure * (b + first * along)
        if self.heated:
            entering = np.where(ahead, w[self.start], w[self.finish])
            relative = self.t0 / (self.t0 + entering)
            rho *= relative
        drop = np.empty(n)
        slope, by_rho = (np.empty(n), np.empty(n)) if want_slopes else (None, None)
        self._single(m, rho, drop, slope, by_rho)
        power = None
        if self.fans is not None:
            r = self.rows["fan"]
            drop[r], own, other, *power = self.fans(m[r], rho[r], want_slopes)
            if slope is not None and by_rho is not None:
                slope[r], by_rho[r] = own, other
        jets = self._jets(m, p, relative, drop, want_slopes) if self.jets else None
        merges = self._merges(m, p, relative, drop) if self.merges else None
        if want_slopes:
            names = ("m", "w", "first", "entering", "rho", "relative", "slope", "by_rho", "power", "jets")
            names += ("merges",)
            values = (m, w, first, entering, rho, relative, slope, by_rho, power, jets, merges)
            return self._matrix(SimpleNamespace(**dict(zip(names, values))))
        balance = self.outflow @ m - self.supply
        for node, value in self.held.items():
            balance[node] = (p[node] - value) / KILO
        along -= drop
        along /= KILO
        if self.any_shut:
            along = np.where(self.shut, m, along)
        parts = [along, balance]
        if self.heated:
            parts.append(self._warmth(m, w, entering, power))
        return np.concatenate(parts)

    def _single(self, m: Any, rho: Any, drop: Any, slope: Any, by_rho: Any) -> None:
        if c := self.pipes:
            r = self.rows["pipe"]
            flow = m[r]
            size = np.maximum(np.abs(flow), 1e-6 / c["per_flow"])
            f, log_slope = darcy(size * c["per_flow"], c["rough"])
            friction = f * c["long"]
            steep = size * c["head"] / rho[r]
            whole = friction + c["loss"] + np.where(flow > 0.0, c["forward"], c["backward"])
            own = flow * steep * whole
            drop[r] = own + (rho[r] - self.air["density"]) * c["lift"]
            if slope is not None:
                slope[r] = steep * (2.0 * whole + friction * log_slope)
                by_rho[r] = c["lift"] - own / rho[r]
        if c := self.squares:
            r = self.rows["square"]
            flow = m[r]
            smooth, steep = np.sqrt(flow * flow + c["still"]), c["head"] / rho[r]
            drop[r] = steep * flow * smooth
            if slope is not None:
                slope[r] = steep * (smooth + flow * flow / smooth)
                by_rho[r] = -drop[r] / rho[r]
        if c := self.powers:
            r = self.rows["power"]
            per = 1.0 / (rho[r] ** c["exponent"] * c["mass"])
            z = m[r] * per
            whole = z * z + c["z0"]
            power = whole ** c["half"]
            drop[r] = z * power
            if slope is not None:
                slope[r] = per * power * (1.0 + 2.0 * c["half"] * z * z / whole)
                by_rho[r] = -c["exponent"] * m[r] * slope[r] / rho[r]

    def _warmth(self, m: Any, w: Any, entering: Any, power: Any) -> Any:
        """Node warmth times inflow, less what the inflow brings."""
        n, r = self.paths, self.rows["fan"]
        both = np.empty((2 * n, 2))  # flow and the warmth it carries; without a sign, then with it
        np.abs(m, out=both[:n, 0])
        both[n:, 0] = m
        np.multiply(both[:, 0], np.concatenate([entering, entering]), out=both[:, 1])
        heat = power[0] / self.air["heat_capacity"]
        both[:n, 1][r] += heat
        both[n:, 1][r] += np.copysign(heat, m[r])
        total, brought = (self.into @ both).T
        return ((total + self.fresh) * w[:-1] - brought) / TEN

    def _jets(self, m: Any, p: Any, relative: Any, drop: Any, want_slopes: bool) -> Any:
        j, one, two = self.jet, self.rows["motive"], self.rows["suction"]
        x, y = m[one], m[two]
        suction, discharge = self.start[two], self.finish[two]
        wx, wy = self.t0 / relative[one] - self.t0, self.t0 / relative[two] - self.t0
        ax, ay = np.abs(x) + 1e-12, np.abs(y) + 1e-12
        warm = (ax * wx + ay * wy) / (ax + ay)
        r1, r2, r3 = relative[one], relative[two], self.t0 / (self.t0 + warm)
        rho0, beta = self.air["density"], self.per_pressure
        rho1, rho2 = (rho0 + beta * p[suction]) * r1, (rho0 + beta * p[suction]) * r2
        rho3 = (rho0 + beta * p[discharge]) * r3
        s = x + y
        roots = np.sqrt(np.array([x, y, s]) ** 2 + j["still"])
        sucked = j["cs"] * y * roots[1] / rho2  # P_s - p1
        rho_j = rho1 - beta * r1 * sucked
        x_in, y_in = np.maximum(x, 0.0), np.maximum(y, 0.0)
        # isentropic nozzle: rho_e = rho_j T0 / T, T0 / T = 1 + z, z = (kappa - 1) q / (kappa p1), kappa 1.4;
        # with q = q_j / (1 + z) a quadratic in z; p1 absolute is rho_j over the density per pressure
        squeeze = 2.0 / 7.0 * beta * r1 / rho_j
        q_j = j["cj"] * x_in**2 / rho_j
        root = np.sqrt(1.0 + 4.0 * squeeze * q_j)
        z = 0.5 * (root - 1.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            psi = np.where(z > 1e-9, np.expm1(3.5 * np.log1p(z)) / (3.5 * z), 1.0 + 1.25 * z)
            psi_z = np.where(z > 1e-4, ((1.0 + z) ** 2.5 - psi) / z, 1.25 + 1.25 * z)
        rho_e = rho_j * (1.0 + z)
        nozzle = (psi + j["nozzle_loss"]) * j["cj"] * x * roots[0] / rho_e  # P_m - p1
        thrust, entrained = j["cx"] * x_in**2 / rho_e, j["cy"] * y_in**2 / rho2
        mixed = j["cd"] * s * roots[2] / rho3
        gain = thrust + entrained - mixed  # P_d - p1
        drop[one], drop[two] = nozzle - gain, sucked - gain
        if not want_slopes:
            return None
        # slopes in x, y, rho1, rho2, rho3 of p1's three distances, one after the other
        zero = np.zeros_like(x)
        nx, sy, ss = (k * (v + q * q / v) for k, v, q in zip((j["cj"], j["cs"], j["cd"]), roots, (x, y, s)))
        d_sucked = np.array([zero, sy / rho2, zero, -sucked / rho2, zero])
        d_rho_j = -beta * r1 * d_sucked
        d_rho_j[2] += 1.0
        d_z = -2.0 * squeeze * q_j / root / rho_j * d_rho_j
        d_z[0] += 2.0 * squeeze * j["cj"] * x_in / rho_j / root
        d_rho_e = (1.0 + z) * d_rho_j + rho_j * d_z
        d_nozzle = -nozzle / rho_e * d_rho_e + psi_z * j["cj"] * x * roots[0] / rho_e * d_z
        d_nozzle[0] += (psi + j["nozzle_loss"]) * nx / rho_e
        d_gain = -thrust / rho_e * d_rho_e
        d_gain += np.array(
            [
                2.0 * j["cx"] * x_in / rho_e - ss / rho3,
                2.0 * j["cy"] * y_in / rho2 - ss / rho3,
                zero,
                -entrained / rho2,
                mixed / rho3,
            ]
        )
        out = SimpleNamespace(rho_j=rho_j, rho2=rho2, rho3=rho3, r1=r1, r2=r2, r3=r3)
        out.wx, out.wy, out.mixed, out.ax, out.ay = wx, wy, warm, ax, ay
        out.slopes = (d_nozzle - d_gain, d_sucked - d_gain)
        # warmer motive air keeps p1 and the squeeze: z then goes with one over its density, not its square
        less = squeeze * q_j / root / rho_j
        by_z = thrust / (1.0 + z)
        nozzle_z = psi_z * j["cj"] * x * roots[0] / rho_e - nozzle / (1.0 + z)
        out.warm = (out.slopes[0][2] + (nozzle_z + by_z) * less, out.slopes[1][2] + by_z * less)
        return out

    def _merges(self, m: Any, p: Any, relative: Any, drop: Any) -> Any:
        one, two = self.rows["straight"], self.rows["branch"]
        x, y, j = m[one], m[two], SimpleNamespace()
        j.wx, j.wy = self.t0 / relative[one] - self.t0, self.t0 / relative[two] - self.t0
        j.ax, j.ay = np.abs(x) + 1e-12, np.abs(y) + 1e-12
        j.warm = (j.ax * j.wx + j.ay * j.wy) / (j.ax + j.ay)
        j.r = (relative[one], relative[two], self.t0 / (self.t0 + j.warm))
        j.at = (self.start[one], self.start[two], self.finish[one])
        j.rho = [(self.air["density"] + self.per_pressure * p[at]) * r for at, r in zip(j.at, j.r)]
        j.given = (x, y, *j.rho)
        drop[one], drop[two] = merge_drops(j.given, self.merge)
        return j

    # ---- Jacobian

    def _matrix(self, v: Any) -> Any:
        """Columns and rows of outside are laid out like any node's and cut off at the end."""
        n, c = self.paths, self.count
        full = np.zeros((n + 2 * (c + 1), n + 2 * (c + 1)))
        pressure, temperature_rise = n, n + c + 1
        row = np.arange(n)
        full[row, pressure + self.start] = 1.0
        full[row, pressure + self.finish] -= 1.0
        v.up = np.where(v.m >= 0.0, self.start, self.finish)
        k = row[: n - 2 * (self.jets + self.merges)]
        full[k, k] = -v.slope[k]
        gauge = v.by_rho[k] * self.per_pressure * v.relative[k]
        full[k, pressure + self.start[k]] -= gauge * v.first[k]
        full[k, pressure + self.finish[k]] -= gauge * (1.0 - v.first[k])
        full[k, temperature_rise + v.up[k]] += v.by_rho[k] * v.rho[k] / (self.t0 + v.entering[k])
        if v.jets is not None:
            self._jet_rows(full, v, pressure, temperature_rise)
        if v.merges is not None:
            self._merge_rows(full, v, pressure, temperature_rise)
        full[:n] /= KILO
        shut = np.flatnonzero(self.shut)
        full[shut] = 0.0
        full[shut, shut] = 1.0
        full[n : n + c, :n] = self.outflow
        for node in self.held:
            full[n + node, :n] = 0.0
            full[n + node, pressure + node] = 1.0 / KILO
        if self.heated:
            self._temperature_rows(full, v, pressure, temperature_rise)
        full[:, pressure:temperature_rise] *= KILO
        full[:, temperature_rise:] *= TEN
        kept = np.r_[: n + c, temperature_rise : temperature_rise + c] if self.heated else np.arange(n + c)
        return full[np.ix_(kept, kept)]

    def _jet_rows(self, full: Any, v: Any, pressure: int, temperature_rise: int) -> None:
        one, two = (np.arange(self.paths)[self.rows[k]] for k in ("motive", "suction"))
        j, m = v.jets, v.m
        suction, discharge = pressure + self.start[two], pressure + self.finish[two]
        up1, up2 = temperature_rise + v.up[one], temperature_rise + v.up[two]
        cooler = -j.rho3 / (self.t0 + j.mixed)  # d rho3 / d warm
        both = j.ax + j.ay
        share = j.ax / both
        warm_x, warm_y = np.sign(m[one]) * (j.wx - j.mixed) / both, np.sign(m[two]) * (j.wy - j.mixed) / both
        for r, (by_x, by_y, by1, by2, by3), warmer in zip((one, two), j.slopes, j.warm):
            full[r, one] -= by_x + by3 * cooler * warm_x
            full[r, two] -= by_y + by3 * cooler * warm_y
            full[r, suction] -= self.per_pressure * (by1 * j.r1 + by2 * j.r2)
            full[r, discharge] -= self.per_pressure * by3 * j.r3
            full[r, up1] -= -warmer * j.rho_j / (self.t0 + j.wx) + by3 * cooler * share
            full[r, up2] -= -by2 * j.rho2 / (self.t0 + j.wy) + by3 * cooler * (1.0 - share)

    def _merge_rows(self, full: Any, v: Any, pressure: int, temperature_rise: int) -> None:
        """Slopes by a step into the imaginary, which loses no digits."""
        one, two = (np.arange(self.paths)[self.rows[k]] for k in ("straight", "branch"))
        j, tiny = v.merges, 1e-30
        cooler, both = -j.rho[2] / (self.t0 + j.warm), j.ax + j.ay
        warm_x, warm_y = (
            np.sign(v.m[one]) * (j.wx - j.warm) / both,
            np.sign(v.m[two]) * (j.wy - j.warm) / both,
        )
        share = j.ax / both
        steps = []
        for i in range(5):
            moved = [
                np.asarray(g, dtype=complex) + (1j * tiny if i == k else 0.0) for k, g in enumerate(j.given)
            ]
            steps.append([np.imag(d) / tiny for d in merge_drops(tuple(moved), self.merge)])
        for r, (by_x, by_y, *by_rho) in zip((one, two), zip(*steps)):
            full[r, one] -= by_x + by_rho[2] * cooler * warm_x
            full[r, two] -= by_y + by_rho[2] * cooler * warm_y
            for by, at, relative in zip(by_rho, j.at, j.r):
                full[r, pressure + at] -= self.per_pressure * by * relative
            by_1, by_2 = (-by * rho / (self.t0 + w) for by, rho, w in zip(by_rho, j.rho, (j.wx, j.wy)))
            full[r, temperature_rise + v.up[one]] -= by_1 + by_rho[2] * cooler * share
            full[r, temperature_rise + v.up[two]] -= by_2 + by_rho[2] * cooler * (1.0 - share)

    def _temperature_rows(self, full: Any, v: Any, pressure: int, temperature_rise: int) -> None:
        c, row, m = self.count, np.arange(self.paths), v.m
        into = np.where(m >= 0.0, self.finish, self.start)
        inner = into < c
        node = temperature_rise + np.arange(c)
        full[node, node] = np.bincount(into, np.abs(m), c + 1)[:c] + self.fresh
        at = temperature_rise + into[inner]
        np.add.at(full, (at, row[inner]), (np.sign(m) * (v.w[into] - v.entering))[inner])
        np.add.at(full, (at, temperature_rise + v.up[inner]), -np.abs(m)[inner])
        f = row[self.rows["fan"]]
        keep = inner[f]
        _, by_flow, by_rho = (s[keep] / self.air["heat_capacity"] for s in v.power)
        f = f[keep]
        at = temperature_rise + into[f]
        np.add.at(full, (at, f), -by_flow)
        np.add.at(full, (at, pressure + self.start[f]), -by_rho * self.per_pressure * v.relative[f])
        np.add.at(full, (at, temperature_rise + v.up[f]), by_rho * v.rho[f] / (self.t0 + v.entering[f]))
        full[temperature_rise : temperature_rise + c] /= TEN

    # ---- solving

    def cold(self) -> Any:
        """A start that anyone might write: 15 m/s in every section, no pressure, air as outside."""
        area = np.full(self.paths, 0.01)
        for name, key, table in (("pipe", "area", self.pipes), ("square", "area", self.squares)):
            if table:
                area[self.rows[name]] = table[key]
        if self.jet:
            area[self.rows["motive"]], area[self.rows["suction"]] = self.jet["aj"], self.jet["as"]
        if self.merge:
            area[self.rows["straight"]] = self.merge["straight_area"]
            area[self.rows["branch"]] = self.merge["branch_area"]
        u = np.zeros(self.size)
        u[: self.paths] = np.where(self.shut, 0.0, 15.0 * self.air["density"] * area)
        if self.fans is not None:
            last = np.where(np.isfinite(self.fans.breaks), self.fans.breaks, 0.0).max(axis=1)
            u[self.rows["fan"]] = 0.6 * self.air["density"] * self.fans.speed * last
        return u

    def pack(self, state: Any) -> Any:
        """A solved state of the library as a vector of unknowns."""
        flow = [state.flow[name] for name in self.names]
        pressure = [state.pressure[n] / KILO for n in self.nodes[:-1]]
        warm = [(state.temperature[n] - self.t0) / TEN for n in self.nodes[:-1]] if self.heated else []
        return np.array([*flow, *pressure, *warm])

    def solve(self, start: Any, jacobian: bool = False, tolerance: float = 1e-12) -> Any:
        """`scipy.optimize.root` with its default method, MINPACK's hybr."""
        options = {"xtol": tolerance, "maxfev": 20000}
        return root(
            self.residual, start, jac=self.jacobian if jacobian else None, method="hybr", options=options
        )
