"""What the oracle knows of single parts: plain data in, coefficients and fan curves out.

Written from the documented equations; nothing of the library's laws or parts is imported.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi
from typing import Any

import numpy as np
from scipy.interpolate import PchipInterpolator

BENDS = {  # 90 degree bends: K = least + gain (r/D)^-power
    "smooth": (0.109, 0.1105, 2.44),
    "five-piece": (0.110, 0.226, 1.47),
    "four-piece": (0.196, 0.171, 2.005),
    "three-piece": (0.309, 0.1086, 2.63),
}
STILL = 1.2e-3  # kg/(s m2), where a square law turns into a line
SQUARE_BENDS = ([0.5, 0.75, 1.0, 1.5, 2.0], [1.18, 0.44, 0.21, 0.17, 0.15])


@dataclass
class Plain:
    """A machine as plain data: what the oracle is given.

    parts: (name, kind, ends, {field: number or word}); air: density, viscosity, pressure, temperature and
    heat_capacity outside, SI.
    """

    parts: list[tuple[str, str, tuple[str, ...], dict[str, Any]]]
    air: dict[str, float]
    held: dict[str, float] = field(default_factory=dict)
    supply: dict[str, float] = field(default_factory=dict)


def plain(machine: Any) -> Plain:
    """The names, kinds, ends and numbers of a machine without columns."""
    numbers = dict(machine.numbers)
    parts = []
    for p in machine.layout.parts:
        own = {a[len(p.name) + 1 :]: v for a, v in numbers.items() if a.startswith(p.name + ".")}
        own |= words(p.schema)
        if p.drive:
            belt = {
                number_key: numbers[f"{p.drive}.{number_key}"]
                for number_key in ("engine_speed", "driving_pulley", "slip")
            }
            ratio = belt["driving_pulley"] / numbers[f"{p.drive}.driven_pulley"]
            own["speed"] = belt["engine_speed"] * ratio * (1.0 - belt["slip"])
        parts.append((p.name, p.schema.part.kind, p.ends, own))
    return Plain(parts, air_of(machine.air()))


def plain_parts(parts: Any, air: Any, **more: Any) -> Plain:
    """The same of (name, part, ends) and an air, as a network is given them; `held`, `supply` by name."""
    given = [(name, part.kind, ends, part.numbers() | words(part.schema)) for name, part, ends in parts]
    return Plain(given, air_of(air), **more)


def words(schema: Any) -> dict[str, Any]:
    """The fields of a form that are words ("shape"), its bends' among them ("bend 1.style")."""
    out: dict[str, Any] = {name: shape for name, shape in schema.shape if isinstance(shape, str)}
    for _, shape in schema.shape:
        if isinstance(shape, tuple):
            for i, bend in enumerate(shape, 1):
                out |= {f"bend {i}.{word}": value for word, value in words(bend).items()}
    return out


def air_of(air: Any) -> dict[str, float]:
    names = ("density", "viscosity", "pressure", "temperature", "heat_capacity")
    return {name: float(getattr(air, name)) for name in names}


ASPECTS = (
    [0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0],
    [1.30, 1.18, 1.09, 1.0, 0.905, 0.855, 0.855, 0.905, 0.945, 0.985, 1.0],
)


def bends_loss(own: dict[str, Any], width: float, square: bool) -> float:
    """Loss coefficients of all bends of a duct or hose."""
    total, i = 0.0, 1
    while f"bend {i}.angle" in own:
        style, t = own[f"bend {i}.style"], own[f"bend {i}.angle"] / (pi / 2)
        share = 1.515 * t / (1.0 + 0.515 * t**1.2)
        if style == "mitre":
            total += t * (0.13 + 1.06 * t)
        elif square:
            x, y = (np.log(v) for v in SQUARE_BENDS)
            share *= float(np.interp(np.log(own["height"] / width), np.log(ASPECTS[0]), ASPECTS[1]))
            total += share * float(np.exp(np.interp(np.log(own[f"bend {i}.radius"] / width), x, y)))
        else:
            least, gain, power = BENDS[style]
            total += share * (least + gain * (own[f"bend {i}.radius"] / width) ** -power)
        i += 1
    return total


def plate_loss(share: float) -> float:
    return (1.0 / ((0.62 + 0.38 * share**3) * share) - 1.0) ** 2


