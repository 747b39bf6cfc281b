"""Published values of leaks, fans, jets, junctions and conveyed crop."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from ...laws.conveying import loaded_friction, loaded_quadratic
from ..declare import LocalAir
from ..duct import Duct
from ..fan import Fan
from ..jet import Jet
from ..leak import Leak
from ..screen import Screen
from ..tee import Merge, Split
from .table import AIR, INCH_WATER, Check, compare, drop_of, volume_of


def leaks() -> Iterator[Check]:
    """Leakage classes, gaps and cracks."""
    sections = (
        (46.5, 750.0, 0.003, 10.0), (62.0, 250.0, 0.006, 14.0), (69.7, 500.0, 0.004, 15.0),
        (18.6, 250.0, 0.006, 4.0), (92.9, 250.0, 0.006, 20.0),
    )  # fmt: skip
    for surface, pascal, leak_class, published in sections:
        ours = 1e3 * volume_of(Leak(leakage_class=leak_class, surface=surface), pascal)
        words = f"class {leak_class:g}, {surface:g} m2 at {pascal:g} Pa"
        # the published flows were rounded, and computed with classes of more digits
        yield compare("power_leak", words, "ashrae2021ch21", "L/s", published, ours, 0.06)
    yield compare(
        "power_leak", "class of 3 % of 10 L/(s m2) at 750 Pa", "ashrae2021ch21", "-", 0.004,
        0.3 / (1e3 * volume_of(Leak(leakage_class=1.0, surface=1.0), 750.0)), 0.02,
    )  # fmt: skip
    imperial = 4.719474e-4 / 9.290304 / INCH_WATER**0.65  # class 1: 1 ft3/min per 100 ft2 at 1 in water
    ours = (
        volume_of(Leak(leakage_class=6e3 * imperial, surface=92.90304), 2.0 * INCH_WATER, 1.2) / 4.719474e-4
    )
    yield compare(
        "power_leak", "class 6, 2 in water, 1000 ft2", "smacna_leakage", "ft3/min", 94.15, ours, 1e-3,
        standing="computed",
    )  # fmt: skip
    for letter, k, published in (
        ("A", 0.027, 1.326),
        ("B", 0.009, 0.442),
        ("C", 0.003, 0.147),
        ("D", 0.001, 0.049),
    ):
        ours = 1e3 * volume_of(Leak(leakage_class=k, surface=1.0), 400.0)
        words = f"tightness class {letter} at 400 Pa"
        yield compare(
            "power_leak", words, "en12237", "L/(s m2)", published, ours, 5e-3, standing="from memory"
        )
    for exponent, published in ((0.5, 1.1180), (0.65, 1.0812)):
        leak = Leak(coefficient=0.003, exponent=exponent)
        ours = volume_of(leak, 100.0, 0.96) / volume_of(leak, 100.0, 1.2)
        words = f"exponent {exponent:g}, flow at 0.96 over that at 1.2 kg/m3"
        yield compare("power_leak", words, "iso9972", "-", published, ours, 1e-4, standing="from memory")
    ours = 1e3 * volume_of(Leak(area=1e-4), 100.0, 1.2)
    yield compare("quadratic", "gap of 1 cm2 at 100 Pa", "orifice_coefficient", "L/s", 0.7875, ours, 1e-3,
                 standing="computed")  # fmt: skip
    for width, values in (
        (1e-3, ((4, 0.3577), (10, 0.8596), (50, 3.5561), (500, 18.297), (2000, 41.492))),
        (2e-3, ((4, 2.1677), (10, 4.3008), (50, 12.193), (500, 44.220), (2000, 91.313))),
    ):
        for pressure, published in values:
            ours = 1e3 * volume_of(Leak(length=1.0, width=width, depth=0.05), float(pressure), 1.2)
            words = f"crack 1 m, {width * 1e3:g} mm, 50 mm deep at {pressure} Pa"
            yield compare("crack", words, "baker1987", "L/s", published, ours, 1e-4, standing="from memory")


def _fan_state(
    speed: float, density: float, point: tuple[float, float, float], at: float
) -> tuple[float, float]:
    """Rise [Pa] and shaft power [W] of a fan known by one point, at a share of its speed and a density."""
    q, p, power = point
    fan = Fan(
        flow=[0.5 * q, q, 1.5 * q], total_pressure=[1.2 * p, p, 0.5 * p],
        shaft_power=[0.8 * power, power, 1.1 * power], curve_speed=100.0,
        speed=100.0 * speed, curve_density=1.2,
    )  # fmt: skip
    path: Any = fan.paths()[0]
    m = 1.2 * density * at
    rise = -path.law(m, LocalAir(1.2 * density, 1.8e-5), **path.coefficients)[0]
    return float(rise), float(path.power(m, 1.2 * density, **path.coefficients))


def fans() -> Iterator[Check]:
    """Fan laws and static against total pressure."""
    rise, power = _fan_state(1.0, 293.15 / 313.15, (2.4, 340.0, 1800.0), 2.4)
    yield compare("fan", "340 Pa at 20 degC, now 40 degC", "stoecker_jones", "Pa", 318.285, rise, 1e-4,
                 standing="computed")  # fmt: skip
    yield compare("fan", "1.8 kW at 20 degC, now 40 degC", "stoecker_jones", "kW", 1.685, power / 1e3, 1e-3)
    ratio = 1700.0 / 3500.0
    rise, power = _fan_state(ratio, 1.0, (400.0, 126.0, 17.5), 400.0 * ratio)
    yield compare("fan", "3500 to 1700 rpm, head at 194.3 gpm", "crane410", "ft", 29.73, rise, 1e-3)
    yield compare("fan", "3500 to 1700 rpm, power", "crane410", "hp", 2.005, power, 1e-3)
    rise, power = _fan_state(1.25, 1.0, (10000.0, 2.0, 5.0), 12500.0)
    yield compare(
        "fan",
        "1200 to 1500 rpm, pressure",
        "fan_laws",
        "in water",
        3.13,
        rise,
        2e-3,
        standing="common practice",
    )
    yield compare(
        "fan", "1200 to 1500 rpm, power", "fan_laws", "hp", 9.77, power, 2e-3, standing="common practice"
    )
    outlet = Fan(
        flow=[0.0, 1.44, 2.5], static_pressure=[2000.0, 1800.0, 500.0], outlet_area=0.26 * 0.31,
        curve_speed=100.0, curve_density=AIR, speed=100.0,
    )  # fmt: skip
    ours = -drop_of(outlet, 1.44)
    yield compare(
        "fan", "total from 1800 Pa static, outlet 260 x 310 mm", "ashrae2021ch21", "Pa", 1992.0, ours, 1e-3
    )
    free = Fan(
        flow=[0.0, 1.44, 2.5], total_pressure=[2000.0, 1992.0, 800.0], outlet_area=0.26 * 0.31,
        curve_speed=100.0, curve_density=AIR, speed=100.0, outlet="free",
    )  # fmt: skip
    yield compare(
        "fan", "static of 1992 Pa total: a free outlet of 260 x 310 mm", "ashrae2021ch21", "Pa", 1800.0,
        -drop_of(free, 1.44), 1e-3,
    )  # fmt: skip


def jet_state(
    jet: Jet, density: tuple[float, float, float], flow: tuple[float, float]
) -> tuple[float, float]:
    """Drops [Pa] of a jet in fluids of constant density, motive to discharge and suction to discharge."""
    pair: Any = jet.paths()[0]
    air = LocalAir(density, 1e-3, density[0], (0.0, 0.0, 0.0))
    d1, d2 = pair.law(flow, air, **pair.coefficients)[0]
    return float(d1), float(d2)


def jets() -> Iterator[Check]:
    """Worked examples of jet pumps and of mixing."""
    section = 0.25 * math.pi * 0.045**2
    nozzle = 0.25 * math.pi * 0.02238286**2
    # nozzle 0.04, suction 0.11; the published mixing 0.186 and diffuser 0.12 act on the same velocity
    jet = Jet(nozzle_area=nozzle, mixing_area=section, nozzle_loss=0.04, suction_loss=0.11, mixing_loss=0.306)
    # the published mixture: mass per volume of both flows
    d1, d2 = jet_state(jet, (998.0, 1098.0, 0.5 * (998.0 + 1098.0)), (9.98, 10.98))
    lift, lost = -d2, d1
    yield compare(
        "jet",
        "worked example 1, discharge pressure",
        "esdu85032",
        "kPa",
        200.0,
        (133600.0 + lift) / 1e3,
        2e-6,
    )
    yield compare(
        "jet",
        "worked example 1, motive pressure",
        "esdu85032",
        "kPa",
        426.256,
        (133600.0 + lift + lost) / 1e3,
        2e-6,
    )
    yield compare("jet", "worked example 1, pressure ratio", "esdu85032", "-", 0.293473, lift / lost, 5e-6)
    for a_j, a_m, v_s, rho, published, share in (
        (0.01, 0.1, 3.0, 1000.0, 68.06, 1e-4),
        (0.009, 0.07, 3.0, 999.0, 84.646, 1e-4),
    ):
        # no losses but the least one that a jet needs; the static rise is the total one less both velocities
        ideal = Jet(nozzle_area=a_j, mixing_area=a_m, nozzle_loss=1e-9, suction_loss=0.0, mixing_loss=0.0)
        x, y = rho * 30.5 * a_j, rho * v_s * (a_m - a_j)
        _, d2 = jet_state(ideal, (rho, rho, rho), (x, y))
        out = (x + y) / (rho * a_m)
        static = -d2 + 0.5 * rho * (v_s * v_s - out * out)
        words = f"mixing without losses, jet of {a_j:g} m2 in {a_m:g} m2"
        standing = "seen" if published == 68.06 else "computed"
        yield compare("jet", words, "fox_mcdonald", "kPa", published, static / 1e3, share, standing=standing)


def expansion() -> Iterator[Check]:
    """Air that expands in a nozzle: a textbook's state at rest, of 54.05 kPa at 255.7 K and 286.8 K."""
    p1, cold, total, area = 54050.0, 255.7, 286.8, 0.0075
    warm = p1 / (287.042 * total)
    heating = total / cold - 1.0
    head = 3.5 * p1 * heating
    x = area * math.sqrt(2.0 * warm * (1.0 + heating) * head)
    pair: Any = Jet(nozzle_area=area, mixing_area=0.06, nozzle_loss=0.0).paths()[0]
    air = LocalAir((warm, warm, warm), 1.8e-5, warm, (warm / p1,) * 3)
    d1, d2 = pair.law((x, 0.0), air, **pair.coefficients)[0]
    ours = (p1 + d1 - d2) / 1e3
    yield compare(
        "jet", "total pressure of air at 255.7 K, 286.8 K at rest", "cengel", "kPa", 80.773, ours, 1e-4
    )


