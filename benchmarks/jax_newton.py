"""Newton's method on many machines at once by jax: a residual, its slopes by jax, mapped and compiled.

Only measured where jax is installed; it is no dependency. The equations are the oracle's, written once more
without writing into arrays, which jax does not allow.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from batched_newton import ENOUGH, STEPS, TABLES, Batch
from oracle import KILO, TEN

FAN = ("breaks", "anchor", "rise", "watts", "speed", "density", "efficiency", "creep")


class JaxBatch:
    """The machines of a `Batch`, solved by jax in double precision."""

    def __init__(self, batch: Batch) -> None:
        import jax

        jax.config.update("jax_enable_x64", True)
        self.batch = batch
        numbers: dict[str, Any] = {name: getattr(batch, name) for name in TABLES}
        numbers["fan"] = {name: np.moveaxis(getattr(batch.fans, name), 1, -1) for name in FAN}
        numbers["air"] = batch.air | {"per_pressure": batch.per_pressure, "t0": batch.t0}
        self.numbers = jax.tree.map(lambda v: jax.numpy.asarray(np.moveaxis(v, -1, 0)), numbers)

        def step(u: Any, own: Any) -> Any:
            residual, slopes = self.residual(u, own), jax.jacfwd(self.residual)(u, own)
            return u - jax.numpy.linalg.solve(slopes, residual)

        self.step = jax.jit(jax.vmap(step))

    def newton(self, u: Any) -> tuple[Any, int]:
        """Full steps from (unknowns, S) until the largest of a scenario is small; and how many."""
        u = np.ascontiguousarray(u.T)
        for steps in range(1, STEPS + 1):
            new = np.asarray(self.step(u, self.numbers))
            moved, u = np.abs(new - u).max(axis=1), new
            if (moved <= ENOUGH * np.abs(u).max(axis=1)).all():
                return u.T, steps
        raise RuntimeError("the peer found no end")

    def residual(self, u: Any, own: Any) -> Any:
        """All equations of one machine: pressures along paths [kPa], balances [kg/s], warmth [10 K kg/s]."""
        import jax.numpy as jnp

        b, air = self.batch, own["air"]
        n, c, rows = b.paths, b.count, b.rows
        m = u[:n]
        p = jnp.concatenate([u[n : n + c] * KILO, jnp.zeros(1)])
        w = jnp.concatenate([u[n + c :] * TEN, jnp.zeros(1)])
        ahead = m >= 0.0
        first = jnp.where(b.follows[:, 0], ahead, b.first[:, 0])
        entering = jnp.where(ahead, w[b.start], w[b.finish])
        relative = air["t0"] / (air["t0"] + entering)
        along = p[b.start] - p[b.finish]
        rho = (air["density"] + air["per_pressure"] * (p[b.finish] + first * along)) * relative
        lift, watts = self._fans(m[rows["fan"]], rho[rows["fan"]], own["fan"])
        drops = [
            self._pipes(m[rows["pipe"]], rho[rows["pipe"]], own),
            self._squares(m[rows["square"]], rho[rows["square"]], own["squares"]),
            self._powers(m[rows["power"]], rho[rows["power"]], own["powers"]),
            lift,
            *self._jets(m, p, relative, own),
        ]
        heat = jnp.zeros(n).at[rows["fan"]].set(watts / air["heat_capacity"])
        carried = jnp.abs(m) * entering + heat
        total = b.into @ jnp.concatenate([jnp.abs(m), m])
        brought = b.into @ jnp.concatenate([carried, jnp.sign(m) * carried])
        warmth = ((total + b.fresh[:, 0]) * w[:-1] - brought) / TEN
        balance = b.outflow @ m - b.supply[:, 0]
        return jnp.concatenate([(along - jnp.concatenate(drops)) / KILO, balance, warmth])

    def _pipes(self, flow: Any, rho: Any, own: Any) -> Any:
        import jax.numpy as jnp

        t = own["pipes"]
        size = jnp.maximum(jnp.abs(flow), 1e-6 / t["per_flow"])
        whole = _darcy(size * t["per_flow"], t["rough"]) * t["long"] + t["loss"]
        whole += jnp.where(flow > 0.0, t["forward"], t["backward"])
        return flow * size * t["head"] / rho * whole + (rho - own["air"]["density"]) * t["lift"]

    def _squares(self, flow: Any, rho: Any, t: Any) -> Any:
        return t["head"] / rho * flow * (flow * flow + t["still"]) ** 0.5

    def _powers(self, flow: Any, rho: Any, t: Any) -> Any:
        z = flow / (rho ** t["exponent"] * t["mass"])
        return z * (z * z + t["z0"]) ** t["half"]

    def _fans(self, m: Any, rho: Any, t: Any) -> tuple[Any, Any]:
        import jax.numpy as jnp

        n, volume, share = t["speed"], m / rho, rho / t["density"]
        q = volume / n
        which, piece = jnp.arange(len(m)), (q[:, None] > t["breaks"]).sum(axis=-1)
        x = q - t["anchor"][which, piece]
        c3, c2, c1, c0 = t["rise"][which, piece].T
        lift = share * n * n * (c0 + x * (c1 + x * (c2 + x * c3)))
        w3, w2, w1, w0 = t["watts"][which, piece].T
        by_curve = share * n**3 * (w0 + x * (w1 + x * (w2 + x * w3)))
        by_share = jnp.maximum(lift * volume, 0.0) / t["efficiency"]
        watts = jnp.where(self.batch.fans.by_curve[:, 0], by_curve, by_share)
        return share * t["creep"] * volume - lift, watts

    def _jets(self, m: Any, p: Any, relative: Any, own: Any) -> tuple[Any, Any]:
        import jax.numpy as jnp

        j, air, b = own["jet"], own["air"], self.batch
        one, two = b.rows["motive"], b.rows["suction"]
        x, y, beta = m[one], m[two], air["per_pressure"]
        suction, discharge = b.start[two], b.finish[two]
        wx, wy = air["t0"] / relative[one] - air["t0"], air["t0"] / relative[two] - air["t0"]
        ax, ay = jnp.abs(x) + 1e-12, jnp.abs(y) + 1e-12
        r1, r3 = relative[one], air["t0"] / (air["t0"] + (ax * wx + ay * wy) / (ax + ay))
        rho1, rho2 = ((air["density"] + beta * p[suction]) * r for r in (r1, relative[two]))
        rho3 = (air["density"] + beta * p[discharge]) * r3
        roots = jnp.sqrt(jnp.stack([x, y, x + y]) ** 2 + j["still"])
        sucked = j["cs"] * y * roots[1] / rho2
        rho_j = rho1 - beta * r1 * sucked
        x_in, y_in = jnp.maximum(x, 0.0), jnp.maximum(y, 0.0)
        squeeze = 2.0 / 7.0 * beta * r1 / rho_j
        z = 0.5 * (jnp.sqrt(1.0 + 4.0 * squeeze * j["cj"] * x_in**2 / rho_j) - 1.0)
        safe = jnp.where(z > 1e-9, z, 1.0)
        psi = jnp.where(z > 1e-9, jnp.expm1(3.5 * jnp.log1p(safe)) / (3.5 * safe), 1.0 + 1.25 * z)
        rho_e = rho_j * (1.0 + z)
        nozzle = (psi + j["nozzle_loss"]) * j["cj"] * x * roots[0] / rho_e
        thrust, entrained = j["cx"] * x_in**2 / rho_e, j["cy"] * y_in**2 / rho2
        gain = thrust + entrained - j["cd"] * (x + y) * roots[2] / rho3
        return nozzle - gain, sucked - gain


def _darcy(reynolds: Any, rough: Any) -> Any:
    """Darcy factor, laminar below 2000, Colebrook above 4000, a cubic in logarithms between."""
    import jax.numpy as jnp

    fast = jnp.maximum(reynolds, 4000.0)
    x = -1.8 * jnp.log10(6.9 / fast + (rough / 3.7) ** 1.11)
    a, b, two = rough / 3.7, 2.51 / fast, 2.0 / np.log(10.0)
    for _ in range(3):
        inside = a + b * x
        x = x - (x + two * jnp.log(inside)) / (1.0 + two * b / inside)
    t = two * b / (a + b * x)
    factor, slope, wide = x**-2, -2.0 * t / (1.0 + t), np.log(2.0)
    t = jnp.log(jnp.clip(reynolds, 2000.0, 4000.0) / 2000.0) / wide
    y0, y1, m0, m1 = np.log(0.032), jnp.log(factor), -wide, slope * wide
    y = y0 + (3 * t**2 - 2 * t**3) * (y1 - y0) + (t**3 - 2 * t**2 + t) * m0 + (t**3 - t**2) * m1
    between = jnp.where(reynolds >= 4000.0, factor, jnp.exp(y))
    return jnp.where(reynolds <= 2000.0, 64.0 / reynolds, between)