def free_ends(own: dict[str, Any], bore: float) -> dict[str, float]:
    """What free ends take, forward and back: an edge entered, a velocity lost; the reverse against it."""
    forward = backward = 0.0
    if "inlet_loss" in own:
        sharp = own["inlet_loss"]
        radius = own.get("inlet_radius")
        forward += sharp if radius is None else 2.0 * sharp * (0.03 + 0.47 * 10 ** (-7.7 * radius / bore))
        backward += 1.0
    if "outlet_loss" in own:
        forward += own["outlet_loss"]
        backward += 0.93
    return {"forward": forward, "backward": backward}


def pipe(kind: str, own: dict[str, Any]) -> dict[str, float]:
    """A duct or hose as the friction law wants it."""
    loss = own["loss_coefficient"]
    if kind == "hose":
        bore = own["diameter"]
        area, width, square, rise = pi / 4 * bore**2, bore, False, 0.0
        loss += plate_loss(1.0 - own["kink"])
        more = 1.0 + 58.0 * (1.0 - own["stretch"]) * np.exp(-4.96 * bore)
    elif "diameter" in own:
        bore = own["diameter"]
        area, width, square, rise, more = pi / 4 * bore**2, bore, False, own["rise"], 1.0
    elif own["shape"] == "rectangular":
        w, h = own["width"], own["height"]
        area, bore, width, square, rise, more = w * h, 2 * w * h / (w + h), w, True, own["rise"], 1.0
    else:
        raise ValueError(f"the oracle knows no duct of the shape {own['shape']!r}")
    loss += bends_loss(own, width, square) * own.get("bend_factor", 1.0)
    long = own["length"] * more / bore
    return {
        "area": area,
        "bore": bore,
        "rough": own["roughness"] / bore,
        "long": long,
        "loss": loss,
        "rise": rise,
        **free_ends(own, bore),
    }


def square_law(kind: str, own: dict[str, Any]) -> dict[str, float]:
    """An opening, a screen or a gap as a loss on an area."""
    if kind == "opening":
        return {"area": own["area"], "loss": own["loss_coefficient"]}
    if kind == "screen":
        s = own["open_fraction"] * (1.0 - own["blinded"])
        losses = {
            "thin plate": (1.0 / ((0.60 + 0.15 * s + 0.25 * s**16) * s) - 1.0) ** 2,
            "wire mesh": 0.52 * (1.0 / s**2 - 1.0),
            "grille": (0.5 * (1.0 - s) + (1.0 - s * s)) / (s * s),
        }
        return {"area": own["area"], "loss": max(losses[own["style"]], 1e-3)}
    area = own["area"] if "area" in own else own["length"] * own["width"]
    return {"area": area, "loss": own["discharge_coefficient"] ** -2}


SOFT, THROUGH = 0.003, 0.05


def merge_weights(own: dict[str, Any]) -> tuple[Any, Any]:
    """Weights (x straight, y branch, s combined) of both drops where streams join, and where they part."""
    branch, straight = own["branch_area"] / own["combined"], own["straight_area"] / own["combined"]
    cosine = np.cos(own["angle"])
    square = min(max(1.0 - 2.0 * cosine, 0.0), 1.0)
    wide = min(max((branch - 0.3) / 0.2, 0.0), 1.0)
    steep = min(max((np.sqrt(0.5) - cosine) / (np.sqrt(0.5) - 0.5), 0.0), 1.0)
    gain, share = 1.0 - 0.225 * square, 1.0 - 0.3 * wide
    own_loss = 1.0 - wide * (0.33 + 0.08 * branch + 0.27 * square * branch)
    joining = [
        [gain * (1.0 - 2.0 * straight) + THROUGH, -2.0 * cosine * branch - 0.225 * square * branch**2, gain],
        [-2.0 * share * straight, own_loss - 2.0 * share * cosine * branch, share],
    ]
    turned = cosine * (1.0 - wide * (0.55 - 0.78 * branch + steep * (0.45 - 0.06 * branch)))
    narrow = 0.88 + 0.12 * square
    side = narrow + wide * (0.1 + 1.08 * branch - steep * (0.2 + 0.33 * branch) - narrow)
    parting = [
        [0.2 * wide * straight**2 + 0.5 * (1.0 - straight) + THROUGH, (0.4 + 0.1 * wide) * branch**2]
        + [-0.2 * wide],
        [turned / branch * straight**2, max(side, turned) - turned * branch, 1.0 - turned / branch],
    ]
    return joining, parting