def tees() -> Iterator[Check]:
    """Junctions, by coefficients on the combined velocity."""
    section = 0.25 * math.pi * 0.1023**2
    for kind, degrees, straight, branch, published in (
        (Merge, 90, 0.018917, 0.00633, (0.32576, -0.04044)),
        (Split, 45, 400.0, 250.0, (-0.06809, 0.4640)),
    ):
        made = kind(straight_area=section, branch_area=section, angle=math.radians(degrees))
        pair: Any = made.paths()[0]
        air = LocalAir((AIR,) * 3, 1.8e-5, AIR, (0.0,) * 3)
        m = 0.2 / (straight + branch)
        drops = pair.law((m * straight, m * branch), air, **pair.coefficients)[0]
        head = 0.5 * (0.2 / section) ** 2 / AIR
        name = "merge" if kind is Merge else "split"
        for words, value, d in zip(("straight way", "branch"), published, drops, strict=True):
            # coefficients on the combined velocity; the fit to Crane's functions is no better than this
            yield compare(
                name, f"{degrees} deg, equal ducts, {words}", "crane410", "-", value, d / head, at_least=0.16
            )


def crop() -> Iterator[Check]:
    """What conveyed material multiplies: 1 + K mu stands on losses along walls, not on velocity pressures.

    Crop that has its velocity already, in a level duct and through a screen.
    """
    friction, flow, mu = 0.4, 1.2, 2.0
    air = LocalAir(AIR, 1.8e-5, AIR)
    for law, made, words, published in (
        (loaded_friction, Duct(length=5.0, diameter=0.3), "K 0.4, 2 kg/kg, level duct", 1.0 + friction * mu),
        (loaded_quadratic, Screen(area=0.07, open_fraction=0.5), "K 0.4, 2 kg/kg, screen", 1.0),
    ):
        path: Any = made.paths()[0]
        load = {"crop_flow": mu * flow, "crop_friction": friction, "slip": 6.0, "plug_density": 150.0}
        load |= {"start_velocity": 0.0, "start_share": 0.0}
        loaded = law(flow, air, **path.coefficients, **load)[0]
        ratio = float(loaded / path.law(flow, air, **path.coefficients)[0])
        name = law.__name__
        yield compare(name, words, "agarwal2005", "-", published, ratio, 1e-4, standing="computed")