def _both(u: Any, v: Any) -> Any:
    """Twice the product of two streams, less where one of them is nearly still."""
    squares = u * u + v * v
    t = u * v / np.where(squares == 0.0, 1.0, squares)
    return 2.0 * u * v * t / (t + SOFT)


def _fades(v: Any, against: Any) -> Any:
    whole = v * v + 4.0 * against * against
    return v**4 / np.where(whole == 0.0, 1.0, whole)


def merge_drops(given: tuple[Any, Any, Any, Any, Any], c: dict[str, Any]) -> tuple[Any, Any]:
    """Drops of a merge's straight and branch path of (x, y, rho1, rho2, rho3), complex numbers too."""
    x, y, *rho = given
    e1, e2, e3 = (0.5 / (r * c[k] ** 2) for r, k in zip(rho, ("straight_area", "branch_area", "combined")))
    parts = [(np.where(np.real(m) > 0.0, m, 0.0), np.where(np.real(m) < 0.0, -m, 0.0)) for m in (x, y)]
    (ahead_x, back_x), (ahead_y, back_y) = parts
    d1 = STILL * c["straight_area"] * e1 * x + e3 * (_both(ahead_x, back_y) - _both(back_x, ahead_y))
    d2 = STILL * c["branch_area"] * e2 * y
    for sign, w, (u, v, au, av) in (
        (1.0, c["joining"], (ahead_x, ahead_y, back_x, back_y)),
        (-1.0, c["parting"], (back_x, back_y, ahead_x, ahead_y)),
    ):
        cross = _both(u, v)
        own, other = u * u, _fades(v, au)
        d1 = d1 + sign * (w[0, 0] * e1 * own + w[0, 1] * e2 * other + w[0, 2] * e3 * (own + other + cross))
        own, other = v * v, _fades(u, av)
        d2 = d2 + sign * (w[1, 0] * e1 * other + w[1, 1] * e2 * own + w[1, 2] * e3 * (own + other + cross))
    return d1, d2


class FanCurves:
    """Monotone cubics of several fans and the parabolas beyond their points, evaluated together."""

    def __init__(self, fans: list[dict[str, Any]]) -> None:
        pieces = max(sum(1 for k in f if k.startswith("flow[")) for f in fans) + 1
        count = len(fans)
        self.breaks = np.full((count, pieces - 1), np.inf)
        self.anchor, self.rise = np.zeros((count, pieces)), np.zeros((count, pieces, 4))
        self.watts = np.zeros((count, pieces, 4))
        self.speed, self.density, self.efficiency, self.creep = (np.zeros(count) for _ in range(4))
        self.by_curve = np.zeros(count, dtype=bool)
        for i, f in enumerate(fans):
            self._add(i, f)
        self.which = np.arange(count)
        self.any_by_curve = bool(self.by_curve.any())

    def _add(self, i: int, own: dict[str, Any]) -> None:
        if own.get("inlet_temperature") is not None or own["curve_speed"] <= 0.0:
            raise ValueError("the oracle knows no fan with an inlet temperature of its own")
        n = sum(1 for k in own if k.startswith("flow["))
        q = np.array([own[f"flow[{k}]"] for k in range(n)])
        if "static_pressure[0]" in own:
            half = 0.5 * own["curve_density"]
            clean = [own[f"static_pressure[{k}]"] + half * (q[k] / own["outlet_area"]) ** 2 for k in range(n)]
        else:
            clean = [own[f"total_pressure[{k}]"] for k in range(n)]
        peak, dirty = max(clean), np.array(clean) * (1.0 - own["soiling"])
        curve = PchipInterpolator(q, dirty)
        first, last = curve(q[0], 1), curve(q[-1], 1)
        bend = peak / q[-1] ** 2
        self.breaks[i, :n] = q
        self.anchor[i, : n + 1] = [q[0], *q]
        self.rise[i, 0] = [0.0, bend + first**2 / (2.0 * peak), first, dirty[0]]
        self.rise[i, 1:n] = curve.c.T
        self.rise[i, n] = [0.0, -bend, last, dirty[-1]]
        self.creep[i] = 1e-6 * bend * q[-1]
        self.speed[i] = own["speed"] / own["curve_speed"]
        self.density[i] = own["curve_density"]
        self.efficiency[i] = own["efficiency"] * (1.0 - own["soiling"])
        if "shaft_power[0]" in own:
            self.by_curve[i] = True
            watts = np.array([own[f"shaft_power[{k}]"] for k in range(n)])
            self.watts[i, 0, 3], self.watts[i, n, 3] = watts[0], watts[-1]
            self.watts[i, 1:n] = PchipInterpolator(q, watts).c.T

    def __call__(self, m: Any, rho: Any, want_slopes: bool) -> tuple[Any, Any, Any, Any, Any, Any]:
        """Drop [Pa] and its slopes in m and rho; shaft power [W] and its slopes."""
        n, volume = self.speed, m / rho
        q = volume / n
        piece = (q[:, None] > self.breaks).sum(axis=1)
        x = q - self.anchor[self.which, piece]
        c3, c2, c1, c0 = self.rise[self.which, piece].T
        share = rho / self.density
        lift = share * n * n * (c0 + x * (c1 + x * (c2 + x * c3)))
        drop = share * self.creep * volume - lift
        watts = np.maximum(lift * volume, 0.0) / self.efficiency
        if self.any_by_curve:
            w3, w2, w1, w0 = self.watts[self.which, piece].T
            cube = share * n**3
            watts = np.where(self.by_curve, cube * (w0 + x * (w1 + x * (w2 + x * w3))), watts)
        if not want_slopes:
            return drop, None, None, watts, None, None
        slope = n * share * (c1 + x * (2.0 * c2 + 3.0 * x * c3))
        by_volume = share * self.creep - slope
        watts_volume = np.where(watts > 0.0, (lift + slope * volume) / self.efficiency, 0.0)
        if self.any_by_curve:
            own = cube / n * (w1 + x * (2.0 * w2 + 3.0 * x * w3))
            watts_volume = np.where(self.by_curve, own, watts_volume)
        return (
            drop,
            by_volume / rho,
            (drop - by_volume * volume) / rho,
            watts,
            watts_volume / rho,
            (watts - watts_volume * volume) / rho,
        )


def colebrook(reynolds: Any, rough: Any) -> tuple[Any, Any]:
    """Darcy factor by Newton's method on x = 1 / sqrt(f), from Haaland's formula; and d ln f / d ln Re."""
    x = -1.8 * np.log10(6.9 / reynolds + (rough / 3.7) ** 1.11)
    a, b, two = rough / 3.7, 2.51 / reynolds, 2.0 / np.log(10.0)
    for _ in range(3):
        inside = a + b * x
        x = x - (x + two * np.log(inside)) / (1.0 + two * b / inside)
    t = two * b / (a + b * x)
    return x**-2, -2.0 * t / (1.0 + t)


def darcy(reynolds: Any, rough: Any) -> tuple[Any, Any]:
    """Darcy factor, laminar below 2000, Colebrook above 4000, a cubic in logarithms between."""
    factor, slope = colebrook(np.maximum(reynolds, 4000.0), rough)
    if reynolds.min() >= 4000.0:
        return factor, slope
    wide = np.log(2.0)
    t = np.log(np.maximum(reynolds, 2000.0) / 2000.0) / wide
    y0, y1, m0, m1 = np.log(0.032), np.log(factor), -wide, slope * wide
    bump = 3 * t**2 - 2 * t**3
    y = y0 + bump * (y1 - y0) + (t**3 - 2 * t**2 + t) * m0 + (t**3 - t**2) * m1
    dy = (6 * t - 6 * t**2) * (y1 - y0) + (3 * t**2 - 4 * t + 1) * m0 + (3 * t**2 - 2 * t) * m1
    laminar, turbulent = reynolds <= 2000.0, reynolds >= 4000.0
    f = np.where(laminar, 64.0 / reynolds, np.where(turbulent, factor, np.exp(y)))
    return f, np.where(laminar, -1.0, np.where(turbulent, slope, dy / wide))
